"""The knock that the water gives a hand as it enters: sharper than any movement of the arm.

A knock lasts some hundredths of a second, the arm's own accelerations a tenth or more: what is left
above some 15 Hz stands out against what lies a twentieth of a second before and behind. Slow
sensors (50 Hz and less), soft entries and fast arms show few. Without knocks the water still shakes
a hand that breaks the surface, and no more once it is under and reaches ahead.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
from scipy.ndimage import gaussian_filter1d, minimum_filter1d

from sensorswim.model.streams import FloatArray
from sensorswim.swim.arms import WristMotion

_SLOW_S: Final = 0.010
_BLUR_S: Final = 0.008
_ASIDE_S: Final = 0.05
_FLOOR_M_S2: Final = 0.1
_SHARP: Final = 3.0
"""How many times what lies aside a knock is. Picked on the synthetic swimmer: of some 2,000 entries
without a splash one had such a knock within 0.15 s, of the others four in ten."""
_RISE_S: Final = 0.013
"""A knock of some 20 ms is strongest so long after it begins."""
_SHAKEN_S: Final = (-0.05, 0.0)
_CALM_S: Final = (0.02, 0.1)
_CALMER: Final = 2.5
_UNDER_S: Final = 0.05
"""When a hand is shaken and when it is calm, by how much, and for how long the wrist has been under
when it calms down. Picked on synthetic swimmers of four builds."""
_AROUND_S, _NEAR_S = 0.15, 0.05
"""So far from the moment where it is expected a knock is taken for an entry's, and how fast that
gets unlikely, as a standard deviation: others come in the reach."""


@dataclass(frozen=True, kw_only=True)
class Knocks:
    """Sharp knocks on one wrist over one length.

    Parameters
    ----------
    start_s : (K,)
        When each begins.
    sharpness : (K,)
        How many times what lies aside.
    """

    start_s: FloatArray
    sharpness: FloatArray

    def near(self, moment_s: float) -> float | None:
        """Return the start of the likeliest knock about a moment, None where there is none."""
        off_s = self.start_s - moment_s
        close = np.flatnonzero(np.abs(off_s) < _AROUND_S)
        likely = self.sharpness[close] * np.exp(-0.5 * (off_s[close] / _NEAR_S) ** 2)
        return float(self.start_s[close[np.argmax(likely)]]) if len(close) else None

    def first(self, from_s: float, to_s: float) -> float | None:
        """Return the start of the first knock from one moment to a little after another."""
        own = self.start_s[(self.start_s > from_s) & (self.start_s < to_s + _AROUND_S)]
        return float(own[0]) if len(own) else None


def find_knocks(motion: WristMotion) -> Knocks:
    """Return the knocks on a wrist, without those near a gap in the data."""
    aside = max(round(_ASIDE_S / _step_s(motion)), 1)
    size = _quick_m_s2(motion)
    around = np.pad(size, aside, mode="edge")
    sharp = size / (np.maximum(around[: -2 * aside], around[2 * aside :]) + _FLOOR_M_S2)
    return _peaks(motion, sharp, _SHARP, 2 * aside, _RISE_S)


def find_calms(motion: WristMotion) -> Knocks:
    """Return when a wrist that is shaken and then calm may have gone under."""
    step_s, size = _step_s(motion), _quick_m_s2(motion)
    shaken, calm = (_rms(size, *(s / step_s for s in span)) for span in (_SHAKEN_S, _CALM_S))
    calmer = (shaken + _FLOOR_M_S2) / (calm + _FLOOR_M_S2)
    return _peaks(motion, calmer, _CALMER, max(round(_CALM_S[1] / step_s), 1), _UNDER_S)


def _step_s(motion: WristMotion) -> float:
    return float(np.median(np.diff(motion.time_s)))


def _quick_m_s2(motion: WristMotion) -> FloatArray:
    """Return the size of a wrist's acceleration (N,) above some 15 Hz."""
    step_s = _step_s(motion)
    quick = motion.accel_m_s2 - gaussian_filter1d(motion.accel_m_s2, _SLOW_S / step_s, axis=0)
    return np.sqrt(gaussian_filter1d((quick**2).sum(axis=1), _BLUR_S / step_s))


def _rms(size: FloatArray, first: float, last: float) -> FloatArray:
    """Return the root mean square (N,) from so many samples after each one to so many more."""
    added = np.concatenate([[0.0], np.cumsum(size**2)])
    at = np.arange(len(size))
    low, high = (np.clip(at + round(k), 0, len(size)) for k in (first, last))
    return np.sqrt((added[high] - added[low]) / np.maximum(high - low, 1))


def _peaks(
    motion: WristMotion, values: FloatArray, least: float, reach: int, late_s: float
) -> Knocks:
    """Return the peaks of values (N,) that are so high, without those near a gap in the data."""
    whole = minimum_filter1d(motion.valid.astype(np.uint8), 2 * reach + 1).astype(bool)
    inner = values[1:-1]
    peak = (inner > least) & (inner >= values[:-2]) & (inner > values[2:]) & whole[1:-1]
    at = np.flatnonzero(peak) + 1
    return Knocks(start_s=motion.time_s[at] - late_s, sharpness=values[at])
