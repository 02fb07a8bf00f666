"""The rhythm of breathing: how many half cycles lie between breaths, learned and used to decide.

A swimmer breathes every 2, 3 or 4 half cycles, or with gaps of 2 to 7: how often each gap occurs
is learned from the session, as is how soon the first breath of a length comes; a doubtful half
cycle is decided by where it falls in that rhythm (a hidden semi-Markov chain, run forwards and
back over all lengths at once).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
from scipy.special import betaln

from sensorswim.model.streams import BoolArray, FloatArray, IntArray

_GAPS: Final = 8
_LEADS: Final = 5
_FOLLOWING: Final = np.r_[np.minimum(np.arange(1, _GAPS + 1), _GAPS - 1),
                          _GAPS + np.minimum(np.arange(1, _LEADS + 1), _LEADS - 1)]  # fmt: skip
"""State k < 8: so many half cycles have passed since the last breath; the states from 8 on count
them from the beginning of the length, while no breath has come yet."""
_ONWARD: Final = np.eye(_GAPS + _LEADS)[_FOLLOWING]
"""Row k has its 1 in the state that follows state k when no breath comes; it is never state 0."""
_TAKEN: Final = np.r_[0.05, np.full(_GAPS + _LEADS - 1, 0.2)]
_PASSED: Final = np.r_[1.0, np.full(_GAPS + _LEADS - 1, 0.4)]
"""Parameters of the beta distribution of each state's chance of a breath, before any is seen:
most states are nearly always or nearly never taken; two breaths in a row are rare."""


@dataclass(frozen=True, kw_only=True)
class Runs:
    """Where K half cycles stand in R runs of at most L.

    Parameters
    ----------
    index : (R, L) int
        The half cycle, -1 behind the end of the run.
    opens : (R,) bool
        The run begins with its length; else anywhere in the rhythm, as after a gap.
    """

    index: IntArray
    opens: BoolArray

    @staticmethod
    def of(run: IntArray, opens: BoolArray) -> Runs:
        """Lay out half cycles (K,) by the number of their run."""
        first = np.flatnonzero(np.diff(run, prepend=run[0] - 1))
        which = np.cumsum(np.diff(run, prepend=run[0]) != 0)
        place = np.arange(len(run)) - first[which]
        index = np.full((len(first), int(place.max()) + 1), -1)
        index[which, place] = np.arange(len(run))
        return Runs(index=index, opens=opens[first])

    def start(self) -> FloatArray:
        """Return the chances (R, S) of the states in which the runs begin."""
        state = np.zeros((len(self.opens), _GAPS + _LEADS))
        state[self.opens, _GAPS] = 1.0
        state[~self.opens, :_GAPS] = 1.0 / _GAPS
        return state


def decode(
    odds: FloatArray, runs: Runs, hazard: FloatArray, *, rounds: int = 1
) -> tuple[FloatArray, FloatArray]:
    """Return the probability of a breath for every half cycle, and the hazard learned from it.

    Parameters
    ----------
    odds : (B, K)
        Log-likelihood ratios of breath and no breath, for B readings of the same half cycles.
    runs : Runs
    hazard : (B, S)
        Chance of a breath in each state, to start from.
    rounds : int
        How often the hazard is learned anew, 0 keeps it.

    Returns
    -------
    (B, K), (B, S)
    """
    chance, taken, passed = _forward_back(odds, runs, hazard)
    for _ in range(rounds):
        hazard = (taken + _TAKEN) / (taken + passed + _TAKEN + _PASSED)
        chance, taken, passed = _forward_back(odds, runs, hazard)
    return chance, hazard


def any_rhythm() -> FloatArray:
    """Return a hazard (S,) to start from when nothing is known."""
    hazard = np.full(_GAPS + _LEADS, 0.3)
    hazard[0] = 0.05
    return hazard


def steady(gap: int) -> FloatArray:
    """Return the hazard (S,) of a swimmer who breathes every so many half cycles."""
    hazard = np.full(_GAPS + _LEADS, 0.03)
    hazard[gap - 1], hazard[gap:_GAPS], hazard[_GAPS:] = 0.94, 0.5, 0.3
    return hazard


def likelihood(breath: BoolArray, runs: Runs) -> FloatArray:
    """Return the log-probability (B,) of breaths (B, K), chances of the states integrated out."""
    odds = np.where(breath, 60.0, -60.0)
    _, taken, passed = _forward_back(odds, runs, np.tile(any_rhythm(), (len(breath), 1)))
    gain = betaln(taken + _TAKEN, passed + _PASSED) - betaln(_TAKEN, _PASSED)
    return np.asarray(gain.sum(axis=1))


def _forward_back(
    odds: FloatArray, runs: Runs, hazard: FloatArray
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Return the chance of a breath (B, K), and per state (B, S) how often one came or not."""
    like = np.moveaxis(np.exp(np.clip(odds, -60, 60))[:, runs.index], 2, 0)
    real = runs.index >= 0
    come, pass_by = hazard[:, None, :], 1.0 - hazard[:, None, :]
    onward = pass_by.swapaxes(1, 2) * _ONWARD
    back, forth = onward.swapaxes(1, 2), np.concatenate([onward, hazard[:, :, None]], axis=2)
    shape = (*like.shape, hazard.shape[1])
    before, after = np.empty(shape), np.ones(shape)
    before[0] = runs.start()
    for i in range(1, len(like)):
        moved = before[i - 1] @ forth
        moved[..., 0] += moved[..., -1] * like[i - 1]
        np.divide(moved[..., :-1], moved[..., :-1].sum(axis=2, keepdims=True), out=before[i])
    for i in range(len(like) - 1, 0, -1):
        step = after[i] @ back + (like[i] * after[i, ..., 0])[..., None] * come
        step /= step.sum(axis=2, keepdims=True)
        after[i - 1] = np.where(real[:, i, None], step, after[i])
    yes = before * come * (like * after[..., 0])[..., None]
    no = before * pass_by * after[..., _FOLLOWING]
    there = real.T[:, None, :]
    total = np.where(there, (yes + no).sum(axis=3), np.inf)[..., None]
    yes, no = yes / total, no / total
    chance = np.zeros(odds.shape)
    chance[:, runs.index.T[real.T]] = np.moveaxis(yes.sum(axis=3), 1, 0)[:, real.T]
    return chance, yes.sum(axis=(0, 2)), no.sum(axis=(0, 2))
