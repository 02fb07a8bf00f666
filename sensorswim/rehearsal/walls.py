"""Everything at the wall: standing, resting, getting ready, push-off, turns and touches."""

from __future__ import annotations

from typing import Final

import numpy as np
from scipy.integrate import cumulative_trapezoid
from scipy.interpolate import PchipInterpolator
from scipy.optimize import brentq

from sensorswim.model import Side
from sensorswim.model.streams import FloatArray
from sensorswim.rehearsal.arms import AT_SIDE, HANG, STREAMLINE, Pose, hold_pose, set_pose
from sensorswim.rehearsal.legs import crouch_at, leg_m
from sensorswim.rehearsal.score import LengthScore
from sensorswim.rehearsal.settings import Rest
from sensorswim.rehearsal.stage import Stage

TURNS: Final = ("flip", "open", "stop")
BODY = ("yaw", "somersault", "twist", "z", "pitch", "roll_shoulders", "roll_hips", "roll_legs",
        "head_roll", "head_pitch", "crouch", "speed")  # fmt: skip
WATER_Z_M, SWIM_Z_M, PUSH_Z_M = -0.2, -0.11, -0.5
PLANTED: Final = 0.8
"""How far the legs are drawn up with the feet on the wall: knees at right angles."""
TOES_S: Final = 0.1
"""So long before it leaves the wall, the foot stretches and the ankle begins to follow the body."""
_DRIVE: Final = ((0.0, 0.0), (0.5, 0.45), (1.0, 1.0))
"""Share of the drive's time and of the speed at its end."""


def stand(stage: Stage, duration_s: float) -> None:
    """Stand still: only the slow sway that the body adds."""
    end = stage.time_s + duration_s
    stage.timeline.hold(stage.time_s, *BODY)
    stage.timeline.hold(end, *BODY)
    for side in Side:
        hold_pose(stage.timeline, side, stage.time_s)
        hold_pose(stage.timeline, side, end)
    stage.time_s = end


def rest(stage: Stage, segment: Rest) -> None:
    """Rest at the wall: now and then a hand goes to the face, the goggles or the lane rope."""
    start, rng = stage.time_s, stage.rng
    end = start + segment.duration_s
    stage.timeline.hold(start, *BODY)
    for side in Side:
        moment = start + rng.uniform(0.5, 3.0)
        hold_pose(stage.timeline, side, moment)
        while moment + 4.0 < end:
            pose: Pose = (
                rng.uniform(-150, -50), rng.uniform(-15, 40), rng.uniform(45, 140),
                0, rng.uniform(0.5, 1), rng.uniform(0.2, 0.6), rng.uniform(-20, 40), 0.0,
            )  # fmt: skip
            up, stay = rng.uniform(0.5, 1.2), rng.uniform(0.3, 2.0)
            turns = stage.arm_turns[side]
            set_pose(stage.timeline, side, moment + up, pose, turns=turns)
            hold_pose(stage.timeline, side, moment + up + stay)
            moment += up + stay + rng.uniform(0.5, 1.2)
            set_pose(stage.timeline, side, moment, HANG, turns=turns)
            moment += rng.uniform(0.5, 5.0)
            hold_pose(stage.timeline, side, min(moment, end))
        hold_pose(stage.timeline, side, end)
    if segment.walking:
        _walk(stage, start, end)
    stage.timeline.hold(end, *BODY)
    stage.time_s = end


def _walk(stage: Stage, start_s: float, end_s: float) -> None:
    """Swing legs and arms in step, on the spot as far as the pool is concerned.

    The steps have a random stream of their own: what is swum afterwards stays the same.
    """
    rng = stage.rng.spawn(1)[0]
    step, moment, sign = rng.uniform(0.5, 0.65), start_s + 0.5, 1
    while moment + step < end_s:
        for side in Side:
            forward = sign * side.sign
            stage.timeline.key(moment, **{f"{side}_stride": 18.0 * forward})
            stage.timeline.key(moment, **{f"{side}_swing": -14.0 * forward})
        moment += step * (1 + 0.04 * rng.normal())
        sign = -sign
    for side in Side:
        stage.timeline.key(start_s, **{f"{side}_stride": 0.0, f"{side}_swing": 0.0})
        stage.timeline.key(end_s, **{f"{side}_stride": 0.0, f"{side}_swing": 0.0})


