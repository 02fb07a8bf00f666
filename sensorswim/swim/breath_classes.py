"""Which half cycles were breaths: what a breath adds, beside what the two sides differ by anyway.

Every half cycle is described by its widths, its hold and its peak. Each side has its own middle;
a breath adds the same to both. Nobody knows beforehand how lopsided a swimmer is: the widths
hardly differ between the sides of a swimmer who doesn't breathe, peak and hold beyond a fixed
angle differ widely. So for who breathes to one side only, the widths decide; where only the peaks
differ, a breath and an uneven roll look the same. Breaths are small and large: each adds a share of
its own of what a breath usually adds, normally distributed about 1.

Several rhythms are tried as a start. Each is fitted by expectation and maximisation together
with its rhythm, and weighed by the probability of the data (Laplace's approximation) against that
of no breaths at all; MacKay 2003, Information Theory, Inference, and Learning Algorithms, ch. 28.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Final

import numpy as np
from scipy.linalg import block_diag
from scipy.special import expit

from sensorswim.model.streams import BoolArray, FloatArray
from sensorswim.swim.half_cycles import HalfCycles
from sensorswim.swim.rhythm import Runs, any_rhythm, decode, likelihood, steady

MEASURES: Final = ("half_width", "quarter_width", "hold", "peak")
"""Shares of the cycle; the peak as a share of the length's own peaks."""
_LEAST_SD: Final = np.array([0.008, 0.007, 0.012, 0.02])
_SIDES_SD: Final = np.array([0.006, 0.006, 0.012, 0.012])
_SHIFTED: Final = 0.25 * np.array([0.0, 0.0, 0.37, 1.0])
_UNLIKE: Final = 0.15 * np.array([-0.32, -0.18, 0.18, 1.0])
"""How much the sides of a swimmer differ without any breath: on their own, because the whole wave
is shifted to one side, and because the two sides are half sines of unlike size about the same zero.
The shares follow from the sine: a shift by p / 2 moves the crossings of half the peak, unlike sizes
move the middle between the peaks. The sizes are those of synthetic swimmers of two builds, but for
`_UNLIKE`, twice theirs."""
_ADDED: Final = np.array([0.06, 0.07, 0.13, 0.2])
_ADDED_SD: Final = np.array([[0.08, 0.08, 0.08, 0.0], [0.0, 0.025, 0.0, 0.0],
                             [0.0, 0.0, 0.04, 0.0], [0.0, 0.0, 0.0, 0.15]])  # fmt: skip
"""What a breath adds, and in which independent ways it may add more or less: a row each. It
broadens both widths alike, by 0.1 s of a cycle of 1.6 s or so, a flat top the upper one by some
more; the hold grows with them, and with the peak besides (our choice after the two builds)."""
_NARROWER: Final = 0.2
"""By how much of what is added to the peak the upper width may shrink: 0.19 on a synthetic swimmer
of slow strokes, none on most."""
_WEIGHTS: Final = np.array([[0.3, 0.7, 0.0, 0.0], [0.0, 0.0, 0.5, 0.5], [0.2, 0.3, 0.3, 0.2]])
"""Ways to look for rolls that stand out: by width, by size, by both."""
_SIZES: Final = 0.35
"""By how much of what it usually adds a breath may add more or less, as a standard deviation."""
_LONG_S: Final = 0.1
"""Breaths to one side that add less look like a larger roll: 0.06 s at most where nobody breathed,
0.1 and more in most whose breaths add 0.2 s, of synthetic swimmers of two builds."""
_LOPSIDED_S: Final = 0.04
"""The same where only the peaks differ: 0.03 s at most, 0.05 and more beside any breaths."""
_TAILS: Final = 5.0
_OWN: Final = 8.0
_ROUNDS: Final = 8
_TOUCHES: Final = 2
_LEAST_COUNT: Final = 10
_LEAST_SHARE: Final = 1.0 / 9.0
_LEAST_APART: Final = 2.0
_APART: Final = 3.0
_ENOUGH: Final = 8.0
_ENOUGH_ONE_SIDED: Final = 2.0
_PLENTY: Final = 12.0
"""What the evidence must be, picked on the synthetic swimmer. Of 80 without breaths one has breaths
listed, with evidence of 15: its uneven kick broadens all rolls to one side."""
_HOLD_AND_PEAK: Final = slice(2, 4)
_END_ODDS: Final = 2.0
"""The first and the last half cycle of a run have no widths, and are often swum otherwise: their
hold and peak count little, and the last one's not for a breath at all."""


