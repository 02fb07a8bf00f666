"""Coordination of the two arms: lags between their propulsive phases.

Source: Chollet, Chalies & Chatard, A new index of coordination for the crawl, Int J Sports Med 21
(2000) 54-59. A lag is one arm's exit minus the other's next catch, in % of the mean cycle; negative
= catch-up, 0 = opposition, positive = superposition.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from sensorswim.model.streams import BoolArray, FloatArray


@dataclass(frozen=True, kw_only=True)
class Lags:
    """Lags between the arms, in order of the exits of the left arm, then of the right one.

    Parameters
    ----------
    at_s : (K,)
        The exit.
    lag_s : (K,)
    left : (K,) bool
        Whether it is the left arm's exit.
    """

    at_s: FloatArray
    lag_s: FloatArray
    left: BoolArray

    def __len__(self) -> int:
        return len(self.at_s)

    def index_pct(self, cycle_s: float) -> float:
        """Return the mean of both arms' mean lags in % of a cycle; NaN with one arm."""
        if not len(self) or self.left.all() or not self.left.any():
            return float("nan")
        mean_s = 0.5 * (self.lag_s[self.left].mean() + self.lag_s[~self.left].mean())
        return float(100.0 * mean_s / cycle_s)

    def between(self, start_s: float, end_s: float) -> Lags:
        """Return the lags whose exits lie in a stretch of time."""
        own = (self.at_s >= start_s) & (self.at_s < end_s)
        return Lags(at_s=self.at_s[own], lag_s=self.lag_s[own], left=self.left[own])


def coordination_lags(strokes: pd.DataFrame) -> Lags:
    """Return the lags between the arms of one length; none with one arm.

    Parameters
    ----------
    strokes : DataFrame
        `arm_strokes` of one length. Incomplete pairs are left out.
    """
    left = (strokes["side"] == "left").to_numpy(dtype=bool)
    mid, catch, leave = strokes[["mid_pull_s", "catch_s", "exit_s"]].to_numpy(dtype=float).T
    cycle_s = mean_cycle_s(strokes)
    one = _pairs(mid, catch, leave, left, 0.6 * cycle_s)
    other = _pairs(mid, catch, leave, ~left, 0.6 * cycle_s)
    return Lags(
        at_s=np.concatenate([one[0], other[0]]),
        lag_s=np.concatenate([one[1], other[1]]),
        left=np.arange(len(one[0]) + len(other[0])) < len(one[0]),
    )


def _pairs(
    mid_s: FloatArray, catch_s: FloatArray, exit_s: FloatArray, own: BoolArray, most_s: float
) -> tuple[FloatArray, FloatArray]:
    """Return exits of one arm and their lags to the other's catch in its next pull."""
    pull, leave = mid_s[own], exit_s[own]
    complete = np.isfinite(pull) & np.isfinite(leave)
    pull, leave = pull[complete], leave[complete]
    next_pull, catch = mid_s[~own], catch_s[~own]
    complete = np.isfinite(next_pull) & np.isfinite(catch)
    next_pull, catch = next_pull[complete], catch[complete]
    order = np.argsort(next_pull, kind="stable")
    following = np.searchsorted(next_pull[order], pull, side="right")
    lag = leave - np.append(catch[order], np.inf)[following]
    near = np.abs(lag) < most_s
    return leave[near], lag[near]


def mean_cycle_s(strokes: pd.DataFrame) -> float:
    """Return the mean time from entry to next entry of the same hand, both hands; NaN if none."""
    entry, following = strokes[["entry_s", "next_entry_s"]].to_numpy(dtype=float).T
    cycles = following - entry
    cycles = cycles[np.isfinite(cycles)]
    return float(cycles.mean()) if len(cycles) else float("nan")


def index_of_coordination_pct(strokes: pd.DataFrame) -> float:
    """Return the mean of both arms' mean lags in % of the mean cycle; NaN with one arm.

    Parameters
    ----------
    strokes : DataFrame
        `arm_strokes` of one length.
    """
    return coordination_lags(strokes).index_pct(mean_cycle_s(strokes))


def phase_shares(strokes: pd.DataFrame) -> pd.DataFrame:
    """Return entry-catch, pull, push and recovery in % of each stroke's cycle.

    Parameters
    ----------
    strokes : DataFrame
        `arm_strokes`; incomplete strokes give NaN.

    Returns
    -------
    DataFrame
        entry_catch_pct, pull_pct, push_pct, recovery_pct, one row a stroke, same index.
    """
    cycle = (strokes["next_entry_s"] - strokes["entry_s"]).replace(0.0, np.nan)
    edges = ["entry_s", "catch_s", "mid_pull_s", "exit_s", "next_entry_s"]
    names = ["entry_catch_pct", "pull_pct", "push_pct", "recovery_pct"]
    return pd.DataFrame(
        {
            name: 100.0 * (strokes[b] - strokes[a]) / cycle
            for name, a, b in zip(names, edges[:-1], edges[1:], strict=True)
        }
    )
