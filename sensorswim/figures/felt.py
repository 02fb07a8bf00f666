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


def felt_against_measured(blocks: Sequence[Block], lengths: pd.DataFrame) -> pd.DataFrame:
    """Return one row for each thing felt in a block, with what its lengths measured.

    Returns
    -------
    DataFrame
        Columns block_no, block_label, column, felt, measured (median), low, high, lengths.
        `kick_beat` is measured as the most frequent value that isn't 0.
    """
    columns = ["block_no", "block_label", "column", "felt", "measured", "low", "high", "lengths"]
    rows = []
    for number, block in enumerate(blocks, start=1):
        own = lengths[lengths["block_no"].eq(number).fillna(value=False).astype(bool)]
        for column, felt in block.felt.items():
            if column not in lengths:
                continue
            values = pd.to_numeric(own[column], errors="coerce").dropna().astype(float)
            rows.append([number, block.label, column, felt, *_summary(column, values), len(values)])
    return pd.DataFrame(rows, columns=columns)


def _summary(column: str, values: pd.Series[float]) -> tuple[float, float, float]:
    if values.empty:
        return float("nan"), float("nan"), float("nan")
    beats = values[values > 0]
    if column == "kick_beat" and len(beats):
        middle = float(beats.mode().iloc[0])
    else:
        middle = float(values.median())
    return middle, float(values.min()), float(values.max())


def draw_felt(blocks: Sequence[Block], lengths: pd.DataFrame) -> go.Figure:
    """Draw what was felt (open) and measured (filled, bar: all lengths), one panel a quantity."""
    table = felt_against_measured(blocks, lengths).dropna(subset=["measured"])
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
    style.dress(fig, height=120 + (90 + 34 * most) * len(quantities))
    for panel, quantity in enumerate(quantities, start=1):
        _add_panel(fig, table[table["column"] == quantity], panel)
    fig.update_yaxes(autorange="reversed", showgrid=False)
    parts = [
        f"{FELT_WORDS.get(row['column'], row['column'])} felt {row['felt']:g}, "
        f"measured {row['measured']:.3g}"
        for row in table.to_dict("records")
    ]
    return style.with_alt(fig, f"Felt against measured: {'; '.join(parts)}.")


def _add_panel(fig: go.Figure, rows: pd.DataFrame, panel: int) -> None:
    names = [
        style.wrap(row["block_label"] or f"block {row['block_no']}", width=18)
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
