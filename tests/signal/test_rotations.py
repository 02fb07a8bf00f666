"""Own quaternion formulas against scipy's Rotation."""

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from sensorswim.signal import rotations


@pytest.fixture
def turns():
    return Rotation.random(200, rng=np.random.default_rng(3))


@pytest.fixture
def vectors():
    return np.random.default_rng(4).normal(size=(200, 3))


def quaternions(turns):
    return turns.as_quat(scalar_first=True)


def test_rotate_is_scipys_apply(turns, vectors):
    np.testing.assert_allclose(
        rotations.rotate(quaternions(turns), vectors), turns.apply(vectors), atol=1e-12
    )


def test_rotate_back_undoes_rotate(turns, vectors):
    q = quaternions(turns)
    back = rotations.rotate_back(q, rotations.rotate(q, vectors))
    np.testing.assert_allclose(back, vectors, atol=1e-12)


def test_product_turns_by_the_second_factor_first(turns, vectors):
    q, p = quaternions(turns), quaternions(turns)[::-1]
    both = rotations.rotate(rotations.multiply(q, p), vectors)
    np.testing.assert_allclose(both, turns.apply(turns[::-1].apply(vectors)), atol=1e-12)


def test_up_in_sensor_is_the_worlds_z_seen_from_the_sensor(turns):
    up = rotations.up_in_sensor(quaternions(turns))
    np.testing.assert_allclose(up, turns.inv().apply([0.0, 0.0, 1.0]), atol=1e-12)


@pytest.mark.parametrize("up", [[0, 0, 1], [0, 0, -1], [1, 0, 0], [0.3, -2.0, 5.0], [0, 1e-9, -1]])
def test_from_up_levels_any_direction(up):
    q = rotations.from_up(np.array(up, dtype=float))
    assert np.linalg.norm(q) == pytest.approx(1.0)
    np.testing.assert_allclose(
        rotations.rotate(q, np.array(up) / np.linalg.norm(up)), [0, 0, 1], atol=1e-8
    )


def test_from_up_of_nothing_is_no_turn():
    np.testing.assert_allclose(rotations.from_up(np.zeros(3)), [1, 0, 0, 0])


def test_angle_between_is_exact_for_tiny_angles():
    a, b = np.array([1.0, 0.0, 0.0]), np.array([np.cos(1e-9), np.sin(1e-9), 0.0])
    assert rotations.angle_between(a, b) == pytest.approx(1e-9, rel=1e-6)