@dataclass(frozen=True, kw_only=True)
class Told:
    """Breaths as told from the half cycles.

    Parameters
    ----------
    breath : (K,) bool
    chance : (K,)
        Probability of a breath, given that there are breaths at all.
    evidence : float
        Log-odds that there are breaths at all.
    added_s : float
        What a breath adds to the hold.
    apart : float
        Distance of the two kinds of rolls, in spreads.
    one_sided : bool
        The breaths stand out from the other side only: an uneven roll might look alike.
    """

    breath: BoolArray
    chance: FloatArray
    evidence: float
    added_s: float
    apart: float
    one_sided: bool


def measure(halves: HalfCycles) -> tuple[FloatArray, FloatArray]:
    """Return the measures (K, 4) and the cycle (K,) in s; widths are NaN at the ends of runs."""
    half, quarter, cycle = halves.widths_s()
    usual = _of_length(halves, cycle, np.nanmedian(cycle) if np.isfinite(cycle).any() else np.nan)
    start_s, end_s = halves.beyond(0.5 * float(np.median(halves.peak_roll_deg)))
    hold = np.nan_to_num(end_s - start_s)
    peaks = halves.peak_roll_deg
    sides = [
        _of_length(halves, np.where(halves.sign == sign, peaks, np.nan), np.median(peaks))
        for sign in (1.0, -1.0)
    ]
    shares = [half / usual, quarter / usual, hold / usual, 2.0 * peaks / (sides[0] + sides[1])]
    return np.stack(shares, axis=1), usual


def _of_length(halves: HalfCycles, values: FloatArray, otherwise: float) -> FloatArray:
    """Return for each half cycle the median of its length."""
    out = np.full(len(values), otherwise)
    for number in np.unique(halves.length_no):
        own = halves.length_no == number
        known = values[own][np.isfinite(values[own])]
        if len(known) > 2:
            out[own] = np.median(known)
    return out


def tell(halves: HalfCycles) -> Told | None:
    """Return the likeliest breaths, None with fewer than ten half cycles to go by.

    Breaths of any size tell most of them apart, but what a larger roll to one side varies by looks
    like that, too: to one side only they must be long, or of one size, which then tells how long
    they are. Where that is less likely, and they hardly broaden the rolls, there are none.
    """
    any_size = _told(halves, _SIZES)
    if any_size is None or (believed(any_size) and not any_size.one_sided):
        return any_size
    one_size = _told(halves, 0.0)
    if one_size is None or not believed(any_size):
        return one_size
    if believed(one_size) and one_size.evidence >= any_size.evidence:
        return one_size
    if any_size.added_s < _LOPSIDED_S:
        return replace(any_size, evidence=-np.inf)
    alike = believed(one_size) and one_size.one_sided
    return one_size if alike or any_size.added_s < _LONG_S else any_size


def _told(halves: HalfCycles, sizes: float) -> Told | None:
    values, cycle = measure(halves)
    whole = np.isfinite(values).all(axis=1) & ~halves.opens & ~halves.closes
    if whole.sum() < _LEAST_COUNT:
        return None
    runs = Runs.of(halves.run, halves.opens)
    seen = _Seen(values=values[whole], sign=halves.sign[whole], sizes=sizes)
    quiet = np.zeros((1, len(halves)))
    base = float(seen.fit(quiet[:, whole]).score[0]) + likelihood(quiet > 0.5, runs)[0]
    starts = _starts(seen, halves.sign, whole, runs)
    chance = np.concatenate([_settle(seen, whole, runs, starts), starts[:2] * ~halves.opens])
    for _ in range(_TOUCHES):
        fits = seen.best_fits((chance[:, whole] > 0.5).astype(float))
        chance = _with_ends(halves, values, whole, fits, runs, sizes)
    fits = seen.best_fits((chance[:, whole] > 0.5).astype(float))
    score = fits.score + likelihood(chance > 0.5, runs)
    some = (chance[:, whole] > 0.5).any(axis=1) & fits.plausible
    best = int(np.argmax(np.where(some, score, -np.inf)))
    breath = (chance[best] > 0.5) & bool(some[best])
    return Told(
        breath=breath,
        chance=chance[best],
        evidence=float(score[best] - base) if some[best] else -np.inf,
        added_s=float(fits.theta[best, 2, 2] * np.median(cycle)),
        apart=float(fits.apart[best]),
        one_sided=_one_sided(halves.sign, breath, whole),
    )


