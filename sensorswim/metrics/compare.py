"""Our events and values against somebody else's labels: matches, bias, limits of agreement."""

from __future__ import annotations

import math
from dataclasses import dataclass
from itertools import pairwise
from typing import Any, Final

import numpy as np
import numpy.typing as npt
import pandas as pd
from scipy.optimize import linear_sum_assignment

from sensorswim.metrics.reliability import Agreement, agreement
from sensorswim.model.streams import FloatArray

IndexArray = npt.NDArray[np.intp]
TOLERANCE_S: Final = 0.25
"""Farther apart, an event and a label are not the same (our choice, no source)."""
_STROKE_S: Final = 0.5
"""A label of a stroke's value belongs to the stroke with the nearest mid-pull within this."""
_FAR: Final = 1e6
_EVENTS: Final = {
    "entry": ("arm_strokes", "entry_s"),
    "catch": ("arm_strokes", "catch_s"),
    "mid_pull": ("arm_strokes", "mid_pull_s"),
    "exit": ("arm_strokes", "exit_s"),
    "kick": ("kicks", "downbeat_s"),
    "breath": ("breaths", "peak_s"),
    "push_off": ("lengths", "start_s"),
    "touch": ("lengths", "end_s"),
}


@dataclass(frozen=True, kw_only=True)
class Comparison:
    """One kind of label on one side.

    Parameters
    ----------
    kind, side : str
        `side` is "" where there is none.
    unit : str
        ms for events, else the value's.
    labels, found : int
        How many labels there are, and how many of ours lie in the labelled time.
    label_time_s, labelled, ours : ndarray, shape (n,)
        The matched pairs; of events both are times in s.
    agreement : Agreement
        Ours minus labelled, in `unit`.
    """

    kind: str
    side: str
    unit: str
    labels: int
    found: int
    label_time_s: FloatArray
    labelled: FloatArray
    ours: FloatArray
    agreement: Agreement

    @property
    def matched(self) -> int:
        """How many labels found their counterpart."""
        return len(self.labelled)

    @property
    def recall(self) -> float:
        """Share of the labels that were found, NaN without labels."""
        return self.matched / self.labels if self.labels else math.nan

    @property
    def precision(self) -> float:
        """Share of ours, in the labelled time, that have a label; NaN where we have none."""
        return self.matched / self.found if self.found else math.nan


def match(ours_s: npt.ArrayLike, labels_s: npt.ArrayLike, *, tolerance_s: float) -> IndexArray:
    """Pair events with labels one to one, as many as possible and then as close as possible.

    Returns
    -------
    ndarray, shape (n, 2), integers
        Index of ours and of the label, by label; only pairs within `tolerance_s`.
    """
    ours, labels = np.asarray(ours_s, dtype=float), np.asarray(labels_s, dtype=float)
    apart = np.abs(ours[:, None] - labels[None, :])
    cost = np.where(apart <= tolerance_s, apart, _FAR)
    rows, columns = linear_sum_assignment(cost)
    kept = cost[rows, columns] < _FAR
    pairs = np.column_stack([rows[kept], columns[kept]])
    return pairs[np.argsort(pairs[:, 1])].astype(np.intp)


def compare(
    tables: dict[str, pd.DataFrame],
    labels: pd.DataFrame,
    *,
    tolerance_s: float = TOLERANCE_S,
    shift_s: float = 0.0,
) -> list[Comparison]:
    """Compare result tables with labels, kind by kind and side by side.

    Events outside the labelled time (from a `tolerance_s` before the first label of the kind to
    one after the last) aren't counted as found too much: nobody labelled there.

    Parameters
    ----------
    tables : dict of str to DataFrame
        Contract tables of one session.
    labels : DataFrame
        kind, side, time_s, value, as `read_labels` returns them.
    tolerance_s : float
        How far an event and its label may be apart; larger pairs more, and worse ones.
    shift_s : float
        Added to the labels' times, where their clock starts elsewhere.
    """
    moved = labels.assign(time_s=labels["time_s"] + shift_s).sort_values("time_s")
    answers = []
    for (kind, side), own in moved.groupby(["kind", "side"], sort=True):
        if kind in _EVENTS:
            answers.append(_events(tables, own, str(kind), str(side), tolerance_s))
        else:
            answers.append(_values(tables, own, str(kind), str(side)))
    return answers


