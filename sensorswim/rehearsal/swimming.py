"""One length: push-off, breakout, strokes with roll, breaths and kicks, and the way to the wall."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Final

import numpy as np

from sensorswim.model import Side
from sensorswim.rehearsal import walls
from sensorswim.rehearsal.arms import (
    AHEAD,
    AT_SIDE,
    BOARD,
    StrokeTimes,
    crawl_stroke,
    hold_pose,
    set_pose,
)
from sensorswim.rehearsal.legs import cycle_kicks
from sensorswim.rehearsal.other_strokes import back_stroke, breaststroke, butterfly
from sensorswim.rehearsal.score import LengthScore
from sensorswim.rehearsal.settings import Length, Swimmer
from sensorswim.rehearsal.stage import WALL_M, Stage, distance
from sensorswim.rehearsal.trunk import breathing_plan, lay_trunk

STROKES: Final = (
    "front_crawl", "catch_up", "single_arm", "kick", "backstroke", "butterfly", "breaststroke",
)  # fmt: skip
FLIPPERS: Final = ("front_crawl", "catch_up")
"""What can end in a flip turn; the others touch."""
Speeds = list[tuple[float, float, float]]
"""Moment, share of the swim speed, fixed part in m/s."""


@dataclass(frozen=True, kw_only=True)
class Rhythm:
    """Entries of a length: stroke i enters at `entry_s[i]`, its hand again at `entry_s[i + 2]`."""

    first: Side
    entry_s: list[float]
    delay_s: list[float]
    breath: list[bool]

    def side(self, i: int) -> Side:
        """Return the hand that enters at stroke i."""
        return self.first if i % 2 == 0 else self.first.other

    def period_s(self, i: int) -> float:
        """Return the cycle of the hand that enters at stroke i, without any hold."""
        return self.entry_s[i + 2] - self.entry_s[i] - self.delay_s[i] - self.delay_s[i + 1]


def swim(stage: Stage, score: LengthScore, length: Length) -> None:
    """Lay out one whole length from the push-off to the wall."""
    turn = length.turn if length.activity in FLIPPERS or length.turn == "stop" else "open"
    supine = length.activity == "backstroke"
    speeds = walls.push_off(stage, stage.time_s, supine=supine)
    breakout = speeds[-1][0]
    way = stage.pool_length_m - WALL_M - (WALL_M if turn == "flip" else walls.reach_m(stage))
    swimmer = stage.swimmer
    coasting = speeds[-1][0] - speeds[2][0]
    span = max(3.0, (way - 1.55 * coasting - 0.35) / swimmer.speed_m_s - 0.4)
    if length.activity == "kick":
        last, hand = _kick_length(stage, score, breakout, span), Side.RIGHT
        speeds += [(breakout + 0.4, 1.0, 0.0), (last - 0.3, 1.0, 0.0)]
    elif length.activity in ("butterfly", "breaststroke"):
        lay = butterfly if length.activity == "butterfly" else breaststroke
        last, hand, pulls = lay(stage, score, breakout, span)
        speeds += pulls
    else:
        stage.swimmer = swimmer = _drill(swimmer, length.activity)
        rhythm = make_rhythm(swimmer, breakout, span, stage.rng)
        last, hand, pulls = _strokes(stage, score, rhythm, turn=turn)
        speeds += pulls
    score.swim_from_s = breakout
    if turn == "flip":
        feet = last + stage.rng.uniform(0.85, 1.1)
        speeds += [(last + 0.35, 0.9, 0.0), (feet - 0.12, 0.15, 0.0), (feet, 0.0, 0.0)]
        _settle_speed(stage, speeds, way)
        walls.flip(stage, score, last, feet)
    else:
        speeds += [(last - 0.12, 0.9, 0.0), (last, 0.0, 0.0)]
        _settle_speed(stage, speeds, way)
        walls.touch(stage, score, last, hand, turn=turn, supine=supine)


def _drill(swimmer: Swimmer, activity: str) -> Swimmer:
    if activity == "catch_up":
        return replace(
            swimmer,
            coordination_left_pct=-24.0,
            coordination_right_pct=-24.0,
            stroke_rate_cycles_min=0.8 * swimmer.stroke_rate_cycles_min,
        )
    if activity == "backstroke":
        return replace(swimmer, breath_every=0, coordination_left_pct=-8, coordination_right_pct=-8)
    return swimmer


def _settle_speed(stage: Stage, speeds: Speeds, way_m: float) -> None:
    """Choose the swim speed so that the way under the curve is the way to the wall."""
    speeds = sorted(speeds)
    times = [row[0] for row in speeds]

    def way(speed: float) -> float:
        return distance(times, [share * speed + fixed for _, share, fixed in speeds])

    low, high = 0.8 * stage.swimmer.speed_m_s, 1.2 * stage.swimmer.speed_m_s
    for _ in range(4):
        slope = (way(high) - way(low)) / (high - low)
        low, high = high, high + (way_m - way(high)) / slope
        if abs(high - low) < 1e-6:
            break
    stage.travel(times, [share * high + fixed for _, share, fixed in speeds])


def make_rhythm(
    swimmer: Swimmer, breakout_s: float, span_s: float, rng: np.random.Generator
) -> Rhythm:
    """Choose the entries, breaths and holds of a length that swims for about `span_s`."""
    half = 30.0 / swimmer.stroke_rate_cycles_min
    catch_share = 0.5 - swimmer.recovery_share - 0.01 * swimmer.coordination_left_pct
    offset = 0.01 * swimmer.arm_offset_pct
    entry = [breakout_s - 2 * half * catch_share]
    delays: list[float] = []
    breaths: list[bool] = []
    wants = breathing_plan(swimmer, rng)
    drift = 0.0
    while entry[-1] < breakout_s + span_s or len(entry) < 6:
        i = len(delays)
        side = swimmer.first_arm if i % 2 == 0 else swimmer.first_arm.other
        breath = wants(i, side.other)
        drift = 0.6 * drift + 0.8 * rng.normal(0, swimmer.variation)
        step = half * (1 + side.sign * offset * 2) * (1 + drift)
        hold = swimmer.breath_hold_s * swimmer.hold_delays_cycle * breath
        delays.append(max(0.0, hold * (1 + rng.normal(0, 0.15))))
        breaths.append(breath)
        entry.append(entry[-1] + step + delays[-1])
    for _ in range(2):
        entry.append(entry[-1] + half)
        delays.append(0.0)
        breaths.append(False)
    return Rhythm(first=swimmer.first_arm, entry_s=entry, delay_s=delays, breath=breaths)


def stroke_times(swimmer: Swimmer, rhythm: Rhythm, i: int, rng: np.random.Generator) -> StrokeTimes:
    """Return the aimed phases of stroke i; a hold lengthens the glide of the reaching arm."""
    side, entry, period = rhythm.side(i), rhythm.entry_s[i], rhythm.period_s(i)
    lag = (
        swimmer.coordination_left_pct if side is Side.LEFT else swimmer.coordination_right_pct
    ) / 100.0
    leave = 1.0 - swimmer.recovery_share + 0.3 * rng.normal(0, swimmer.variation)
    catch = leave - 0.5 - lag + 0.4 * rng.normal(0, swimmer.variation)
    catch = np.clip(catch, 0.12, 0.6)
    delay = rhythm.delay_s[i]
    catch_s, exit_s = entry + catch * period + delay, entry + leave * period + delay
    middle = catch_s + (0.56 + 0.5 * rng.normal(0, swimmer.variation)) * (exit_s - catch_s)
    return StrokeTimes(
        side=side,
        entry_s=None if i < 2 else entry,
        catch_s=catch_s,
        mid_pull_s=middle,
        exit_s=exit_s,
        next_entry_s=rhythm.entry_s[i + 2],
    )


def _strokes(
    stage: Stage, score: LengthScore, rhythm: Rhythm, *, turn: str
) -> tuple[float, Side, Speeds]:
    """Lay arms, trunk and kicks; return when the turn begins, the touching hand, the speeds."""
    swimmer, rng = stage.swimmer, stage.rng
    count = len(rhythm.entry_s) - 2 if turn == "flip" else len(rhythm.entry_s) - 3
    back, one_arm = score.activity == "backstroke", score.activity == "single_arm"
    if one_arm and count % 2 == 0:
        count -= 1
    lay_arm = back_stroke if back else crawl_stroke
    times = [stroke_times(swimmer, rhythm, i, rng) for i in range(count)]
    speeds: Speeds = []
    for i, stroke in enumerate(times):
        turns = stage.arm_turns[stroke.side]
        if one_arm and stroke.side is not rhythm.first:
            _wait_ahead(stage, stroke)
            continue
        lay_arm(stage.timeline, swimmer, stroke, turns=turns, rng=rng)
        score.strokes.append((stroke.side, stroke.mid_pull_s, rhythm.period_s(i)))
        wave = swimmer.surge_share * (1 + 0.2 * rng.normal())
        speeds.append((stroke.catch_s - 0.02, 1 - wave, 0.0))
        strong = stroke.mid_pull_s + 0.45 * (stroke.exit_s - stroke.mid_pull_s)
        speeds.append((strong, 1 + wave, 0.0))
        stays = i >= count - 2 if turn == "flip" else i == count - 1
        if stays:
            _stop_at_side(stage, stroke, turns - 1 if back else turns)
        if back or not stays:
            stage.arm_turns[stroke.side] += -1 if back else 1
    lay_trunk(stage, score, rhythm, times)
    last_s, hand = times[-1].exit_s + 0.15, times[-1].side.other
    if turn != "flip":
        entry, period = rhythm.entry_s[count], rhythm.period_s(count - 1)
        last_s = entry + 0.32 * period
        if not one_arm:
            _reach(stage, hand, entry, last_s)
            score.reaches.append((hand, entry))
        set_pose(stage.timeline, hand.other, last_s + 0.02, AT_SIDE,
                 turns=stage.arm_turns[hand.other])  # fmt: skip
        speeds = [row for row in speeds if row[0] < last_s - 0.2]
    _kicks(stage, score, rhythm, until_s=last_s - 0.1)
    return last_s, hand, speeds


def _wait_ahead(stage: Stage, stroke: StrokeTimes) -> None:
    """Keep the arm of a one-arm drill stretched ahead for this cycle."""
    turns = stage.arm_turns[stroke.side]
    for moment in (stroke.catch_s, stroke.exit_s):
        set_pose(stage.timeline, stroke.side, moment, AHEAD, turns=turns)


def _stop_at_side(stage: Stage, stroke: StrokeTimes, turns: float) -> None:
    """Leave the hand at the hip after the last pull: no recovery."""
    names = ("psi", "lam", "elbow", "px", "py", "pz", "pron", "reach")
    stage.timeline.cut(stroke.exit_s - 1e-6, *(f"{stroke.side}_{name}" for name in names))
    set_pose(stage.timeline, stroke.side, stroke.exit_s + 0.1, AT_SIDE, turns=turns)


def _reach(stage: Stage, hand: Side, entry_s: float, touch_s: float) -> None:
    """Enter and reach for the wall as far down as in any other stretch."""
    turns, tilt = stage.arm_turns[hand], stage.swimmer.reach_tilt_deg
    on_its_way_s = entry_s + 0.45 * (touch_s - entry_s)
    for moment_s, pose in (
        (entry_s, (11, 3, 150, 0, 0.9, 0.45, 0, 0.05)),
        (on_its_way_s, (3 - 0.35 * tilt, 3, 165, 0, 0.95, 0.35, 3, 0.09)),
        (touch_s - 0.02, (-tilt, 0, 170, 0, 0.95, 0.35, 5, 0.1)),
    ):
        set_pose(stage.timeline, hand, moment_s, pose, turns=turns)


def _kicks(stage: Stage, score: LengthScore, rhythm: Rhythm, *, until_s: float) -> None:
    """Lay the kicks from just before the first pull to the wall."""
    swimmer, rng = stage.swimmer, stage.rng
    lead = 0 if rhythm.first is Side.LEFT else 1
    starts = rhythm.entry_s[lead::2]
    first = 2 * starts[0] - starts[1]
    for start, end in zip([first, *starts[:-1]], starts, strict=True):
        near_s = 0.15 * (end - start)
        for side, moment, size in cycle_kicks(swimmer, start, end - start, rng):
            if score.start_s + 0.7 < moment < until_s:
                score.kicks.append((side, moment))
                breathes = any(abs(peak_s - moment) < near_s for _, peak_s in score.breaths)
                lay_kick(stage, side, moment, size * (1 + swimmer.breath_kick_extra * breathes))


def lay_kick(stage: Stage, side: Side, moment_s: float, size: float) -> None:
    """Write one downbeat down."""
    bend, swing = stage.swimmer.kick_knee_deg, stage.swimmer.kick_hip_deg
    stage.score.kick_sizes[side].append((moment_s, size * bend, size * swing))


def _kick_length(stage: Stage, score: LengthScore, breakout_s: float, span_s: float) -> float:
    """Kick with the hands on a board; return the touch."""
    rng, end = stage.rng, breakout_s + span_s
    pace = rng.uniform(0.5, 0.75)
    for side in Side:
        set_pose(stage.timeline, side, breakout_s + 0.4, BOARD, turns=stage.arm_turns[side])
        hold_pose(stage.timeline, side, end)
        moment = breakout_s - 0.4 + (0.5 * pace if side is Side.RIGHT else 0.0)
        while moment < end - 0.2:
            score.kicks.append((side, moment))
            lay_kick(stage, side, moment, 1 + rng.normal(0, 0.1))
            moment += pace * (1 + rng.normal(0, stage.swimmer.variation))
    stage.timeline.key(breakout_s + 0.5, z=walls.SWIM_Z_M, head_pitch=-25.0)
    stage.timeline.key(end - 0.3, z=walls.SWIM_Z_M, head_pitch=-25.0)
    return end
