"""Clocks from the movement alone: all sensors together, limb by limb.

Both ankles feel the same push-offs and agree within some hundredths of a second; so do both
wrists in the glide. Their means show the push-offs of the session far more clearly than one limb
does, and so arms and legs find each other; the rest of the kit follows. What a single pair of
sensors suggests (its envelope, its shocks in quiet moments) is only heard as one voice among many:
it is a second and more wrong in every third synthetic swim.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Final

import numpy as np
from scipy.signal import find_peaks

from sensorswim.model import Limb, Placement, Side
from sensorswim.model.streams import FloatArray
from sensorswim.signal.agreement import (
    REACH_S,
    Agreement,
    Echoes,
    echoes,
    pushes_agree,
    shakes_agree,
)
from sensorswim.signal.envelopes import best_lag, best_lags
from sensorswim.signal.pushes import TRAVEL_RATE_HZ, Pushes, find_pushes, together
from sensorswim.signal.shakes import TYPICAL_DRIFT, Moved, lag_curves, shake_line
from sensorswim.signal.start_clocks import set_by_starts
from sensorswim.signal.views import Sensor

SURE_MARGIN: Final = 0.25
"""By how much the best offset has to beat all others to be trusted; on synthetic swims without
knocks one in twenty that pass is wrong by more than 0.2 s."""

UNSURE_S: Final = 0.8
"""Residual where a rival offset is nearly as good: it may be 1 to 2 s away."""

_MIN_CORRELATION: Final = 0.25
_WRIST_CANDIDATES: Final = 5
_OWN_PEAK_S: Final = 0.3
_NEAR_S: Final = 0.4
_LIKE: Final = 0.6
_SAME_S: Final = 0.15
_STROKES_S: Final = 0.3
_EVENT_SPREAD_S: Final = 0.08
_LEGS_SPREAD_S: Final = 0.07
"""Legs follow the push-off later than the arms, by how much differs from swimmer to swimmer."""
_ROUGH_WEIGHT: Final = 0.05
_TIMING: Final = 1.5
"""Weight of the push-offs' moments against how alike arms and legs move around them."""
_OTHER_LENGTHS: Final = 4
_OTHER_LENGTH: Final = 0.3
"""How many offsets a length or so apart are tried, and by how much more the push-offs of arms and
legs must agree than at the one where both move most alike (our choice)."""


@dataclass(frozen=True, kw_only=True)
class _Choice:
    """An offset, how good it is, and by how much it beats the next one."""

    offset_s: float
    value: float
    margin: float


@dataclass(frozen=True, kw_only=True)
class _Unit:
    """Sensors whose clocks are known against each other.

    Parameters
    ----------
    offsets_s : dict
        To be added to each sensor's clock to read the unit's.
    view : Pushes
        The push-offs of all of them, on the unit's clock.
    value : float
        How well its sensors agree.
    margin : float
        By how much they agree better so than otherwise.
    """

    offsets_s: dict[Placement, float]
    view: Pushes
    value: float = 0.0
    margin: float = np.inf

    @property
    def sure_pair(self) -> bool:
        """Its two sensors are sure of each other."""
        return len(self.offsets_s) > 1 and self.margin > SURE_MARGIN


def place_by_movement(
    placed: dict[Placement, Sensor], free: dict[Placement, Sensor]
) -> dict[Placement, Moved]:
    """Return the clocks of `free` against session time.

    Parameters
    ----------
    placed : dict
        Sensors whose streams are in session time already; not empty.
    free : dict
        Sensors on clocks of their own.

    Returns
    -------
    dict
        A `Moved` a placement; a sensor that shares no movement with the others is left out.
    """
    return _Placing(placed, free).run()


