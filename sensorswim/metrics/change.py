"""Has a swimmer changed between two visits? Spread between visits decides, not between lengths.

A visit's figure is ``state + visit + length``: straps are taken off and put on again, and a day
is not like another, so a visit carries an error of its own that more lengths don't shrink. The
length-to-length spread alone makes false changes. The spread between visits is estimated from
repeated visits (a few days apart, in like conditions) by the analysis of variance for unequal
groups (Searle, Casella & McCulloch 1992, Variance Components, ch. 3), and taken from a cautious
stated default until there are enough of them. Degrees of freedom after Satterthwaite 1946
(doi 10.2307/3002019); many figures at once after Holm 1979 (Scand J Statist 6:65); blocks of
lengths after Künsch 1989 (doi 10.1214/aos/1176347265).
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from enum import StrEnum
from typing import Final

import numpy as np
import numpy.typing as npt
from scipy import special, stats

from sensorswim.model.streams import FloatArray

ALPHA: Final = 0.05
"""Chance of a false alarm that is taken."""
FEWEST_LENGTHS: Final = 3
"""Below this a visit has no spread worth the name (our choice, no source)."""
REPEAT_DAYS: Final = 3.0
"""Visits no further apart count as repeats (our choice, no source). A true change within that
time makes the spread larger, never smaller: it errs towards "no clear change"."""
FEWEST_REPEATS: Final = 6
"""Degrees of freedom from which repeated visits stand without the default (our choice)."""


class Verdict(StrEnum):
    """What may be said of a change."""

    CLEAR = "clear change"
    NOT_CLEAR = "no clear change"
    TOO_FEW = "too few lengths to tell"


@dataclass(frozen=True, kw_only=True)
class Visit:
    """One figure of one visit: how many lengths, their mean and their standard deviation."""

    day: float
    n: int
    mean: float
    sd: float

    @property
    def enough(self) -> bool:
        """Whether there are enough lengths to judge by."""
        return self.n >= FEWEST_LENGTHS and math.isfinite(self.sd)


def visit_of(values: npt.ArrayLike, *, day: float) -> Visit:
    """Return the visit that these lengths make; empty values are left out."""
    known = np.asarray(values, dtype=float)
    known = known[np.isfinite(known)]
    n = len(known)
    mean = float(known.mean()) if n else math.nan
    sd = float(known.std(ddof=1)) if n > 1 else math.nan
    return Visit(day=day, n=n, mean=mean, sd=sd)


@dataclass(frozen=True, kw_only=True)
class Spread:
    """Standard deviation between and within visits, with their degrees of freedom.

    `between_df` is infinite for the default, which is a stated assumption and no estimate.
    """

    between_sd: float
    between_df: float
    within_sd: float
    within_df: int
    from_repeats: bool


@dataclass(frozen=True, kw_only=True)
class Repeats:
    """What repeated visits say of the spread between visits: a sum of squares and its df."""

    squares: float = 0.0
    df: int = 0

    def __add__(self, other: Repeats) -> Repeats:
        """Pool with the repeats of another swimmer."""
        return Repeats(squares=self.squares + other.squares, df=self.df + other.df)


def repeats_of(visits: Sequence[Visit]) -> Repeats:
    """Return the squares between one swimmer's repeats less what the lengths explain."""
    total, df = 0.0, 0
    for cluster in repeats([visit for visit in visits if visit.enough]):
        means = np.array([v.mean for v in cluster])
        df += len(cluster) - 1
        by_lengths = float(np.mean([v.sd**2 / v.n for v in cluster])) * (len(cluster) - 1)
        total += float(((means - means.mean()) ** 2).sum()) - by_lengths
    return Repeats(squares=total, df=df)


