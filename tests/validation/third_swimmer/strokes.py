"""Hand, roll and leg knots of backstroke, breaststroke, butterfly and kicking on a board."""

from __future__ import annotations

from itertools import pairwise

import numpy as np

from .crawl import SURFACE_M
from .kicks import steady, write_dolphin, write_frog, write_kicks
from .script import Script, Vector
from .traits import SIDES, Side, Swimmer, other

CYCLES_HZ = {"backstroke": 0.62, "breaststroke": 0.72, "butterfly": 0.8}

Knot = tuple[float, Vector, Vector, Vector, Vector]
"""Share of the cycle, place in arm lengths, place in m (added), elbow and back of the hand."""

_BACK: tuple[Knot, ...] = (  # lies on the back: the surface is at -z of the body
    (0.00, (0.90, 0.00, 0.00), (0.0, -0.02, -SURFACE_M), (0.0, 0.8, 0.5), (0.1, -1.0, 0.1)),
    (0.16, (0.85, 0.25, 0.20), (0.0, 0.0, 0.0), (-0.2, 0.4, 0.9), (0.5, -0.8, 0.2)),
    (0.34, (0.00, 0.74, 0.25), (0.0, 0.0, 0.0), (-0.5, 0.1, 0.85), (1.0, 0.1, 0.0)),
    (0.52, (-0.86, 0.00, 0.20), (0.0, 0.12, 0.0), (0.0, 0.6, 0.8), (0.1, 1.0, -0.2)),
    (0.60, (-0.90, 0.00, 0.00), (0.0, 0.08, -SURFACE_M), (0.0, 0.8, 0.6), (0.0, 1.0, 0.0)),
    (0.80, (0.00, 0.00, -0.94), (0.0, 0.06, 0.0), (0.1, 0.9, 0.2), (-0.9, 0.3, 0.0)),
)
_BREAST: tuple[Knot, ...] = (
    (0.36, (0.80, 0.32, 0.00), (0.0, 0.0, -0.06), (0.0, 0.8, 0.6), (0.4, 0.4, 0.8)),
    (0.52, (0.30, 0.36, -0.40), (0.0, 0.0, 0.0), (0.0, 0.8, 0.5), (0.9, 0.4, 0.3)),
    (0.64, (0.28, 0.00, -0.28), (0.0, -0.1, 0.0), (-0.4, 0.8, -0.1), (0.4, 0.8, 0.4)),
)
_FLY: tuple[Knot, ...] = (
    (0.00, (0.86, 0.00, 0.00), (0.0, 0.03, SURFACE_M), (0.0, 0.6, 0.8), (0.0, 0.3, 1.0)),
    (0.22, (0.92, 0.00, 0.00), (0.0, 0.12, -0.08), (0.0, 0.8, 0.6), (0.3, 0.2, 0.9)),
    (0.46, (0.00, 0.00, -0.78), (0.0, 0.02, 0.0), (0.1, 0.95, 0.3), (1.0, 0.1, 0.1)),
    (0.60, (-0.75, 0.00, -0.15), (0.0, 0.02, 0.0), (0.0, 0.7, 0.7), (0.4, 0.8, -0.3)),
    (0.68, (-0.72, 0.22, 0.00), (0.0, 0.0, SURFACE_M + 0.01), (0.0, 0.3, 0.9), (0.1, 0.9, 0.3)),
    (0.84, (0.00, 0.90, 0.00), (0.05, 0.0, SURFACE_M + 0.12), (0.1, 0.1, 1.0), (-0.2, 0.2, 1.0)),
)


def entry_times(activity: str, start_s: float, span_s: float, rng: np.random.Generator
                ) -> list[float]:  # fmt: skip
    """Moments of the entries (breaststroke: of the glides) from the first one on, in s."""
    period = 1.0 / (CYCLES_HZ[activity] * rng.uniform(0.85, 1.15))
    periods = period * (1.0 + rng.normal(0.0, 0.03, int(span_s / period) + 3))
    return [float(t) for t in start_s + np.cumsum(periods)]


def _cycle(
    script: Script, sides: tuple[Side, ...], start_s: float, period_s: float, arm_m: float,
    knots: tuple[Knot, ...],
) -> None:  # fmt: skip
    for share, scaled, fixed, elbow, dorsal in knots:
        x, y, z = (arm_m * a + b for a, b in zip(scaled, fixed, strict=True))
        for side in sides:
            script.hand(start_s + share * period_s, side, (x, y, z), elbow, dorsal)


def write_other(
    script: Script, swimmer: Swimmer, activity: str, entries: list[float], rng: np.random.Generator
) -> None:
    """Knots of a length that is not crawl, from `entries[0]` to `entries[-1]` (s)."""
    arm, begin, end = swimmer.arm_m, entries[0], entries[-1]
    if activity == "kick":
        place = (0.9 * arm, -0.05, SURFACE_M - 0.02)
        for time_s in (begin + 0.9, end):
            script.both_hands(time_s, place, (0.0, 0.7, 0.7), (0.0, 0.1, 1.0))
        size = 0.5 + 0.4 * swimmer.kick_strength
        write_kicks(script, steady(begin, end, float(rng.uniform(1.1, 1.9)), size, rng))
        return
    for entry, after in pairwise(entries):
        period = after - entry
        if activity == "backstroke":
            for side, t in zip(SIDES, (entry, entry + 0.5 * period), strict=True):
                if t + period <= end:
                    _cycle(script, (side,), t, period, arm, _BACK)
                    lean = -0.8 if side == "left" else 0.8
                    script.roll.add(t + 0.15 * period, lean * swimmer.roll_left_up_deg)
        elif activity == "breaststroke":
            for share in (0.0, 0.2):
                script.streamline(entry + share * period, arm, swimmer.shoulder_m)
            _cycle(script, SIDES, entry, period, arm, _BREAST)
            script.pitch.add(entry + 0.1 * period, 2.0)
            script.pitch.add(entry + 0.62 * period, -24.0)
            write_frog(script, after, period)
        else:
            _cycle(script, SIDES, entry, period, arm, _FLY)
    rate_hz = 1.0 / float(np.mean(np.diff(entries)))
    if activity == "butterfly":
        write_dolphin(script, begin, end, 2.0 * rate_hz, 0.75)
    elif activity == "backstroke":
        write_kicks(script, steady(begin, end, min(3.0 * rate_hz, 2.4), 0.6, rng))


def idle_hands(
    script: Script, swimmer: Swimmer, start_s: float, end_s: float, rng: np.random.Generator
) -> None:
    """Standing in the water: sculling, and sometimes a hand at the goggles."""
    arm, time_s, middle = swimmer.arm_m, start_s, 0.5 * (start_s + end_s)
    side = SIDES[int(rng.integers(2))]
    busy = end_s - start_s > 6.0 and rng.random() < 0.7
    while time_s < end_s:
        if busy and middle - 1.0 < time_s < middle + 2.0:
            time_s = middle + 2.0
        low, out, front = rng.uniform(0.55, 0.85), rng.uniform(0.02, 0.25), rng.uniform(0.08, 0.25)
        script.hand(time_s, side, (-low * arm, out, -front), (0.0, 0.5, 0.85), (-0.1, 0.9, 0.2))
        side = other(side)
        time_s += rng.uniform(0.35, 1.1)
    for shift, up in ((-0.45, -0.2), (0.0, 0.15), (0.9, 0.12), (1.4, -0.2)) if busy else ():
        place = (up * arm, -0.08, -0.5 * arm)
        script.hand(middle + shift, side, place, (-0.6, 0.8, 0.1), (0.3, 0.9, -0.3))
