"""Coordination of the two arms: lags between their propulsive phases.

Source: Chollet, Chalies & Chatard, A new index of coordination for the crawl, Int J Sports Med 21
(2000) 54-59. A lag is one arm's exit minus the other's next catch, in % of the mean cycle; negative
= catch-up, 0 = opposition, positive = superposition.
"""

from __future__ import annotations

import numpy as np
import pandas as pd


def coordination_lags(strokes: pd.DataFrame) -> pd.DataFrame:
    """Return the lags between the arms of one length.

    Parameters
    ----------
    strokes : DataFrame
        `arm_strokes` of one length.

    Returns
    -------
    DataFrame
        at_s (the exit), side (of the exit), lag_s. Incomplete pairs are left out; empty with
        one arm.
    """
    cycle_s = mean_cycle_s(strokes)
    rows = []
    for side, other in (("left", "right"), ("right", "left")):
        own = strokes.loc[strokes["side"] == side].dropna(subset=["mid_pull_s", "exit_s"])
        next_catch = strokes.loc[strokes["side"] == other].dropna(subset=["mid_pull_s", "catch_s"])
        for mid_s, exit_s in zip(own["mid_pull_s"], own["exit_s"], strict=True):
            later = next_catch.loc[next_catch["mid_pull_s"] > mid_s, "catch_s"]
            if len(later) and abs(later.iloc[0] - exit_s) < 0.6 * cycle_s:
                rows.append({"at_s": exit_s, "side": side, "lag_s": exit_s - later.iloc[0]})
    return pd.DataFrame(rows, columns=["at_s", "side", "lag_s"])


def mean_cycle_s(strokes: pd.DataFrame) -> float:
    """Return the mean time from entry to next entry of the same hand, both hands; NaN if none."""
    cycles = (strokes["next_entry_s"] - strokes["entry_s"]).dropna()
    return float(cycles.mean()) if len(cycles) else float("nan")


def index_of_coordination_pct(strokes: pd.DataFrame) -> float:
    """Return the mean of both arms' mean lags in % of the mean cycle; NaN with one arm.

    Parameters
    ----------
    strokes : DataFrame
        `arm_strokes` of one length.
    """
    lags = coordination_lags(strokes)
    by_side = lags.groupby("side")["lag_s"].mean()
    if len(by_side) < 2:
        return float("nan")
    return float(100.0 * by_side.mean() / mean_cycle_s(strokes))


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
