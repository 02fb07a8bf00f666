"""What was swum in a length: which stroke, kick, drill or something else.

The arms' rhythm tells strokes from kick; left and right half a cycle apart tell crawl and
backstroke from butterfly and breaststroke; the way up of legs or trunk, else how well the arm
fits a prone shoulder and comes out upright, tells front from back; a small swing of the forearm
tells breaststroke from butterfly.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from sensorswim.model import Limb, Placement, Recording, Side
from sensorswim.model.streams import FloatArray
from sensorswim.signal.rotations import up_in_sensor
from sensorswim.swim.arms import WristMotion
from sensorswim.swim.body_signs import BodySigns
from sensorswim.swim.shoulder import ShoulderFit

CRAWL_LIKE = ("front_crawl", "drill")
"""Activities whose strokes, rolls and breaths are read."""
_EXTREMES = (3.0, 97.0)
_LEAST_KNOWN = 0.3
"""Share of a length that a sensor must have data of to tell front from back."""


@dataclass(frozen=True, kw_only=True)
class ActivityRule:
    """Tell what was swum.

    Parameters
    ----------
    together_share : float
        Arms closer than this share of a cycle move together: 0.36 and more apart in crawl, up to
        0.23 in butterfly of synthetic swimmers of nine builds.
    breaststroke_swing : float
        Swing (see `Period`) below which a forearm never goes overhead.
    short_swing : float
        The same for a lone wrist that travels no further than `breaststroke_travel_m`.
    breaststroke_travel_m : float
        Travel of the wrists along the body, both together, below which they don't push to the
        hips: 0.40 to 0.54 in breaststroke, 0.80 to 1.24 in butterfly of synthetic swimmers of
        three builds.
    prone_misfit_m : float
        Misfit of the elbow to a prone swimmer's shoulder above which a lone arm swims on the
        back: the arm then does not move as a prone shoulder allows.
    doubtful_misfit_m : float
        The same for arms that rise: 0.004 to 0.019 in crawl with a straight recovery, 0.026 to
        0.055 in backstroke of synthetic swimmers of three builds.
    rises_more : float
        By how much a forearm must point further up than down (sines) to swim on the back, where
        the misfit agrees.
    rises_level : float
        The same and the sine of its tilt in the pull together, where nothing else is asked: up to
        0.18 where arms recover and pull straight on the front, 0.31 and more where they pull
        sideways on the back, of synthetic swimmers of six builds.
    hangs_not : float
        Sine of the lowest tilt of a forearm above which an arm that rises more than it hangs swims
        on the back: there it is mostly not far below the trunk, -0.5 to -0.3, down to -0.72 in
        straight deep pulls, which this leaves undecided; on the front it hangs at -0.72 or deeper
        in all but one of nine synthetic builds.
    stands : float
        Sine of a forearm's tilt as it comes forward below which an arm doesn't swim on the back:
        there it passes upright, 0.73 to 1.0; on the front so does one that recovers straight, and
        many a one hangs or lies level.
    sweep_ratio : float
        Sideways over vertical travel of a lone wrist above which it swings out low, as in
        butterfly; in crawl the roll of the body keeps it close: 0.6 at most, but for wide
        recoveries, and 0.66 from a very noisy sensor. In butterfly 0.4 to 1.2, mostly above 0.6.
    hangs : float
        The tilt as in `stands` below which a forearm that comes forward hangs under a high elbow,
        which is crawl's.
    heaves_misfit_m : float
        Misfit of the elbow to a shoulder that rolls below which the body rolls, as in crawl with
        a wide recovery.
    rolling_deg : float
        Roll of trunk or shanks (standard deviation) from which a body without arms swims crawl or
        backstroke.
    flutter : float
        How far the legs must move against each other to be a flutter kick.
    """

    together_share: float = 0.24
    breaststroke_swing: float = 1.75
    short_swing: float = 2.0
    breaststroke_travel_m: float = 0.67
    prone_misfit_m: float = 0.05
    doubtful_misfit_m: float = 0.02
    rises_more: float = 0.15
    rises_level: float = 0.2
    hangs_not: float = -0.55
    stands: float = 0.65
    sweep_ratio: float = 0.68
    hangs: float = -0.3
    heaves_misfit_m: float = 0.009
    rolling_deg: float = 5.0
    flutter: float = 0.2

    def name(
        self,
        motions: dict[Side, WristMotion],
        shoulders: dict[Side, ShoulderFit],
        on_back: float | None,
        wrists_worn: int,
        set_as: str,
        body: BodySigns | None = None,
    ) -> str:
        """Return the activity of one length.

        Parameters
        ----------
        motions : dict
            The wrists with arm cycles in this length.
        shoulders : dict
            Shoulder fits of those wrists that have one.
        on_back : float or None
            Mean up component of legs and trunk towards the back of the body: positive = prone;
            None without such sensors.
        wrists_worn : int
        set_as : str
            swim, drill, kick, pull of the block, or empty.
        body : BodySigns, optional
            Asked where no wrist is worn, or one.
        """
        if set_as == "kick" and not motions:
            return "kick"
        rolls = None if body is None else body.roll_deg >= self.rolling_deg
        resting = wrists_worn == 1 and not any(m.overhead for m in motions.values())
        if set_as == "drill" and resting and rolls is not False:
            return "drill"
        if not motions:
            seen = "kick" if wrists_worn else self._from_body(body, on_back)
        else:
            seen = self._stroke(motions, shoulders, on_back, wrists_worn, rolls)
        if set_as == "drill" and seen in ("front_crawl", "other"):
            return "drill"
        return seen

    def _from_body(self, body: BodySigns | None, on_back: float | None) -> str:
        """Return what a body without arms tells: it can't know butterfly from breaststroke."""
        if body is None or on_back is None:
            return "other"
        if body.roll_deg >= self.rolling_deg:
            return "front_crawl" if on_back > 0 else "backstroke"
        flutter = body.alternation is not None and body.alternation < -self.flutter
        return "kick" if flutter else "other"

    def _stroke(
        self,
        motions: dict[Side, WristMotion],
        shoulders: dict[Side, ShoulderFit],
        on_back: float | None,
        wrists_worn: int,
        rolls: bool | None,
    ) -> str:
        swing = float(np.mean([m.period.swing for m in motions.values()]))
        overhead = any(m.overhead for m in motions.values())
        together = len(motions) == 2 and self._together(motions, shoulders)
        apart = len(motions) == 2 and not together
        one_of_two = wrists_worn == 2 and len(motions) == 1
        short = not apart and self._swings_short(swing, shoulders, wrists_worn)
        if (not overhead or short) and not (one_of_two and rolls):
            return "breaststroke" if on_back is None or on_back > 0 else "other"
        supine = on_back < 0 if on_back is not None else self._on_back(motions, shoulders)
        if together:
            if supine:
                return "other"
            return "breaststroke" if self._stays_ahead(shoulders) else "butterfly"
        if one_of_two:
            return "other"
        if not supine and wrists_worn == 1:
            level = self._sweeps_out(motions, shoulders) if rolls is None else not rolls
            return "butterfly" if level else "front_crawl"
        return "backstroke" if supine else "front_crawl"

    def _swings_short(
        self, swing: float, shoulders: dict[Side, ShoulderFit], wrists_worn: int
    ) -> bool:
        """Tell breaststroke's hands, which come forward under the water, from a crawler's."""
        if wrists_worn == 1 and shoulders:
            return swing < self.short_swing and self._stays_ahead(shoulders)
        return swing < self.breaststroke_swing

    def _on_back(
        self, motions: dict[Side, WristMotion], shoulders: dict[Side, ShoulderFit]
    ) -> bool:
        """Tell the back from arms alone: they rise upright out of the water and pull level.

        On the front it is the other way round, but for arms that recover straight: these still fit
        a prone shoulder, which an arm on the back mostly doesn't.
        """
        if _recovery_tilt(motions) < self.stands:
            return False
        tilts = [m.forearm[m.valid, 2] for m in motions.values() if m.valid.any()]
        more = float(np.mean([rises(t) for t in tilts])) if tilts else 0.0
        if not shoulders:
            return more > self.rises_more
        misfit_m = float(np.mean([s.residual_m for s in shoulders.values()]))
        doubtful = more > self.rises_more and misfit_m > self.doubtful_misfit_m
        level = more + _pull_tilt(motions) > self.rises_level
        lowest = float(np.mean([_extremes(t)[0] for t in tilts])) if tilts else -1.0
        rises_only = more > self.rises_more and lowest > self.hangs_not
        return doubtful or level or rises_only or misfit_m > self.prone_misfit_m

    def _sweeps_out(
        self, motions: dict[Side, WristMotion], shoulders: dict[Side, ShoulderFit]
    ) -> bool:
        """Tell a lone arm that comes forward low and wide over a body that heaves, not rolls."""
        if not shoulders or not self.hangs < _recovery_tilt(motions) < self.stands:
            return False
        travel = [s.wrist_travel_m[1] / s.wrist_travel_m[2] for s in shoulders.values()]
        misfit_m = float(np.mean([s.residual_m for s in shoulders.values()]))
        return float(np.mean(travel)) > self.sweep_ratio and misfit_m > self.heaves_misfit_m

    def _stays_ahead(self, shoulders: dict[Side, ShoulderFit]) -> bool:
        """Tell hands that part and meet before the shoulders from those that push to the hips."""
        travel_m = [s.wrist_travel_m[0] for s in shoulders.values()]
        return bool(travel_m) and float(np.mean(travel_m)) < self.breaststroke_travel_m

    def _together(
        self, motions: dict[Side, WristMotion], shoulders: dict[Side, ShoulderFit]
    ) -> bool:
        """Tell whether both arms move at once; the phase of one that isn't overhead is any.

        A cycle lasts from one recovery of an arm to its next: its period may be that of two.
        """
        if not all(m.overhead for m in motions.values()):
            return self._stays_ahead(shoulders)
        left, right = (motions[s].recoveries_s for s in (Side.LEFT, Side.RIGHT))
        apart_s = [float(np.median(np.diff(own))) for own in (left, right) if len(own) > 1]
        cycles_s = apart_s or [m.period.period_s for m in motions.values()]
        nearest = np.abs(left[:, None] - right[None, :]).min(axis=1)
        return bool(np.median(nearest) / np.min(cycles_s) < self.together_share)


