"""Legs: kicks, the curves of thigh and knee that they make, and legs drawn up."""

from __future__ import annotations

from typing import Final

import numpy as np

from sensorswim.model import Side
from sensorswim.model.streams import FloatArray
from sensorswim.rehearsal.body import SHANK, THIGH
from sensorswim.rehearsal.settings import Swimmer
from sensorswim.rehearsal.timeline import RATE_HZ, smooth

L, R = Side.LEFT, Side.RIGHT
_DRAWN_DEG: Final = ((95.0, -2.0), (105.0, 5.0))
"""Thigh swing and knee bend with the legs drawn up, beyond those of stretched ones, and these."""
PATTERNS: Final[dict[str, tuple[tuple[Side, float, float], ...]]] = {
    "6": ((R, 0, 1), (L, 1 / 6, 0.8), (R, 1 / 3, 0.7), (L, 1 / 2, 1), (R, 2 / 3, 0.8),
          (L, 5 / 6, 0.7)),
    "4": ((R, 0, 1), (L, 0.2, 0.55), (L, 0.5, 1), (R, 0.7, 0.55)),
    "3+1": ((R, 0, 1), (L, 0.18, 0.6), (R, 0.36, 0.6), (L, 0.55, 1)),
    "2": ((R, 0, 1), (L, 0.5, 1)),
    "crossover": ((R, 0, 1), (L, 0.22, 0.45), (L, 0.5, 1), (R, 0.72, 0.45)),
    "none": (),
}  # fmt: skip
"""Side, phase from the left entry and relative size; six and two beats after Maglischo (2003),
from memory."""


def cycle_kicks(
    swimmer: Swimmer, start_s: float, period_s: float, rng: np.random.Generator
) -> list[tuple[Side, float, float]]:
    """Return side, downbeat and relative size of the kicks of one arm cycle."""
    if swimmer.kick == "sparse":
        count = int(rng.integers(0, 3))
        pattern = tuple(
            (Side(rng.choice(["left", "right"])), float(rng.random()), 0.6) for _ in range(count)
        )
    elif swimmer.kick == "irregular":
        pattern = tuple(k for k in PATTERNS["6"] if rng.random() > 0.3)
    else:
        pattern = PATTERNS[swimmer.kick]
    spread = swimmer.kick_jitter * (3.0 if swimmer.kick in ("irregular", "sparse") else 1.0)
    kicks = []
    for side, phase, size in pattern:
        even = 1.0 - (1.0 - size) * 2.0 * swimmer.kick_unevenness
        moment = start_s + period_s * (phase + swimmer.kick_shift + rng.normal(0, spread))
        kicks.append((side, moment, max(0.2, even * (1 + rng.normal(0, 0.1)))))
    return kicks


def drawn_up(crouch: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Return thigh swing and knee bend (N,) in degrees of legs drawn up by a share (N,)."""
    (swing, least), (bend, bent) = _DRAWN_DEG
    return least + swing * crouch, bent + bend * crouch


def leg_m(crouch: FloatArray, height_m: float) -> FloatArray:
    """Return how far (N,) the ankle lies behind the hip with the legs drawn up by a share (N,)."""
    thigh, knee = np.radians(drawn_up(crouch))
    return np.asarray(height_m * (THIGH * np.cos(thigh) + SHANK * np.cos(thigh - knee)))


def crouch_at(length_m: FloatArray, height_m: float) -> FloatArray:
    """Return the share (N,) by which legs of these lengths (N,), as of `leg_m`, are drawn up."""
    shares = np.linspace(1.0, 0.0, 201)
    return np.asarray(np.interp(length_m, leg_m(shares, height_m), shares))


def _step(time_s: FloatArray, start_s: float, end_s: float) -> FloatArray:
    share = np.clip((time_s - start_s) / (end_s - start_s), 0.0, 1.0)
    return share * share * share * (10.0 - 15.0 * share + 6.0 * share * share)


def leg_curves(
    kicks: list[tuple[float, float, float]], time_s: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """Return thigh swing and knee bend (N,) in degrees from the leg's downbeats.

    The thigh starts down while the knee still bends; the shank then whips down, fastest near
    the downbeat, and the straight leg is lifted slowly.
    """
    hip, knee = np.zeros_like(time_s), np.zeros_like(time_s)
    kicks = sorted(kicks)
    times = np.array([kick[0] for kick in kicks])
    for i, (moment, bend, swing) in enumerate(kicks):
        before = moment - times[i - 1] if i else 0.9
        after = times[i + 1] - moment if i + 1 < len(times) else 0.9
        rise, back = np.clip((before, after), 0.18, 0.95)
        span = slice(max(0, int((moment - rise) * RATE_HZ)), int((moment + back) * RATE_HZ) + 1)
        t, fall = time_s[span], 0.17 * min(rise, 0.75) + 0.02
        knee[span] += bend * (
            _step(t, moment - 0.66 * rise, moment - fall) - _step(t, moment - fall, moment + fall)
        )
        hip[span] += swing * (
            _step(t, moment - 0.42 * rise, moment + 0.08 * back)
            - _step(t, moment + 0.08 * back, moment + 0.7 * back)
        )
    return smooth(hip, 0.02), smooth(knee, 0.016)
