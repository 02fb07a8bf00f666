"""Knots in time, turned into smooth curves: the only place where movement becomes a function.

Every joint angle is a monotone cubic through event-anchored knots, then smoothed with a
Gaussian, so that all derivatives are finite and no cycle border shows.
"""

from __future__ import annotations

from collections import defaultdict

import numpy as np
from scipy.fft import next_fast_len
from scipy.interpolate import PchipInterpolator
from scipy.signal import oaconvolve
from scipy.special import expit

from sensorswim.model.streams import FloatArray

RATE_HZ = 1000.0
"""Internal rate of the simulation."""


class Timeline:
    """Collects knots by channel; `curve` makes the smooth function of time."""

    def __init__(self) -> None:
        self._knots: dict[str, list[tuple[float, float]]] = defaultdict(list)

    def key(self, time_s: float, **values: float) -> None:
        """Set channels to values at one moment."""
        for channel, value in values.items():
            self._knots[channel].append((time_s, value))

    def hold(self, time_s: float, *channels: str) -> None:
        """Repeat the last value of the channels, so that they rest until this moment."""
        for channel in channels:
            if self._knots[channel]:
                self._knots[channel].append((time_s, self._knots[channel][-1][1]))

    def cut(self, time_s: float, *channels: str) -> None:
        """Forget the knots of the channels after this moment."""
        for channel in channels:
            self._knots[channel] = [knot for knot in self._knots[channel] if knot[0] <= time_s]

    def last(self, channel: str) -> float:
        """Return the latest value set, 0 if there is none."""
        return self._knots[channel][-1][1] if self._knots[channel] else 0.0

    def curve(self, channel: str, time_s: FloatArray, *, smooth_s: float = 0.03) -> FloatArray:
        """Return the channel (N,) on the regular grid `time_s`."""
        knots = sorted(self._knots[channel], key=lambda knot: knot[0])
        if not knots:
            return np.zeros_like(time_s)
        times, values = np.array(knots).T
        keep = np.r_[True, np.diff(times) > 0.004]
        times, values = times[keep], values[keep]
        if len(times) == 1:
            return np.full_like(time_s, values[0])
        inside = np.clip(time_s, times[0], times[-1])
        raw = PchipInterpolator(times, values)(inside)
        return smooth(raw, smooth_s)


def smooth(values: FloatArray, width_s: float) -> FloatArray:
    """Return values (N,) on the simulation's grid, smoothed with a Gaussian of this spread.

    By Fourier transforms: at this rate the Gaussian is hundreds of samples long.
    """
    reach = int(4.0 * width_s * RATE_HZ + 0.5)
    weights = np.exp(-0.5 * (np.arange(-reach, reach + 1) / (width_s * RATE_HZ)) ** 2)
    padded = np.pad(values, reach, mode="edge")
    return np.asarray(oaconvolve(padded, weights / weights.sum(), mode="valid"))


def smooth_noise(
    rng: np.random.Generator, count: int, *, low_hz: float, high_hz: float, rate_hz: float
) -> FloatArray:
    """Return (count,) band-limited Gaussian noise of standard deviation 1."""
    size = next_fast_len(count, real=True)
    frequency = np.fft.rfftfreq(size, 1.0 / rate_hz)
    edge = 0.3 * high_hz
    shape = expit((high_hz - frequency) / (0.25 * edge))
    shape *= 1.0 - np.exp(-((frequency / max(low_hz, 1e-3)) ** 2))
    spectrum = shape * (
        rng.standard_normal(len(frequency)) + 1j * rng.standard_normal(len(frequency))
    )
    noise = np.fft.irfft(spectrum, size)[:count]
    return noise / max(float(np.std(noise)), 1e-12)
