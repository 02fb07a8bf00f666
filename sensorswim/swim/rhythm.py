"""Which half cycles were breaths: two classes of holds, decoded together with their rhythm.

A swimmer breathes every 2, 3 or 4 half cycles, or with gaps of 2 to 7: how often each gap occurs
is learned from the session, and a doubtful half cycle is decided by where it falls in that rhythm
(a hidden semi-Markov chain, run forwards and back).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
from scipy.special import expit

from sensorswim.model.streams import FloatArray

_GAPS: Final = 8
_ROUNDS: Final = 25


@dataclass(frozen=True, kw_only=True)
class TwoClasses:
    """Two normal distributions of one spread.

    Parameters
    ----------
    low, high, spread : float
        Unit of the values.
    share : float
        Share of the upper class.
    gain : float
        How much better two classes explain the values than one, in log-likelihood less the
        Bayesian cost of two more parameters.
    """

    low: float
    high: float
    spread: float
    share: float
    gain: float

    @property
    def separation(self) -> float:
        """Distance of the classes in spreads."""
        return (self.high - self.low) / self.spread

    def odds(self, values: FloatArray) -> FloatArray:
        """Return the log-likelihood ratio (K,) of the upper class."""
        middle = 0.5 * (self.low + self.high)
        return np.asarray((values - middle) * (self.high - self.low) / self.spread**2)


def fit_two_classes(values: FloatArray, least_spread: float) -> TwoClasses:
    """Fit by expectation and maximisation from several starts, and keep the likeliest.

    Parameters
    ----------
    values : (K,)
        Finite, K >= 4.
    least_spread : float
        Keeps the classes from shrinking onto repeated values.
    """
    fits = [_fit(values, float(np.quantile(values, q)), least_spread) for q in (0.5, 0.7, 0.85)]
    return max(fits, key=lambda fit: fit.gain)


def _fit(values: FloatArray, cut: float, least: float) -> TwoClasses:
    upper = (values > cut).astype(float)
    low = high = spread = share = 0.0
    for _ in range(_ROUNDS):
        share = float(np.clip(upper.mean(), 0.02, 0.98))
        high = float(np.sum(upper * values) / max(upper.sum(), 1e-9))
        low = float(np.sum((1 - upper) * values) / max((1 - upper).sum(), 1e-9))
        square = upper * (values - high) ** 2 + (1 - upper) * (values - low) ** 2
        spread = max(float(np.sqrt(square.mean())), least)
        ratio = (values - 0.5 * (low + high)) * (high - low) / spread**2
        upper = expit(ratio + np.log(share / (1 - share)))
    two = np.logaddexp(
        np.log(share) + _log_normal(values, high, spread),
        np.log(1 - share) + _log_normal(values, low, spread),
    )
    one = _log_normal(values, float(values.mean()), max(float(values.std()), least))
    gain = float(two.sum() - one.sum() - np.log(len(values)))
    return TwoClasses(low=low, high=high, spread=spread, share=share, gain=gain)


def _log_normal(values: FloatArray, mean: float, spread: float) -> FloatArray:
    return np.asarray(-0.5 * ((values - mean) / spread) ** 2 - np.log(spread))


def decode(odds: list[FloatArray], share: float) -> list[FloatArray]:
    """Return the probability of a breath for every half cycle.

    Parameters
    ----------
    odds : list of (K,)
        Log-likelihood ratios of the half cycles in order, one array a run without interruption;
        a run begins anywhere in the rhythm.
    share : float
        Share of breaths, to start from.

    Returns
    -------
    list of (K,)
    """
    hazard = np.full(_GAPS, np.clip(share, 0.05, 0.6))
    hazard[0] *= 0.2
    out: list[FloatArray] = []
    for _ in range(_ROUNDS):
        taken, passed, out = np.full(_GAPS, 0.2), np.full(_GAPS, 0.4), []
        for run in odds:
            chance, one_taken, one_passed = _forward_back(run, hazard)
            out.append(chance)
            taken, passed = taken + one_taken, passed + one_passed
        hazard = taken / (taken + passed)
    return out


def _forward_back(
    odds: FloatArray, hazard: FloatArray
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Return the chance of a breath (K,), and per half cycles since the last how often one came.

    State k: k half cycles have passed since the last breath, before this one is decided.
    """
    count = len(odds)
    like = np.exp(np.clip(odds, -30, 30))
    ahead = np.zeros((count + 1, _GAPS))
    ahead[0] = 1.0 / _GAPS
    for i in range(count):
        ahead[i + 1] = _step(ahead[i], hazard, like[i])
        ahead[i + 1] /= ahead[i + 1].sum()
    back = np.ones((count + 1, _GAPS))
    following = np.minimum(np.arange(1, _GAPS + 1), _GAPS - 1)
    for i in range(count - 1, -1, -1):
        back[i] = hazard * like[i] * back[i + 1, 0] + (1 - hazard) * back[i + 1, following]
        back[i] /= back[i].sum()
    yes = ahead[:-1] * hazard * like[:, None] * back[1:, :1]
    no = ahead[:-1] * (1 - hazard) * back[1:, following]
    total = (yes + no).sum(axis=1, keepdims=True)
    yes, no = yes / total, no / total
    return yes.sum(axis=1), yes.sum(axis=0), no.sum(axis=0)


def _step(state: FloatArray, hazard: FloatArray, like: float) -> FloatArray:
    new = np.zeros_like(state)
    new[0] = np.sum(state * hazard) * like
    stay = state * (1 - hazard)
    new[1:] = stay[:-1]
    new[-1] += stay[-1]
    return new
