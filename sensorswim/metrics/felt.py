"""What the swimmer felt against what was measured, block by block."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

import pandas as pd

from sensorswim.model.session import Block

FELT_WORDS: Final = {
    "kick_beat": "kicks in a cycle",
    "kicks_per_cycle": "kicks in a cycle, mean",
    "stroke_rate_cycles_min": "stroke rate, cycles a minute",
    "stroke_length_m": "stroke length, m a cycle",
    "speed_m_s": "speed, m/s",
    "roll_onto_left_deg": "roll onto the left, degrees",
    "roll_onto_right_deg": "roll onto the right, degrees",
    "breaths_left": "breaths to the left in a length",
    "breaths_right": "breaths to the right in a length",
    "side_hold_s": "time on the side, s",
    "side_hold_excess_s": "time that a breath adds on the side, s",
    "index_of_coordination_pct": "index of coordination, %",
    "arm_strokes": "arm strokes in a length",
    "kicks": "kicks in a length",
}

_COLUMNS: Final = (
    "block_no",
    "block_label",
    "activity",
    "column",
    "felt",
    "measured",
    "low",
    "high",
    "lengths",
)


def felt_against_measured(blocks: Sequence[Block], lengths: pd.DataFrame) -> pd.DataFrame:
    """Return one row for each thing felt in a block and each activity that was swum in it.

    Returns
    -------
    DataFrame
        Columns block_no, block_label, activity, column, felt, measured (median; of `kick_beat`
        the most frequent, 0 = irregular), low, high (empty where irregular), lengths.
    """
    rows = []
    for number, block in enumerate(blocks, start=1):
        own = lengths[lengths["block_no"].eq(number).fillna(value=False).astype(bool)]
        kinds = list(dict.fromkeys(own["activity"].fillna("other"))) or ["other"]
        for column, felt in block.felt.items():
            if column not in lengths:
                continue
            for kind in kinds:
                raw = own.loc[own["activity"].fillna("other") == kind, column]
                values = pd.to_numeric(raw, errors="coerce").dropna().astype(float)
                row = [number, block.label, kind, column, felt, *_summary(column, values)]
                rows.append([*row, len(values)])
    return pd.DataFrame(rows, columns=list(_COLUMNS))


def _summary(column: str, values: pd.Series[float]) -> tuple[float, float, float]:
    nothing = float("nan")
    if values.empty:
        return nothing, nothing, nothing
    if column != "kick_beat":
        return float(values.median()), float(values.min()), float(values.max())
    beat = float(values.mode().iloc[0])
    if beat == 0:
        return beat, nothing, nothing
    beats = values[values > 0]
    return beat, float(beats.min()), float(beats.max())
