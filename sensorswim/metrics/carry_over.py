"""Whether the swum lengths of a drill/swim set move towards its drill lengths."""

from __future__ import annotations

from typing import Any, Final

import numpy as np
import pandas as pd

FIGURES: Final = (
    "stroke_rate_cycles_min",
    "stroke_length_m",
    "index_of_coordination_pct",
    "kicks_per_cycle",
    "roll_onto_left_deg",
    "roll_onto_right_deg",
    "side_hold_s",
    "side_hold_excess_s",
)
"""Columns of `lengths` that a drill may carry over."""
FEWEST: Final = 4
"""Swum lengths of a set with which a change within it can be told (our choice, no source)."""
_CLEAR: Final = 2.0
"""Standard errors beyond which a difference counts (our choice, no source)."""
_COLUMNS: Final = (
    "block_no", "block_label", "drill", "column", "drill_value", "swim_first", "swim_last",
    "moved_share", "verdict",
)  # fmt: skip
TOWARDS, AWAY, NOT_CLEAR = "towards the drill", "away from the drill", "no clear change"
SAME, TOO_FEW = "swum like the drill", "too few lengths to tell"


def carry_over(lengths: pd.DataFrame) -> pd.DataFrame:
    """Return, for each block with drill and swum lengths, how its swum lengths moved.

    The swum lengths of a block are halved in their order; the last half against the first, on
    the way to the drill's typical value. A move counts when it is larger than twice its standard
    error, from the spread of the swum lengths about their own halves.

    Parameters
    ----------
    lengths : DataFrame
        The contract's `lengths`.

    Returns
    -------
    DataFrame
        block_no, block_label, drill (id), column, drill_value, swim_first, swim_last (medians),
        moved_share (1 = all the way), verdict.
    """
    rows = []
    for number, own in lengths.dropna(subset=["block_no"]).groupby("block_no"):
        is_drill = own["set_as"].eq("drill").fillna(value=False).astype(bool)
        swum = own.loc[own["set_as"].eq("swim") & own["activity"].eq("front_crawl")]
        drilled = own.loc[is_drill]
        if drilled.empty or swum.empty:
            continue
        about = {
            "block_no": int(number),
            "block_label": own["block_label"].iloc[0],
            "drill": drilled["drill"].iloc[0],
        }
        for column in FIGURES:
            row = _moved(column, drilled[column].dropna(), swum.sort_values("start_s")[column])
            rows += [] if row is None else [about | row]
    return pd.DataFrame(rows, columns=list(_COLUMNS))


def _moved(column: str, drill: pd.Series, swum: pd.Series) -> dict[str, Any] | None:
    values = swum.dropna().to_numpy(dtype=float)
    if drill.empty or not len(values):
        return None
    half = len(values) // 2
    first, last = values[:half], values[len(values) - half :]
    row: dict[str, Any] = {"column": column, "drill_value": float(drill.median())}
    if len(values) < FEWEST:
        return row | {"verdict": TOO_FEW}
    a, b, aim = float(np.median(first)), float(np.median(last)), row["drill_value"]
    spread = np.sqrt(0.5 * (first.var(ddof=1) + last.var(ddof=1)))
    error = 1.25 * float(spread) * np.sqrt(2.0 / half)
    row |= {"swim_first": a, "swim_last": b}
    if abs(aim - a) <= _CLEAR * error:
        return row | {"verdict": SAME if abs(aim - b) <= _CLEAR * error else AWAY}
    share = (b - a) / (aim - a)
    if abs(b - a) <= _CLEAR * error:
        return row | {"moved_share": share, "verdict": NOT_CLEAR}
    return row | {"moved_share": share, "verdict": TOWARDS if share > 0 else AWAY}
