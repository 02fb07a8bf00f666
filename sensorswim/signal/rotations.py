"""Quaternions for whole recordings: unit, scalar first; `q_world_from_sensor` gives R(q) v = world.

Written out on columns because a recording has some 10^6 rows and scipy's ``Rotation`` checks and
reorders every one of them; the tests hold the two against each other.
"""

from __future__ import annotations

import numpy as np

from sensorswim.model.streams import FloatArray


def multiply(q: FloatArray, p: FloatArray) -> FloatArray:
    """Return the Hamilton product q p, rows broadcast.

    Parameters
    ----------
    q, p : (..., 4)
        Scalar first. The product turns by `p` first, then by `q`.

    Returns
    -------
    (..., 4)
    """
    w, x, y, z = _columns(q)
    a, b, c, d = _columns(p)
    return _by_column(
        w * a - x * b - y * c - z * d,
        w * b + x * a + y * d - z * c,
        w * c - x * d + y * a + z * b,
        w * d + x * c - y * b + z * a,
    )


def conjugate(q: FloatArray) -> FloatArray:
    """Return the inverse rotation of unit quaternions (..., 4)."""
    return np.asarray(q) * np.array([1.0, -1.0, -1.0, -1.0])


def rotate(q: FloatArray, vector: FloatArray) -> FloatArray:
    """Return R(q) v: with `q_world_from_sensor`, a sensor-frame vector in the world frame.

    Parameters
    ----------
    q : (..., 4)
        Unit, scalar first.
    vector : (..., 3)
        Any unit, kept.

    Returns
    -------
    (..., 3)
    """
    w, x, y, z = _columns(q)
    a, b, c = _columns(vector)
    twice_a, twice_b, twice_c = 2.0 * (y * c - z * b), 2.0 * (z * a - x * c), 2.0 * (x * b - y * a)
    return _by_column(
        a + w * twice_a + (y * twice_c - z * twice_b),
        b + w * twice_b + (z * twice_a - x * twice_c),
        c + w * twice_c + (x * twice_b - y * twice_a),
    )


def rotate_back(q: FloatArray, vector: FloatArray) -> FloatArray:
    """Return R(q)^T v: with `q_world_from_sensor`, a world-frame vector in the sensor frame."""
    return rotate(conjugate(q), vector)


def up_in_sensor(q_world_from_sensor: FloatArray) -> FloatArray:
    """Return the world's up in the sensor frame, (..., 3), unit: the last row of R(q)."""
    w, x, y, z = _columns(q_world_from_sensor)
    return np.stack(
        [2.0 * (x * z - w * y), 2.0 * (y * z + w * x), 1.0 - 2.0 * (x * x + y * y)], axis=-1
    )


def from_up(up_sensor: FloatArray) -> FloatArray:
    """Return the shortest turn that takes a sensor-frame direction to the world's up.

    Parameters
    ----------
    up_sensor : (..., 3)
        Direction of up in the sensor frame, e.g. specific force at rest; any length. A zero
        vector gives the identity.

    Returns
    -------
    (..., 4)
        `q_world_from_sensor` with no turn about the vertical.
    """
    up = np.asarray(up_sensor, dtype=float)
    length = np.linalg.norm(up, axis=-1, keepdims=True)
    x, y, z = _columns(up / np.where(length > 0.0, length, 1.0))
    w = 1.0 + np.where(length[..., 0] > 0.0, z, 1.0)
    down = w < 1e-9
    q = np.stack([np.where(down, 0.0, w), np.where(down, 1.0, y), -x, np.zeros_like(w)], axis=-1)
    return q / np.linalg.norm(q, axis=-1, keepdims=True)


def from_rotation_vector(turn_rad: FloatArray) -> FloatArray:
    """Return the turn (..., 4) about a vector (..., 3) by its length."""
    x, y, z = _columns(turn_rad)
    half = 0.5 * np.sqrt(x * x + y * y + z * z)
    share = 0.5 * np.sinc(half / np.pi)
    return _by_column(np.cos(half), share * x, share * y, share * z)


def rotation_vector(q: FloatArray) -> FloatArray:
    """Return axis times angle (..., 3), 0 to pi, of unit quaternions (..., 4)."""
    w, x, y, z = _columns(q)
    size = np.sqrt(x * x + y * y + z * z)
    angle = 2.0 * np.arctan2(size, np.abs(w))
    share = np.copysign(np.where(size > 0.0, angle / np.where(size > 0.0, size, 1.0), 2.0), w)
    return _by_column(share * x, share * y, share * z)


def _columns(values: FloatArray) -> list[FloatArray]:
    """Return what lies along the last axis, one by one: `np.moveaxis` is slow on small arrays."""
    held = np.asarray(values)
    return [held[..., column] for column in range(held.shape[-1])]


def _by_column(*columns: FloatArray) -> FloatArray:
    """Return columns as the last axis, each one contiguous in memory."""
    held = np.empty((len(columns), *columns[0].shape), columns[0].dtype)
    for row, column in enumerate(columns):
        held[row] = column
    return held.transpose(*range(1, held.ndim), 0)


def angle_between(a: FloatArray, b: FloatArray) -> FloatArray:
    """Return the angle in rad between vectors (..., 3), accurate near 0 and pi."""
    return np.arctan2(np.linalg.norm(_cross(a, b), axis=-1), np.sum(a * b, axis=-1))


def _cross(a: FloatArray, b: FloatArray) -> FloatArray:
    """`np.cross` on the last axis, several times faster for long tables."""
    a0, a1, a2 = _columns(a)
    b0, b1, b2 = _columns(b)
    return np.stack([a1 * b2 - a2 * b1, a2 * b0 - a0 * b2, a0 * b1 - a1 * b0], axis=-1)
