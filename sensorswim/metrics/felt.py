"""What the swimmer felt against what was measured, block by block."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any, Final

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
    "mean",
)


def felt_against_measured(blocks: Sequence[Block], lengths: pd.DataFrame) -> pd.DataFrame:
    """Return one row for each thing felt in a block and each activity that was swum in it.

    Returns
    -------
    DataFrame
        Columns block_no, block_label, activity, column, felt, measured (median; of `kick_beat`
        the most frequent, 0 = irregular), low, high (empty where irregular), lengths, mean (of
        `kick_beat` the mean of kicks_per_cycle, else empty).
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
                rows.append([*row, len(values), _mean(column, own.loc[raw.index])])
    return pd.DataFrame(rows, columns=list(_COLUMNS))


def figure_words(column: str, lengths: pd.DataFrame) -> str:
    """Return the name of a figure of these lengths, a roll from the ankles as an estimate."""
    words = FELT_WORDS.get(column, column.replace("_", " "))
    return f"{words} (estimate)" if ankle_roll(column, lengths) else words


def ankle_roll(column: str, lengths: pd.DataFrame) -> bool:
    """Tell whether a column is the roll and rests on the ankles: smaller than what is felt."""
    return column.startswith("roll_onto") and bool(lengths["roll_source"].eq("ankles").any())


def measured_words(row: Mapping[Any, Any]) -> str:
    """Return what was measured in a row of `felt_against_measured`, for people."""
    if pd.isna(row["measured"]):
        return "–"
    if row["column"] != "kick_beat":
        return f"{row['measured']:.3g}"
    beat = f"{row['measured']:g}" if row["measured"] else "no steady beat"
    return beat if pd.isna(row["mean"]) else f"{beat} (mean {row['mean']:.1f})"


def _mean(column: str, own: pd.DataFrame) -> float:
    """Return the mean number of kicks that stands beside a beat."""
    if column != "kick_beat" or "kicks_per_cycle" not in own:
        return float("nan")
    return float(pd.to_numeric(own["kicks_per_cycle"], errors="coerce").mean())


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