def _with_ends(
    halves: HalfCycles,
    values: FloatArray,
    whole: BoolArray,
    fits: _Fits,
    runs: Runs,
    sizes: float,
) -> FloatArray:
    """Return the chances (B, K) with the first and last half cycles judged by hold and peak."""
    everyone = _Seen(values=values, sign=halves.sign, sizes=sizes)
    most = np.where(halves.closes, 0.0, _END_ODDS)
    ends = np.clip(everyone.odds(fits, _HOLD_AND_PEAK), -2.0 * _END_ODDS, most)
    odds = np.where(whole, everyone.odds(fits), ends)
    return decode(odds, runs, np.tile(any_rhythm(), (len(odds), 1)), rounds=8)[0]


def _one_sided(sign: FloatArray, breath: BoolArray, whole: BoolArray) -> bool:
    shares = [float(np.mean(breath[whole & (sign == side)])) if (whole & (sign == side)).any()
              else 0.0 for side in (1.0, -1.0)]  # fmt: skip
    return max(shares) > 0.9 and min(shares) < 0.1


def _starts(seen: _Seen, sign: FloatArray, whole: BoolArray, runs: Runs) -> FloatArray:
    """Return first guesses (B, K): every second, to either side; every third and fourth; any."""
    mark = np.zeros((3, len(sign)))
    mark[:, whole] = 2.0 * (seen.stand_out() @ _WEIGHTS.T - 0.7).T
    guesses = [np.stack([np.where(sign == side, 0.9, 0.02) for side in (1.0, -1.0)])]
    guesses += [
        decode(mark, runs, np.tile(hazard, (3, 1)), rounds=rounds)[0]
        for hazard, rounds in ((steady(3), 0), (steady(4), 0), (any_rhythm(), 4))
    ]
    return np.concatenate(guesses)


def _settle(seen: _Seen, whole: BoolArray, runs: Runs, chance: FloatArray) -> FloatArray:
    """Fit classes and rhythm by turns until they settle; return the chances (B, K)."""
    odds, hazard = np.zeros(chance.shape), np.tile(any_rhythm(), (len(chance), 1))
    fits: _Fits | None = None
    for i in range(_ROUNDS):
        soft = chance if i < _ROUNDS - 3 else (chance > 0.5).astype(float)
        fits = seen.fit(soft[:, whole], fits or seen.apart(soft[:, whole]), rounds=2)
        odds[:, whole] = seen.odds(fits)
        chance, hazard = decode(odds, runs, hazard)
    return chance


@dataclass(frozen=True, kw_only=True)
class _Fits:
    """B fits: middle, sides and what a breath adds (B, 3, 4), spread (B, 4, 4), evidence (B,)."""

    theta: FloatArray
    spread: FloatArray
    score: FloatArray

    @property
    def plausible(self) -> BoolArray:
        """What a breath adds is more, not less (B,).

        A higher peak over the same half cycle is narrower a quarter of the way down.
        """
        _, quarter, hold, peak = self.theta[:, 2].T
        narrowest = -0.02 - _NARROWER * np.maximum(peak, 0.0)
        return np.asarray((hold > 0) & (quarter > narrowest) & (peak > -0.15))

    @property
    def apart(self) -> FloatArray:
        """Distance of the classes in spreads (B,)."""
        return np.asarray(np.sqrt(_away(self.theta[:, 2:], _inverse(self.spread))[:, 0]))


