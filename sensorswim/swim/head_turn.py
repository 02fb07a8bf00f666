"""Breaths told by a head sensor: how far the face turns to the upper side, against the trunk."""

from __future__ import annotations

from typing import Final

import numpy as np

from sensorswim.model.streams import BoolArray, FloatArray, IntArray
from sensorswim.swim.half_cycles import HalfCycles
from sensorswim.swim.rhythm import Runs, any_rhythm, decode

_LIMIT_DEG: Final = 55.0
_TURNED_DEG: Final = 45.0
_APART_DEG: Final = 20.0
_APART: Final = 4.0
"""Breaths' marks lie at the one on average, and so far from the others in degrees and in spreads;
marks of one kind that are spread evenly would be 3.5 spreads apart."""

_SEEN_ODDS: Final = 6.0
_ROUNDS: Final = 8
_LITTLE_DOUBT: Final = 0.8
_SURE_DEG: Final = 40.0
_KNOWN: Final = 0.8


def turned_to_breathe(
    halves: HalfCycles, head_deg: FloatArray, trunk_deg: FloatArray
) -> tuple[IntArray, FloatArray, BoolArray]:
    """Return per half cycle +1 breath, 0 none, -1 can't tell; how sure; whether by the rhythm.

    The mark is the head's turn to the upper side plus its turn against the trunk: a head that
    merely rolls along with the trunk (45 degrees at most) gets half of the mark of one that turns
    further than the trunk; a head kept still gets next to none. The limit lies between two kinds
    of marks, at the likely one of 55 degrees where they are of one kind. The last half
    cycle of a length counts up to its peak only: behind it may be the turn. Where the head has no
    data the swimmer's rhythm decides, if it does.

    Parameters
    ----------
    halves : HalfCycles
    head_deg, trunk_deg : (N,)
        Roll of the head, and of the best source of roll; NaN in gaps.
    """
    mark = np.full(len(halves), np.nan)
    stops = np.where(halves.closes, np.minimum(halves.peak + 1, halves.stop), halves.stop)
    for i, (first, stop) in enumerate(zip(halves.first, stops, strict=True)):
        head = halves.sign[i] * head_deg[first:stop]
        trunk = halves.sign[i] * trunk_deg[first:stop]
        if np.isfinite(head).mean() > _KNOWN:
            mark[i] = np.nanmax(2.0 * head - trunk)
    limit = _limit_deg(mark[np.isfinite(mark)])
    breath = np.where(np.isnan(mark), -1, mark > limit).astype(int)
    chance = np.clip(0.5 + np.abs(mark - limit) / (2.0 * _SURE_DEG), 0.5, 1.0)
    if not np.isfinite(mark).any():
        return breath, chance, np.zeros(len(halves), dtype=bool)
    likely, told = _by_rhythm(halves, breath)
    sure = np.maximum(likely, 1.0 - likely)
    return np.where(told, likely > 0.5, breath), np.where(told, sure, chance), told


def _by_rhythm(halves: HalfCycles, breath: IntArray) -> tuple[FloatArray, BoolArray]:
    """Return the chance of a breath, and which unknown ones the rhythm leaves in little doubt."""
    unknown = breath < 0
    odds = np.where(unknown, 0.0, np.where(breath > 0, _SEEN_ODDS, -_SEEN_ODDS))
    runs = Runs.of(halves.run, halves.opens)
    likely = decode(odds[None], runs, any_rhythm()[None], rounds=_ROUNDS)[0][0]
    return likely, unknown & (np.maximum(likely, 1.0 - likely) > _LITTLE_DOUBT)


def _limit_deg(marks: FloatArray) -> float:
    """Return the limit between two kinds of marks, the likely one where they are of one kind.

    The kinds are those with the least spread within (Otsu, IEEE Trans Syst Man Cybern 9, 1979).
    """
    ordered = np.sort(marks)
    below = np.arange(1, len(ordered))
    if not len(below):
        return _LIMIT_DEG
    low = np.cumsum(ordered)[:-1] / below
    high = (ordered.sum() - np.cumsum(ordered)[:-1]) / below[::-1]
    between = below * below[::-1] * (high - low) ** 2
    k = int(np.argmax(between))
    within = max(float(ordered.var()) - float(between[k]) / len(ordered) ** 2, 0.0)
    apart = float(high[k] - low[k])
    if apart < max(_APART_DEG, _APART * np.sqrt(within)) or high[k] < _TURNED_DEG:
        return _LIMIT_DEG
    return float(0.5 * (ordered[k] + ordered[k + 1]))
