"""The time on the side, breath by breath, against the swimmer's own rolls without a breath."""

from __future__ import annotations

import pandas as pd
import plotly.graph_objects as go
from plotly.subplots import make_subplots

from sensorswim.figures import style


def draw_side_time(breaths: pd.DataFrame, rolls: pd.DataFrame) -> go.Figure:
    """Draw how long each breath stays on the side, one panel for each side of the face.

    The grey band holds the middle half of the same swimmer's rolls without a breath, the line
    in it is their median: the distance from there is what breathing adds.
    """
    known = breaths.dropna(subset=["hold_s", "peak_s"]).sort_values("peak_s")
    if known.empty:
        return style.blank("no breath could be told, or none has a time on the side.")
    sides = [side for side in ("left", "right") if len(style.side_of(known, side))]
    fig = make_subplots(
        rows=len(sides),
        cols=1,
        vertical_spacing=0.2,
        subplot_titles=[f"face to the {side}" for side in sides],
    )
    style.dress(fig, height=130 + 250 * len(sides))
    calm = rolls[rolls["is_breath"].eq(other=False).fillna(value=False).astype(bool)]
    for panel, side in enumerate(sides, start=1):
        _add_breaths(fig, style.side_of(known, side), side, panel)
        _add_reference(fig, _reference(calm, side), panel, first=panel == 1)
        count = len(style.side_of(known, side))
        step = max(1, -(-count // 40) * 5) if count > 8 else 1
        fig.update_xaxes(range=[0, count + 1], dtick=step, row=panel, col=1)
    fig.update_yaxes(title_text="seconds<br>on the side", rangemode="tozero")
    fig.update_xaxes(title_text="breath (in order swum)", row=len(sides), col=1)
    fig.update_xaxes(showgrid=False, tickformat="d")
    return style.with_alt(style.below_legend(fig), _alt(known, calm, sides))


def _reference(calm: pd.DataFrame, side: str) -> pd.Series[float]:
    own = style.side_of(calm, side)["hold_s"].dropna()
    return own if len(own) else calm["hold_s"].dropna()


def _add_reference(fig: go.Figure, holds: pd.Series[float], panel: int, *, first: bool) -> None:
    if holds.empty:
        return
    low, middle, high = (float(holds.quantile(q)) for q in (0.25, 0.5, 0.75))
    fig.add_hrect(
        y0=low, y1=high, fillcolor=style.BAND, line_width=0, layer="below", row=panel, col=1
    )
    fig.add_hline(y=middle, line={"color": style.INK, "width": 2, "dash": "dash"}, row=panel, col=1)
    fig.add_scatter(
        x=[None],
        y=[None],
        mode="lines",
        line={"color": style.INK, "width": 2, "dash": "dash"},
        name="own rolls without a breath",
        showlegend=first,
        row=panel,
        col=1,
    )


def _add_breaths(fig: go.Figure, own: pd.DataFrame, side: str, panel: int) -> None:
    fig.add_scatter(
        x=list(range(1, len(own) + 1)),
        y=own["hold_s"].tolist(),
        mode="markers",
        marker={
            "symbol": style.SIDE_MARKER[side],
            "size": 11,
            "color": style.SIDE_COLOUR[side],
            "line": {"color": style.PAPER, "width": 1},
        },
        name=f"breath to the {side}",
        customdata=own["length_no"].tolist(),
        hovertemplate="length %{customdata}: %{y:.2f} s on the side<extra></extra>",
        row=panel,
        col=1,
    )


def _alt(known: pd.DataFrame, calm: pd.DataFrame, sides: list[str]) -> str:
    parts = [
        f"{len(style.side_of(known, side))} breaths to the {side} with a median of "
        f"{style.number(style.side_of(known, side)['hold_s'].median(), 2)} seconds on the side "
        f"(rolls without a breath: {style.number(_reference(calm, side).median(), 2)})"
        for side in sides
    ]
    return f"Time on the side: {'; '.join(parts)}."
