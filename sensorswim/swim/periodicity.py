"""How periodic a limb's orientation is, and where its cycles are, whatever way it is strapped.

The whole orientation comes back only after a full arm cycle. A single axis often comes back
twice (the two-hump trap that makes the largest spectral peak lie at twice the stroke rate), so
the measure used here is the autocorrelation of the rotation matrix: the mean of
``trace(R(t)^T R(t + lag)) = 1 + 2 cos(angle between the two orientations)``, 3 where the
orientation has come back. It depends neither on the strap nor on the heading.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
import numpy.typing as npt
from scipy import fft
from scipy.signal import butter, find_peaks, hilbert, peak_prominences, sosfiltfilt

from sensorswim.model.streams import FloatArray

IndexArray = npt.NDArray[np.intp]

FULL_RETURN = 3.0
"""Value of the rotation autocorrelation when the orientation has come back."""


@dataclass(frozen=True, kw_only=True)
class Period:
    """A cycle time and how well the motion repeats with it.

    Parameters
    ----------
    period_s : float
        NaN where nothing repeats.
    strength : float
        0 = the orientation does not come back more than in between, 1 = exactly.
    swing : float
        How far the orientation goes in between, 0 = it rests, 4 = half a turn.
    """

    period_s: float = float("nan")
    strength: float = 0.0
    swing: float = 0.0


def rotation_autocorrelation(rotations: FloatArray, max_lag: int) -> FloatArray:
    """Return the mean of trace(R(t)^T R(t+lag)) for lags 0..max_lag.

    Parameters
    ----------
    rotations : (N, 9) or (W, N, 9)
        Flattened rotation matrices at a constant rate; W windows at once.
    max_lag : int
        Largest lag in samples, below N.

    Returns
    -------
    (max_lag + 1,) or (W, max_lag + 1)
    """
    n = rotations.shape[-2]
    size = fft.next_fast_len(n + max_lag + 1, real=True)
    spectrum = fft.rfft(np.ascontiguousarray(np.swapaxes(rotations, -1, -2)), size)
    power = np.sum(spectrum.real**2 + spectrum.imag**2, axis=-2)
    total = fft.irfft(power, size)[..., : max_lag + 1]
    return np.asarray(total / (n - np.arange(max_lag + 1)))


def find_period(
    autocorrelation: FloatArray, rate_hz: float, *, shortest_s: float, longest_s: float
) -> Period:
    """Return the shortest period with which the orientation comes back.

    Parameters
    ----------
    autocorrelation : (L,)
        From `rotation_autocorrelation`.
    rate_hz : float
        Rate of the lags.
    shortest_s, longest_s : float
        Cycle times that are possible.
    """
    return find_periods(
        autocorrelation[None, :], rate_hz, shortest_s=shortest_s, longest_s=longest_s
    )[0]


def find_periods(
    autocorrelation: FloatArray, rate_hz: float, *, shortest_s: float, longest_s: float
) -> list[Period]:
    """Return `find_period` of each row of (W, L), all rows at once."""
    periods = [Period()] * len(autocorrelation)
    last = min(int(longest_s * rate_hz), autocorrelation.shape[1] - 2)
    first = max(int(shortest_s * rate_hz), 2)
    if last <= first:
        return periods
    rows, lags = _clear_peaks(autocorrelation[:, : last + 2], 0.1)
    kept = (lags >= first) & (lags <= last)
    rows, lags = rows[kept], lags[kept]
    if not len(rows):
        return periods
    begins = np.flatnonzero(np.diff(rows, prepend=-1))
    ends = np.append(begins[1:], len(rows))
    lowest = np.minimum.accumulate(autocorrelation, axis=1)
    floor = np.repeat(lowest[rows[begins], lags[ends - 1] - 1], ends - begins)
    swing = FULL_RETURN - floor
    strength = (autocorrelation[rows, lags] - floor) / np.maximum(swing, 1e-9)
    best = np.repeat(np.maximum.reduceat(strength, begins), ends - begins)
    good = np.flatnonzero(strength >= 0.85 * best)
    for at in good[np.flatnonzero(np.diff(rows[good], prepend=-1))]:
        periods[rows[at]] = Period(
            period_s=float(lags[at]) / rate_hz,
            strength=float(strength[at]),
            swing=float(swing[at]),
        )
    return periods


def _clear_peaks(values: FloatArray, prominence: float) -> tuple[IndexArray, IndexArray]:
    """Return row and column of the peaks along each row of (W, L), in order.

    The rows are laid end to end with a wall between them, over which no prominence reaches.
    """
    walled = np.pad(values, ((0, 0), (0, 1)), constant_values=np.inf)
    flat = walled.ravel()
    peaks, _ = find_peaks(flat, height=(None, np.finfo(float).max))
    clear = peak_prominences(flat, peaks)[0] >= prominence
    rows, columns = np.divmod(peaks[clear], walled.shape[1])
    return rows, columns


def sliding_periods(
    rotations: FloatArray,
    rate_hz: float,
    *,
    window_s: float,
    hop_s: float,
    shortest_s: float = 0.9,
    longest_s: float = 4.6,
) -> tuple[FloatArray, list[Period]]:
    """Return window centres in seconds from the first sample, and the period in each.

    Parameters
    ----------
    rotations : (N, 9)
    rate_hz : float
    window_s, hop_s : float
        Length of a window and the step to the next.
    """
    # single precision: lags are whole samples, and thresholds lie far above its rounding
    rotations = rotations.astype(np.float32)
    width, hop = int(window_s * rate_hz), max(int(hop_s * rate_hz), 1)
    if len(rotations) < width or width < 8:
        return np.empty(0), []
    max_lag = min(int(longest_s * rate_hz) + 2, width - 4)
    starts = np.arange(0, len(rotations) - width + 1, hop)
    periods: list[Period] = []
    for chunk in np.array_split(starts, max(len(starts) // 256, 1)):
        windows = np.stack([rotations[s : s + width] for s in chunk])
        periods += find_periods(
            rotation_autocorrelation(windows, max_lag),
            rate_hz,
            shortest_s=shortest_s,
            longest_s=longest_s,
        )
    return np.asarray((starts + width / 2) / rate_hz, dtype=np.float64), periods


@dataclass(frozen=True, kw_only=True)
class CycleTrain:
    """The cycles of one limb over one bout of swimming.

    Parameters
    ----------
    cut_s : (K,)
        Times of one and the same phase in successive cycles.
    period_s : float
        Typical cycle time.
    amplitude, phase_rad : (N,)
        Of the fundamental, on the grid of the bout.
    """

    cut_s: FloatArray
    period_s: float
    amplitude: FloatArray
    phase_rad: FloatArray


@lru_cache(maxsize=256)
def _fundamental(period_s: float, rate_hz: float) -> FloatArray:
    """Return the band-pass about one turn a cycle, as second-order sections."""
    edges_hz = [0.55 / period_s, min(1.6 / period_s, 0.45 * rate_hz)]
    return np.asarray(butter(2, edges_hz, "bandpass", fs=rate_hz, output="sos"))


def cut_cycles(time_s: FloatArray, rotations: FloatArray, period_s: float) -> CycleTrain:
    """Cut a bout into cycles by the fundamental of its main orientation component.

    Parameters
    ----------
    time_s : (N,)
    rotations : (N, 9)
    period_s : float
        From `find_period`; the fundamental is sought within 0.55 to 1.6 times its frequency.
    """
    rate_hz = 1.0 / float(np.median(np.diff(time_s)))
    pad = min(len(time_s) - 1, int(3 * period_s * rate_hz))
    banded = sosfiltfilt(_fundamental(period_s, round(rate_hz, 6)), rotations, axis=0, padlen=pad)
    main_axis = np.linalg.eigh(banded.T @ banded)[1][:, -1]
    analytic = hilbert(banded @ main_axis)
    phase = np.unwrap(np.angle(analytic))
    turns = np.maximum.accumulate(phase) / (2 * np.pi)
    crossings = np.flatnonzero(np.diff(np.floor(turns)) > 0)
    cuts = time_s[crossings + 1]
    return CycleTrain(cut_s=cuts, period_s=period_s, amplitude=np.abs(analytic), phase_rad=phase)
