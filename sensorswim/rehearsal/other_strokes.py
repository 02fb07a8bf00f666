"""Backstroke, butterfly and breaststroke: knots of their arms, trunk and legs."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

from sensorswim.model import Side
from sensorswim.rehearsal.arms import (
    STREAMLINE,
    Pose,
    StrokeTimes,
    crawl_stroke,
    hold_pose,
    set_pose,
)
from sensorswim.rehearsal.score import LengthScore
from sensorswim.rehearsal.stage import Stage

if TYPE_CHECKING:
    import numpy as np

    from sensorswim.rehearsal.settings import Swimmer
    from sensorswim.rehearsal.timeline import Timeline

Speeds = list[tuple[float, float, float]]


def back_stroke(
    timeline: Timeline,
    swimmer: Swimmer,
    times: StrokeTimes,
    *,
    turns: float,
    rng: np.random.Generator,
) -> None:
    """Lay one backstroke pull on the back: bent beside the body, straight over the water."""
    spread = 100.0 * swimmer.variation
    bend = 0.6 * swimmer.elbow_left_deg + 42.0 + rng.normal(0, spread)
    catch, middle, leave = times.catch_s, times.mid_pull_s, times.exit_s
    span = times.next_entry_s - leave
    poses: list[tuple[float, Pose]] = [
        (catch, (15, 18, 158, 0.05, 0, 1, 10, 0.08)),
        (catch + 0.5 * (middle - catch), (50, 36, bend + 18, 0, -0.2, 1, 0, 0.05)),
        (middle, (90, 46 + rng.normal(0, spread), bend, 0, -0.3, 1, -5, 0)),
        (middle + 0.6 * (leave - middle), (140, 24, bend + 30, 0.1, 0, 1, -5, -0.02)),
        (leave, (172, 8, 164, 0.2, 0.35, 1, 5, -0.02)),
        (leave + 0.3 * span, (222, 5, 168, 0.25, 0.9, 0.3, 5, 0)),
        (leave + 0.6 * span, (280, 4, 168, 0.9, 0.5, 0.4, 5, 0.04)),
        (leave + 0.85 * span, (328, 1, 168, 0.5, 0.1, 0.9, 5, 0.06)),
    ]
    if times.entry_s is not None:
        poses.insert(0, (times.entry_s, (-10, 0, 168, 0.1, 0, 1, 8, 0.08)))
    for time_s, pose in poses:
        set_pose(timeline, times.side, time_s, pose, turns=turns)


def butterfly(
    stage: Stage, score: LengthScore, breakout_s: float, span_s: float
) -> tuple[float, Side, Speeds]:
    """Lay a length of butterfly; return the touch, the hand and the speeds."""
    rng = stage.rng
    swimmer = replace(stage.swimmer, recovery_elbow_deg=152.0, pull_lateral_deg=9.0)
    period = 60.0 / (1.25 * swimmer.stroke_rate_cycles_min)
    entry, speeds, first = breakout_s - 0.25 * period, Speeds(), True
    while entry < breakout_s + span_s - 0.3 * period:
        length = period * (1 + rng.normal(0, swimmer.variation))
        for side in Side:
            times = StrokeTimes(
                side=side,
                entry_s=None if first else entry,
                catch_s=entry + 0.25 * length,
                mid_pull_s=entry + (0.46 + 0.01 * rng.normal()) * length,
                exit_s=entry + (0.66 + 0.01 * rng.normal()) * length,
                next_entry_s=entry + length,
            )
            turns = stage.arm_turns[side]
            crawl_stroke(stage.timeline, swimmer, times, turns=turns, rng=rng)
            stage.arm_turns[side] += 1
            score.strokes.append((side, times.mid_pull_s, length))
            for share in (0.06, 0.6):
                beat = entry + share * length
                score.kicks.append((side, beat))
                stage.score.kick_sizes[side].append((beat, 55.0, 22.0))
        for share, pitch, z in ((0.1, 12, -0.16), (0.45, -14, -0.12), (0.75, -4, -0.05)):
            moment = entry + share * length
            stage.timeline.key(moment, pitch=pitch + rng.normal(0, 1), z=z, head_pitch=0.6 * pitch)
        speeds += [(entry + 0.2 * length, 0.8, 0.0), (entry + 0.55 * length, 1.2, 0.0)]
        entry, first = entry + length, False
    touch = entry + 0.3
    for side in Side:
        score.reaches.append((side, entry))
        for moment, pose in ((entry, (11, 3, 150, 0, 0.9, 0.45, 0, 0.05)), (touch, STREAMLINE)):
            set_pose(stage.timeline, side, moment, pose, turns=stage.arm_turns[side])
    return touch, Side.RIGHT, [row for row in speeds if row[0] < touch - 0.2]


def breaststroke(
    stage: Stage, score: LengthScore, breakout_s: float, span_s: float
) -> tuple[float, Side, Speeds]:
    """Lay a length of breaststroke; return the touch, the hand and the speeds."""
    rng, swimmer = stage.rng, stage.swimmer
    period, start, speeds = 60.0 / (1.2 * swimmer.stroke_rate_cycles_min), breakout_s, Speeds()
    sweep: tuple[tuple[float, Pose], ...] = (
        (0.0, STREAMLINE),
        (0.2, (-10, 36, 165, 0, 0.9, 0.4, 25, 0.07)),
        (0.38, (-48, 26, 112, 0, 0.95, 0.3, 0, 0.02)),
        (0.5, (-46, -6, 88, 0, 0.9, 0.1, -20, 0.02)),
        (0.7, (-12, -10, 140, 0, 0.9, 0.4, 10, 0.07)),
        (0.85, STREAMLINE),
    )
    while start < breakout_s + span_s - 0.5 * period:
        length = period * (1 + rng.normal(0, swimmer.variation))
        for side in Side:
            for share, pose in sweep:
                moment = start + share * length
                set_pose(stage.timeline, side, moment, pose, turns=stage.arm_turns[side])
            score.kicks.append((side, start + 0.74 * length))
            for share, spread in ((0.45, 0.0), (0.68, 24.0), (0.85, 0.0)):
                value = -side.sign * spread
                stage.timeline.key(start + share * length, **{f"{side}_spread": value})
        for share, crouch, pitch in (
            (0.0, 0, -3),
            (0.42, 0.05, -26),
            (0.64, 0.62, -14),
            (0.84, 0, 2),
        ):
            moment = start + share * length
            stage.timeline.key(moment, crouch=crouch, pitch=pitch + rng.normal(0, 1))
            stage.timeline.key(moment, head_pitch=0.7 * pitch)
        speeds += [
            (start + 0.05 * length, 1.05, 0.0),
            (start + 0.42 * length, 1.15, 0.0),
            (start + 0.66 * length, 0.55, 0.0),
            (start + 0.86 * length, 1.35, 0.0),
        ]
        start += length
    for side in Side:
        hold_pose(stage.timeline, side, start + 0.15)
    return start + 0.2, Side.RIGHT, [row for row in speeds if row[0] < start]
