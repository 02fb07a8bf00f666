"""From the plan to the script: every length in turn, its end fitted to the wall."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from . import wall
from .crawl import SURFACE_M, Stroke, schedule, write_arms, write_roll
from .curves import Array, Track, ramp
from .kicks import Kick, flutter, steady, write_dolphin, write_kicks
from .script import LengthRecord, Script
from .strokes import entry_times, write_other
from .traits import CRAWL_LIKE, SIDES, LengthPlan, SessionPlan, Side, Swimmer
from .travel import STEP_HZ, coast

_TOUCH_AFTER_ENTRY_S = 0.36
_THRUST = {"backstroke": 0.25, "breaststroke": 0.4, "butterfly": 0.4}
_DRAG = {"backstroke": 2.0, "breaststroke": 1.6, "butterfly": 2.3, "kick": 1.0}


@dataclass(frozen=True)
class _Leg:
    """A length under construction: take-off (s, m), first movement of the arms and its seed."""

    plan: LengthPlan
    off_s: float
    off_m: float
    first_s: float
    seed: int


@dataclass(frozen=True)
class _Ending:
    """How a length ends: moment (s), distance and speed of the hips there, path until then."""

    index: int
    end_s: float
    end_m: float
    speed_m_s: float
    time_s: Array
    distance_m: Array


def _fit(leg: _Leg, run: tuple[Array, Array, Array], candidates: Array, end_m: float) -> _Ending:
    """Choose the candidate moment nearest to the wall and spread what is left over the swim."""
    time_s, distance, speed = run
    index = int(np.argmin(np.abs(np.interp(candidates, time_s, distance) - end_m)))
    end_s = float(candidates[index])
    missing = end_m - float(np.interp(end_s, time_s, distance))
    keep = time_s < end_s - 0.5 / STEP_HZ
    fitted = distance[keep] + missing * ramp(time_s[keep], leg.first_s, end_s)
    end_speed = float(np.interp(end_s, time_s, speed))
    return _Ending(index, end_s, end_m, end_speed, time_s[keep], fitted)


def _swim_crawl(
    script: Script, swimmer: Swimmer, leg: _Leg, end_m: float, flip: bool
) -> tuple[_Ending, Side]:
    """Write a crawl length; gives its end and the side of the last hand."""
    plan = leg.plan
    span = end_m / 0.6
    strokes = schedule(swimmer, plan, leg.first_s, span, np.random.default_rng(leg.seed))
    draft = Script()
    roll = write_roll(
        Script(), swimmer, strokes, leg.first_s, np.inf, np.random.default_rng(leg.seed + 1)
    )
    pulls = [stroke for stroke in strokes if not stroke.ghost]
    write_arms(draft, swimmer, pulls, roll, np.inf, np.random.default_rng(leg.seed + 2))
    kick = 0.0 if plan.pull_buoy else swimmer.kick_strength * (0.05 + 0.02 * swimmer.kick_beat)
    start = (leg.off_s, leg.off_m, swimmer.push_speed_m_s)
    run = coast(draft.arms, kick, leg.first_s, start, span)
    after = np.array([s.exit_s if flip else s.entry_s + _TOUCH_AFTER_ENTRY_S for s in pulls])
    ending = _fit(leg, run, after, end_m)
    last = pulls[ending.index]
    last_entry = last.entry_s + (0.05 if flip else 0.0)
    kept = [stroke for stroke in strokes if stroke.entry_s <= last.entry_s]
    write_roll(
        script, swimmer, kept, leg.first_s, ending.end_s - 0.15, np.random.default_rng(leg.seed + 1)
    )
    pulls, again = pulls[: ending.index + 1], np.random.default_rng(leg.seed + 2)
    write_arms(script, swimmer, pulls, roll, last_entry, again)
    if not flip:
        reach = (0.96 * swimmer.arm_m, 0.0, 0.02)
        script.hand(ending.end_s, last.side, reach, (0.0, 0.65, 0.75), (0.1, 0.1, 1.0))
    for side in SIDES:
        if plan.single_arm not in (None, side):
            for time_s in (leg.first_s - 0.2, ending.end_s):
                ahead = (0.93 * swimmer.arm_m, -0.03, 0.0)
                script.hand(time_s, side, ahead, (0.0, 0.7, 0.7), (0.0, 0.1, 1.0))
    _write_trunk(script, swimmer, kept, leg, ending.end_s)
    if not plan.pull_buoy:
        rng = np.random.default_rng(leg.seed + 3)
        kicks: list[Kick] = flutter(swimmer, kept, leg.first_s + 0.15, ending.end_s - 0.2, rng)
        write_kicks(script, kicks)
    return ending, last.side


def _write_trunk(
    script: Script, swimmer: Swimmer, strokes: list[Stroke], leg: _Leg, end_s: float
) -> None:
    """Pitch, yaw, height and gaze change a little with each stroke and breath."""
    rng = np.random.default_rng(leg.seed + 4)
    for stroke in strokes:
        if stroke.mid_s > end_s - 0.2:
            continue
        sway = swimmer.yaw_sway_deg * (1.0 if stroke.side == "left" else -1.0)
        script.yaw.add(stroke.catch_s, sway * rng.uniform(0.6, 1.1))
        lift = -2.0 if stroke.breath else 0.0
        script.pitch.add(stroke.entry_s + 0.05, swimmer.pitch_deg + lift + rng.normal(0.0, 0.5))
        script.pitch.add(stroke.mid_s, swimmer.pitch_deg - 1.2 + rng.normal(0.0, 0.5))
        script.height.add(stroke.catch_s, -SURFACE_M + rng.normal(0.0, 0.004))
        script.height.add(stroke.mid_s, -SURFACE_M + 0.008)
        script.face_pitch.add(stroke.mid_s, -14.0 + rng.normal(0.0, 2.0))
    script.height.add(end_s, -SURFACE_M)
    script.yaw.add(end_s, 0.0)


def _swim_other(
    script: Script, swimmer: Swimmer, leg: _Leg, end_m: float, rng: np.random.Generator
) -> _Ending:
    """Write a length of another stroke or of kicking; gives its end."""
    activity, span = leg.plan.activity, end_m / 0.35
    if activity == "kick":
        candidates = leg.first_s + np.arange(2.0, span, 0.1)
        thrust = 0.14 + 0.2 * swimmer.kick_strength
        hands: dict[Side, Track] = {side: Track() for side in SIDES}
        entries: list[float] = []
    else:
        entries = entry_times(activity, leg.first_s, span, rng)
        draft = Script()
        write_other(draft, swimmer, activity, entries, np.random.default_rng(leg.seed))
        candidates = np.array(entries) + (1.5 if activity == "backstroke" else 0.3)
        hands, thrust = draft.arms, _THRUST[activity]
    start = (leg.off_s, leg.off_m, swimmer.push_speed_m_s)
    run = coast(hands, thrust, leg.first_s, start, span, _DRAG[activity])
    ending = _fit(leg, run, candidates, end_m)
    entries = entries[: ending.index + 1] if entries else [leg.first_s, ending.end_s - 0.2]
    write_other(script, swimmer, activity, entries, np.random.default_rng(leg.seed))
    height = 0.14 if activity == "breaststroke" else SURFACE_M
    for time_s in (leg.first_s + 0.3, ending.end_s):
        script.height.add(time_s, -height)
    script.pitch.add(ending.end_s - 0.1, 0.0)
    script.roll.add(ending.end_s - 0.1, 0.0)
    reach = (0.95 * swimmer.arm_m, 0.0, 0.02)
    script.both_hands(ending.end_s, reach, (0.0, 0.65, 0.75), (0.1, 0.1, 1.0))
    if activity == "backstroke":
        for start_s in (leg.off_s - 0.1, ending.end_s - 1.2):
            roll = ((start_s, 0.0), (start_s + 0.9, 180.0))
            script.turn(start_s, start_s + 0.95, roll=roll)
    return ending


def _underwater(script: Script, swimmer: Swimmer, leg: _Leg, rng: np.random.Generator) -> None:
    """Glide or kick between take-off and the first movement of the arms."""
    script.streamline(leg.first_s - 0.35, swimmer.arm_m, swimmer.shoulder_m)
    script.height.add(leg.first_s - 0.1, -0.16)
    script.face_pitch.add(leg.off_s, 4.0)
    if leg.plan.underwater == "dolphin":
        write_dolphin(script, leg.off_s + 0.45, leg.first_s - 0.55, 1.9, rng.uniform(0.35, 0.65))
    elif leg.plan.underwater == "flutter" and leg.plan.activity != "kick":
        size = 0.8 * swimmer.kick_strength
        write_kicks(script, steady(leg.off_s + 0.45, leg.first_s - 0.4, 2.0, size, rng))


def write_session(swimmer: Swimmer, plan: SessionPlan, rng: np.random.Generator) -> Script:
    """The script of the whole session; it begins at 0 s, the handling of knocks included."""
    script = Script()
    handling = 14.0 if plan.knocks else 0.5
    lane = wall.Lane(0.0, 1.0)
    stood = handling + plan.standing_s
    push_s = stood + 4.5 + plan.idle_s
    wall.get_in(script, swimmer, lane, stood, push_s, rng)
    for length in plan.lengths:
        off_s, off_m = wall.push(script, swimmer, lane, push_s)
        longer = 0.5 if length.underwater == "dolphin" else 0.0
        first_s = off_s + float(rng.uniform(1.1, 2.0)) + longer
        leg = _Leg(length, off_s, off_m, first_s, int(rng.integers(2**31)))
        _underwater(script, swimmer, leg, rng)
        hips = swimmer.trunk_m + 0.93 * swimmer.arm_m + swimmer.hand_m
        flips = length.flip_turn
        end_m = plan.pool_length_m - (swimmer.trunk_m + 0.78 if flips else hips)
        hands: tuple[Side, ...] = SIDES
        if length.activity in CRAWL_LIKE:
            ending, last_side = _swim_crawl(script, swimmer, leg, end_m, flips)
            hands = SIDES if length.single_arm else (last_side,)
        else:
            ending = _swim_other(script, swimmer, leg, end_m, rng)
        script.advance.append((ending.time_s, lane.x_m(ending.distance_m)))
        script.lengths.append(
            LengthRecord(length, lane.heading, push_s, first_s, ending.end_s, flips)
        )
        coming = wall.Lane(lane.wall_m + lane.heading * plan.pool_length_m, -lane.heading)
        left = plan.pool_length_m - ending.end_m
        state = (left, -ending.speed_m_s)
        last = length is plan.lengths[-1]
        if flips:
            span = wall.tumble_s(swimmer, left, ending.speed_m_s)
            push_s = ending.end_s + span + float(rng.uniform(0.03, 0.1))
            wall.tuck(script, swimmer, coming, (ending.end_s, push_s - 0.02), state)
            land_s = ending.end_s + 0.82 * span
            wall.flip(script, swimmer, coming, ending.end_s, land_s, push_s, rng)
        else:
            pause = max(length.rest_s, 2.1)
            settled = ending.end_s + min(1.09, pause - 1.01)
            wall.move(script, coming, (ending.end_s, settled), state, wall.STAND_M)
            wall.touch(script, swimmer, coming, ending.end_s, hands)
            push_s = ending.end_s + pause
            wall.rest(script, swimmer, coming, ending.end_s, None if last else push_s, rng)
        if last:
            stay_s = 18.0 if plan.knocks else 4.0 + 0.3 * plan.standing_s
            wall.get_out(script, swimmer, coming, ending.end_s + 4.2, ending.end_s + 4.2 + stay_s)
        lane = coming
    return script