def get_ready(stage: Stage) -> None:
    """Bring a standing swimmer to the wall: prone, feet planted, arms ahead."""
    if not stage.standing:
        return
    if stage.dry:
        stage.timeline.hold(stage.time_s, *BODY)
        stage.time_s += 2.5
        stage.timeline.key(stage.time_s, z=WATER_Z_M)
        for side in Side:
            hold_pose(stage.timeline, side, stage.time_s)
        stand(stage, stage.rng.uniform(1.0, 3.0))
        stage.dry = False
    start = stage.time_s
    stage.timeline.hold(start, *BODY)
    for side in Side:
        hold_pose(stage.timeline, side, start)
    plant(stage, start + 1.3)
    stage.standing = False


def plant(stage: Stage, time_s: float) -> None:
    """Be prone with the feet on the wall and the arms ahead at this moment."""
    stage.carrier(time_s)
    stage.timeline.key(time_s, crouch=PLANTED, z=PUSH_Z_M, pitch=0.0, speed=0.0, head_pitch=8.0)
    for side in Side:
        set_pose(stage.timeline, side, time_s, STREAMLINE, turns=stage.arm_turns[side])
    level(stage, time_s)
    stage.time_s = time_s


def level(stage: Stage, time_s: float) -> None:
    """No roll at this moment."""
    stage.timeline.key(time_s, roll_shoulders=0.0, roll_hips=0.0, roll_legs=0.0, head_roll=0.0)


def push_off(
    stage: Stage, start_s: float, *, supine: bool = False
) -> list[tuple[float, float, float]]:
    """Push off; return moments with the speed's share of the swim speed and its fixed part."""
    swimmer = stage.swimmer
    peak = swimmer.push_speed_m_s
    drive = _stretch_legs(stage, start_s, peak)
    out = start_s + drive + swimmer.glide_s
    stage.timeline.key(start_s, z=PUSH_Z_M)
    stage.timeline.key(out, crouch=0.0, z=SWIM_Z_M - 0.04, pitch=-0.5 * swimmer.body_pitch_deg)
    stage.timeline.key(start_s + drive + 0.4, z=PUSH_Z_M + 0.02, pitch=-1.0)
    for side in Side:
        hold_pose(stage.timeline, side, out - 0.05)
    stage.carrier(start_s + 0.1)
    stage.twist_deg += 180.0 * supine
    stage.carrier(out)
    level(stage, out - 0.25)
    stage.score.contacts.append((start_s + 0.02, "feet", 5.0))
    for k in range(swimmer.dolphin_kicks):
        for side in Side:
            beat = (start_s + drive + 0.4 + 0.42 * k, 42.0, 20.0)
            stage.score.kick_sizes[side].append(beat)
    middle = start_s + drive + 0.4 * swimmer.glide_s
    return [
        (start_s, 0.0, 0.0),
        *((start_s + share * drive, 0.0, speed * peak) for share, speed in _DRIVE[1:]),
        (middle, 0.5, 0.38 * peak),
        (out, 1.0, 0.03 * peak),
    ]


def _stretch_legs(stage: Stage, start_s: float, peak_m_s: float) -> float:
    """Lay the legs of a push-off; return how long it takes until the feet leave the wall.

    The feet stay where they are, so the body's way is what the legs get longer; at the end the
    ankle follows until it is as fast as the body.
    """
    height_m = stage.swimmer.height_m
    way_m = float(np.diff(leg_m(np.array([PLANTED, 0.03]), height_m))[0])
    share = np.linspace(0.0, 1.0, 41)
    speed = np.asarray(PchipInterpolator(*np.transpose([*_DRIVE, (2.0, 0.4)]))(share))

    def stretched_m(drive_s: float) -> FloatArray:
        toes = np.clip(1.0 + (share - 1.0) * drive_s / TOES_S, 0.0, 1.0)
        ankle = toes * toes * (3.0 - 2.0 * toes)
        gained = peak_m_s * speed * (1.0 - ankle) * drive_s
        return np.asarray(cumulative_trapezoid(gained, share, initial=0.0))

    drive_s = brentq(lambda one_s: stretched_m(one_s)[-1] - way_m, TOES_S, 5.0)
    legs = crouch_at(leg_m(np.array([PLANTED]), height_m) + stretched_m(drive_s), height_m)
    for moment_s, crouch in zip(start_s + share * drive_s, legs, strict=True):
        stage.timeline.key(moment_s, crouch=crouch)
    return float(drive_s)