def _events(
    tables: dict[str, pd.DataFrame], own: pd.DataFrame, kind: str, side: str, tolerance_s: float
) -> Comparison:
    name, column = _EVENTS[kind]
    ours = np.sort(_of_side(tables[name], side)[column].dropna().to_numpy(float))
    labels = own["time_s"].to_numpy(float)
    inside = (ours >= labels[0] - tolerance_s) & (ours <= labels[-1] + tolerance_s)
    ours = ours[inside]
    pairs = _by_piece(ours, labels, tolerance_s)
    matched, labelled = ours[pairs[:, 0]], labels[pairs[:, 1]]
    return Comparison(
        kind=kind,
        side=side,
        unit="ms",
        labels=len(labels),
        found=len(ours),
        label_time_s=labelled,
        labelled=labelled,
        ours=matched,
        agreement=agreement(1000.0 * matched, 1000.0 * labelled),
    )


def _by_piece(ours: FloatArray, labels: FloatArray, tolerance_s: float) -> IndexArray:
    """Match in pieces that are farther apart than any pair can be: long sessions stay quick."""
    both = np.sort(np.r_[ours, labels])
    gaps = np.flatnonzero(np.diff(both) > tolerance_s)
    edges = [-np.inf, *(0.5 * (both[gaps] + both[gaps + 1])), np.inf]
    found = [np.empty((0, 2), dtype=np.intp)]
    for low, high in pairwise(edges):
        a, b = np.searchsorted(ours, [low, high])
        c, d = np.searchsorted(labels, [low, high])
        if b > a and d > c:
            pairs = match(ours[a:b], labels[c:d], tolerance_s=tolerance_s)
            found.append(pairs + np.array([a, c]))
    return np.concatenate(found).astype(np.intp)


def _of_side(table: pd.DataFrame, side: str) -> pd.DataFrame:
    if not side or "side" not in table:
        return table
    return table[table["side"].eq(side).fillna(value=False).astype(bool)]


def _values(tables: dict[str, pd.DataFrame], own: pd.DataFrame, kind: str, side: str) -> Comparison:
    times, labelled = own["time_s"].to_numpy(float), own["value"].to_numpy(float)
    ours = _roll_at(tables, times) if kind == "roll_deg" else _stroke_at(tables, times, kind, side)
    known = np.isfinite(ours)
    return Comparison(
        kind=kind,
        side=side,
        unit=kind.rpartition("_")[2],
        labels=len(times),
        found=int(known.sum()),
        label_time_s=times[known],
        labelled=labelled[known],
        ours=ours[known],
        agreement=agreement(ours, labelled),
    )


def _roll_at(tables: dict[str, pd.DataFrame], times: FloatArray) -> FloatArray:
    """Return the roll at these times from the source that the lengths rest on, NaN in gaps."""
    sources = tables["lengths"]["roll_source"].dropna()
    roll = tables["roll"]
    own: Any = roll[roll["source"] == sources.iloc[0]] if len(sources) else roll.iloc[:0]
    if own.empty:
        return np.full(len(times), np.nan)
    return np.interp(
        times, own["time_s"].to_numpy(float), own["roll_deg"].to_numpy(float), np.nan, np.nan
    )


def _stroke_at(
    tables: dict[str, pd.DataFrame], times: FloatArray, kind: str, side: str
) -> FloatArray:
    strokes = _of_side(tables["arm_strokes"], side).dropna(subset=["mid_pull_s"])
    middles = strokes["mid_pull_s"].to_numpy(float)
    pairs = _by_piece(middles, times, _STROKE_S)
    ours = np.full(len(times), np.nan)
    ours[pairs[:, 1]] = strokes[kind].to_numpy(float)[pairs[:, 0]]
    return ours
