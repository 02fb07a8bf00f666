"""A stand is where the most sensors are still and upright, not where one lies about for longest."""

from __future__ import annotations

import numpy as np

from sensorswim.signal.standing import stand


def _rows(*spans: tuple[int, int]) -> np.ndarray:
    out = np.zeros(1000, dtype=bool)
    for first, last in spans:
        out[first:last] = True
    return out


def test_a_short_stand_of_all_sensors_beats_a_long_rest_of_one() -> None:
    still = _rows((0, 500), (600, 800))
    share = np.where(np.arange(1000) < 500, 0.25, 1.0)
    np.testing.assert_array_equal(stand(still, share, 100), _rows((600, 800)))
    np.testing.assert_array_equal(stand(still, 0 * share, 100), _rows((0, 500)))


def test_of_stands_of_nearly_as_many_sensors_the_longest_counts() -> None:
    """Sensors that lie together upright for a moment before they are strapped on don't."""
    still = _rows((0, 200), (400, 900))
    share = np.where(np.arange(1000) < 300, 1.0, 0.85)
    np.testing.assert_array_equal(stand(still, share, 100), _rows((400, 900)))


def test_what_is_too_short_is_no_stand() -> None:
    still = _rows((0, 500), (600, 800))
    share = np.where(np.arange(1000) < 500, 0.25, 1.0)
    np.testing.assert_array_equal(stand(still, share, 300), _rows((0, 500)))
    assert stand(still, share, 600) is None
    assert stand(_rows(), share, 1) is None
