"""Smoothing by Fourier transforms against scipy's sum over the window."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.ndimage import gaussian_filter1d

from sensorswim.signal.smoothing import smooth


@pytest.mark.parametrize(("count", "sigma"), [(400, 4.0), (3000, 150.0), (300, 200.0)])
def test_as_scipys_gaussian_filter(count: int, sigma: float) -> None:
    values = np.random.default_rng(3).standard_normal(count).cumsum()
    known = gaussian_filter1d(values, sigma)
    np.testing.assert_allclose(smooth(values, sigma), known, rtol=0, atol=1e-9)
    both = smooth(values + 1j * values[::-1], sigma)
    np.testing.assert_allclose(both.imag, known[::-1], rtol=0, atol=1e-9)