class _Placing:
    """One session's sensors being placed against each other."""

    def __init__(self, placed: dict[Placement, Sensor], free: dict[Placement, Sensor]) -> None:
        self.placed = placed
        self.sensors = placed | free
        self.rough: dict[tuple[Placement, Placement], float | None] = {}
        self.cross: dict[tuple[Placement, Placement], Agreement | None] = {}
        self.paired: set[Placement] = set()

    def run(self) -> dict[Placement, Moved]:
        """Join the limbs, then the rest, and say how well each clock is known."""
        offsets_s, margins = self._limbs()
        if not offsets_s:
            first = next(iter(self.placed))
            offsets_s, margins = {first: 0.0}, {first: np.inf}
        for place in self.sensors:
            if place in offsets_s:
                continue
            choice = self._against(place, offsets_s)
            if choice is not None:
                offsets_s[place] = choice.offset_s
                margins[place] = choice.margin
        anchors = [p for p in self.placed if p in offsets_s]
        if not anchors:
            return {}
        zero_s = float(np.mean([offsets_s[p] for p in anchors]))
        free = [p for p in offsets_s if p not in self.placed]
        found = {
            p: self._by_shocks(p) or self._refined(p, offsets_s[p] - zero_s, margins[p])
            for p in free
        }
        found = {p: replace(m, paired=p in self.paired) for p, m in found.items()}
        told = set_by_starts(self.placed, {p: self.sensors[p] for p in free}, found)
        again = {
            p: m for p, m in told.items() if p.limb is Limb.WRIST and _strokes_off(m, found[p])
        }
        if not again or len(again) == len(told):
            return told
        placed = {p: self.sensors[p].moved(m.line) for p, m in again.items()}
        rest = {p: self.sensors[p] for p in self.sensors if p not in self.placed and p not in again}
        return again | place_by_movement(self.placed | placed, rest)

    def _by_shocks(self, place: Placement) -> Moved | None:
        """Return the clock from shocks in quiet moments where they leave no other offset."""
        anchor = next(iter(self.placed))
        rough_s = self._rough(anchor, place)
        if rough_s is None:
            return None
        line = shake_line(
            lag_curves(self.placed[anchor].shakes, self.sensors[place].shakes, rough_s)
        )
        return line if line is not None and line.sure else None

    def _limbs(self) -> tuple[dict[Placement, float], dict[Placement, float]]:
        """Return offsets and margins of wrists and ankles on one clock, empty without a pair."""
        legs, arms = self._units(Limb.ANKLE, 1), self._units(Limb.WRIST, _WRIST_CANDIDATES)
        if legs and arms and not self._both_placed(arms[0], legs[0]):
            self._settle_length(arms[0], legs[0])
        pairs = [
            (arm, leg, choice)
            for arm in arms
            for leg in legs
            if (choice := self._unit_choice(arm, leg)) is not None
        ]
        if pairs:
            arm, leg, choice = max(pairs, key=lambda p: p[0].value + p[1].value + p[2].value)
            offsets_s = arm.offsets_s | {p: o + choice.offset_s for p, o in leg.offsets_s.items()}
            margins = self._margins(arm, leg, choice.margin)
            self.paired = {p for u in (arm, leg) if u.sure_pair for p in u.offsets_s}
            return offsets_s, margins
        alone = next(iter([*arms, *legs]), None)
        if alone is None:
            return {}, {}
        return dict(alone.offsets_s), dict.fromkeys(alone.offsets_s, alone.margin)

    def _margins(self, arm: _Unit, leg: _Unit, margin: float) -> dict[Placement, float]:
        """Return how sure each sensor's place is against the placed ones."""
        anchored = [any(p in self.placed for p in unit.offsets_s) for unit in (arm, leg)]
        out: dict[Placement, float] = {}
        for unit, other_anchored in ((arm, anchored[1]), (leg, anchored[0])):
            own_anchored = any(p in self.placed for p in unit.offsets_s)
            through = margin if other_anchored and not own_anchored else np.inf
            out |= dict.fromkeys(unit.offsets_s, min(unit.margin, through))
        return out

    def _units(self, limb: Limb, count: int) -> list[_Unit]:
        """Return the ways in which a limb's two sensors may go together, the best first."""
        worn = [p for s in Side if (p := Placement.of(limb, s)) in self.sensors]
        if len(worn) < 2:
            return [_Unit(offsets_s={p: 0.0}, view=self.sensors[p].pushes) for p in worn]
        first, second = worn
        if first in self.placed and second in self.placed:
            return [self._pair(first, second, 0.0, 0.0, np.inf)]
        agreement = self._agreement(first, second)
        if agreement is None:
            return [_Unit(offsets_s={first: 0.0}, view=self.sensors[first].pushes)]
        peaks, _ = find_peaks(agreement.value, distance=int(_OWN_PEAK_S * TRAVEL_RATE_HZ))
        best = peaks[np.argsort(-agreement.value[peaks], kind="stable")][:count]
        margin = _best(agreement).margin
        return [
            self._pair(
                first, second, float(agreement.offsets_s[k]), float(agreement.value[k]), margin
            )
            for k in best
        ]

    def _pair(
        self, first: Placement, second: Placement, offset_s: float, value: float, margin: float
    ) -> _Unit:
        """Return two sensors of one limb as a unit."""
        a, b = self.sensors[first].travel, self.sensors[second].travel
        return _Unit(
            offsets_s={first: 0.0, second: offset_s},
            view=find_pushes(together(a, b, offset_s)),
            value=value,
            margin=margin,
        )

    def _settle_length(self, arm: _Unit, leg: _Unit) -> None:
        """Move the rough offsets of arms and legs to another length where push-offs ask for it.

        Legs that kick a length while the arms rest look like arms that swim another one; the
        push-offs of the whole session agree at one offset only, as no two lengths last as long.
        """
        rough_s = self._rough_of(arm, leg)
        if rough_s is None:
            return
        pairs = [(p, o, r, q) for p, o in arm.offsets_s.items() for r, q in leg.offsets_s.items()]
        tried = [self._agreed(arm, leg, rough_s)]
        for p, o, r, q in pairs:
            views = self.sensors[p].envelope, self.sensors[r].envelope
            for lag in best_lags(*views, count=_OTHER_LENGTHS, apart_s=REACH_S):
                at_s = lag.offset_s + o - q
                if all(abs(at_s - other.offset_s) > REACH_S for other in tried):
                    tried.append(self._agreed(arm, leg, at_s))
        best = max(tried, key=lambda choice: choice.value)
        if best.value > tried[0].value + _OTHER_LENGTH:
            self.rough |= {(p, r): best.offset_s + q - o for p, o, r, q in pairs}

    def _agreed(self, arm: _Unit, leg: _Unit, rough_s: float) -> _Choice:
        """Return how well the push-offs of legs and arms agree at best around an offset."""
        return _best(pushes_agree(arm.view, leg.view, rough_s, timing=_TIMING))

    def _rough_of(self, arm: _Unit, leg: _Unit) -> float | None:
        """Return the rough offset of legs against arms, None where they have nothing in common."""
        rough = [
            rough_s + o - q
            for p, o in arm.offsets_s.items()
            for r, q in leg.offsets_s.items()
            if (rough_s := self._rough(p, r)) is not None
        ]
        return float(np.median(rough)) if rough else None

    def _unit_choice(self, arm: _Unit, leg: _Unit) -> _Choice | None:
        """Return how legs go with arms."""
        rough_s = self._rough_of(arm, leg)
        if rough_s is None:
            return None
        merged = pushes_agree(arm.view, leg.view, rough_s, timing=_TIMING)
        single = [
            agreement.at(merged.offsets_s + q - o)
            for p, o in arm.offsets_s.items()
            for r, q in leg.offsets_s.items()
            if (agreement := self._agreement(p, r)) is not None
        ]
        value = merged.value + np.mean(single, axis=0) + _unusual(merged.offsets_s - rough_s)
        whole = Agreement(offsets_s=merged.offsets_s, value=value)
        if self._both_placed(arm, leg):
            return self._as_placed(arm, leg, whole)
        return _best(whole)

    def _both_placed(self, arm: _Unit, leg: _Unit) -> bool:
        """Tell whether both units hold a placed sensor."""
        return all(any(p in self.placed for p in unit.offsets_s) for unit in (arm, leg))

    def _as_placed(self, arm: _Unit, leg: _Unit, whole: Agreement) -> _Choice:
        """Return the offset of two units that both hold a placed sensor."""
        arm_s, leg_s = (
            next(o for p, o in unit.offsets_s.items() if p in self.placed) for unit in (arm, leg)
        )
        value = float(whole.at(np.array([arm_s - leg_s]))[0])
        return _Choice(offset_s=arm_s - leg_s, value=value, margin=np.inf)

    def _against(self, place: Placement, offsets_s: dict[Placement, float]) -> _Choice | None:
        """Return the offset of one sensor against all that are on the common clock.

        It is looked for around the median of what they say: one of them may be minutes off.
        """
        if place in self.placed:
            anchor = next((p for p in offsets_s if p in self.placed), None)
            if anchor is not None:
                return _Choice(offset_s=offsets_s[anchor], value=0.0, margin=np.inf)
        known = [
            (offset_s, agreement)
            for p, offset_s in offsets_s.items()
            if (agreement := self._agreement(p, place)) is not None
        ]
        if not known:
            return None
        known.sort(key=lambda k: k[0] + float(k[1].offsets_s[0]))
        typical_s, typical = known[len(known) // 2]
        at_s = typical.offsets_s + typical_s
        value = np.mean([a.at(at_s - o) for o, a in known], axis=0)
        return _best(Agreement(offsets_s=at_s, value=value))

    def _agreement(self, first: Placement, second: Placement) -> Agreement | None:
        """Return all that two single sensors say of their offset, None where nothing."""
        if (first, second) not in self.cross:
            self.cross[first, second] = self._compare(first, second)
        return self.cross[first, second]

    def _compare(self, first: Placement, second: Placement) -> Agreement | None:
        rough_s = self._rough(first, second)
        if rough_s is None:
            return None
        a, b = self.sensors[first], self.sensors[second]
        pushes = pushes_agree(a.pushes, b.pushes, rough_s, timing=1.0)
        shakes = shakes_agree(a.shakes, b.shakes, rough_s).at(pushes.offsets_s)
        far = 2.0 * _unusual(pushes.offsets_s - rough_s)
        return Agreement(offsets_s=pushes.offsets_s, value=pushes.value + 0.5 * shakes + far)

    def _rough(self, first: Placement, second: Placement) -> float | None:
        """Return the offset of two envelopes, None where they have nothing in common."""
        if (first, second) not in self.rough:
            lag = best_lag(self.sensors[first].envelope, self.sensors[second].envelope)
            usable = lag is not None and lag.correlation > _MIN_CORRELATION
            self.rough[first, second] = lag.offset_s if lag is not None and usable else None
        return self.rough[first, second]

    def _refined(self, place: Placement, offset_s: float, margin: float) -> Moved:
        """Return the clock with its drift and errors, from each push-off by itself."""
        moments_s, late_s = self._lateness(place, offset_s)
        if len(late_s) < 3:
            return self._without_echoes(place, offset_s, margin)
        middle_s = float(moments_s.mean())
        drift, drift_error, spread_s = _line(moments_s - middle_s, late_s)
        shocks = self._shake_line(place, offset_s)
        if shocks is not None:
            drift, drift_error = _mean((drift, drift_error), (shocks.drift, shocks.drift_error))
        apart = place.limb is Limb.ANKLE and not any(p.limb is Limb.ANKLE for p in self.placed)
        error_s = np.hypot(1.25 * spread_s / np.sqrt(len(late_s)), _LEGS_SPREAD_S if apart else 0.0)
        return Moved(
            middle_s=middle_s,
            level_s=offset_s,
            level_error_s=float(error_s),
            drift=drift,
            drift_error=drift_error,
            sure=margin > SURE_MARGIN,
        )

    def _without_echoes(self, place: Placement, offset_s: float, margin: float) -> Moved:
        """Return the clock by shocks in quiet moments where they agree, else without a drift."""
        sensor = self.sensors[place]
        anchor = next(iter(self.placed.values()))
        pushed = min(len(anchor.pushes.index), len(sensor.pushes.index)) > 1
        line = self._shake_line(place, offset_s, _SAME_S if pushed else np.inf)
        if line is not None and not pushed:
            return line
        plain = Moved(
            middle_s=sensor.middle_s,
            level_s=offset_s,
            level_error_s=_EVENT_SPREAD_S if pushed else UNSURE_S,
            sure=pushed and margin > SURE_MARGIN,
        )
        if line is None:
            return plain
        return replace(plain, drift=line.drift, drift_error=line.drift_error)

    def _shake_line(
        self, place: Placement, offset_s: float, within_s: float = _SAME_S
    ) -> Moved | None:
        """Return what shocks in quiet moments say, None where they speak of another offset."""
        anchor = next(iter(self.placed.values()))
        line = shake_line(lag_curves(anchor.shakes, self.sensors[place].shakes, offset_s))
        near = line is not None and abs(line.level_s - offset_s) < within_s
        return line if near else None

    def _lateness(self, place: Placement, offset_s: float) -> tuple[FloatArray, FloatArray]:
        """Return for each push-off, when it was (device time) and what offset it asks for."""
        own = self.sensors[place].pushes
        told = []
        for anchor in self.placed.values():
            there = _asked(echoes(anchor.pushes, own, offset_s))
            back = _asked(echoes(own, anchor.pushes, -offset_s))
            told += [there, (back[0] - offset_s, -back[1])]
        moments_s, late_s = (np.concatenate(part) for part in zip(*told, strict=True))
        return moments_s, late_s


def _strokes_off(told: Moved, rough: Moved) -> bool:
    """Tell whether a wrist's rough offset was that of another stroke: what rests on it is wrong."""
    return told.sure and abs(told.level_s - rough.level_s) > _STROKES_S


def _asked(heard: Echoes) -> tuple[FloatArray, FloatArray]:
    """Return moment and asked offset of each echo that is like its push."""
    if not len(heard.moments_s):
        return np.empty(0), np.empty(0)
    steps = np.arange(heard.likeness.shape[1]) - heard.likeness.shape[1] // 2
    near = np.abs(steps) < _NEAR_S * TRAVEL_RATE_HZ
    rows = heard.likeness[:, near]
    shared = np.sum(heard.worth[:, None] * rows, axis=0)
    real = np.real(rows * np.exp(-1j * np.angle(shared[np.argmax(np.abs(shared))])))
    best = np.argmax(real, axis=1)
    good = real[np.arange(len(best)), best] > _LIKE
    return heard.moments_s[good], steps[near][best[good]] / TRAVEL_RATE_HZ


def _best(agreement: Agreement) -> _Choice:
    """Return the best offset and how far the rest of the curve stays below it."""
    k = int(np.argmax(agreement.value))
    offset_s = float(agreement.offsets_s[k])
    rest = agreement.value[np.abs(agreement.offsets_s - offset_s) > _OWN_PEAK_S]
    value = float(agreement.value[k])
    return _Choice(offset_s=offset_s, value=value, margin=value - float(rest.max()))


def _unusual(away_s: FloatArray) -> FloatArray:
    """Return what it costs to lie away from the rough offset; its errors have long tails."""
    return -_ROUGH_WEIGHT * np.log1p(away_s**2)


def _mean(first: tuple[float, float], second: tuple[float, float]) -> tuple[float, float]:
    """Return the weighted mean of two values with standard errors, and its error."""
    weights = np.array([first[1], second[1]]) ** -2.0
    value = float(np.average([first[0], second[0]], weights=weights))
    return value, float(weights.sum() ** -0.5)


def _line(at_s: FloatArray, late_s: FloatArray) -> tuple[float, float, float]:
    """Return drift, its error and the spread in s of a robust line with a drift expected small."""
    level = float(np.median(late_s))
    weight, drift = np.ones(len(at_s)), 0.0
    for _ in range(5):
        left_s = late_s - level - drift * at_s
        spread_s = max(0.02, 1.4826 * float(np.median(np.abs(left_s - np.median(left_s)))))
        weight = 1.0 / (1.0 + (left_s / (2.0 * spread_s)) ** 2)
        normal = np.sum(weight * at_s**2) / spread_s**2 + 1.0 / TYPICAL_DRIFT**2
        drift = float(np.sum(weight * at_s * (late_s - level)) / spread_s**2 / normal)
        level = float(np.sum(weight * (late_s - drift * at_s)) / np.sum(weight))
    return drift, float(1.0 / np.sqrt(normal)), spread_s
