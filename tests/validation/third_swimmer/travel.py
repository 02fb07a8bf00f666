"""Speed of the trunk along the lane: drag against the pushes of hands and feet."""

from __future__ import annotations

import numpy as np

from .curves import Array, Track, ramp
from .traits import SIDES, Side

STEP_HZ = 200.0

_GLIDE_DRAG = 0.24
_SWIM_DRAG = 0.36
_HAND_PUSH = 1.45


def coast(
    hands: dict[Side, Track], kick_m_s2: float, swim_s: float, start: tuple[float, float, float],
    span_s: float, drag_scale: float = 1.0,
) -> tuple[Array, Array, Array]:  # fmt: skip
    """Times (s), distances (m) and speeds (m/s) from `start` = (time, distance, speed) on.

    A hand pushes with the square of its backward speed through the water; per kg of swimmer
    and entrained water. Arms and legs (`kick_m_s2`) work from `swim_s` on.
    """
    time_s = start[0] + np.arange(int(span_s * STEP_HZ)) / STEP_HZ
    rates = []
    for side in SIDES:
        if hands[side].times_s:
            place = hands[side].curve(time_s, 0.02, STEP_HZ)[:, 0]
            rates.append(np.gradient(place, 1.0 / STEP_HZ))
    backward = -np.array(rates) if rates else np.zeros((1, time_s.size))
    backward *= ramp(time_s, swim_s, swim_s + 0.1)
    drag = drag_scale * (
        _GLIDE_DRAG + (_SWIM_DRAG - _GLIDE_DRAG) * ramp(time_s, swim_s - 0.4, swim_s + 0.3)
    )
    kick = kick_m_s2 * ramp(time_s, swim_s, swim_s + 0.3)
    speed, distance = np.empty(time_s.size), np.empty(time_s.size)
    v, s = start[2], start[1]
    pushes = backward.T.tolist()
    for index, (k, f, push) in enumerate(zip(drag.tolist(), kick.tolist(), pushes, strict=True)):
        speed[index], distance[index] = v, s
        thrust = f + _HAND_PUSH * sum(max(p - v, 0.0) ** 2 for p in push)
        v = max(v + (thrust - k * v * v) / STEP_HZ, 0.15)
        s += v / STEP_HZ
    return time_s, distance, speed
