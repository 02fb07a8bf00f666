"""How much a limb moves, second by second: two clocks to within half an arm cycle.

Activity, rests and turns are common to all limbs and place two recordings against each other from
any offset. They can't do better than half a cycle, as left and right arms alternate; `shakes`
takes it from there.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
from scipy import fft
from scipy.ndimage import gaussian_filter1d

from sensorswim.model import Samples, Stream
from sensorswim.model.streams import FloatArray
from sensorswim.units import STANDARD_GRAVITY_M_S2

ENVELOPE_RATE_HZ: Final = 20.0
"""Bins of 0.05 s: at least one sample each from 25 Hz on."""

SMOOTHING_S: Final = 0.4
"""Standard deviation of the smoothing; passes 4 % of what changes once a second."""

_MIN_OVERLAP_S: Final = 15.0
_BEGUN_TOGETHER_S: Final = 20.0
_GYRO_FLOOR_RAD_S: Final = 0.3
_SHAKE_FLOOR_M_S2: Final = 1.0


@dataclass(frozen=True, kw_only=True)
class Envelope:
    """Movement over time on a sensor's own clock.

    Parameters
    ----------
    start_s : float
        Device time of the first bin's middle.
    values : (N,)
        Mean 0 and standard deviation 1 over the bins that hold data, 0 elsewhere.
    weight : (N,)
        1 where there is data, 0 in gaps.
    """

    start_s: float
    values: FloatArray
    weight: FloatArray

    @property
    def time_s(self) -> FloatArray:
        """Device time of each bin's middle, (N,)."""
        return self.start_s + np.arange(len(self.values)) / ENVELOPE_RATE_HZ


@dataclass(frozen=True, kw_only=True)
class Lag:
    """Where two envelopes agree best.

    Parameters
    ----------
    offset_s : float
        To be added to the second one's clock to read the first one's.
    correlation : float
        Over the overlap, -1..1.
    overlap_s : float
    """

    offset_s: float
    correlation: float
    overlap_s: float


def movement_envelope(stream: Stream) -> Envelope:
    """Return the smoothed log of turn rate and shaking of one sensor.

    Needs some seconds of data; a still sensor gives an envelope of zeros.
    """
    start_s = min(stream.gyro.time_s[0], stream.accel.time_s[0])
    stop_s = max(stream.gyro.time_s[-1], stream.accel.time_s[-1])
    count = int((stop_s - start_s) * ENVELOPE_RATE_HZ) + 1
    turn = np.linalg.norm(stream.gyro.values, axis=1)
    shake = np.abs(np.linalg.norm(stream.accel.values, axis=1) - STANDARD_GRAVITY_M_S2)
    a, weight_a = _binned(stream.gyro, turn, start_s, count)
    b, weight_b = _binned(stream.accel, shake, start_s, count)
    weight = weight_a * weight_b
    raw = np.log(_GYRO_FLOOR_RAD_S + a) + 0.5 * np.log(_SHAKE_FLOOR_M_S2 + b)
    return Envelope(
        start_s=start_s + 0.5 / ENVELOPE_RATE_HZ, values=_standard(raw, weight), weight=weight
    )


def best_lag(first: Envelope, second: Envelope) -> Lag | None:
    """Return the best of `best_lags`, None where there is none."""
    return next(iter(best_lags(first, second, count=1)), None)


