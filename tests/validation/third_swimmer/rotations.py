"""Rotation matrices over time (N, 3, 3), columns = segment axes in the pool frame."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from .curves import RATE_HZ, Array


def about(axis: int, angle_rad: ArrayLike) -> Array:
    """Right-handed rotations about coordinate axis 0, 1 or 2."""
    angle = np.atleast_1d(np.asarray(angle_rad, dtype=float))
    first, second = (axis + 1) % 3, (axis + 2) % 3
    matrix = np.zeros((angle.size, 3, 3))
    matrix[:, axis, axis] = 1.0
    matrix[:, first, first] = matrix[:, second, second] = np.cos(angle)
    matrix[:, second, first] = np.sin(angle)
    matrix[:, first, second] = -np.sin(angle)
    return matrix


def euler(yaw_rad: ArrayLike, pitch_rad: ArrayLike, roll_rad: ArrayLike) -> Array:
    """Rz(yaw) Ry(pitch) Rx(roll); positive pitch = head down."""
    return about(2, yaw_rad) @ about(1, pitch_rad) @ about(0, roll_rad)


def apply(matrix: Array, vector: ArrayLike) -> Array:
    """Turn one vector (3,) or one a sample (N, 3) from the segment to the pool frame."""
    v = np.asarray(vector, dtype=float)
    return np.asarray(matrix @ v if v.ndim == 1 else np.einsum("nij,nj->ni", matrix, v))


def unit(vector: Array) -> Array:
    """Vectors (N, 3) scaled to length 1."""
    return np.asarray(vector / np.linalg.norm(vector, axis=1, keepdims=True))


def across(vector: Array, axis: Array) -> Array:
    """Unit part of `vector` at right angles to the unit vectors `axis`."""
    return unit(vector - np.sum(vector * axis, axis=1, keepdims=True) * axis)


def frame(x_axis: Array, z_axis: Array) -> Array:
    """Rotation matrices from unit x and z axes that are at right angles."""
    return np.stack([x_axis, np.cross(z_axis, x_axis), z_axis], axis=2)


def angular_rate(matrix: Array, rate_hz: float = RATE_HZ) -> Array:
    """Angular rate in the segment frame (rad/s), central differences of the matrices."""
    turning = np.swapaxes(matrix, 1, 2) @ np.gradient(matrix, axis=0)
    rate = np.stack(
        [
            turning[:, 2, 1] - turning[:, 1, 2],
            turning[:, 0, 2] - turning[:, 2, 0],
            turning[:, 1, 0] - turning[:, 0, 1],
        ],
        axis=1,
    )
    return np.asarray(rate * (0.5 * rate_hz))


def roll_deg(matrix: Array) -> Array:
    """Roll about the head-ward x axis (deg), positive = left side up."""
    return np.asarray(np.degrees(np.arctan2(matrix[:, 2, 1], matrix[:, 2, 2])))
