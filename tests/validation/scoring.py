"""How an analysis compares with the truth of a rehearsal: matches, errors, F1."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

import numpy as np
import pandas as pd
from scipy.optimize import linear_sum_assignment

CRAWL = ("front_crawl", "drill")
"""Activities whose strokes, kick beat, roll and breaths are scored, found and true alike."""


def match(found_s: np.ndarray, true_s: np.ndarray, within_s: float) -> list[tuple[int, int]]:
    """Pair found with true events, one to one, nearest in all, none further than `within_s`."""
    if not len(found_s) or not len(true_s):
        return []
    cost = np.abs(np.asarray(found_s)[:, None] - np.asarray(true_s)[None, :])
    rows, columns = linear_sum_assignment(np.minimum(cost, 10 * within_s))
    return [(i, j) for i, j in zip(rows, columns, strict=True) if cost[i, j] <= within_s]


@dataclass
class Tally:
    """Hits, extras and misses, and the errors of the hits."""

    hits: int = 0
    found: int = 0
    true: int = 0
    errors: dict[str, list[float]] = field(default_factory=dict)

    @property
    def f1(self) -> float:
        """2 hits over found plus true; 1 where there was nothing to find and nothing found."""
        total = self.found + self.true
        return 2.0 * self.hits / total if total else 1.0

    def add(self, name: str, values: object) -> None:
        """Keep errors under a name, NaN left out."""
        kept = np.atleast_1d(np.asarray(values, dtype=float))
        self.errors.setdefault(name, []).extend(kept[np.isfinite(kept)].tolist())

    def tell(self, name: str, found: Any, true: Any) -> None:
        """Keep the error of a value, and whether a true one is told at all."""
        if pd.isna(true):
            return
        self.add(f"{name}_told", pd.notna(found))
        if pd.notna(found):
            self.add(name, found - true)

    def join(self, other: Tally) -> None:
        """Add another tally to this one."""
        self.hits += other.hits
        self.found += other.found
        self.true += other.true
        for name, values in other.errors.items():
            self.add(name, values)


def match_lengths(found: pd.DataFrame, true: pd.DataFrame) -> dict[int, int]:
    """Pair lengths that overlap by more than half; found number -> true number."""
    pairs = {}
    for f in found.itertuples():
        for t in true.itertuples():
            overlap = min(f.end_s, t.end_s) - max(f.start_s, t.start_s)
            if overlap > 0.5 * max(f.end_s - f.start_s, t.end_s - t.start_s):
                pairs[int(f.length_no)] = int(t.length_no)
    return pairs


def score_lengths(found: pd.DataFrame, true: pd.DataFrame) -> Tally:
    """Lengths found with the right activity; errors start, end, and on crawl also its figures."""
    pairs = match_lengths(found, true)
    tally = Tally(found=len(found), true=len(true))
    f = found.set_index("length_no")
    t = true.set_index("length_no")
    for a, b in pairs.items():
        tally.hits += int(f.at[a, "activity"] == t.at[b, "activity"])
        crawl = ("stroke_rate_cycles_min", "index_of_coordination_pct", "kicks_per_cycle")
        for name in ("start_s", "end_s", *(crawl if t.at[b, "activity"] in CRAWL else ())):
            tally.tell(name, f.at[a, name], t.at[b, name])
        if t.at[b, "activity"] in CRAWL and pd.notna(t.at[b, "kick_beat"]):
            tally.add("kick_beat_wrong", float(f.at[a, "kick_beat"] is pd.NA
                      or f.at[a, "kick_beat"] != t.at[b, "kick_beat"]))  # fmt: skip
    return tally


_REACHED_S = 0.3
"""The reach for the wall may be placed so much after the touch."""


def told_of(
    found: pd.DataFrame, column: str, lengths: pd.DataFrame, told: tuple[str, ...]
) -> pd.DataFrame:
    """Return the events, found or true, but those inside true lengths of other activities.

    A truth that lists the strokes of front crawl only says nothing of those of backstroke.
    """
    untold = lengths.loc[~lengths["activity"].isin(told)]
    at_s = found[column].to_numpy(dtype=float)[:, None]
    starts_s, ends_s = untold["start_s"].to_numpy(), untold["end_s"].to_numpy() + _REACHED_S
    return found.loc[~((at_s >= starts_s) & (at_s <= ends_s)).any(axis=1)]


def score_strokes(found: pd.DataFrame, true: pd.DataFrame) -> Tally:
    """Strokes by side, matched on entries within 0.25 s; errors of the four events."""
    total = Tally()
    for side in ("left", "right"):
        f = found.loc[(found["side"] == side) & found["entry_s"].notna()]
        t = true.loc[(true["side"] == side) & true["entry_s"].notna()]
        pairs = match(f["entry_s"].to_numpy(), t["entry_s"].to_numpy(), 0.25)
        tally = Tally(hits=len(pairs), found=len(f), true=len(t))
        for i, j in pairs:
            for name in ("entry_s", "catch_s", "mid_pull_s", "exit_s"):
                tally.tell(name, f[name].iloc[i], t[name].iloc[j])
        total.join(tally)
    return total


def score_kicks(found: pd.DataFrame, true: pd.DataFrame) -> Tally:
    """Downbeats by leg, matched within 0.08 s."""
    total = Tally()
    for side in ("left", "right"):
        f = found.loc[found["side"] == side, "downbeat_s"].to_numpy()
        t = true.loc[true["side"] == side, "downbeat_s"].to_numpy()
        pairs = match(f, t, 0.08)
        tally = Tally(hits=len(pairs), found=len(f), true=len(t))
        tally.add("timing_s", [f[i] - t[j] for i, j in pairs])
        total.join(tally)
    return total


def score_breaths(found: pd.DataFrame, true: pd.DataFrame) -> Tally:
    """Breaths by side, matched on their peaks within 0.6 s; errors of the time on the side."""
    total = Tally()
    for side in ("left", "right"):
        f = found.loc[found["side"] == side]
        t = true.loc[true["side"] == side]
        pairs = match(f["peak_s"].to_numpy(), t["peak_s"].to_numpy(), 0.6)
        tally = Tally(hits=len(pairs), found=len(f), true=len(t))
        for i, j in pairs:
            tally.tell("hold_s", f["hold_s"].iloc[i], t["hold_s"].iloc[j])
        total.join(tally)
    return total


ADDS_S = 0.2
"""A swim whose breaths add less than this to the time on the side isn't held against the bar."""


def breath_group(true: pd.DataFrame) -> str:
    """Return what a swim's breaths count as: ``breaths``, ``slight breaths`` or ``no breaths``.

    Decided by the median excess of its true breaths, in the roll that the swim's kit sees.
    """
    if not len(true):
        return "no breaths"
    return "breaths" if true["excess_s"].median() >= ADDS_S else "slight breaths"


def score_roll(
    found: pd.DataFrame, true: pd.DataFrame, lengths: pd.DataFrame, source: str
) -> Tally:
    """Roll of one source against the same segment's, while swimming crawl."""
    tally = Tally()
    f = found.loc[found["source"] == source].dropna()
    t = true.loc[true["source"] == source].dropna()
    if not len(f) or not len(t):
        return tally
    crawl = lengths.loc[lengths["activity"].isin(CRAWL)]
    for row in crawl.dropna(subset=["swim_start_s"]).itertuples():
        own = f.loc[f["time_s"].between(row.swim_start_s, row.end_s - 1.0)]
        reference = np.interp(own["time_s"], t["time_s"], t["roll_deg"])
        tally.add("roll_deg", own["roll_deg"].to_numpy() - reference)
    return tally