def spread_of(
    visits: Sequence[Visit], *, default_sd: float, pooled: Repeats | None = None
) -> Spread:
    """Return the spread of one figure between and within a swimmer's visits.

    Parameters
    ----------
    visits : sequence of Visit
        The swimmer's visits in like conditions, in any order.
    default_sd : float
        Spread between visits to assume until `FEWEST_REPEATS` degrees of freedom are there; an
        estimate from fewer is used where it is larger.
    pooled : Repeats, optional
        Repeats of the whole squad, this swimmer's included, in place of the swimmer's own.
    """
    known = [v for v in visits if v.enough]
    within_df = sum(v.n - 1 for v in known)
    within = sum((v.n - 1) * v.sd**2 for v in known)
    found = repeats_of(known) if pooled is None else pooled
    between = math.sqrt(max(found.squares / found.df, 0.0)) if found.df else 0.0
    enough = found.df >= FEWEST_REPEATS
    return Spread(
        between_sd=between if enough else max(between, default_sd),
        between_df=found.df if enough else math.inf,
        within_sd=math.sqrt(within / within_df) if within_df else math.nan,
        within_df=within_df,
        from_repeats=enough,
    )


def repeats(visits: Sequence[Visit], *, days: float = REPEAT_DAYS) -> list[list[Visit]]:
    """Return the groups of two and more visits that lie within `days` of their group's first."""
    groups: list[list[Visit]] = []
    for visit in sorted(visits, key=lambda v: v.day):
        if groups and visit.day - groups[-1][0].day <= days:
            groups[-1].append(visit)
        else:
            groups.append([visit])
    return [group for group in groups if len(group) > 1]


@dataclass(frozen=True, kw_only=True)
class Change:
    """A figure's change between two visits, in the figure's unit.

    Parameters
    ----------
    before, after : Visit
    difference : float
        After minus before.
    error, df : float
        Standard error of the difference and its degrees of freedom; NaN with too few lengths.
    alpha : float
        Chance of a false alarm that this figure is judged by: 0.05, less among several.
    p : float
        Two-sided, of this figure on its own.
    verdict : Verdict
    from_repeats : bool
        Whether the spread between visits was measured, or assumed.
    """

    before: Visit
    after: Visit
    difference: float
    error: float
    df: float
    alpha: float
    p: float
    verdict: Verdict
    from_repeats: bool

    @property
    def detectable(self) -> float:
        """Smallest change that counts: t * standard error; NaN with too few lengths."""
        return self.error * float(special.stdtrit(self.df, 1.0 - self.alpha / 2))

    @property
    def interval(self) -> tuple[float, float]:
        """Confidence interval of the change, 95 % where the figure stands on its own."""
        return self.difference - self.detectable, self.difference + self.detectable


def judge(before: Visit, after: Visit, spread: Spread) -> Change:
    """Return the change of one figure between two visits, and what may be said of it."""
    difference = after.mean - before.mean
    error, df, p, verdict = math.nan, math.nan, math.nan, Verdict.TOO_FEW
    if before.enough and after.enough:
        error, df = _error_of(before, after, spread)
        same = float(not difference)
        p = 2.0 * float(special.stdtr(df, -abs(difference) / error)) if error > 0 else same
        verdict = Verdict.CLEAR if p < ALPHA else Verdict.NOT_CLEAR
    return Change(
        before=before,
        after=after,
        difference=difference,
        error=error,
        df=df,
        alpha=ALPHA,
        p=p,
        verdict=verdict,
        from_repeats=spread.from_repeats,
    )


def _error_of(before: Visit, after: Visit, spread: Spread) -> tuple[float, float]:
    """Return the standard error of the change and its degrees of freedom (Satterthwaite)."""
    between = 2.0 * spread.between_sd**2
    within = spread.within_sd**2 * (1.0 / before.n + 1.0 / after.n)
    variance = between + within
    if variance == 0.0:
        return 0.0, 1.0
    uncertain = within**2 / spread.within_df
    if math.isfinite(spread.between_df):
        uncertain += between**2 / spread.between_df
    return math.sqrt(variance), variance**2 / uncertain if uncertain > 0 else math.inf


