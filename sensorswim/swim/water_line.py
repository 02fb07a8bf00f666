"""Where the water line lies on a wrist's path, and when the wrist goes under in front.

The shoulder puts the line where shoulders swim on average. Where an arm's entry knocks come often
and at one height of its path, that height is the line.
"""

from __future__ import annotations

from dataclasses import replace
from typing import Final

import numpy as np

from sensorswim.model import Side
from sensorswim.model.streams import FloatArray
from sensorswim.swim.arms import CyclePath, WristMotion
from sensorswim.swim.shoulder import Key, ShoulderFit
from sensorswim.swim.splash import Knocks, find_knocks

_LEAST_COUNT: Final = 6
_LEAST_SHARE: Final = 0.15
_MOST_APART_M: Final = 0.05
_MOST_SHIFT_M: Final = 0.1
"""An arm's knocks tell the line where so many, and such a share of its cycles, have one, at heights
no further from their median (in the median) and from where the shoulder puts the line."""


def crossing(time_s: FloatArray, values: FloatArray, index: int) -> float:
    """Return the time at which values pass zero between index and index + 1."""
    step = values[index + 1] - values[index]
    return float(time_s[index] - values[index] * (time_s[index + 1] - time_s[index]) / step)


def goes_under(time_s: FloatArray, ahead_m: FloatArray, above_m: FloatArray) -> float:
    """Return when a wrist (N,) goes under in front of its shoulder, NaN where it doesn't."""
    down = np.flatnonzero((above_m[:-1] >= 0) & (above_m[1:] < 0) & (ahead_m[:-1] > 0))
    return crossing(time_s, above_m, int(down[-1])) if len(down) else np.nan


def by_knocks(
    motions: dict[Key, WristMotion],
    paths: dict[Key, list[CyclePath]],
    fits: dict[Key, ShoulderFit],
) -> tuple[dict[Key, ShoulderFit], dict[Key, Knocks]]:
    """Return the fits with the water line that each arm's knocks tell, and these knocks.

    Parameters
    ----------
    motions, paths, fits : dict
        By (length_no, side).

    Returns
    -------
    fits : dict
        All of them; arms without clear knocks keep the line that the shoulder gives.
    knocks : dict
        Those of the prone arms with clear ones.
    """
    knocks = {key: find_knocks(motions[key]) for key, fit in fits.items() if fit.prone}
    moved: dict[Key, ShoulderFit] = {}
    for side in Side:
        own = [key for key in knocks if key[1] is side]
        heights = [_heights(paths[key], fits[key], knocks[key]) for key in own]
        shift_m = _common(np.concatenate([*heights, np.empty(0)]))
        if shift_m is not None:
            moved |= {key: replace(fits[key], line_shift_m=shift_m) for key in own}
    return fits | moved, {key: knocks[key] for key in moved}


def _heights(paths: list[CyclePath], fit: ShoulderFit, knocks: Knocks) -> FloatArray:
    """Return the wrist's height over the line at each cycle's entry knock, NaN without one."""
    return np.array([_height(path, fit, knocks) for path in paths])


def _height(path: CyclePath, fit: ShoulderFit, knocks: Knocks) -> float:
    first_s, last_s = path.time_s[[0, -1]]
    if not ((knocks.start_s > first_s) & (knocks.start_s < last_s)).any():
        return np.nan
    above_m = path.position_m[:, 2] - fit.surface_m
    ahead_m = path.position_m[:, 0] - fit.path_at(path.phase)[:, 0]
    knock_s = knocks.near(goes_under(path.time_s, ahead_m, above_m))
    if knock_s is None or not first_s < knock_s < last_s:
        return np.nan
    return float(np.interp(knock_s, path.time_s, above_m))


def _common(heights: FloatArray) -> float | None:
    """Return the height that an arm's knocks share, None where they are few or share none."""
    known = heights[np.isfinite(heights)]
    if len(known) < max(_LEAST_COUNT, _LEAST_SHARE * len(heights)):
        return None
    middle = float(np.median(known))
    apart = float(np.median(np.abs(known - middle)))
    return middle if apart < _MOST_APART_M and abs(middle) < _MOST_SHIFT_M else None
