"""One clock for all sensors: knocks where there are any, else the movement itself.

Session time is the clock of the first sensor (of its accelerometer), numbers unchanged. Every
other clock has any origin and runs up to 50 ppm fast or slow, so two differ by up to 100 ppm.
On synthetic swims knocks at both ends come to 1 ms; the movement alone comes to some 0.05 s where
the swimmer pushes off walls (`movement`), and its residual says where it can't be trusted.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from itertools import combinations
from typing import Final

import numpy as np

from sensorswim.model import ClockFit, Placement, Quality, Severity, Stream
from sensorswim.signal.envelopes import Lag, best_lag
from sensorswim.signal.knocks import KnockMatch, Shocks, find_shocks, match_knocks
from sensorswim.signal.movement import UNSURE_S, place_by_movement
from sensorswim.signal.shakes import FAR_APART_S, MAX_DRIFT, TYPICAL_DRIFT, Moved
from sensorswim.signal.views import Sensor

ENVELOPE_SLACK_S: Final = 6.0
"""How far knocks at both ends may lie from the offset of the movement's envelope."""

SURE_SLACK_S: Final = 0.1
STILL_SLACK_S: Final = 1.0
"""The same for knocks at one end, beyond what the movement may err, and of sensors at rest: hands
that enter the water knock now and then like three even knocks, but they don't rest in between."""

SET_APART_S: Final = 0.1
"""How far apart the clocks of a kit may be that was set to one time."""

_MIN_SAMPLES: Final = 20
_READING_SHARE: Final = 0.3


def fit_clocks(streams: dict[Placement, Stream], quality: Quality) -> dict[Placement, ClockFit]:
    """Map every sensor's clock to session time.

    Parameters
    ----------
    streams : dict
        In the order of `session.toml`; the first is the reference.
    quality : Quality
        Gets one row a sensor: `clock_from_knocks`, `clock_from_movement`, `clock_as_logged` or
        `clock_unknown`.

    Returns
    -------
    dict
        A `ClockFit` a placement; a sensor whose place in time can't be told is left out.
    """
    places = list(streams)
    clocks = {places[0]: ClockFit(method="reference", residual_s=0.0)}
    if len(places) == 1:
        return clocks
    fits = _fit(streams)
    for place in places[1:]:
        fit = fits.get(place)
        _report(place, fit, quality)
        if fit is not None:
            clocks[place] = fit
    return clocks


def _fit(streams: dict[Placement, Stream]) -> dict[Placement, ClockFit]:
    """Return the clocks of all but the first sensor: knocks first, the movement for the rest."""
    first, *others = streams
    sensors = {
        place: Sensor(stream=stream)
        for place, stream in streams.items()
        if min(len(stream.accel), len(stream.gyro)) >= _MIN_SAMPLES
    }
    if first not in sensors:
        return {}
    shocks = {place: find_shocks(sensor.stream) for place, sensor in sensors.items()}
    roughs = {
        place: best_lag(sensors[first].envelope, sensors[place].envelope)
        for place in others
        if place in sensors
    }
    fits = _by_both_ends({first: ClockFit(method="reference", residual_s=0.0)}, shocks, roughs)
    left = {place: rough for place, rough in roughs.items() if place not in fits}
    fits |= _by_both_ends(fits, shocks, left)
    placed = {first: sensors[first]} | {p: sensors[p].moved(f) for p, f in fits.items()}
    free = {p: s for p, s in sensors.items() if p not in placed}
    moved = place_by_movement(placed, free) if free else {}
    for place in free:
        fit = _without_both_ends(shocks, first, place, moved.get(place))
        if fit is not None:
            fits[place] = fit
    pairs = [
        (a, b)
        for a, b in combinations(fits, 2)
        if a.limb is b.limb and all(p in moved and moved[p].paired for p in (a, b))
    ]
    return _as_logged_if_all_agree(fits, shocks, pairs)


def _by_both_ends(
    known: dict[Placement, ClockFit],
    shocks: dict[Placement, Shocks],
    roughs: dict[Placement, Lag | None],
) -> dict[Placement, ClockFit]:
    """Return the clocks of sensors that share knocks at both ends with one whose clock is known.

    Between two samples of the first sensor a knock may look late or faint: then another's does.

    Parameters
    ----------
    roughs : dict
        Where the movement puts the sensors that are asked for.
    """
    anchors = [(shocks[place].moved(fit), fit.residual_s) for place, fit in known.items()]
    fits = {}
    for place, rough in roughs.items():
        rough_s = None if rough is None else rough.offset_s
        for matches, residual_s in _shared(anchors, shocks[place], rough_s):
            if _far_apart(matches):
                fit = _from_both_ends(matches, shocks[place])
                error_s = float(np.hypot(fit.residual_s, residual_s))
                fits[place] = replace(fit, residual_s=error_s)
                break
    return fits


