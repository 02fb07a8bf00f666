"""Where the water line lies on a wrist's path, and when the wrist goes under in front.

The shoulder puts the line where shoulders swim on average. Where an arm's entry knocks come often
and at one height of its path, that height is the line; else where the hand calms down, at one
height. Where neither tells, the line lies so that the hand is over it for about as long as a
recovery takes, and not far from the other arm's.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Final

import numpy as np

from sensorswim.model import Side
from sensorswim.model.streams import FloatArray
from sensorswim.swim.arms import WristMotion
from sensorswim.swim.cycle_path import CyclePath
from sensorswim.swim.shoulder import Key, ShoulderFit
from sensorswim.swim.splash import Knocks, find_calms, find_knocks

_LEAST_COUNT: Final = 6


@dataclass(frozen=True, kw_only=True)
class _Alike:
    """When an arm's entries tell the line.

    They do in such a share of its cycles, and so far apart, in the median, and from where the
    shoulder puts the line, in m.
    """

    share: float
    apart_m: float
    shift_m: float


_KNOCKS: Final = _Alike(share=0.15, apart_m=0.05, shift_m=0.1)
_CALMS: Final = _Alike(share=0.3, apart_m=0.035, shift_m=0.08)


_RECOVERY, _RECOVERY_SD = 0.284, 0.045
"""Share of the cycle that the recovery takes: Cortesi et al. 2019, J Sports Sci Med 18:438-447, 14
national swimmers."""
_LONGER: Final = 2.0
"""How much further a recovery may depart to the long side: straight arms over the top take 0.47 in
synthetic swimmers; the short side is bounded by how fast a hand can come forward (our choice)."""
_LINE_SD_M, _ARMS_SD_M = 0.043, 0.03
"""How far the line lies from where the shoulder puts it, and the lines of both arms from each
other: standard deviations over synthetic swimmers of seven builds."""
_TAILS: Final = 4.0
"""Degrees of freedom of the t distribution of both: a fit of the shoulder may be off by far."""
_SHIFTS_M: Final = np.arange(-0.25, 0.2501, 0.005)
_OWN_LINE, _SEVERAL = 0.5, 3
"""What is kept of how far a length's line, over the mean height of the wrist's path, lies from the
arm's usual one: an arm swims much alike in all lengths, and each fit of the shoulder is off by
centimetres. Picked on synthetic swimmers of eight builds. So many lengths tell what is usual."""


def crossing(time_s: FloatArray, values: FloatArray, index: int) -> float:
    """Return the time at which values pass zero between index and index + 1."""
    step = values[index + 1] - values[index]
    return float(time_s[index] - values[index] * (time_s[index + 1] - time_s[index]) / step)


def times_under(time_s: FloatArray, ahead_m: FloatArray, above_m: FloatArray) -> FloatArray:
    """Return when (K,) a wrist (N,) goes under in front of its shoulder."""
    down = np.flatnonzero((above_m[:-1] >= 0) & (above_m[1:] < 0) & (ahead_m[:-1] > 0))
    return np.array([crossing(time_s, above_m, int(index)) for index in down])


def with_water_line(
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
        All of them; the line of arms that neither clear knocks nor calm hands tell is the likeliest
        for their recovery.
    knocks : dict
        Those of the prone arms with clear ones.
    """
    prone = [key for key, fit in fits.items() if fit.prone]
    arms = {side: [key for key in prone if key[1] is side] for side in Side}
    fits = fits | {key: fit for own in arms.values() for key, fit in _steadied(own, fits).items()}
    likely_m = {side: _by_recovery(own, paths, fits, None) for side, own in arms.items()}
    near = {key: _raised(fits[key], likely_m[key[1]]) for key in prone}
    told_m: dict[Side, float] = {}
    clear: dict[Key, Knocks] = {}
    for side, own in arms.items():
        knocks = {key: find_knocks(motions[key]) for key in own}
        shift_m = _common(own, paths, near, knocks, _KNOCKS, likely_m[side])
        if shift_m is not None:
            clear |= knocks
        else:
            calms = {key: find_calms(motions[key]) for key in own}
            shift_m = _common(own, paths, near, calms, _CALMS, likely_m[side])
        if shift_m is not None:
            told_m[side] = shift_m
    for side in told_m.keys() - {side.other for side in told_m}:
        likely_m[side.other] = _by_recovery(arms[side.other], paths, fits, told_m[side])
    shifts_m = likely_m | told_m
    return fits | {key: _raised(fits[key], shifts_m[key[1]]) for key in prone}, clear


