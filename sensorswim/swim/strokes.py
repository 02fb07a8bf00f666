"""Arm strokes of a session: every length, both wrists, and what was swum in each length."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
import pandas as pd

from sensorswim.model import Limb, Placement, Recording, Session, Side
from sensorswim.model.streams import FloatArray
from sensorswim.model.tables import frame, rows_of
from sensorswim.swim.arm_model import ArmSize
from sensorswim.swim.arms import WristMotion, follow_wrist
from sensorswim.swim.cycle_path import CyclePath, cycle_paths
from sensorswim.swim.pull import Pulls, find_pulls
from sensorswim.swim.roll import RollResult
from sensorswim.swim.roll_wave import shoulders_wave
from sensorswim.swim.shoulder import Key, ShoulderFit, fit_shoulders
from sensorswim.swim.stroke_events import Stroke, find_strokes
from sensorswim.swim.upper_arm import with_upper_arms
from sensorswim.swim.water_line import with_water_line

_USUAL_HEIGHT_M = 1.75
_LEAST_PATHS = 2
_CLEAR_SWING = 0.5
"""Sine of 30 degrees: an arm that recovers straight over the top may lean in by some."""
_SEVERAL = (1.65, 3.6)
_RIDES = 0.7
"""An arm that swings by less of the other's, and never comes overhead, rides along: on synthetic
swims of three builds 0.57 at most, in crawl 0.87 at least."""
_PUSH_OFF_SPEED_M_S = 2.3
"""Typical speed at the end of a push-off (common practice, no source)."""
_GLIDE_SHARE = 0.4
_FEET_AWAY, _HAND_AWAY = 0.35, 0.73
"""Hips to wall with the feet on it, and with a stretched hand on it, as shares of the height: of
segment lengths after Drillis & Contini (1966), from memory."""
_SOMERSAULT_S = 0.3
"""So long before the feet come to the wall in a flip turn the hips don't come on. This and the
glide's share picked on synthetic swimmers of three builds."""


@dataclass(frozen=True, kw_only=True)
class ArmResult:
    """Everything the wrists say.

    Parameters
    ----------
    arm_strokes : DataFrame
        The contract's table.
    motions, shoulders, paths : dict
        By (length_no, side), for plots and for the hand path.
    pulls : dict
        By (length_no, side): the arm in the pull.
    clean_speed_m_s : dict
        By length_no.
    """

    arm_strokes: pd.DataFrame
    motions: dict[Key, WristMotion] = field(default_factory=dict)
    shoulders: dict[Key, ShoulderFit] = field(default_factory=dict)
    paths: dict[Key, list[CyclePath]] = field(default_factory=dict)
    pulls: dict[Key, Pulls] = field(default_factory=dict)
    clean_speed_m_s: dict[int, float] = field(default_factory=dict)


def arm_size(session: Session) -> ArmSize:
    """Return the swimmer's limb lengths, as given or from height."""
    usual = ArmSize.of_height(session.height_m or _USUAL_HEIGHT_M)
    return ArmSize(
        upper_arm_m=session.upper_arm_m or usual.upper_arm_m,
        forearm_m=session.forearm_m or usual.forearm_m,
        shoulder_half_width_m=usual.shoulder_half_width_m,
    )


def clean_speed(
    start_s: float,
    swim_start_s: float,
    end_s: float,
    pool_length_m: float,
    *,
    height_m: float = _USUAL_HEIGHT_M,
    flips: bool = False,
) -> float:
    """Return the mean speed while swimming, with the push-off's glide taken off.

    The hips begin a length as far from the wall as drawn up legs hold them, and end it so, or an
    arm's reach away. The glide starts at some 2.3 m/s and slows to the clean speed, fast at first;
    solved by iteration.

    Parameters
    ----------
    start_s, swim_start_s : float
        Push-off and first entry.
    end_s : float
        The wall.
    pool_length_m : float
    height_m : float
        The swimmer's.
    flips : bool
        The length ends in a flip turn, else by a hand.
    """
    way_m = pool_length_m - height_m * (_FEET_AWAY + (_FEET_AWAY if flips else _HAND_AWAY))
    swum_s = max(end_s - swim_start_s - (_SOMERSAULT_S if flips else 0.0), _SOMERSAULT_S)
    speed = way_m / (end_s - start_s)
    glide_s = max(swim_start_s - start_s, 0.0)
    for _ in range(20):
        mean = _GLIDE_SHARE * _PUSH_OFF_SPEED_M_S + (1.0 - _GLIDE_SHARE) * speed
        glide_m = mean * max(glide_s - 0.3, 0.0) + 0.3 * 0.6
        speed = (way_m - min(glide_m, 0.7 * pool_length_m)) / swum_s
    return float(speed)


