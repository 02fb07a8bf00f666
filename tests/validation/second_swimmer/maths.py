"""Smooth steps, clamps, rotations and noise that the simulated body is made of."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray
from scipy.interpolate import CubicSpline
from scipy.ndimage import gaussian_filter1d

Array = NDArray[np.float64]

RATE_HZ = 1000
GRAVITY_M_S2 = 9.80665


def ease(t: Array, start: float, end: float) -> Array:
    """Return a step from 0 to 1 between two times, with speed and acceleration 0 at both ends."""
    u = np.clip((t - start) / (end - start), 0.0, 1.0)
    return u**3 * (10.0 + u * (6.0 * u - 15.0))


def eased(t: Array, start: float, moves: Sequence[tuple[float, float, float]]) -> Array:
    """Return a value that goes through moves (from time, to time, new value), each eased."""
    value = np.full(t.shape, start)
    now = start
    for begin, end, target in moves:
        value += (target - now) * ease(t, begin, end)
        now = target
    return value


def hermite(
    t: Array, span: tuple[float, float], first: Sequence[float], last: Sequence[float]
) -> Array:
    """Return the fifth-degree path that meets place, speed and acceleration at both ends."""
    length = span[1] - span[0]
    ends = np.array(
        [
            *(value * length**k for k, value in enumerate(first)),
            *(value * length**k for k, value in enumerate(last)),
        ]
    )
    powers = np.arange(6)
    at_end = [powers**0, powers, powers * (powers - 1)]
    at_start = [np.eye(6)[0], np.eye(6)[1], 2.0 * np.eye(6)[2]]
    coefficients = np.linalg.solve(np.array([*at_start, *at_end], dtype=float), ends)
    u = np.clip((t - span[0]) / length, 0.0, 1.0)
    return np.asarray(np.polynomial.polynomial.polyval(u, coefficients), dtype=np.float64)


def not_below(phase: Array, floor: float, softness: float = 0.15) -> Array:
    """Return the larger of phase and floor with the corner rounded."""
    return floor + softness * np.logaddexp(0.0, (phase - floor) / softness)


def not_above(phase: Array, ceiling: float, softness: float = 0.15) -> Array:
    """Return the smaller of phase and ceiling with the corner rounded."""
    return ceiling - softness * np.logaddexp(0.0, (ceiling - phase) / softness)


def hump(angle: Array, centre: float, sharpness: float) -> Array:
    """Return a periodic hump of height 1 over an angle in rad (a von Mises shape)."""
    return np.exp(sharpness * (np.cos(angle - centre) - 1.0))


def smooth_noise(rng: np.random.Generator, count: int, width_s: float) -> Array:
    """Return noise of unit spread at the simulation rate that changes over about `width_s`."""
    step = max(int(width_s * RATE_HZ / 4), 1)
    coarse = gaussian_filter1d(rng.standard_normal(count // step + 40), 2.5)[16:]
    curve = CubicSpline(np.arange(coarse.size) * float(step), coarse)
    return np.asarray(curve(np.arange(count)) * np.sqrt(2.0 * np.sqrt(np.pi) * 2.5))


def turn_x(angle: Array) -> Array:
    """Return rotations about x as matrices (n, 3, 3)."""
    return _turn(angle, 1, 2)


def turn_y(angle: Array) -> Array:
    """Return rotations about y as matrices (n, 3, 3)."""
    return _turn(angle, 2, 0)


def turn_z(angle: Array) -> Array:
    """Return rotations about z as matrices (n, 3, 3)."""
    return _turn(angle, 0, 1)


def _turn(angle: Array, first: int, second: int) -> Array:
    matrix = np.zeros((angle.size, 3, 3))
    matrix[:] = np.eye(3)
    cosine, sine = np.cos(angle), np.sin(angle)
    matrix[:, first, first] = matrix[:, second, second] = cosine
    matrix[:, first, second] = -sine
    matrix[:, second, first] = sine
    return matrix


def roll_of(rotation: Array) -> Array:
    """Return the roll about the head-ward axis in rad: + = left side up."""
    return np.arctan2(rotation[:, 2, 1], rotation[:, 2, 2])


def turning_rate(rotation: Array) -> Array:
    """Return the turning rate in the turning body's own axes, rad/s, shape (n, 3)."""
    change = np.gradient(rotation, axis=0) * RATE_HZ
    skew = np.swapaxes(rotation, 1, 2) @ change
    return np.stack(
        [
            0.5 * (skew[:, 2, 1] - skew[:, 1, 2]),
            0.5 * (skew[:, 0, 2] - skew[:, 2, 0]),
            0.5 * (skew[:, 1, 0] - skew[:, 0, 1]),
        ],
        axis=1,
    )


def acceleration(position: Array) -> Array:
    """Return the second derivative of a path (n, 3) in m/s^2."""
    second = np.zeros_like(position)
    second[1:-1] = (position[2:] - 2.0 * position[1:-1] + position[:-2]) * RATE_HZ**2
    return second