@dataclass(frozen=True, kw_only=True)
class _Seen:
    """Measures (K, 4) and signs (K,) of the half cycles that count; how sizes of breaths differ."""

    values: FloatArray
    sign: FloatArray
    sizes: float

    def stand_out(self) -> FloatArray:
        """Return how far each measure lies above the middle of its side, in spreads."""
        out = np.zeros_like(self.values)
        for side in (1.0, -1.0):
            own = self.sign == side
            if own.any():
                away = self.values[own] - np.median(self.values[own], axis=0)
                out[own] = away / (1.5 * np.median(np.abs(away), axis=0) + _LEAST_SD)
        return out

    def odds(self, fits: _Fits, of: slice = slice(None)) -> FloatArray:
        """Return the log-likelihood ratio (B, K) of breath and no breath from some measures."""
        inverse = _inverse(fits.spread[:, of, of])
        theta = fits.theta[:, :, None]
        left = (self.values - theta[:, 0] - 0.5 * self.sign[:, None] * theta[:, 1])[..., of]
        sized = _Sized.of(left, fits.theta[:, 2, of], inverse, self.sizes)
        near = [np.log1p(away / _TAILS) for away in (_away(left, inverse), sized.away)]
        odds = 0.5 * (_TAILS + inverse.shape[-1]) * (near[0] - near[1])
        return np.asarray(odds - sized.broader[:, None])

    def apart(self, chance: FloatArray) -> _Fits:
        """Return a rough start: sides alike, and all that the classes differ by is added."""
        low, high = (
            weight @ self.values / np.maximum(weight.sum(axis=1), 1e-9)[:, None]
            for weight in (1.0 - chance, chance)
        )
        spread = np.diag((3.0 * _LEAST_SD) ** 2)
        return _Fits(
            theta=np.stack([low, 0.0 * low, high - low], axis=1),
            spread=np.broadcast_to(spread, (len(chance), *spread.shape)),
            score=np.full(len(chance), -np.inf),
        )

    def best_fits(self, breath: FloatArray) -> _Fits:
        """Return the better of the fits that start from unlike sides and from unlike classes."""
        sides, classes = self.fit(breath), self.fit(breath, self.apart(breath))
        better = classes.score > sides.score
        return _Fits(
            theta=np.where(better[:, None, None], classes.theta, sides.theta),
            spread=np.where(better[:, None, None], classes.spread, sides.spread),
            score=np.where(better, classes.score, sides.score),
        )

    def fit(self, chance: FloatArray, start: _Fits | None = None, *, rounds: int = 8) -> _Fits:
        """Fit middle, difference of the sides, what a breath adds, and one spread for all.

        Half cycles between the classes count in both with their chance (B, K); each is weighted
        as in a multivariate t distribution, so that odd ones don't draw.
        """
        some = chance.any(axis=1).astype(int)
        prior_mean, precision = (np.stack(both)[some] for both in zip(*_PRIORS, strict=True))
        if start is None:
            middle = np.stack([np.median(self.values, axis=0), *np.zeros((2, len(_LEAST_SD)))])
            theta = np.broadcast_to(middle, prior_mean.shape)
            spread = np.cov(self.values.T) + np.diag(_LEAST_SD**2)
            spread = np.broadcast_to(spread, (len(chance), *spread.shape))
        else:
            theta, spread = start.theta, start.spread
        plain = np.stack(
            [np.ones(len(self.sign)), 0.5 * self.sign, np.zeros(len(self.sign))], axis=1
        )
        told = chance.sum(axis=1)
        for _ in range(rounds):
            inverse = _inverse(spread)
            dim = inverse.shape[-1]
            left = self.values - plain @ theta
            sized = _Sized.of(left, theta[:, 2], inverse, self.sizes)
            whole = np.repeat(plain[None], len(chance), axis=0)
            whole[..., 2] = sized.size
            weights = [share * (_TAILS + dim) / (_TAILS + away)
                       for share, away in ((1.0 - chance, _away(left, inverse)),
                                           (chance, sized.away))]  # fmt: skip
            heavy = np.swapaxes(whole * weights[1][..., None], 1, 2)
            gram = np.einsum("bk,ki,kj->bij", weights[0], plain, plain) + heavy @ whole
            gram[:, 2, 2] += told * sized.unsure
            drawn = (weights[0][:, None] * plain.T) @ self.values + heavy @ self.values
            hessian = np.einsum("bij,bkl->bikjl", gram, inverse).reshape(precision.shape)
            hessian = hessian + precision
            right = (drawn @ inverse).reshape(len(chance), -1, 1)
            right = right + precision @ prior_mean.reshape(right.shape)
            theta = np.linalg.solve(hessian, right).reshape(theta.shape)
            scatter = sum(np.swapaxes(one * w[..., None], 1, 2) @ one
                          for one, w in zip((self.values - plain @ theta,
                                             self.values - whole @ theta),
                                            weights, strict=True))  # fmt: skip
            added = theta[:, 2, :, None] * theta[:, 2, None]
            scatter = scatter + (told * sized.unsure)[:, None, None] * added
            spread = (scatter + _OWN * np.diag(_LEAST_SD**2)) / (chance.shape[1] + _OWN)
        inverse = _inverse(spread)
        left = self.values - plain @ theta
        sized = _Sized.of(left, theta[:, 2], inverse, self.sizes)
        away = np.where(chance > 0.5, sized.away, _away(left, inverse))
        score = _score(away, spread, inverse) - sized.broader * (chance > 0.5).sum(axis=1)
        off = (theta - prior_mean).reshape(len(chance), -1, 1)
        score += 0.5 * (np.linalg.slogdet(precision)[1] - np.linalg.slogdet(hessian)[1])
        score -= 0.5 * (np.swapaxes(off, 1, 2) @ precision @ off)[:, 0, 0]
        return _Fits(theta=theta, spread=spread, score=score)


