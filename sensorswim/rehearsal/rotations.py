"""Rotation matrices along a time axis, (N, 3, 3), columns = the segment's axes in the world."""

from __future__ import annotations

import numpy as np

from sensorswim.model.streams import FloatArray


def _plane(angle_rad: FloatArray, first: int, second: int) -> FloatArray:
    matrix = np.zeros((len(angle_rad), 3, 3))
    matrix[:] = np.eye(3)
    cosine, sine = np.cos(angle_rad), np.sin(angle_rad)
    matrix[:, first, first] = cosine
    matrix[:, second, second] = cosine
    matrix[:, second, first] = sine
    matrix[:, first, second] = -sine
    return matrix


def about_x(angle_rad: FloatArray) -> FloatArray:
    """Rotate about x by the angles (N,)."""
    return _plane(angle_rad, 1, 2)


def about_y(angle_rad: FloatArray) -> FloatArray:
    """Rotate about y by the angles (N,)."""
    return _plane(angle_rad, 2, 0)


def about_z(angle_rad: FloatArray) -> FloatArray:
    """Rotate about z by the angles (N,)."""
    return _plane(angle_rad, 0, 1)


def apply(rotation: FloatArray, vector: FloatArray) -> FloatArray:
    """Rotate one vector (3,) or one a sample (N, 3) by (N, 3, 3)."""
    if vector.ndim == 1:
        return rotation @ vector
    return np.einsum("nij,nj->ni", rotation, vector)


def unit(vector: FloatArray) -> FloatArray:
    """Scale (N, 3) to length 1."""
    return vector / np.linalg.norm(vector, axis=1, keepdims=True)


def from_axes(x_axis: FloatArray, z_hint: FloatArray) -> FloatArray:
    """Return frames with this x axis and a z axis as near to the hint as it can be."""
    x_axis = unit(x_axis)
    z_axis = unit(z_hint - np.sum(z_hint * x_axis, axis=1, keepdims=True) * x_axis)
    return np.stack([x_axis, np.cross(z_axis, x_axis), z_axis], axis=2)


def turn_about(vector: FloatArray, axis: FloatArray, angle_rad: FloatArray) -> FloatArray:
    """Turn vectors (N, 3), perpendicular to the unit axis (N, 3), about it by angles (N,)."""
    cosine, sine = np.cos(angle_rad)[:, None], np.sin(angle_rad)[:, None]
    return cosine * vector + sine * np.cross(axis, vector)


def body_rate(rotation: FloatArray, rate_hz: float) -> FloatArray:
    """Return the angular rate in the segment's own frame, (N-1, 3) rad/s at the midpoints."""
    step = np.einsum("nji,njk->nik", rotation[:-1], rotation[1:])
    vee = 0.5 * np.stack(
        [
            step[:, 2, 1] - step[:, 1, 2],
            step[:, 0, 2] - step[:, 2, 0],
            step[:, 1, 0] - step[:, 0, 1],
        ],
        axis=1,
    )
    sine = np.linalg.norm(vee, axis=1, keepdims=True)
    scale = np.where(sine > 1e-9, np.arcsin(np.clip(sine, 0, 1)) / np.maximum(sine, 1e-12), 1.0)
    return vee * scale * rate_hz


def rotation_vector_matrix(vector_rad: FloatArray) -> FloatArray:
    """Return the matrix (3, 3) of a rotation vector (3,), by Rodrigues' formula."""
    angle = float(np.linalg.norm(vector_rad))
    if angle < 1e-12:
        return np.eye(3)
    x, y, z = vector_rad / angle
    cross = np.array([[0.0, -z, y], [z, 0.0, -x], [-y, x, 0.0]])
    return np.eye(3) + np.sin(angle) * cross + (1 - np.cos(angle)) * cross @ cross


def roll_deg(rotation: FloatArray) -> FloatArray:
    """Return the roll (N,) about the head-ward axis, positive = left side up, degrees."""
    return np.degrees(np.arctan2(rotation[:, 2, 1], rotation[:, 2, 2]))