def _steadied(keys: list[Key], fits: dict[Key, ShoulderFit]) -> dict[Key, ShoulderFit]:
    """Return the fits of one arm with lines that differ less from length to length."""
    if len(keys) < _SEVERAL:
        return {}
    usual_m = float(np.median([fits[key].surface_m for key in keys]))
    return {
        key: _raised(fits[key], (1.0 - _OWN_LINE) * (usual_m - fits[key].surface_m)) for key in keys
    }


def _raised(fit: ShoulderFit, by_m: float) -> ShoulderFit:
    return replace(fit, line_shift_m=fit.line_shift_m + by_m)


def _by_recovery(
    keys: list[Key],
    paths: dict[Key, list[CyclePath]],
    fits: dict[Key, ShoulderFit],
    other_m: float | None,
) -> float:
    """Return by how much higher an arm's line likeliest is, from how long the hand is over it.

    A hand that hovers along the surface is over it for much longer or shorter with a line that is
    some centimetres off.

    Parameters
    ----------
    other_m : float or None
        What tells the other arm's line, where anything does.
    """
    shares = [
        np.mean(path.position_m[:, 2, None] - fits[key].surface_m > _SHIFTS_M, axis=0)
        for key in keys
        for path in paths[key]
    ]
    if not shares:
        return 0.0
    recovery = np.median(shares, axis=0)
    usual_m, spread_m = (0.0, _LINE_SD_M) if other_m is None else (other_m, _ARMS_SD_M)
    far = ((_SHIFTS_M - usual_m) / spread_m) ** 2
    unlikely = (_TAILS + 1.0) * np.log1p(far / _TAILS)
    off = (recovery - _RECOVERY) / _RECOVERY_SD
    unlikely += np.where(off > 0.0, off / _LONGER, off) ** 2
    return float(_SHIFTS_M[np.argmin(unlikely)])


def _height(path: CyclePath, fit: ShoulderFit, knocks: Knocks) -> float:
    first_s, last_s = path.time_s[[0, -1]]
    if not ((knocks.start_s > first_s) & (knocks.start_s < last_s)).any():
        return np.nan
    above_m = path.position_m[:, 2] - fit.surface_m
    ahead_m = path.position_m[:, 0] - fit.path_at(path.phase)[:, 0]
    under_s = times_under(path.time_s, ahead_m, above_m)
    knock_s = knocks.near(under_s[-1]) if len(under_s) else None
    if knock_s is None or not first_s < knock_s < last_s:
        return np.nan
    return float(np.interp(knock_s, path.time_s, above_m))


def _common(
    keys: list[Key],
    paths: dict[Key, list[CyclePath]],
    fits: dict[Key, ShoulderFit],
    knocks: dict[Key, Knocks],
    alike: _Alike,
    raised_m: float,
) -> float | None:
    """Return by how much the line that an arm's knocks share is to be raised, None where few do.

    Parameters
    ----------
    raised_m : float
        By how much that of these fits is raised already.
    """
    heights = np.array([_height(path, fits[k], knocks[k]) for k in keys for path in paths[k]])
    known = heights[np.isfinite(heights)]
    if len(known) < max(_LEAST_COUNT, alike.share * len(heights)):
        return None
    middle = float(np.median(known))
    apart = float(np.median(np.abs(known - middle)))
    shift_m = middle + raised_m
    far_m = max(abs(middle), abs(shift_m))
    return shift_m if apart < alike.apart_m and far_m < alike.shift_m else None
