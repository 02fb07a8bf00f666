"""Which of a swimmer's rolls without a breath the extra time of a breath was held against."""

from __future__ import annotations

import pandas as pd

from sensorswim.model import Side


def reference_sides(rolls: pd.DataFrame) -> dict[str, str]:
    """Return, by side of a breath, the side of the rolls without one that `excess_s` rests on.

    The same side where there are any, else the other side; empty where there are none at all.

    Parameters
    ----------
    rolls : DataFrame
        The contract's `rolls` of the whole session.
    """
    quiet = rolls["is_breath"].eq(other=False).fillna(value=False).astype(bool)
    there = set(rolls.loc[quiet & rolls["hold_s"].notna(), "side"].dropna())
    return {
        str(side): str(side if side in there else side.other)
        for side in Side
        if there & {side, side.other}
    }


def reference_words(side: str, reference: str) -> str:
    """Return what a breath to a side was held against, for people."""
    if side == reference:
        return f"to the {side} without a breath"
    return f"to the {reference} without a breath, as there are none to the {side}"