def _recovery_tilt(motions: dict[Side, WristMotion]) -> float:
    """Return the sine of the forearms' tilt as they pass from back to front: -1 hangs, 1 stands."""
    return _mean_tilt([m.forearm_at(m.recoveries_s) for m in motions.values()], unseen=0.0)


def _pull_tilt(motions: dict[Side, WristMotion]) -> float:
    """Return the sine of the forearms' tilt as they pass from front to back: -1 hangs, 0 level."""
    return _mean_tilt([m.forearm_at(m.backs_s) for m in motions.values()], unseen=-1.0)


def _mean_tilt(forearms: list[FloatArray], unseen: float) -> float:
    """Return the mean over the arms of the median sine of the tilt at each arm's own moments."""
    tilts = [float(np.median(forearm[:, 2])) for forearm in forearms if len(forearm)]
    return float(np.mean(tilts)) if tilts else unseen


def rises(tilt: FloatArray) -> float:
    """Return by how much a forearm points further up than down, -2 to 2.

    On the front it hangs in the pull and, but for a straight recovery, never stands; on the back it
    is the other way round. A strap that is 25 degrees askew hides that in the mean, but not in the
    extremes.

    Parameters
    ----------
    tilt : (N,)
        Sines of its tilt, at least one.
    """
    return float(_extremes(tilt).sum())