def _shared(
    anchors: Sequence[tuple[Shocks, float]], second: Shocks, rough_s: float | None
) -> list[tuple[list[KnockMatch], float]]:
    """Return the knocks that a sensor shares with each anchor, and that anchor's residual.

    Knocks of sensors at rest count wherever they lie, if none of them lies where the movement puts
    the sensor: head and arms may move alike at another offset, too.
    """
    near = [(_matches(a, second, rough_s, ENVELOPE_SLACK_S), error_s) for a, error_s in anchors]
    if any(match.still for matches, _ in near for match in matches):
        return near
    still = second.at_rest()
    return near + [(_matches(a.at_rest(), still, None, 0.0), error_s) for a, error_s in anchors]


def _without_both_ends(
    shocks: dict[Placement, Shocks],
    first: Placement,
    place: Placement,
    moved: Moved | None,
) -> ClockFit | None:
    """Return the clock from knocks at one end, else from the movement, else as logged."""
    matches = _at_one_end(shocks[first], shocks[place], moved)
    if matches:
        return _from_one_end(matches, shocks[place], moved)
    if moved is not None:
        return _from_movement(moved, shocks[place])
    ours_s, theirs_s = shocks[first].time_s[[0, -1]], shocks[place].time_s[[0, -1]]
    overlap_s = min(ours_s[1], theirs_s[1]) - max(ours_s[0], theirs_s[0])
    return ClockFit(method="as_logged") if overlap_s > 0.0 else None


def _at_one_end(first: Shocks, second: Shocks, moved: Moved | None) -> list[KnockMatch]:
    """Return the credible knocks near the movement's offset.

    Where that is sure, knocks further off count only of sensors at rest, both of them; where it
    isn't, of a pair of which one at least is at rest, or several: a single one in motion is chance.
    """
    if moved is None:
        return _matches(first, second, None, 0.0)
    level_s, still, second_still = moved.level_s, first.at_rest(), second.at_rest()
    if moved.sure:
        slack_s = SURE_SLACK_S + 3.0 * float(np.hypot(moved.level_error_s, moved.floor_s))
        near = _matches(first, second, level_s, slack_s)
        return near or _matches(still, second_still, level_s, STILL_SLACK_S)
    for one, other in ((still, second_still), (still, second), (first, second_still)):
        found = _matches(one, other, level_s, STILL_SLACK_S)
        if found:
            return found
    several = _matches(first, second, level_s, STILL_SLACK_S)
    return several if len(several) > 1 else []


def _matches(
    first: Shocks, second: Shocks, rough_s: float | None, slack_s: float
) -> list[KnockMatch]:
    """Return the credible knock matches, near the movement's offset where that is known."""
    if rough_s is None:
        return _credible(match_knocks(first, second), first, second)
    reach_s = slack_s + MAX_DRIFT * float(np.ptp(second.time_s[[0, -1]]))
    within_s = (rough_s - reach_s, rough_s + reach_s)
    return _credible(match_knocks(first, second, within_s), first, second)


def _far_apart(matches: list[KnockMatch]) -> bool:
    """Tell whether the matches span a time that shows the drift."""
    return bool(matches) and abs(matches[-1].device_s - matches[0].device_s) > FAR_APART_S


def _credible(matches: list[KnockMatch], first: Shocks, second: Shocks) -> list[KnockMatch]:
    """Return the largest set of knock matches that lie on one clock line.

    Claps at rest, kicks and touches of the wall can look like knocks: the line that most matches
    agree on wins, those of still sensors first, then the one with the most alike shocks.
    """
    tolerance_s = 0.006 + 0.5 * max(first.period_s, second.period_s)
    best: list[KnockMatch] = []
    for one, other in [*combinations(matches, 2), *((m, m) for m in matches)]:
        apart_s = other.device_s - one.device_s
        drift = (other.offset_s - one.offset_s) / apart_s if abs(apart_s) > FAR_APART_S else 0.0
        if abs(drift) > MAX_DRIFT:
            continue
        agreed = [
            m
            for m in matches
            if abs(m.offset_s - one.offset_s - drift * (m.device_s - one.device_s)) < tolerance_s
        ]
        if _weight(agreed) > _weight(best):
            best = agreed
    return best


def _weight(matches: list[KnockMatch]) -> tuple[int, int, float]:
    """Order sets of matches: by the number of still ones, by number, by likeness."""
    return sum(m.still for m in matches), len(matches), sum(m.likeness for m in matches)


