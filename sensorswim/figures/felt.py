"""What the swimmer felt against what was measured."""

from __future__ import annotations

from collections.abc import Sequence

import pandas as pd
import plotly.graph_objects as go
from plotly.subplots import make_subplots

from sensorswim.figures import style
from sensorswim.metrics.felt import felt_against_measured, figure_words, measured_words
from sensorswim.model.session import Block


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
        subplot_titles=[figure_words(q, lengths).replace(" (", "<br>(") for q in quantities],
    )
    style.dress(fig, height=120 + (100 + 48 * most) * len(quantities))
    for panel, quantity in enumerate(quantities, start=1):
        _add_panel(fig, table[table["column"] == quantity], panel)
    fig.update_yaxes(autorange="reversed", showgrid=False)
    parts = [
        f"{figure_words(row['column'], lengths)} "
        f"({style.ACTIVITY_WORDS.get(row['activity'], row['activity'])}) felt {row['felt']:g}, "
        f"measured {measured_words(row)}"
        for row in table.to_dict("records")
    ]
    style.below_legend(fig)
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
