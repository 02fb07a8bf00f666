"""Gaussian smoothing over widths of hundreds of samples, by Fourier transforms."""

from __future__ import annotations

from typing import TypeVar

import numpy as np
import numpy.typing as npt
from scipy.signal import oaconvolve

Values = TypeVar("Values", npt.NDArray[np.float64], npt.NDArray[np.complex128])


def smooth(values: Values, sigma: float) -> Values:
    """Return values (N,) smoothed with a Gaussian, as `scipy.ndimage.gaussian_filter1d` does.

    Parameters
    ----------
    sigma : float
        Standard deviation in samples; the Gaussian is cut at four of these.
    """
    reach = int(4.0 * sigma + 0.5)
    weights = np.exp(-0.5 * (np.arange(-reach, reach + 1) / sigma) ** 2)
    padded = np.pad(values, reach, mode="symmetric")
    return np.asarray(oaconvolve(padded, weights / weights.sum(), mode="valid"))