def flip(stage: Stage, score: LengthScore, start_s: float, feet_s: float) -> None:
    """Somersault from both arms at the sides to the feet on the wall, half twist in the push."""
    stage.carrier(start_s)
    stage.timeline.key(start_s, crouch=0.0, head_pitch=10.0)
    level(stage, start_s + 0.05)
    stage.timeline.key(start_s + 0.4, crouch=0.9, head_pitch=35.0)
    stage.somersault_deg += stage.over * 180.0
    stage.timeline.key(feet_s - 0.02, somersault=stage.somersault_deg, head_pitch=10.0)
    stage.timeline.key(start_s + 0.55, z=-0.3)
    stage.timeline.key(feet_s, crouch=PLANTED - 0.05, z=PUSH_Z_M, pitch=0.0, speed=0.0)
    stage.timeline.hold(feet_s, "twist")
    stage.score.contacts.append((feet_s, "feet", stage.rng.uniform(15, 40)))
    stage.twist_deg += stage.over * 180.0
    stage.over = -stage.over
    stage.direction = -stage.direction
    score.end_s = feet_s
    go = feet_s + stage.rng.uniform(0.12, 0.25)
    for side in Side:
        hold_pose(stage.timeline, side, start_s + 0.2)
        set_pose(stage.timeline, side, go, STREAMLINE, turns=stage.arm_turns[side])
    stage.timeline.key(go, crouch=PLANTED, speed=0.0, twist=stage.twist_deg - stage.over * -150.0)
    stage.timeline.key(go + 0.7, twist=stage.twist_deg)
    level(stage, go)
    stage.time_s, stage.standing = go, False


def touch(
    stage: Stage,
    score: LengthScore,
    touch_s: float,
    hand: Side,
    *,
    turn: str,
    supine: bool = False,
) -> None:
    """Touch with one hand; then turn and plant the feet, or stand up and turn round."""
    score.end_s = touch_s
    stage.score.contacts.append((touch_s, f"{hand}_hand", stage.rng.uniform(8, 35)))
    stage.carrier(touch_s)
    stage.twist_deg -= 180.0 * supine
    stage.timeline.key(touch_s, crouch=0.0, speed=0.0, head_pitch=0.0)
    level(stage, touch_s + 0.05)
    way = reach_m(stage) - 0.62
    quick = turn == "open"
    last = touch_s + (stage.rng.uniform(0.9, 1.2) if quick else stage.rng.uniform(2.0, 3.0))
    stage.shift(touch_s + 0.02, touch_s + 0.6 * (last - touch_s), way)
    hold_pose(stage.timeline, hand, touch_s + 0.1)
    stage.yaw_deg += 180.0 * (1 if hand is Side.RIGHT else -1)
    stage.direction = -stage.direction
    for side in Side:
        turns = stage.arm_turns[side]
        set_pose(stage.timeline, side, touch_s + 0.45 * (last - touch_s), AT_SIDE, turns=turns)
    if quick:
        middle = touch_s + 0.5 * (last - touch_s)
        stage.timeline.key(
            middle, somersault=stage.somersault_deg - stage.over * 55.0, crouch=1.0, z=-0.3
        )
        stage.score.contacts.append((last - 0.12, "feet", stage.rng.uniform(5, 20)))
        plant(stage, last)
        stage.standing = False
        return
    up = touch_s + 0.5 * (last - touch_s)
    stage.timeline.key(up, somersault=stage.somersault_deg - stage.over * 90.0, z=WATER_Z_M)
    stage.timeline.key(up - 0.3, crouch=0.5)
    stage.timeline.hold(up, "yaw")
    stage.carrier(last, tilt_deg=90.0)
    stage.timeline.key(last, crouch=0.0, z=WATER_Z_M, pitch=0.0)
    for side in Side:
        set_pose(stage.timeline, side, last, HANG, turns=stage.arm_turns[side])
    stage.time_s, stage.standing = last, True


def reach_m(stage: Stage) -> float:
    """Pelvis to wall when the fingers of one stretched arm touch."""
    return 0.69 * stage.swimmer.height_m + 0.07
