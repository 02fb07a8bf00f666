"""How well two sensors agree for each offset of their clocks."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
from scipy import fft
from scipy.ndimage import gaussian_filter1d

from sensorswim.model.streams import FloatArray
from sensorswim.signal.pushes import TRAVEL_RATE_HZ, ComplexArray, Pushes
from sensorswim.signal.shakes import Shakes, lag_curves

REACH_S: Final = 8.0
"""How far around the rough offset of the movement's envelope is searched."""

_STEPS: Final = int(REACH_S * TRAVEL_RATE_HZ)
_BEFORE, _AFTER = int(0.25 * TRAVEL_RATE_HZ), int(1.3 * TRAVEL_RATE_HZ)
_QUIET_M_S2: Final = 1.0
_EVENT_S: Final = 0.1


@dataclass(frozen=True, kw_only=True)
class Agreement:
    """Agreement over offsets that are to be added to the second clock to read the first.

    Parameters
    ----------
    offsets_s : (L,)
        Ascending, 0.02 s apart.
    value : (L,)
    """

    offsets_s: FloatArray
    value: FloatArray

    def at(self, offsets_s: FloatArray) -> FloatArray:
        """Return the value at other offsets, 0 outside."""
        return np.interp(offsets_s, self.offsets_s, self.value, left=0.0, right=0.0)


@dataclass(frozen=True, kw_only=True)
class Echoes:
    """Each push-off of one sensor as the other has it, for each offset.

    Parameters
    ----------
    moments_s : (K,)
        Of the pushes, on the second clock by the rough offset.
    likeness : (K, L) complex
        Normalised correlation of the horizontal accelerations from 0.25 s before to 1.3 s after;
        its angle is that of the two headings.
    worth : (K,)
    """

    moments_s: FloatArray
    likeness: ComplexArray
    worth: FloatArray


def offsets_around(rough_s: float) -> FloatArray:
    """Return the offsets that are tried, (L,)."""
    return rough_s + np.arange(-_STEPS, _STEPS + 1) / TRAVEL_RATE_HZ


def pushes_agree(first: Pushes, second: Pushes, rough_s: float, *, timing: float) -> Agreement:
    """Return how well push-offs fall together, and how alike the acceleration around them is.

    Parameters
    ----------
    first, second : Pushes
    rough_s : float
        The offset to within `REACH_S`.
    timing : float
        Weight of the moments against the likeness around them.
    """
    offsets_s = offsets_around(rough_s)
    sides = (echoes(first, second, rough_s), echoes(second, first, -rough_s))
    total = sum(side.worth.sum() for side in sides)
    like = sum(
        np.abs(np.sum(side.worth[:, None] * side.likeness, axis=0))[::step]
        for side, step in zip(sides, (1, -1), strict=True)
    )
    like = gaussian_filter1d(like / max(float(total), 1e-9), 2.0)
    return Agreement(
        offsets_s=offsets_s, value=like + timing * _coincidence(first, second, offsets_s)
    )


def shakes_agree(first: Shakes, second: Shakes, rough_s: float) -> Agreement:
    """Return how well shocks in quiet moments agree, at most 1."""
    curves = lag_curves(first, second, rough_s)
    if not len(curves.device_s):
        return Agreement(offsets_s=curves.offsets_s, value=np.zeros(len(curves.offsets_s)))
    summed = np.maximum(curves.score.sum(axis=0), 0.0)
    return Agreement(offsets_s=curves.offsets_s, value=summed / max(float(summed.max()), 1e-9))


def echoes(first: Pushes, second: Pushes, rough_s: float) -> Echoes:
    """Return the likeness of the second sensor's acceleration to each push-off of the first."""
    theirs, width = second.travel.accel, _BEFORE + _AFTER
    rows, kept = [], []
    for k, index in enumerate(first.index):
        ours = first.travel.accel[max(0, index - _BEFORE) : index + _AFTER]
        if len(ours) < width or index < _BEFORE:
            continue
        moment_s = first.moments_s[k] - rough_s
        middle = round((moment_s - second.travel.start_s) * TRAVEL_RATE_HZ)
        low = middle - _BEFORE - _STEPS
        stretch = _cut(theirs, low, low + width + 2 * _STEPS)
        if stretch is not None:
            rows.append(_likeness(stretch, ours)[::-1])
            kept.append(k)
    return Echoes(
        moments_s=first.moments_s[kept] - rough_s,
        likeness=np.array(rows, dtype=complex).reshape(-1, 2 * _STEPS + 1),
        worth=first.worth[kept],
    )


def _likeness(stretch: ComplexArray, ours: ComplexArray) -> ComplexArray:
    """Return the normalised correlation of a window with every place of a longer stretch."""
    shared = np.correlate(stretch, ours, "valid")
    added = np.cumsum(np.concatenate([[0.0], np.abs(stretch) ** 2]))
    energy = np.maximum(added[len(ours) :] - added[: -len(ours)], _QUIET_M_S2**2 * len(ours))
    return shared / np.sqrt(energy * max(float(np.sum(np.abs(ours) ** 2)), 1e-9))


def _cut(values: ComplexArray, low: int, high: int) -> ComplexArray | None:
    """Return a stretch, zero outside the data, None where it misses the data."""
    a, b = max(low, 0), min(high, len(values))
    if b <= a:
        return None
    out = np.zeros(high - low, dtype=complex)
    out[a - low : b - low] = values[a:b]
    return out


def _coincidence(first: Pushes, second: Pushes, offsets_s: FloatArray) -> FloatArray:
    """Return the cosine of the two trains of push-offs for each offset."""
    a, b = _train(first), _train(second)
    norm = np.sqrt((a @ a) * (b @ b))
    if norm == 0.0:
        return np.zeros(len(offsets_s))
    fast = fft.next_fast_len(len(a) + len(b) - 1, real=True)
    raw = fft.irfft(fft.rfft(a, fast) * np.conj(fft.rfft(b, fast)), fast)
    shared = np.concatenate([raw[fast - (len(b) - 1) :], raw[: len(a)]])
    lags_s = np.arange(-(len(b) - 1), len(a)) / TRAVEL_RATE_HZ
    from_s = first.travel.start_s - second.travel.start_s + lags_s
    return np.interp(offsets_s, from_s, shared / norm, left=0.0, right=0.0)


def _train(pushes: Pushes) -> FloatArray:
    """Return the worth of the push-offs over time, each smeared over 0.1 s."""
    out = np.zeros(len(pushes.travel.accel))
    out[pushes.index] = pushes.worth
    return gaussian_filter1d(out, _EVENT_S * TRAVEL_RATE_HZ)
