"""How rows that a run found join the rows committed before it."""

from __future__ import annotations

from typing import Final

import pandas as pd

from sensorswim.live.job import Found, Job

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


def added(held: Tables, name: str, found: Tables, until_s: float) -> pd.DataFrame:
    """Return a table with the rows of a quick run that are over by `until_s` behind its own.

    Parameters
    ----------
    held : dict
        What is committed.
    name : str
        The table.
    found : dict
        What the quick run found: this table and its `lengths`, with numbers of its own.
    """
    column, rows, spans = TIMES[name], found[name], found["lengths"]
    if rows.empty:
        return held[name]
    begin_s = last_end_s(held["lengths"])
    new = spans.loc[0.5 * (spans["start_s"] + spans["end_s"]) > begin_s, "length_no"]
    numbers = {int(no): len(held["lengths"]) + n + 1 for n, no in enumerate(sorted(new))}
    rows = rows[(over_s(rows, column) <= until_s) & rows["length_no"].isin(list(numbers))]
    if name == "lengths":
        rows = rows[rows["finished"].fillna(value=False)]
    rows = rows if rows.empty else _after(held[name], rows, column)
    if rows.empty:
        return held[name]
    rows = rows.assign(length_no=rows["length_no"].map(numbers).astype("Int64"))
    return _joined(held[name], rows.astype(held[name].dtypes.to_dict()))


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
        rows = rows[over_s(rows, column) <= job.settled_s[name]]
        rows = rows.assign(length_no=rows["length_no"] + shift)
        earlier = held[name]["length_no"] <= len(kept)
        seen = over_s(held[name], column) <= job.settled_s[name]
        corrected += _moved(held[name][~earlier & seen], rows, column)
        tables[name] = _joined(held[name][earlier], rows)
    tables["roll"] = found.tables["roll"]
    return tables, corrected


def over_s(rows: pd.DataFrame, column: str) -> pd.Series:
    """Return when each row is over."""
    moments = rows[column]
    for other in _ELSE:
        moments = moments.fillna(rows[other]) if other in rows else moments
    return moments


def _sides(rows: pd.DataFrame) -> pd.Series:
    return rows["side"] if "side" in rows else pd.Series("", index=rows.index)


def _after(held: pd.DataFrame, rows: pd.DataFrame, column: str) -> pd.DataFrame:
    """Return the rows that come after the last committed one of their side."""
    last = over_s(held, column).groupby(_sides(held)).max()
    limit = _sides(rows).map(last).astype("float64").fillna(float("-inf"))
    return rows[over_s(rows, column) > limit + SAME_EVENT_S]


def _joined(first: pd.DataFrame, second: pd.DataFrame) -> pd.DataFrame:
    if first.empty or second.empty:
        return (second if first.empty else first).reset_index(drop=True)
    return pd.concat([first, second], ignore_index=True)


def _moved(before: pd.DataFrame, after: pd.DataFrame, column: str) -> int:
    """Return how many events of `before` have no counterpart within 0.15 s in `after`."""
    gone = 0
    for side, rows in before.groupby(_sides(before)):
        others = after.loc[_sides(after) == side, column].dropna().to_numpy()
        for moment in rows[column].dropna():
            gone += not (abs(others - moment) < SAME_EVENT_S).any()
    return gone
