"""How well repeated measurements agree: ICC forms, standard error, detectable change, limits.

Sources: Shrout & Fleiss 1979, Psychol Bull 86:420, doi 10.1037/0033-2909.86.2.420 (ICC forms);
Weir 2005, J Strength Cond Res 19:231, doi 10.1519/15184.1 (SEM, minimal difference);
Bland & Altman 1986, Lancet 327:307, doi 10.1016/S0140-6736(86)90837-8 (limits of agreement);
Hopkins 2000, Sports Med 30:1, doi 10.2165/00007256-200030010-00001 (worthwhile change).
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final

import numpy as np
import numpy.typing as npt
from scipy import stats

from sensorswim.model.streams import FloatArray

ICC_FORMS: Final = ("1,1", "2,1", "3,1", "1,k", "2,k", "3,k")
SMALL_SHARE: Final = 0.2
"""Smallest worthwhile change as a share of the spread between swimmers (Hopkins 2000)."""


@dataclass(frozen=True, kw_only=True)
class MeanSquares:
    """Two-way analysis of variance of subjects x trials, in squared units of the figure."""

    subjects: float
    within: float
    trials: float
    error: float
    n_subjects: int
    n_trials: int

    @property
    def f_subjects(self) -> float:
        """F of the subjects against the error."""
        return self.subjects / self.error

    @property
    def f_trials(self) -> float:
        """F of the trials against the error: large where there is a shift between trials."""
        return self.trials / self.error


def mean_squares(ratings: npt.ArrayLike) -> MeanSquares:
    """Return the mean squares of a complete table, one row a subject, one column a trial.

    Raises
    ------
    ValueError
        Fewer than two subjects or trials, or an empty cell.
    """
    table = np.asarray(ratings, dtype=float)
    if table.ndim != 2 or min(table.shape) < 2 or not np.isfinite(table).all():
        raise ValueError("needs a complete table of at least two subjects and two trials")
    n, k = table.shape
    grand = table.mean()
    rows = k * float(((table.mean(axis=1) - grand) ** 2).sum())
    columns = n * float(((table.mean(axis=0) - grand) ** 2).sum())
    total = float(((table - grand) ** 2).sum())
    return MeanSquares(
        subjects=rows / (n - 1),
        within=(total - rows) / (n * (k - 1)),
        trials=columns / (k - 1),
        error=(total - rows - columns) / ((n - 1) * (k - 1)),
        n_subjects=n,
        n_trials=k,
    )


def icc(ratings: npt.ArrayLike) -> dict[str, float]:
    """Return the six intraclass correlations of Shrout & Fleiss 1979 by form.

    ``1``: one-way; ``2``: two-way, trials at random, absolute agreement; ``3``: two-way, trials
    fixed, consistency; ``,1`` of one measurement, ``,k`` of the mean of all trials.
    """
    m = mean_squares(ratings)
    n, k = m.n_subjects, m.n_trials
    shift = k * (m.trials - m.error) / n
    return {
        "1,1": (m.subjects - m.within) / (m.subjects + (k - 1) * m.within),
        "2,1": (m.subjects - m.error) / (m.subjects + (k - 1) * m.error + shift),
        "3,1": (m.subjects - m.error) / (m.subjects + (k - 1) * m.error),
        "1,k": (m.subjects - m.within) / m.subjects,
        "2,k": (m.subjects - m.error) / (m.subjects + shift / k),
        "3,k": (m.subjects - m.error) / m.subjects,
    }


def standard_error_of_measurement(ratings: npt.ArrayLike, *, absolute: bool = False) -> float:
    """Return the SEM in the figure's unit: root of the error mean square (Weir 2005).

    Parameters
    ----------
    ratings : array_like, shape (subjects, trials)
    absolute : bool
        Count a shift between the trials as error, too (root of the within mean square).
    """
    m = mean_squares(ratings)
    return math.sqrt(m.within if absolute else m.error)


def smallest_detectable_change(sem: float, *, level: float = 0.95, group: int = 1) -> float:
    """Return the change that exceeds measurement error at `level`: z * sqrt(2) * SEM.

    Parameters
    ----------
    sem : float
        Standard error of measurement, in the figure's unit.
    level : float
        Two-sided confidence, 0..1; higher asks for a larger change.
    group : int
        Number of swimmers whose mean is judged; the change shrinks by its root.
    """
    z = float(stats.norm.ppf(0.5 + level / 2))
    return z * math.sqrt(2.0) * sem / math.sqrt(group)


def smallest_worthwhile_change(between: npt.ArrayLike) -> float:
    """Return 0.2 of the standard deviation between swimmers (Hopkins 2000), NaN below three."""
    values = np.asarray(between, dtype=float)
    values = values[np.isfinite(values)]
    return SMALL_SHARE * float(values.std(ddof=1)) if len(values) >= 3 else math.nan


@dataclass(frozen=True, kw_only=True)
class Agreement:
    """Limits of agreement of two methods (Bland & Altman 1986), in the figure's unit.

    `bias` is the mean of first minus second; `low` and `high` are the limits; each ``_ci`` is
    a 95 % confidence interval. All but `n` are NaN where there are too few pairs.
    """

    n: int
    bias: float
    sd: float
    low: float
    high: float
    bias_ci: tuple[float, float]
    low_ci: tuple[float, float]
    high_ci: tuple[float, float]


def agreement(first: npt.ArrayLike, second: npt.ArrayLike, *, width: float = 1.96) -> Agreement:
    """Return bias and limits of agreement of paired values; pairs with an empty half are left out.

    Parameters
    ----------
    first, second : array_like, shape (n,)
        In the same unit.
    width : float
        Standard deviations from bias to limit: 1.96 for 95 %; the 1986 paper rounds it to 2.
    """
    difference = np.asarray(first, dtype=float) - np.asarray(second, dtype=float)
    difference = difference[np.isfinite(difference)]
    n = len(difference)
    nothing = (math.nan, math.nan)
    if n < 3:
        bias = float(difference.mean()) if n else math.nan
        empty = {"sd": math.nan, "low": math.nan, "high": math.nan}
        return Agreement(n=n, bias=bias, **empty, bias_ci=nothing, low_ci=nothing, high_ci=nothing)
    bias, sd = float(difference.mean()), float(difference.std(ddof=1))
    t = float(stats.t.ppf(0.975, n - 1))
    about_bias, about_limit = t * sd / math.sqrt(n), t * sd * math.sqrt(3.0 / n)
    low, high = bias - width * sd, bias + width * sd
    return Agreement(
        n=n,
        bias=bias,
        sd=sd,
        low=low,
        high=high,
        bias_ci=(bias - about_bias, bias + about_bias),
        low_ci=(low - about_limit, low + about_limit),
        high_ci=(high - about_limit, high + about_limit),
    )


def repeatability(first: npt.ArrayLike, second: npt.ArrayLike) -> tuple[float, float]:
    """Return the SD of repeats about a mean difference of 0, and the within-subject SD.

    The repeatability coefficient of Bland & Altman 1986 is twice the first.
    """
    difference = np.asarray(first, dtype=float) - np.asarray(second, dtype=float)
    about_zero = math.sqrt(float((difference**2).mean()))
    return about_zero, about_zero / math.sqrt(2.0)


def concordance(first: FloatArray, second: FloatArray) -> float:
    """Return Lin's concordance correlation (Lin 1989, doi 10.2307/2532051), moments over n."""
    covariance = float(((first - first.mean()) * (second - second.mean())).mean())
    apart = float(first.mean() - second.mean()) ** 2
    return 2.0 * covariance / (float(first.var()) + float(second.var()) + apart)
