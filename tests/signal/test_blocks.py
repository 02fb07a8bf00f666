"""The filter on blocks of samples says what the filter on every sample says."""

from __future__ import annotations

import numpy as np
import pytest
import vqf

from sensorswim.signal.blocks import vqf_offline
from sensorswim.signal.rotations import (
    angle_between,
    from_rotation_vector,
    rotation_vector,
    up_in_sensor,
)
from sensorswim.units import STANDARD_GRAVITY_M_S2


def swinging(rate_hz: float, seconds: float) -> tuple[np.ndarray, np.ndarray]:
    """Return turn rate and specific force of a limb that swings fast about changing axes."""
    time_s = np.arange(int(seconds * rate_hz)) / rate_hz
    phase = 2 * np.pi * time_s / 1.4
    gyro = np.stack([6 * np.sin(phase), 4 * np.cos(phase), 5 * np.sin(2 * phase + 0.5)], axis=1)
    q = vqf.offlineVQF(gyro, np.tile([0.0, 0.0, 9.8], (len(gyro), 1)), None, 1 / rate_hz)["quat6D"]
    force = STANDARD_GRAVITY_M_S2 * up_in_sensor(q)
    force += np.stack([8 * np.cos(phase), 5 * np.sin(3 * phase), 3 * np.cos(phase)], axis=1)
    return gyro, force


@pytest.mark.parametrize(("rate_hz", "seconds"), [(100.0, 60.0), (100.0, 60.03), (285.7, 30.0)])
def test_inclination_is_that_of_the_filter_at_full_rate(rate_hz: float, seconds: float) -> None:
    gyro, force = swinging(rate_hz, seconds)
    whole = vqf.offlineVQF(gyro, force, None, 1 / rate_hz)["quat6D"]
    blocks = vqf_offline(gyro, force, rate_hz)
    assert blocks.shape == whole.shape
    assert np.allclose(np.linalg.norm(blocks, axis=1), 1.0)
    apart_deg = np.degrees(angle_between(up_in_sensor(whole), up_in_sensor(blocks)))
    assert np.quantile(apart_deg, 0.95) < 0.2


def test_the_comparison_tells_samples_in_the_wrong_order() -> None:
    gyro, force = swinging(100.0, 60.0)
    whole = vqf.offlineVQF(gyro, force, None, 0.01)["quat6D"]
    turned = gyro.reshape(-1, 4, 3)[:, ::-1].reshape(-1, 3)
    blocks = vqf_offline(np.ascontiguousarray(turned), force, 100.0)
    apart_deg = np.degrees(angle_between(up_in_sensor(whole), up_in_sensor(blocks)))
    assert np.quantile(apart_deg, 0.95) > 0.2


def test_a_short_piece_is_filtered_sample_by_sample() -> None:
    gyro, force = swinging(100.0, 1.5)
    whole = vqf.offlineVQF(gyro, force, None, 0.01)["quat6D"]
    assert np.array_equal(vqf_offline(gyro, force, 100.0), whole)


def test_turn_to_vector_and_back() -> None:
    vectors = np.array([[0.0, 0.0, 0.0], [1e-9, 0.0, 0.0], [0.3, -2.0, 1.1], [0.0, 3.1, 0.0]])
    q = from_rotation_vector(vectors)
    assert np.allclose(rotation_vector(q), vectors)
    assert np.allclose(rotation_vector(-q), vectors)