def _extremes(tilt: FloatArray) -> FloatArray:
    """Return how far a forearm points down and up, (2,): but for strays."""
    return np.asarray(np.percentile(tilt, _EXTREMES))


def prone_measure(
    recording: Recording,
    limb_from_sensor: dict[Placement, FloatArray],
    start_s: float,
    end_s: float,
) -> float | None:
    """Return the mean up component out of the back, legs and trunk; None without such sensors.

    The head is asked where nothing else is worn. Only moments with data count; a sensor with hardly
    any in this span has no say.

    Positive = prone. An ankle's y axis points out of the back of the left leg, into the front
    of the right one (file contract).
    """
    first, last = np.searchsorted(recording.time_s, [start_s, end_s])
    values: list[float] = []
    by_head: list[float] = []
    for placement, axes in limb_from_sensor.items():
        track = recording.tracks.get(placement)
        if track is None or track.q_world_from_sensor is None:
            continue
        if placement.limb not in (Limb.ANKLE, Limb.LOWER_BACK, Limb.UPPER_BACK, Limb.HEAD):
            continue
        known = track.valid[first:last]
        if not known.any() or known.mean() < _LEAST_KNOWN:
            continue
        up = up_in_sensor(track.q_world_from_sensor[first:last][known])
        if placement.limb is Limb.ANKLE:
            assert placement.side is not None
            out = axes[1] * placement.side.sign
        else:
            out = axes[2]
        told = by_head if placement.limb is Limb.HEAD else values
        told.append(float(np.mean(up @ out)))
    values = values or by_head
    return float(np.mean(values)) if values else None
