"""Smooth curves in time: minimum-jerk ramps, knot tracks and quintic bridges."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TypeAlias

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.interpolate import PchipInterpolator
from scipy.ndimage import gaussian_filter1d

Array: TypeAlias = NDArray[np.float64]

RATE_HZ = 1000.0
"""Rate of the simulated movement."""

_CLOSEST_KNOTS_S = 0.035


def ramp(time_s: ArrayLike, start_s: float, end_s: float) -> Array:
    """Minimum-jerk rise from 0 at `start_s` to 1 at `end_s`."""
    u = np.clip((np.asarray(time_s, dtype=float) - start_s) / (end_s - start_s), 0.0, 1.0)
    return np.asarray(u**3 * (10.0 + u * (6.0 * u - 15.0)), dtype=float)


def bump(time_s: ArrayLike, start_s: float, top_s: float, fall_s: float, end_s: float) -> Array:
    """Rise from 0 to 1, stay, and fall back to 0."""
    return ramp(time_s, start_s, top_s) * (1.0 - ramp(time_s, fall_s, end_s))


def smooth(values: Array, sigma_s: float, rate_hz: float = RATE_HZ) -> Array:
    """Gaussian smoothing along the first axis; makes a C1 curve C-infinity."""
    return np.asarray(
        gaussian_filter1d(values, sigma_s * rate_hz, axis=0, mode="nearest"), dtype=float
    )


def quintic(
    time_s: Array, start: tuple[float, float, float], end: tuple[float, float, float]
) -> Array:
    """Quintic over the span of `time_s` between two (position, velocity, acceleration) states."""
    span = float(time_s[-1] - time_s[0])
    powers = np.arange(6)
    left = np.array([[1, 0, 0, 0, 0, 0], [0, 1, 0, 0, 0, 0], [0, 0, 2, 0, 0, 0]], dtype=float)
    right = np.array([np.ones(6), powers, powers * (powers - 1)], dtype=float)
    scale = np.array([1.0, span, span**2])
    wanted = np.concatenate([np.array(start) * scale, np.array(end) * scale])
    coefficients = np.linalg.solve(np.vstack([left, right]), wanted)
    u = (time_s - time_s[0]) / span
    return np.asarray(np.polynomial.polynomial.polyval(u, coefficients), dtype=float)


@dataclass
class Track:
    """Knots of one or more channels, added in any order; the first of two close knots wins."""

    times_s: list[float] = field(default_factory=list)
    values: list[Array] = field(default_factory=list)

    def add(self, time_s: float, *values: float) -> None:
        """Add one knot."""
        self.times_s.append(float(time_s))
        self.values.append(np.array(values, dtype=float))

    def extend(self, other: Track, until_s: float = np.inf) -> None:
        """Add the knots of another track that lie before `until_s`."""
        for time_s, value in zip(other.times_s, other.values, strict=True):
            if time_s < until_s:
                self.add(time_s, *value)

    def last_s(self) -> float:
        """Time of the latest knot."""
        return max(self.times_s)

    def curve(self, time_s: Array, sigma_s: float = 0.0, rate_hz: float = RATE_HZ) -> Array:
        """Monotone cubic through the knots, held outside them, smoothed by a Gaussian."""
        order = np.argsort(self.times_s, kind="stable")
        knots: list[float] = []
        rows: list[Array] = []
        for index in order:
            if not knots or self.times_s[index] - knots[-1] > _CLOSEST_KNOTS_S:
                knots.append(self.times_s[index])
                rows.append(self.values[index])
        times, table = np.array(knots), np.array(rows)
        if times.size == 1:
            raw = np.repeat(table, time_s.size, axis=0)
        else:
            spline = PchipInterpolator(times, table, axis=0)
            raw = spline(np.clip(time_s, times[0], times[-1]))
        raw = raw[:, 0] if raw.shape[1] == 1 else raw
        return smooth(raw, sigma_s, rate_hz) if sigma_s > 0.0 else np.asarray(raw, dtype=float)
