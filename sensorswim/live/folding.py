"""How rows that a run found join the rows committed before it."""

from __future__ import annotations

from typing import Final

import numpy as np
import numpy.typing as npt
import pandas as pd

from sensorswim.live.job import Found, Job
from sensorswim.model.streams import FloatArray

SAME_EVENT_S: Final = 0.15
"""Two events of one side closer than this are one, seen by two runs."""
BEFORE_LENGTH_S: Final = 4.0
"""A run that begins with a length takes this much of the rest before it along."""
TIMES: Final = {
    "lengths": "end_s",
    "arm_strokes": "exit_s",
    "kicks": "downbeat_s",
    "arm_cycles": "end_s",
    "rolls": "end_s",
    "breaths": "end_s",
}
"""The column that says when a row of a table is over."""
_ELSE: Final = ("mid_pull_s", "entry_s", "catch_s")
"""Columns to go by where an arm stroke has no exit."""

Tables = dict[str, pd.DataFrame]


def last_end_s(lengths: pd.DataFrame) -> float:
    """Return when the last length was over, minus infinity without one."""
    return float(lengths["end_s"].max()) if len(lengths) else float("-inf")


def added(held: Tables, name: str, found: Tables, *, from_s: float, until_s: float) -> pd.DataFrame:
    """Return a table with rows of a quick run behind its own.

    Parameters
    ----------
    held : dict
        What is committed.
    name : str
        The table.
    found : dict
        What the quick run found: this table and its `lengths`, with numbers of its own.
    from_s, until_s : float
        Rows that are over after the one moment and by the other are taken.
    """
    rows, spans = found[name], found["lengths"]
    begin_s = last_end_s(held["lengths"])
    new = spans.loc[0.5 * (spans["start_s"] + spans["end_s"]) > begin_s, "length_no"]
    numbers = {int(no): len(held["lengths"]) + n + 1 for n, no in enumerate(sorted(new))}
    ends_s = over_s(rows, name)
    due = (ends_s > from_s) & (ends_s <= until_s) & rows["length_no"].isin(list(numbers)).to_numpy()
    due &= ends_s > _last_s(held[name], name, rows) + SAME_EVENT_S
    if name == "arm_strokes":
        due &= ~_unfinished(rows) & ~_entered(held[name], rows)
    if name == "lengths":
        due &= rows["finished"].fillna(value=False).to_numpy(dtype=bool)
    if not due.any():
        return held[name]
    fresh = rows.loc[due]
    fresh = fresh.assign(length_no=fresh["length_no"].map(numbers).astype("Int64"))
    return _joined(held[name], fresh)


def replaced(held: Tables, job: Job, found: Found) -> tuple[Tables, int]:
    """Return the tables with a whole run's rows in the place of all that lie in its span.

    Also returns how many events that were committed before it moved or took back.
    """
    ends_s = held["lengths"]["end_s"]
    kept = held["lengths"][ends_s < job.start_s + BEFORE_LENGTH_S]
    begin_s = last_end_s(kept) if len(kept) else job.start_s
    spans = found.tables["lengths"]
    own = spans.loc[0.5 * (spans["start_s"] + spans["end_s"]) > begin_s, "length_no"]
    shift = len(kept) - (len(spans) - len(own))
    tables, corrected = dict(held), 0
    for name, column in TIMES.items():
        rows = found.tables[name]
        rows = rows[rows["length_no"].isin(list(own))]
        rows = rows[over_s(rows, name) <= job.settled_s[name]]
        rows = rows.assign(length_no=rows["length_no"] + shift)
        earlier = held[name]["length_no"] <= len(kept)
        seen = over_s(held[name], name) <= job.settled_s[name]
        corrected += _moved(held[name][~earlier & seen], rows, column)
        tables[name] = _joined(held[name][earlier], rows)
    tables["roll"] = found.tables["roll"]
    return tables, corrected


def _unfinished(strokes: pd.DataFrame) -> npt.NDArray[np.bool_]:
    """Return which strokes (N,) have no exit, though no later one of their side: a next run may."""
    sides, entry_s = _sides(strokes), _moments_s(strokes, "entry_s")
    newest = np.zeros(len(strokes), dtype=bool)
    for side in np.unique(sides):
        own = sides == side
        newest |= own & ~(entry_s < np.fmax.reduce(entry_s[own]))
    return newest & strokes["exit_s"].isna().to_numpy()


def _entered(held: pd.DataFrame, strokes: pd.DataFrame) -> npt.NDArray[np.bool_]:
    """Return which strokes (N,) begin with an entry that is held already."""
    sides, held_sides = _sides(strokes), _sides(held)
    entry_s, held_s = _moments_s(strokes, "entry_s"), _moments_s(held, "entry_s")
    again = np.zeros(len(strokes), dtype=bool)
    for side in np.unique(sides):
        own = sides == side
        gaps_s = np.abs(entry_s[own][:, None] - held_s[held_sides == side])
        again[own] = (gaps_s < SAME_EVENT_S).any(axis=1)
    return again


def over_s(rows: pd.DataFrame, name: str) -> FloatArray:
    """Return when each row of a table is over, (N,)."""
    moments_s = _moments_s(rows, TIMES[name])
    for other in _ELSE if name == "arm_strokes" else ():
        if not np.isnan(moments_s).any():
            break
        moments_s = np.where(np.isnan(moments_s), _moments_s(rows, other), moments_s)
    return moments_s


def _moments_s(rows: pd.DataFrame, column: str) -> FloatArray:
    return np.asarray(rows[column].to_numpy(dtype=np.float64, na_value=np.nan))


def _sides(rows: pd.DataFrame) -> npt.NDArray[np.object_]:
    return rows["side"].to_numpy(dtype=object) if "side" in rows else np.full(len(rows), "")


def _last_s(held: pd.DataFrame, name: str, rows: pd.DataFrame) -> FloatArray:
    """Return when the last committed row of each row's side was over, (N,)."""
    ends_s, held_sides, sides = over_s(held, name), _sides(held), _sides(rows)
    last_s = np.full(len(rows), -np.inf)
    for side in np.unique(sides):
        own = ends_s[held_sides == side]
        last_s[sides == side] = np.max(own, initial=-np.inf, where=~np.isnan(own))
    return last_s


def _joined(first: pd.DataFrame, second: pd.DataFrame) -> pd.DataFrame:
    if first.empty or second.empty:
        return (second if first.empty else first).reset_index(drop=True)
    return pd.concat([first, second], ignore_index=True)


def _moved(before: pd.DataFrame, after: pd.DataFrame, column: str) -> int:
    """Return how many events of `before` have no counterpart within 0.15 s in `after`."""
    gone, sides, others = 0, _sides(before), _sides(after)
    for side in np.unique(sides):
        moments = after.loc[others == side, column].dropna().to_numpy()
        for moment in before.loc[sides == side, column].dropna():
            gone += not (abs(moments - moment) < SAME_EVENT_S).any()
    return gone
