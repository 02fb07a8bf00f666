"""Three sharp knocks of all sensors held together, and what they say about two clocks."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Final

import numpy as np
from scipy import signal as sps
from scipy.ndimage import maximum_filter1d, uniform_filter1d

from sensorswim.model import ClockFit, Stream
from sensorswim.model.streams import BoolArray, FloatArray
from sensorswim.signal.envelopes import vertex
from sensorswim.signal.regular import source_rate_hz

_MIN_HEIGHT_M_S2: Final = 6.0
_MIN_SPACING_S, _MAX_SPACING_S = 0.25, 0.9
_UNEQUAL_SHARE: Final = 0.7
_DOMINANT: Final = 0.25
_FAINT_M_S2: Final = 2.5
_FAINT_SHARE: Final = 0.05
_CLEAR_M_S2: Final = 15.0
_QUIET_M_S2: Final = 0.5
_AROUND_S: Final = 0.7
"""A knock may fall between two samples and show faintly; so it counts where all else is quiet and
one of the three is clear."""
_STANDS_OUT: Final = 30.0
"""Of 375 knocks that two sensors of synthetic swimmers share the softest stood out by 63 or more,
kicks by 17 or so (six builds)."""
_MIN_LIKENESS: Final = 0.6
_MOST_TRIPLETS: Final = 60
_PRINT_STEP_S: Final = 0.001


@dataclass(frozen=True, kw_only=True)
class Shocks:
    """High-passed acceleration of one sensor, and the knock triplets found in it.

    Parameters
    ----------
    time_s : (N,)
        Device time of the samples.
    size_m_s2 : (N,)
        Size of the acceleration without its local mean over 0.15 s.
    triplets_s : (K, 3)
        Device times of the peaks of each possible triplet.
    still : (K,) bool
        The sensor is still between and around the three.
    period_s : float
        Sample period.
    """

    time_s: FloatArray
    size_m_s2: FloatArray
    triplets_s: FloatArray
    still: BoolArray
    period_s: float

    def moved(self, clock: ClockFit) -> Shocks:
        """Return the same in session time."""
        return replace(
            self,
            time_s=clock.to_session(self.time_s),
            triplets_s=clock.to_session(self.triplets_s),
        )

    def at_rest(self) -> Shocks:
        """Return the same with those triplets alone around which the sensor is still."""
        return replace(self, triplets_s=self.triplets_s[self.still], still=self.still[self.still])


@dataclass(frozen=True, kw_only=True)
class KnockMatch:
    """One triplet seen by two sensors.

    Parameters
    ----------
    device_s : float
        Its middle on the second sensor's clock.
    offset_s : float
        To be added to the second sensor's clock there to read the first one's.
    likeness : float
        Cosine similarity of the two shock envelopes, 0..1.
    still : bool
        Both sensors are still between and around their shocks.
    """

    device_s: float
    offset_s: float
    likeness: float
    still: bool


def find_shocks(stream: Stream) -> Shocks:
    """Find the triplets: three peaks 0.25 to 0.9 s apart, evenly, with quiet around them.

    A peak counts when it is at least 6 m/s^2 and a quarter as high as anything within
    0.7 s; the neighbours on both sides must be further away than the spacing. Fainter ones
    count beside a clear one in a sensor that is at rest.
    """
    time_s, period_s = stream.accel.time_s, 1.0 / source_rate_hz(stream.accel.time_s)
    width = max(3, round(0.15 / period_s))
    rough = stream.accel.values - uniform_filter1d(stream.accel.values, width, axis=0)
    size = np.linalg.norm(rough, axis=1)
    peaks, _ = sps.find_peaks(size, height=_FAINT_M_S2, distance=max(1, round(0.15 / period_s)))
    ceiling = maximum_filter1d(size, 2 * round(_AROUND_S / period_s) + 1)
    share = size[peaks] / ceiling[peaks]
    clear = peaks[(size[peaks] > _MIN_HEIGHT_M_S2) & (share > _DOMINANT)]
    faint = _triplets(time_s, size, peaks[share > _FAINT_SHARE])
    faint = faint[[_at_rest(time_s, size, triplet_s) for triplet_s in faint]]
    triplets = np.unique(np.concatenate([_triplets(time_s, size, clear), faint]), axis=0)
    still = np.array([_still(time_s, size, triplet_s) for triplet_s in triplets], dtype=bool)
    return Shocks(
        time_s=time_s, size_m_s2=size, triplets_s=triplets, still=still, period_s=period_s
    )


def _at_rest(time_s: FloatArray, size: FloatArray, triplet_s: FloatArray) -> bool:
    """Tell whether one of three shocks is clear and the sensor at rest around them."""
    around = _around(time_s, size, triplet_s)
    return bool(around.max() > _CLEAR_M_S2 and np.median(around) < _QUIET_M_S2)


def _still(time_s: FloatArray, size: FloatArray, triplet_s: FloatArray) -> bool:
    """Tell whether all three stand far out of what lies around them: legs that kick never do."""
    softest = size[np.searchsorted(time_s, triplet_s)].min()
    return bool(softest > _STANDS_OUT * np.median(_around(time_s, size, triplet_s)))


def _around(time_s: FloatArray, size: FloatArray, triplet_s: FloatArray) -> FloatArray:
    first, last = np.searchsorted(time_s, triplet_s[[0, -1]] + [-_AROUND_S, _AROUND_S])
    return size[first:last]


def match_knocks(
    first: Shocks, second: Shocks, within_s: tuple[float, float] = (-np.inf, np.inf)
) -> list[KnockMatch]:
    """Return every pair of triplets with the same spacings and like shapes; some may be chance.

    The offset is refined to a fraction of a sample where the two shock envelopes, each sample
    smeared by a Gaussian of about half the slower sample period, overlap most.

    Parameters
    ----------
    first, second : Shocks
    within_s : (low, high)
        Offsets that come into question.
    """
    tolerance_s = 0.010 + first.period_s + second.period_s
    sigma_s = max(0.006, 0.6 * max(first.period_s, second.period_s))
    ours = [_print_of(first, one, sigma_s) for one in first.triplets_s]
    theirs = [_print_of(second, other, sigma_s) for other in second.triplets_s]
    matches = []
    for one, a, own_still in zip(first.triplets_s, ours, first.still, strict=True):
        unlike_s = np.abs(np.diff(second.triplets_s, axis=1) - np.diff(one)).max(axis=1, initial=0)
        offsets_s = one[1] - second.triplets_s[:, 1]
        near = (unlike_s < tolerance_s) & (offsets_s > within_s[0]) & (offsets_s < within_s[1])
        for index in np.flatnonzero(near):
            lag_s, likeness = _best_overlap(a, theirs[index], 3.0 * sigma_s)
            if likeness > _MIN_LIKENESS:
                match = KnockMatch(
                    device_s=float(second.triplets_s[index, 1]),
                    offset_s=float(offsets_s[index] + lag_s),
                    likeness=likeness,
                    still=bool(own_still and second.still[index]),
                )
                matches.append(match)
    return matches


def _triplets(time_s: FloatArray, size: FloatArray, peaks: np.ndarray) -> FloatArray:
    """Return the evenly spaced, isolated triplets among peaks, (K, 3), the hardest 60 at most."""
    peak_s = time_s[peaks]
    if len(peak_s) < 3:
        return np.empty((0, 3))
    padded = np.concatenate([[-np.inf], peak_s, [np.inf]])
    before, a, b, after = (np.diff(padded)[i : len(peak_s) - 2 + i] for i in range(4))
    even = np.abs(a - b) < _UNEQUAL_SHARE * np.minimum(a, b)
    spaced = (np.minimum(a, b) > _MIN_SPACING_S) & (np.maximum(a, b) < _MAX_SPACING_S)
    alone = np.minimum(before, after) > 1.25 * np.maximum(a, b)
    first = np.flatnonzero(even & spaced & alone)
    softest = np.min([size[peaks[first + i]] for i in range(3)], axis=0)
    first = np.sort(first[np.argsort(-softest, kind="stable")[:_MOST_TRIPLETS]])
    return np.stack([peak_s[first + i] for i in range(3)], axis=1)


def _print_of(shocks: Shocks, triplet_s: FloatArray, sigma_s: float) -> FloatArray:
    """Return the smeared shocks around a triplet on a 1 ms grid centred on its middle peak.

    Each counts alike: how hard a sensor is hit differs from one to the next.
    """
    a, b = np.searchsorted(shocks.time_s, [triplet_s[0] - 0.1, triplet_s[2] + 0.1])
    time_s, size = shocks.time_s[a:b], shocks.size_m_s2[a:b]
    apart_s = np.abs(time_s[:, None] - triplet_s)
    nearest, keep = apart_s.argmin(axis=1), apart_s.min(axis=1) < 0.1
    highest = np.array([size[keep & (nearest == k)].max() for k in range(3)])
    size = size / highest[nearest]
    reach = round((_MAX_SPACING_S + 0.1) / _PRINT_STEP_S)
    grid_s = np.arange(-reach, reach + 1) * _PRINT_STEP_S + triplet_s[1]
    smear = np.exp(-0.5 * ((grid_s[:, None] - time_s[keep]) / sigma_s) ** 2)
    return smear @ size[keep]


def _best_overlap(a: FloatArray, b: FloatArray, reach_s: float) -> tuple[float, float]:
    """Return the lag in s at which print b, moved later, lies best on a, and the cosine there."""
    reach = round(reach_s / _PRINT_STEP_S)
    lags = np.arange(-reach, reach + 1)
    shared = np.array([np.dot(a[reach:-reach], np.roll(b, lag)[reach:-reach]) for lag in lags])
    best = int(np.argmax(shared))
    lag = lags[best] + vertex(shared, best)
    return lag * _PRINT_STEP_S, float(shared[best] / (np.linalg.norm(a) * np.linalg.norm(b)))
