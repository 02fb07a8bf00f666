"""Coordination of the two arms: lags between their propulsive phases.

Source: Chollet, Chalies & Chatard, A new index of coordination for the crawl, Int J Sports Med 21
(2000) 54-59. A lag is one arm's exit minus the other's next catch, in % of the mean cycle; negative
= catch-up, 0 = opposition, positive = superposition.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
import pandas as pd

from sensorswim.model.streams import BoolArray, FloatArray
from sensorswim.model.tables import by_length

_EVENTS: Final = ("entry_s", "catch_s", "mid_pull_s", "exit_s", "next_entry_s")
_MOST_APART: Final = 0.6
"""Share of a cycle: an exit and a catch further apart belong to no pair."""
_STOPPED: Final = 2.5
"""A swimmer stopped between entries that are so many usual cycles apart (our choice)."""


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


@dataclass(frozen=True, kw_only=True)
class StrokeTimes:
    """The strokes of one length; an event that isn't known is NaN.

    Parameters
    ----------
    left : (K,) bool
    entry_s, catch_s, mid_pull_s, exit_s, next_entry_s : (K,)
    """

    left: BoolArray
    entry_s: FloatArray
    catch_s: FloatArray
    mid_pull_s: FloatArray
    exit_s: FloatArray
    next_entry_s: FloatArray

    @classmethod
    def of_lengths(cls, strokes: pd.DataFrame) -> dict[int, StrokeTimes]:
        """Return the strokes of each length of the table `arm_strokes`, by its number."""
        parts = by_length(strokes, "side", *_EVENTS)
        return {
            number: cls(left=part["side"] == "left", **{name: part[name] for name in _EVENTS})
            for number, part in parts.items()
        }

    @classmethod
    def of_length(cls, strokes: pd.DataFrame) -> StrokeTimes:
        """Return the strokes of a table `arm_strokes` as those of one length."""
        return cls.of_lengths(strokes.assign(length_no=0)).get(0, NO_STROKES)

    @property
    def cycle_s(self) -> float:
        """Mean time from entry to next entry of the same hand, both hands; NaN if none.

        Stops on the way are left out.
        """
        cycles = self.next_entry_s - self.entry_s
        cycles = cycles[np.isfinite(cycles)]
        if not len(cycles):
            return float("nan")
        usual_s = float(np.percentile(cycles, 50, method="lower"))
        return float(cycles[cycles <= _STOPPED * usual_s].mean())

    @property
    def stops(self) -> bool:
        """Whether the swimmer stopped on the way."""
        cycles = self.next_entry_s - self.entry_s
        return bool(np.nanmax(cycles, initial=0.0) > _STOPPED * self.cycle_s)

    def lags(self) -> Lags:
        """Return the lags between the arms; incomplete pairs are left out, one arm gives none."""
        one, other = self._pairs(self.left), self._pairs(~self.left)
        return Lags(
            at_s=np.concatenate([one[0], other[0]]),
            lag_s=np.concatenate([one[1], other[1]]),
            left=np.arange(len(one[0]) + len(other[0])) < len(one[0]),
        )

    def _pairs(self, own: BoolArray) -> tuple[FloatArray, FloatArray]:
        """Return exits of one arm and their lags to the other's catch in its next pull."""
        mine = own & np.isfinite(self.mid_pull_s) & np.isfinite(self.exit_s)
        theirs = ~own & np.isfinite(self.mid_pull_s) & np.isfinite(self.catch_s)
        order = np.argsort(self.mid_pull_s[theirs], kind="stable")
        next_pull, catch = self.mid_pull_s[theirs][order], self.catch_s[theirs][order]
        following = np.searchsorted(next_pull, self.mid_pull_s[mine], side="right")
        lag = self.exit_s[mine] - np.append(catch, np.inf)[following]
        near = np.abs(lag) < _MOST_APART * self.cycle_s
        return self.exit_s[mine][near], lag[near]


NO_STROKES: Final = StrokeTimes(
    left=np.zeros(0, dtype=bool), **{name: np.zeros(0) for name in _EVENTS}
)


def coordination_lags(strokes: pd.DataFrame) -> Lags:
    """Return the lags between the arms of one length of the table `arm_strokes`."""
    return StrokeTimes.of_length(strokes).lags()


def mean_cycle_s(strokes: pd.DataFrame) -> float:
    """Return the mean time from entry to next entry of the same hand, both hands; NaN if none."""
    return StrokeTimes.of_length(strokes).cycle_s


def index_of_coordination_pct(strokes: pd.DataFrame) -> float:
    """Return the mean of both arms' mean lags in % of the mean cycle; NaN with one arm.

    Parameters
    ----------
    strokes : DataFrame
        `arm_strokes` of one length.
    """
    times = StrokeTimes.of_length(strokes)
    return times.lags().index_pct(times.cycle_s)


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