def judge_together(changes: Mapping[str, Change]) -> dict[str, Change]:
    """Return the changes judged for looking at all of them at once (Holm 1979).

    The chance of one false alarm in all of them stays 5 %. Each figure's `alpha`, and with it
    its `detectable`, is that of its step; figures with too few lengths aren't counted.
    """
    told = sorted((c.p, name) for name, c in changes.items() if math.isfinite(c.p))
    judged, stopped, alpha = dict(changes), False, ALPHA
    for rank, (p, name) in enumerate(told):
        if not stopped:
            alpha = ALPHA / (len(told) - rank)
        stopped = stopped or p >= alpha
        verdict = Verdict.NOT_CLEAR if stopped else Verdict.CLEAR
        judged[name] = replace(changes[name], alpha=alpha, verdict=verdict)
    return judged


def block_bootstrap(
    before: npt.ArrayLike,
    after: npt.ArrayLike,
    *,
    between_sd: float,
    block: int = 2,
    draws: int = 2000,
    seed: int = 0,
) -> tuple[float, float]:
    """Return the 95 % interval of a change without assuming normal or unrelated lengths.

    Runs of `block` neighbouring lengths are drawn within each visit (lengths that follow each
    other are alike), and an error of the visit is drawn for each (moving blocks, Künsch 1989,
    within a parametric visit error; that mixture is our deviation). The deviations are widened
    by ``sqrt(n / (n - 1))``, as few lengths show too little of their own spread.

    Parameters
    ----------
    before, after : array_like
        The figure of each length, in the order of swimming.
    between_sd : float
        Spread between visits, as in `Spread`.
    block : int
        Lengths in a run: 1 for unrelated lengths, more where they drift; more is more careful.
    draws, seed : int
        Same seed, same answer.
    """
    rng = np.random.default_rng(seed)
    means = []
    for raw in (before, after):
        values = np.asarray(raw, dtype=float)
        values = values[np.isfinite(values)]
        if len(values) < FEWEST_LENGTHS:
            return math.nan, math.nan
        means.append(_block_means(values, block, draws, rng))
    change = means[1] - means[0] + rng.normal(0.0, math.sqrt(2.0) * between_sd, draws)
    low, high = np.percentile(change, [100 * ALPHA / 2, 100 - 100 * ALPHA / 2])
    return float(low), float(high)


def _block_means(
    values: FloatArray, block: int, draws: int, rng: np.random.Generator
) -> FloatArray:
    """Return `draws` means of as many values, put together from runs that may wrap around."""
    n = len(values)
    size = min(block, n - 1)
    runs = math.ceil(n / size)
    starts = rng.integers(0, n, size=(draws, runs, 1))
    index = ((starts + np.arange(size)) % n).reshape(draws, -1)[:, :n]
    mean = float(values.mean())
    widened: FloatArray = mean + (values[index].mean(axis=1) - mean) * math.sqrt(n / (n - 1))
    return widened


def typical_error(pairs: Sequence[tuple[float, float]]) -> float:
    """Return the SD of differences over root two (Hopkins 2000), NaN below three pairs."""
    differences = np.array([after - before for before, after in pairs])
    if len(differences) < 3:
        return math.nan
    return float(differences.std(ddof=1)) / math.sqrt(2.0)


def sense_of(felt: npt.ArrayLike, measured: npt.ArrayLike, day: npt.ArrayLike) -> float:
    """Return how the distance from felt to measured moves with time: Kendall's tau, -1..1.

    Below 0 the swimmer's sense gets better; NaN below four visits (Kendall 1938,
    doi 10.1093/biomet/30.1-2.81).
    """
    off = np.abs(np.asarray(felt, dtype=float) - np.asarray(measured, dtype=float))
    known = np.isfinite(off)
    if known.sum() < 4:
        return math.nan
    return float(stats.kendalltau(np.asarray(day, dtype=float)[known], off[known]).statistic)
