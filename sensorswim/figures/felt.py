"""What the swimmer felt against what was measured."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

import pandas as pd
import plotly.graph_objects as go
from plotly.subplots import make_subplots

from sensorswim.figures import style
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


def row_name(label: str, block_no: int, activity: str) -> str:
    """Return the words for one activity of one block."""
    return f"{label or f'block {block_no}'}: {style.ACTIVITY_WORDS.get(activity, activity)}"


def draw_felt(blocks: Sequence[Block], lengths: pd.DataFrame) -> go.Figure:
    """Draw what was felt (open) and measured (filled, bar: all lengths), one panel a quantity."""
    table = felt_against_measured(blocks, lengths).dropna(subset=["low"])
    if table.empty:
        return style.blank("no block says what the swimmer felt, or nothing was measured in it.")
    quantities = list(dict.fromkeys(table["column"]))
    most = max(table.groupby("column").size())
    fig = make_subplots(
        rows=len(quantities),
        cols=1,
        vertical_spacing=0.5 / len(quantities) if len(quantities) > 1 else 0,
        subplot_titles=[FELT_WORDS.get(q, q.replace("_", " ")) for q in quantities],
    )
    style.dress(fig, height=120 + (100 + 48 * most) * len(quantities))
    for panel, quantity in enumerate(quantities, start=1):
        _add_panel(fig, table[table["column"] == quantity], panel)
    fig.update_yaxes(autorange="reversed", showgrid=False)
    parts = [
        f"{FELT_WORDS.get(row['column'], row['column'])} "
        f"({style.ACTIVITY_WORDS.get(row['activity'], row['activity'])}) felt {row['felt']:g}, "
        f"measured {row['measured']:.3g}"
        for row in table.to_dict("records")
    ]
    return style.with_alt(fig, f"Felt against measured: {'; '.join(parts)}.")


def _add_panel(fig: go.Figure, rows: pd.DataFrame, panel: int) -> None:
    names = [
        style.wrap(row_name(row["block_label"], row["block_no"], row["activity"]), width=18)
        for row in rows.to_dict("records")
    ]
    up = (rows["high"] - rows["measured"]).tolist()
    down = (rows["measured"] - rows["low"]).tolist()
    fig.add_scatter(
        x=rows["measured"].tolist(),
        y=names,
        mode="markers",
        marker={"symbol": "circle", "size": 15, "color": style.LEFT},
        error_x={
            "type": "data",
            "array": up,
            "arrayminus": down,
            "color": style.LEFT,
            "thickness": 3,
        },
        name="measured (line: all lengths)",
        showlegend=panel == 1,
        hovertemplate="measured %{x:.3g}<extra></extra>",
        row=panel,
        col=1,
    )
    fig.add_scatter(
        x=rows["felt"].tolist(),
        y=names,
        mode="markers",
        marker={
            "symbol": "diamond-open",
            "size": 18,
            "color": style.RIGHT,
            "line": {"width": 3, "color": style.RIGHT},
        },
        name="felt",
        showlegend=panel == 1,
        hovertemplate="felt %{x:.3g}<extra></extra>",
        row=panel,
        col=1,
    )