def _prior(*, breaths: bool) -> tuple[FloatArray, FloatArray]:
    """Return mean (3, 4) of middle, sides and addition and its precision (12, 12)."""
    dim = len(_ADDED)
    sides = np.diag(_SIDES_SD**2) + np.outer(_SHIFTED, _SHIFTED) + np.outer(_UNLIKE, _UNLIKE)
    added = _ADDED_SD.T @ _ADDED_SD if breaths else np.diag((1e-3 * _LEAST_SD) ** 2)
    precision = block_diag(np.eye(dim) / 9.0, np.linalg.inv(sides), np.linalg.inv(added))
    return np.stack([np.zeros(dim), np.zeros(dim), _ADDED * breaths]), precision


_PRIORS: Final = (_prior(breaths=False), _prior(breaths=True))


@dataclass(frozen=True, kw_only=True)
class _Sized:
    """How half cycles look as breaths of any size, by B fits.

    Parameters
    ----------
    size : (B, K)
        The likeliest, as a share of what a breath usually adds.
    unsure : (B,)
        Variance of that.
    away : (B, K)
        Squared Mahalanobis length of what is left.
    broader : (B,)
        By how much sizes that differ spread the class: half the log of the determinants' ratio.
    """

    size: FloatArray
    unsure: FloatArray
    away: FloatArray
    broader: FloatArray

    @staticmethod
    def of(left: FloatArray, added: FloatArray, inverse: FloatArray, sizes: float) -> _Sized:
        """Measure what the middle leaves (B, K, D) by what a breath adds (B, D)."""
        left = left - added[:, None]
        way = np.einsum("bi,bij->bj", added, inverse)
        apart = 1.0 + sizes**2 * np.sum(way * added, axis=1)
        along = np.einsum("bkj,bj->bk", left, way)
        unsure = sizes**2 / apart
        return _Sized(
            size=1.0 + unsure[:, None] * along,
            unsure=unsure,
            away=_away(left, inverse) - unsure[:, None] * along**2,
            broader=0.5 * np.log(apart),
        )


def _inverse(spread: FloatArray) -> FloatArray:
    return np.asarray(np.linalg.inv(spread), dtype=np.float64)


def _away(left: FloatArray, inverse: FloatArray) -> FloatArray:
    """Return the squared Mahalanobis length (B, K) of residuals (B, K, 4)."""
    return np.asarray(np.sum((left @ inverse) * left, axis=-1))


def _score(away: FloatArray, spread: FloatArray, inverse: FloatArray) -> FloatArray:
    """Return the log-likelihood (B,) under the t distribution with the prior of its spread."""
    size = np.linalg.slogdet(spread)[1]
    own = 0.5 * _OWN * (size + np.trace(inverse * _LEAST_SD**2, axis1=1, axis2=2))
    tails = 0.5 * (_TAILS + spread.shape[-1]) * np.log1p(away / _TAILS).sum(axis=1)
    return np.asarray(-tails - 0.5 * away.shape[1] * size - own)


def believed(told: Told) -> bool:
    """Return whether there are breaths at all.

    Rolls of one and the same side that fall into two kinds need more: slow changes of a swimmer's
    roll can look like that; kinds that are hardly apart need plenty. A few odd rolls are no
    breathing either: nobody goes without air for nine half cycles all the time.
    """
    often = bool(told.breath.mean() > _LEAST_SHARE and told.apart > _LEAST_APART)
    enough = _ENOUGH_ONE_SIDED if told.one_sided else _ENOUGH
    plenty = np.inf if told.one_sided else _PLENTY
    return often and told.evidence > (enough if told.apart > _APART else plenty)


def sure(evidence: float, added_s: float) -> float:
    """Return how far the breaths as such can be believed, 0..1.

    Below a tenth of a second an uneven roll looks the same.
    """
    return float(expit(0.5 * evidence) * min(1.0, max(added_s, 0.0) / 0.2) ** 0.5)