def best_lags(first: Envelope, second: Envelope, *, count: int, apart_s: float = 0.0) -> list[Lag]:
    """Return the lags of the whole recordings, from the correlation over their overlap.

    The score is correlation times the root of the overlap, so that a few seconds that happen to
    agree don't win over an hour that does; and logs of one session are mostly begun or ended
    together, so a lag at which these neither begin nor end so counts less: legs that work while the
    arms rest would else look like the arms of another length.

    Parameters
    ----------
    first, second : Envelope
    count : int
        How many at most.
    apart_s : float
        How far they must lie from each other.

    Returns
    -------
    list
        The best first; empty where no overlap of 15 s correlates at all.
    """
    correlation, overlap = _masked_correlation(first, second)
    lags = np.arange(len(correlation)) - (len(second.values) - 1)
    ends = lags - (len(first.values) - len(second.values))
    alone_s = np.minimum(np.abs(lags), np.abs(ends)) / ENVELOPE_RATE_HZ
    usual = 1.0 / (1.0 + 0.5 * np.log1p((alone_s / _BEGUN_TOGETHER_S) ** 2))
    score = correlation * np.sqrt(overlap) * usual
    found: list[Lag] = []
    left = score.copy()
    for _ in range(count):
        best = int(np.argmax(left))
        if not left[best] > 0.0:
            break
        lag = lags[best] + vertex(score, best)
        found.append(
            Lag(
                offset_s=first.start_s - second.start_s + lag / ENVELOPE_RATE_HZ,
                correlation=float(correlation[best]),
                overlap_s=float(overlap[best]) / ENVELOPE_RATE_HZ,
            )
        )
        left[np.abs(lags - lags[best]) <= apart_s * ENVELOPE_RATE_HZ] = 0.0
    return found


def _binned(
    samples: Samples, magnitude: FloatArray, start_s: float, count: int
) -> tuple[FloatArray, FloatArray]:
    """Return the mean per bin (N,), interpolated over empty bins, and 1 where there was data."""
    index = ((samples.time_s - start_s) * ENVELOPE_RATE_HZ).astype(np.int64)
    filled = np.bincount(index, minlength=count)
    total = np.bincount(index, weights=magnitude, minlength=count)
    has = filled > 0
    where = np.arange(count)
    mean = np.interp(where, where[has], total[has] / filled[has])
    # one empty bin between two full ones is the beat of a low rate, not a gap
    near = np.convolve(has, [1, 1, 1], mode="same")[:count] if count > 2 else has
    return mean, (near > 0).astype(float)


def _standard(raw: FloatArray, weight: FloatArray) -> FloatArray:
    """Smooth, then mean 0 and deviation 1 where there is data."""
    smooth = gaussian_filter1d(raw, SMOOTHING_S * ENVELOPE_RATE_HZ, mode="nearest")
    known = smooth[weight > 0]
    if len(known) == 0 or known.std() < 1e-6:
        return np.zeros_like(smooth)
    return (smooth - known.mean()) / known.std() * weight


def _masked_correlation(first: Envelope, second: Envelope) -> tuple[FloatArray, FloatArray]:
    """Return correlation and overlap (in bins) for every lag, second shifted by lag."""
    size = len(first.values) + len(second.values) - 1
    fast = fft.next_fast_len(size, real=True)

    def spectrum(values: FloatArray) -> FloatArray:
        return fft.rfft(values, fast)

    def against(a: FloatArray, b: FloatArray) -> FloatArray:
        raw = fft.irfft(a * np.conj(b), fast)
        return np.concatenate([raw[fast - (len(second.values) - 1) :], raw[: len(first.values)]])

    x, y = first.values * first.weight, second.values * second.weight
    fx, fy, fm, fn = (spectrum(v) for v in (x, y, first.weight, second.weight))
    n = np.maximum(against(fm, fn), 1e-9)
    sum_x, sum_y = against(fx, fn), against(fm, fy)
    var_x = against(spectrum(x * x), fn) - sum_x**2 / n
    var_y = against(fm, spectrum(y * y)) - sum_y**2 / n
    covariance = against(fx, fy) - sum_x * sum_y / n
    fine = (n > _MIN_OVERLAP_S * ENVELOPE_RATE_HZ) & (var_x > 1e-3 * n) & (var_y > 1e-3 * n)
    norm = np.sqrt(np.where(fine, var_x * var_y, 1.0))
    return np.where(fine, covariance / norm, 0.0), np.where(fine, n, 0.0)


def vertex(values: FloatArray, index: int) -> float:
    """Return where the parabola through three points peaks, in steps from `index`."""
    if index in (0, len(values) - 1):
        return 0.0
    left, mid, right = values[index - 1 : index + 2]
    bend = left - 2.0 * mid + right
    return float(np.clip(0.5 * (left - right) / bend, -0.5, 0.5)) if bend < 0.0 else 0.0