@dataclass(frozen=True, kw_only=True)
class StrokeFinder:
    """Find the arm strokes of all lengths.

    Parameters
    ----------
    session : Session
        Pool length and limb lengths.
    unsure : set of Side
        Arms whose strap nobody checked by standing.
    flips : set of int
        Numbers of the lengths that end in a flip turn.
    """

    session: Session
    unsure: frozenset[Side] = frozenset()
    flips: frozenset[int] = frozenset()

    def find(
        self,
        recording: Recording,
        lengths: pd.DataFrame,
        motions: dict[Key, WristMotion],
        roll: RollResult,
    ) -> ArmResult:
        """Return the strokes.

        Parameters
        ----------
        recording : Recording
        lengths : DataFrame
            length_no, start_s and end_s.
        motions : dict
            From `follow_wrists`.
        roll : RollResult
            Of trunk or shanks, where they are worn: it helps to place the shoulders.
        """
        paths = {key: cycle_paths(motion) for key, motion in motions.items()}
        enough = {k: p for k, p in paths.items() if len(p) >= _LEAST_PATHS}
        wave = shoulders_wave(roll, recording.time_s, enough)
        size = arm_size(self.session)
        shoulders = fit_shoulders(enough, size, unsure=self.unsure, wave=wave)
        shoulders, knocks = with_water_line(motions, paths, shoulders)
        pulls = find_pulls(enough, shoulders)
        pulls = with_upper_arms(recording, lengths, motions, shoulders, pulls)
        rows, speeds = [], {}
        for row in rows_of(lengths, "length_no", "start_s", "end_s"):
            number = int(row["length_no"])
            own = {s: motions[number, s] for s in Side if (number, s) in motions}
            if not own:
                continue
            first_s = min(m.recoveries_s[0] for m in own.values())
            speeds[number] = clean_speed(
                row["start_s"],
                first_s,
                row["end_s"],
                self.session.pool_length_m,
                height_m=self.session.height_m or _USUAL_HEIGHT_M,
                flips=number in self.flips,
            )
            for side, motion in own.items():
                key = (number, side)
                strokes = find_strokes(
                    motion,
                    paths[key],
                    shoulders.get(key),
                    speeds[number],
                    knocks.get(key),
                    flips=number in self.flips,
                )
                rows += [_row(number, side, stroke, pulls.get(key)) for stroke in strokes]
        return ArmResult(
            arm_strokes=_sorted(frame("arm_strokes", rows)),
            motions=motions,
            shoulders=shoulders,
            paths=paths,
            pulls=pulls,
            clean_speed_m_s=speeds,
        )


