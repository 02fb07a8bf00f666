"""The knock that the water gives a hand as it enters: sharper than any movement of the arm.

A knock lasts some hundredths of a second, the arm's own accelerations a tenth or more: what is left
above some 15 Hz stands out against what lies a twentieth of a second before and behind. Slow
sensors (50 Hz and less), soft entries and fast arms show few.
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
_AROUND_S: Final = 0.15
"""So far from the moment where it is expected a knock is taken for an entry's."""


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
        """Return the start of the sharpest knock about a moment, None where there is none."""
        close = np.flatnonzero(np.abs(self.start_s - moment_s) < _AROUND_S)
        return float(self.start_s[close[np.argmax(self.sharpness[close])]]) if len(close) else None

    def first(self, from_s: float, to_s: float) -> float | None:
        """Return the start of the first knock from one moment to a little after another."""
        own = self.start_s[(self.start_s > from_s) & (self.start_s < to_s + _AROUND_S)]
        return float(own[0]) if len(own) else None


def find_knocks(motion: WristMotion) -> Knocks:
    """Return the knocks on a wrist, without those near a gap in the data."""
    step_s = float(np.median(np.diff(motion.time_s)))
    aside = max(round(_ASIDE_S / step_s), 1)
    quick = motion.accel_m_s2 - gaussian_filter1d(motion.accel_m_s2, _SLOW_S / step_s, axis=0)
    size = np.sqrt(gaussian_filter1d((quick**2).sum(axis=1), _BLUR_S / step_s))
    around = np.pad(size, aside, mode="edge")
    sharp = size / (np.maximum(around[: -2 * aside], around[2 * aside :]) + _FLOOR_M_S2)
    whole = minimum_filter1d(motion.valid.astype(np.uint8), 4 * aside + 1).astype(bool)
    inner = sharp[1:-1]
    peak = (inner > _SHARP) & (inner >= sharp[:-2]) & (inner > sharp[2:]) & whole[1:-1]
    at = np.flatnonzero(peak) + 1
    return Knocks(start_s=motion.time_s[at] - _RISE_S, sharpness=sharp[at])