def _from_both_ends(matches: list[KnockMatch], second: Shocks) -> ClockFit:
    """Return the straight line through knocks that lie far apart."""
    device_s = np.array([m.device_s for m in matches])
    offset_s = np.array([m.offset_s for m in matches])
    middle_s = float(device_s.mean())
    slope, level = np.polyfit(device_s - middle_s, offset_s, 1)
    left_s = offset_s - level - slope * (device_s - middle_s)
    residual_s = float(np.hypot(_READING_SHARE * second.period_s, left_s.std()))
    return _line(middle_s, float(level), float(slope), "knocks", residual_s)


def _from_one_end(matches: list[KnockMatch], second: Shocks, moved: Moved | None) -> ClockFit:
    """Return the offset of the knocks with the drift of the movement."""
    middle_s = float(np.mean([m.device_s for m in matches]))
    level_s = float(np.mean([m.offset_s for m in matches]))
    drift, error = (0.0, TYPICAL_DRIFT) if moved is None else (moved.drift, moved.drift_error)
    away_s = error * _rms_distance_s(middle_s, second)
    residual_s = float(np.hypot(_READING_SHARE * second.period_s, away_s))
    return _line(middle_s, level_s, drift, "knocks", residual_s)


def _from_movement(moved: Moved, second: Shocks) -> ClockFit:
    """Return the movement's line."""
    ends_s = moved.drift_error * _rms_distance_s(moved.middle_s, second)
    residual_s = float(np.sqrt(moved.level_error_s**2 + moved.floor_s**2 + ends_s**2))
    if not moved.sure:
        residual_s = float(np.hypot(residual_s, UNSURE_S))
    return _line(moved.middle_s, moved.level_s, moved.drift, "movement", residual_s)


def _rms_distance_s(middle_s: float, second: Shocks) -> float:
    """Return the root mean square distance of a session's moments from one of them."""
    before_s, after_s = middle_s - second.time_s[0], second.time_s[-1] - middle_s
    return float(np.sqrt(np.abs(before_s**3 + after_s**3) / (3.0 * (before_s + after_s))))


def _as_logged_if_all_agree(
    fits: dict[Placement, ClockFit],
    shocks: dict[Placement, Shocks],
    pairs: Sequence[tuple[Placement, Placement]] = (),
) -> dict[Placement, ClockFit]:
    """Prefer the clocks as they are where the movement can't tell any of them apart.

    A single one that agrees does so by chance: one kit is set to one time, or isn't. Those that are
    not sure have no say where others are, but `pairs` that are sure of each other.
    """
    for one, other in pairs:
        ends_s = shocks[one].time_s[[0, -1]]
        away_s = fits[one].to_session(ends_s) - fits[other].to_session(ends_s)
        if np.abs(away_s).max() > 2.0 * SET_APART_S:
            return fits
    sure = {place: fit for place, fit in fits.items() if fit.residual_s < UNSURE_S}
    for place, fit in (sure or fits).items():
        ends_s = shocks[place].time_s[[0, -1]]
        apart_s = np.abs(fit.to_session(ends_s) - ends_s).max()
        told_s = 2.0 * min(fit.residual_s, SET_APART_S)
        if apart_s > (SET_APART_S if fit.method == "knocks" else told_s):
            return fits
    return {
        place: ClockFit(method="as_logged", residual_s=fit.residual_s)
        if fit.method == "movement"
        else fit
        for place, fit in fits.items()
    }


def _line(
    middle_s: float, level_s: float, drift: float, method: str, residual_s: float
) -> ClockFit:
    """Return the fit with offset `level_s` at device time `middle_s`."""
    return ClockFit(
        offset_s=level_s - drift * middle_s, drift=drift, method=method, residual_s=residual_s
    )


def _report(place: Placement, fit: ClockFit | None, quality: Quality) -> None:
    """Add the row that says how a sensor's clock was found and how well."""
    who = f"The clock of the {place.label} sensor"
    if fit is None:
        text = f"{who} can't be placed in the session (no knocks, no shared movement): left out."
        quality.add("clock_unknown", Severity.LOST, text, placement=place)
    elif np.isnan(fit.residual_s):
        text = f"{who} couldn't be checked against the movement and was taken as logged."
        quality.add("clock_unknown", Severity.DEGRADED, text, placement=place)
    elif fit.method == "knocks":
        text = f"{who} was set by the knocks, good to about {_ms(fit)} ms over the session."
        quality.add("clock_from_knocks", Severity.NOTE, text, placement=place)
    elif fit.method == "movement":
        text = f"{who} was set by the movement, good to about {_ms(fit)} ms; knocks do better."
        quality.add("clock_from_movement", Severity.DEGRADED, text, placement=place)
    else:
        text = f"{who} agrees with the first as logged; the movement tells that to {_ms(fit)} ms."
        quality.add("clock_as_logged", Severity.NOTE, text, placement=place)


def _ms(fit: ClockFit) -> int:
    """Return the residual in whole milliseconds, at least 1."""
    return max(1, round(1000.0 * fit.residual_s))