def follow_wrists(
    recording: Recording,
    lengths: pd.DataFrame,
    limb_from_sensor: dict[Placement, FloatArray],
    pushed: frozenset[int] = frozenset(),
) -> dict[Key, WristMotion]:
    """Return the motion of both wrists in every length, by (length_no, side).

    What seems to take two or three cycles of the rest is followed anew: who breathes every second
    cycle repeats only then, who breathes every three strokes every third.

    Parameters
    ----------
    recording : Recording
        Oriented.
    lengths : DataFrame
        length_no, start_s and end_s.
    limb_from_sensor : dict
        The wrists' straps.
    pushed : set of int
        Numbers of the lengths that begin with a push-off.
    """
    rows = rows_of(lengths, "length_no", "start_s", "end_s")
    spans = {int(row["length_no"]): (row["start_s"], row["end_s"]) for row in rows}

    def follow(key: Key, **limits: float) -> WristMotion | None:
        placement = Placement.of(Limb.WRIST, key[1])
        start_s, end_s = spans[key[0]]
        track, strap = recording.tracks[placement], limb_from_sensor[placement]
        motion = follow_wrist(
            recording,
            track,
            key[1],
            strap,
            start_s=start_s,
            end_s=end_s,
            pushed=key[0] in pushed,
            **limits,
        )
        return motion if motion is not None and _swims(motion) else None

    worn = [s for s in Side if Placement.of(Limb.WRIST, s) in recording.tracks]
    found = {(n, s): follow((n, s)) for n in spans for s in worn}
    motions = {key: motion for key, motion in found.items() if motion is not None}
    usual_s = float(np.median([m.period.period_s for m in motions.values()])) if motions else 0.0
    for key, motion in motions.items():
        other = motions.get((key[0], key[1].other), motion).period.period_s
        shorter = min(other, usual_s)
        if _SEVERAL[0] < motion.period.period_s / shorter < _SEVERAL[1]:
            again = follow(key, longest_s=1.5 * shorter)
            motions[key] = motion if again is None else again
    return {(n, s): m for (n, s), m in motions.items() if not _rides(m, motions.get((n, s.other)))}


def _rides(motion: WristMotion, other: WristMotion | None) -> bool:
    """Tell an arm that lies ahead and only rolls with the body while the other one swims."""
    if other is None or motion.overhead or not other.overhead:
        return False
    return motion.period.swing < _RIDES * other.period.swing


def _swims(motion: WristMotion) -> bool:
    return motion.period.swing > 0.6 and motion.period.strength > 0.3


def wrists_swapped(motions: dict[Key, WristMotion]) -> bool:
    """Tell whether the two wrist sensors are on the wrong sides.

    In the recovery the forearm swings round on its own side of the body: to the left in the
    left arm. Both arms must say otherwise.
    """
    outward = {}
    for side in Side:
        turns = [_recovery_swing(m) for (_, s), m in motions.items() if s is side]
        outward[side] = side.sign * float(np.median(turns)) if turns else 0.0
    return max(outward.values()) < -_CLEAR_SWING


def _recovery_swing(motion: WristMotion) -> float:
    """Return the median leftward component of the forearm as it passes from back to front."""
    left = motion.forearm_at(motion.recoveries_s)[:, 1]
    return float(np.median(left)) if len(left) and motion.overhead else 0.0


def with_lead_arm(breaths: pd.DataFrame, arms: ArmResult) -> pd.DataFrame:
    """Return the breaths with `lead_arm_tilt_deg`: the reaching forearm below level.

    Breathing to the left the swimmer lies on the right side and reaches with the right arm.
    """
    tilts = []
    for row in rows_of(breaths, "length_no", "side", "peak_s"):
        motion = arms.motions.get((int(row["length_no"]), Side(row["side"]).other))
        if motion is None:
            tilts.append(np.nan)
            continue
        at = min(int(np.searchsorted(motion.time_s, row["peak_s"])), len(motion.time_s) - 1)
        down = -float(motion.forearm[at, 2])
        tilts.append(np.degrees(np.arcsin(down)) if motion.valid[at] else np.nan)
    return breaths.assign(lead_arm_tilt_deg=np.array(tilts, dtype=float))


def _row(number: int, side: Side, stroke: Stroke, pulls: Pulls | None) -> dict[str, object]:
    own = pulls.figures(stroke.mid_pull_s) if pulls is not None else {}
    return own | {
        "length_no": number,
        "side": str(side),
        "entry_s": stroke.entry_s,
        "catch_s": stroke.catch_s,
        "mid_pull_s": stroke.mid_pull_s,
        "exit_s": stroke.exit_s,
        "next_entry_s": stroke.next_entry_s,
        "source": str(Placement.of(Limb.WRIST, side)),
    }


def _sorted(strokes: pd.DataFrame) -> pd.DataFrame:
    first = strokes["entry_s"].fillna(strokes["mid_pull_s"]).fillna(strokes["exit_s"])
    ordered = strokes.assign(order=first).sort_values(["order", "side"], ignore_index=True)
    return ordered.drop(columns="order")
