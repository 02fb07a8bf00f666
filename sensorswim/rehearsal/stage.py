"""Where the swimmer is while a plan is laid out."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from scipy.interpolate import PchipInterpolator

from sensorswim.model import Side
from sensorswim.rehearsal.score import Score
from sensorswim.rehearsal.settings import Swimmer
from sensorswim.rehearsal.timeline import Timeline

WALL_M = 0.62
"""Pelvis to wall with the feet planted and the legs bent."""


@dataclass(kw_only=True)
class Stage:
    """The state between segments.

    Parameters
    ----------
    direction : int
        +1 when the next length goes along world x, -1 back.
    over : int
        +1, or -1 after an odd number of flip turns (somersault and half twist both at 180).
    yaw_deg, somersault_deg, twist_deg : float
        Resting values of the carrier's angles when prone.
    arm_turns : dict
        Full cycles that each arm's psi has gone through.
    standing : bool
        Upright between lengths.
    """

    swimmer: Swimmer
    pool_length_m: float
    rng: np.random.Generator
    timeline: Timeline = field(default_factory=Timeline)
    score: Score = field(default_factory=Score)
    time_s: float = 0.0
    direction: int = 1
    over: int = 1
    yaw_deg: float = 0.0
    somersault_deg: float = 0.0
    twist_deg: float = 0.0
    arm_turns: dict[Side, float] = field(default_factory=lambda: dict.fromkeys(Side, 0.0))
    standing: bool = True
    dry: bool = True

    def upright(self) -> None:
        """Start upright at the wall, facing along the lane."""
        self.timeline.key(
            0.0,
            yaw=0.0, somersault=-90.0, twist=0.0, speed=0.0, z=0.95, pitch=0.0,
            roll_shoulders=0.0, roll_hips=0.0, roll_legs=0.0, head_roll=0.0, head_pitch=0.0,
            crouch=0.0,
        )  # fmt: skip

    def carrier(self, time_s: float, *, tilt_deg: float = 0.0) -> None:
        """Set the carrier prone, or tilted up by an angle (90 = upright)."""
        self.timeline.key(
            time_s,
            yaw=self.yaw_deg,
            somersault=self.somersault_deg - self.over * tilt_deg,
            twist=self.twist_deg,
        )

    def travel(self, times_s: list[float], speeds_m_s: list[float]) -> None:
        """Lay speeds along the swimming direction."""
        for time_s, speed in zip(times_s, speeds_m_s, strict=True):
            self.timeline.key(time_s, speed=self.direction * speed)

    def shift(self, start_s: float, end_s: float, distance_m: float) -> None:
        """Move along the swimming direction from rest to rest."""
        times = [start_s, 0.5 * (start_s + end_s), end_s]
        area = distance(times, [0.0, 1.0, 0.0])
        self.travel(times, [0.0, distance_m / area, 0.0])


def distance(times_s: list[float], speeds_m_s: list[float]) -> float:
    """Return the way in metres under the monotone curve through these speeds, at rest outside."""
    times = np.r_[times_s[0] - 0.5, times_s, times_s[-1] + 0.5]
    speeds = np.r_[0.0, speeds_m_s, 0.0]
    order = np.argsort(times, kind="stable")
    times, speeds = times[order], speeds[order]
    keep = np.r_[True, np.diff(times) > 0.004]
    curve = PchipInterpolator(times[keep], speeds[keep])
    return float(curve.integrate(times[0], times[-1]))
