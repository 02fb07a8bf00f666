"""What happens at the walls: getting in and out, rests, turns and push-offs."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from .crawl import SURFACE_M
from .curves import Array, quintic
from .kicks import QUIET
from .script import Anchor, Script
from .strokes import idle_hands
from .traits import SIDES, Side, Swimmer, sign
from .travel import STEP_HZ

ANKLE_OFF_WALL_M = 0.06
LONG_LEG = 0.955
STAND_M = 0.55
"""Distance of the hips from the wall when standing at it."""

_DECK_ANKLE_M = 0.38
_STAND_HIP_M = -0.25
_UNDER_M = -0.45
_UPRIGHT_DEG = -90.0


@dataclass(frozen=True)
class Lane:
    """The wall a length starts from: its x (m) and the direction away from it (+1 or -1)."""

    wall_m: float
    heading: float

    def x_m(self, distance_m: Array) -> Array:
        """Pool x of a distance from this wall."""
        return np.asarray(self.wall_m + self.heading * distance_m)


def _grid(start_s: float, end_s: float) -> Array:
    return np.linspace(start_s, end_s, max(int((end_s - start_s) * STEP_HZ), 3))


def _tuck_m(swimmer: Swimmer) -> float:
    """Distance of the hips from the wall when the push-off begins."""
    return 0.5 * swimmer.leg_m


def _push_m(swimmer: Swimmer) -> float:
    """Way of the hips during the push-off."""
    return ANKLE_OFF_WALL_M + LONG_LEG * swimmer.leg_m + 0.1 - _tuck_m(swimmer)


def _push_span_s(swimmer: Swimmer) -> float:
    return 2.0 * _push_m(swimmer) / swimmer.push_speed_m_s


def move(
    script: Script, lane: Lane, span_s: tuple[float, float], start: tuple[float, float],
    end_m: float,
) -> None:  # fmt: skip
    """Bring the hips from (distance, speed) to rest at `end_m` (m from the wall of `lane`)."""
    time_s = _grid(*span_s)
    distance = quintic(time_s, (start[0], start[1], 0.0), (end_m, 0.0, 0.0))
    script.advance.append((time_s, lane.x_m(distance)))


def tuck(
    script: Script, swimmer: Swimmer, lane: Lane, span_s: tuple[float, float],
    start: tuple[float, float],
) -> None:  # fmt: skip
    """Bring the hips to where the push-off begins."""
    move(script, lane, span_s, start, _tuck_m(swimmer))


def tumble_s(swimmer: Swimmer, left_m: float, speed_m_s: float) -> float:
    """How long a flip turn takes that starts `left_m` from the wall."""
    return 1.9 * (left_m - _tuck_m(swimmer)) / max(speed_m_s, 0.9)


def push(script: Script, swimmer: Swimmer, lane: Lane, push_s: float) -> tuple[float, float]:
    """Stretch the legs against the wall; gives the moment (s) and distance (m) of take-off."""
    span = _push_span_s(swimmer)
    u = np.linspace(0.0, 1.0, max(int(span * STEP_HZ), 3))
    grown = span * swimmer.push_speed_m_s * u**4 * (2.5 + u * (u - 3.0))
    script.advance.append((push_s + span * u, lane.x_m(_tuck_m(swimmer) + grown)))
    script.both_legs(push_s - 0.12, 95.0, 110.0)
    script.both_legs(push_s + span + 0.08, *QUIET)
    script.height.add(push_s - 0.05, _UNDER_M)
    script.height.add(push_s + span, _UNDER_M - 0.03)
    return push_s + span, _tuck_m(swimmer) + _push_m(swimmer)


def _plant(
    script: Script, swimmer: Swimmer, lane: Lane, approach_s: float, on_s: float, push_s: float
) -> None:
    """Both feet on the wall from `on_s` until they roll off at the end of the push-off."""
    x, off_s = lane.wall_m + lane.heading * ANKLE_OFF_WALL_M, push_s + _push_span_s(swimmer)
    for side in SIDES:
        point = (x, lane.heading * sign(side) * (swimmer.hip_m + 0.02), _UNDER_M + 0.02)
        times = (approach_s, on_s, off_s + 0.02, off_s + 0.3)
        script.anchors.append(Anchor(f"{side}_ankle", *times, point, lane.heading))


def _ready(script: Script, swimmer: Swimmer, lane: Lane, push_s: float) -> None:
    """From standing at the wall to feet planted, body level, arms overhead, before `push_s`."""
    tuck(script, swimmer, lane, (push_s - 1.0, push_s - 0.02), (STAND_M, 0.0))
    script.height.add(push_s - 1.05, _STAND_HIP_M)
    front = (0.25 * swimmer.arm_m, 0.02, -0.45 * swimmer.arm_m)
    script.both_hands(push_s - 0.6, front, (-0.3, 0.9, 0.2), (0.6, 0.5, 0.5))
    script.streamline(push_s - 0.02, swimmer.arm_m, swimmer.shoulder_m)
    _plant(script, swimmer, lane, push_s - 0.85, push_s - 0.2, push_s)
    script.both_legs(push_s - 0.7, 60.0, 80.0)


def _on_deck(script: Script, swimmer: Swimmer, start_s: float, end_s: float) -> None:
    """Stand beside the pool, arms down, never quite still."""
    for time_s in (start_s, end_s):
        script.height.add(time_s, _DECK_ANKLE_M + swimmer.leg_m)
        script.arms_down(time_s, swimmer.arm_m)
        script.both_legs(time_s, 0.0, 5.0)
        script.level(time_s)
    for index, time_s in enumerate(np.arange(start_s + 0.7, end_s - 0.6, 0.9)):
        script.pitch.add(float(time_s), 0.5 * np.sin(2.4 * index))
        script.roll.add(float(time_s), 0.4 * np.sin(1.7 * index))


def get_in(
    script: Script, swimmer: Swimmer, lane: Lane, stood_s: float, push_s: float,
    rng: np.random.Generator,
) -> None:  # fmt: skip
    """Stand until `stood_s`, step over the edge, go down, idle, be ready at `push_s`."""
    _on_deck(script, swimmer, 0.0, stood_s)
    move(script, lane, (stood_s, stood_s + 1.5), (-0.7, 0.0), STAND_M)
    for index, side in enumerate(SIDES):
        step_s = stood_s + 0.45 + 0.4 * index
        script.legs[side].add(step_s, 35.0, 40.0, 0.0)
        script.legs[side].add(step_s + 0.5, -4.0, 8.0, 0.0)
    script.height.add(stood_s + 1.4, _DECK_ANKLE_M + swimmer.leg_m)
    script.height.add(stood_s + 2.5, _STAND_HIP_M)
    script.in_water_s = stood_s + 1.7
    script.both_legs(stood_s + 3.0, 0.0, 8.0)
    _stand(script, swimmer, stood_s + 3.0, push_s - 1.2, rng)
    pitch = ((0.0, _UPRIGHT_DEG), (push_s - 1.0, _UPRIGHT_DEG), (push_s - 0.05, 0.0))
    script.turn(0.0, push_s, pitch=pitch)
    _ready(script, swimmer, lane, push_s)


def _stand(
    script: Script, swimmer: Swimmer, start_s: float, end_s: float, rng: np.random.Generator
) -> None:
    """Idle movement at the wall (the hips stay where they are)."""
    idle_hands(script, swimmer, start_s, end_s - 0.3, rng)
    for time_s in np.arange(start_s, end_s, 1.7).tolist():
        script.height.add(time_s, _STAND_HIP_M + float(rng.normal(0.0, 0.015)))
        script.roll.add(time_s, float(rng.normal(0.0, 5.0)))
        script.both_legs(time_s, float(abs(rng.normal(4.0, 4.0))), 9.0)
        script.face_roll.add(time_s, float(rng.normal(0.0, 8.0)))
    script.level(end_s)
    script.face_roll.add(end_s, 0.0)


def touch(
    script: Script, swimmer: Swimmer, lane: Lane, touch_s: float, hands: tuple[Side, ...]
) -> None:
    """Hold the hands at the wall of the coming length from `touch_s` on for a moment."""
    x = lane.wall_m + lane.heading * swimmer.hand_m
    for side in hands:
        point = (x, -lane.heading * sign(side) * 0.8 * swimmer.shoulder_m, -0.04)
        times = (touch_s - 0.25, touch_s, touch_s + 0.4, touch_s + 0.8)
        script.anchors.append(Anchor(f"{side}_wrist", *times, point))


def rest(
    script: Script, swimmer: Swimmer, lane: Lane, touch_s: float, push_s: float | None,
    rng: np.random.Generator,
) -> None:  # fmt: skip
    """From the touch to upright, and (unless the session ends) round to the next push-off.

    `lane` is that of the coming length; with no `push_s` the swimmer stays upright.
    """
    end_s = touch_s + 4.0 if push_s is None else push_s
    short = end_s - touch_s < 3.0
    upright = _UPRIGHT_DEG * (0.85 if short else 1.0)
    pitch, yaw = [(touch_s + 0.05, 0.0), (touch_s + 0.8, upright)], [(touch_s + 0.4, 0.0)]
    script.both_legs(touch_s + 0.5, 75.0, 90.0)
    front = (0.1 * swimmer.arm_m, 0.06, -0.55 * swimmer.arm_m)
    script.both_hands(touch_s + 0.8, front, (-0.3, 0.9, 0.2), (0.6, 0.5, 0.5))
    script.height.add(touch_s + 0.9, _STAND_HIP_M - (0.06 if short else 0.0))
    script.level(touch_s + 0.5)
    if push_s is not None:
        pitch += [(push_s - 0.85, upright), (push_s - 0.05, 0.0)]
        turned_s = push_s - 0.35 if short else touch_s + 2.0
        yaw.append((turned_s, float(rng.choice([-180.0, 180.0]))))
        _ready(script, swimmer, lane, push_s)
    if not short:
        script.both_legs(touch_s + 1.4, 2.0, 9.0)
        _stand(script, swimmer, touch_s + 1.6, end_s - 1.2, rng)
    script.turn(touch_s + 0.05, end_s, yaw=yaw, pitch=pitch)


def flip(
    script: Script, swimmer: Swimmer, lane: Lane, start_s: float, land_s: float, push_s: float,
    rng: np.random.Generator,
) -> None:  # fmt: skip
    """Somersault, feet over the water to the wall, twist to the front after the push-off."""
    twist = (push_s + rng.uniform(0.9, 1.2), float(rng.choice([-180.0, 180.0])))
    script.turn(
        start_s, push_s + 1.3, pitch=((start_s, 0.0), (land_s + 0.02, 180.0)),
        roll=((push_s, 0.0), twist),
    )  # fmt: skip
    middle = start_s + 0.5 * (land_s - start_s)
    script.both_legs(start_s + 0.02, *QUIET)
    script.both_legs(middle, 75.0, 45.0)
    script.both_legs(land_s - 0.02, 100.0, 110.0)
    front = (0.3 * swimmer.arm_m, 0.05, -0.35 * swimmer.arm_m)
    script.both_hands(middle + 0.1, front, (-0.3, 0.9, 0.1), (0.6, 0.6, 0.4))
    script.streamline(push_s - 0.02, swimmer.arm_m, swimmer.shoulder_m)
    script.height.add(start_s, -SURFACE_M)
    script.height.add(land_s, _UNDER_M)
    _plant(script, swimmer, lane, land_s - 0.42, land_s, push_s)


def get_out(script: Script, swimmer: Swimmer, lane: Lane, start_s: float, end_s: float) -> None:
    """Up the wall and back on the deck; `lane` starts at that wall. Stand until `end_s`."""
    move(script, lane, (start_s + 1.5, start_s + 3.5), (STAND_M, 0.0), -0.7)
    script.height.add(start_s, _STAND_HIP_M)
    script.height.add(start_s + 1.5, _DECK_ANKLE_M + swimmer.leg_m + 0.02)
    script.out_of_water_s = start_s + 1.0
    script.arms_down(start_s + 0.2, swimmer.arm_m)
    script.both_legs(start_s, 0.0, 8.0)
    script.both_legs(start_s + 2.4, 20.0, 30.0)
    _on_deck(script, swimmer, start_s + 3.5, end_s)
