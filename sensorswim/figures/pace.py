"""Speed, stroke rate and stroke length from length to length."""

from __future__ import annotations

from typing import Final

import pandas as pd
import plotly.graph_objects as go
from plotly.subplots import make_subplots

from sensorswim.figures import style

_PANELS: Final = (
    ("speed_m_s", "speed in m/s", style.LEFT, 2),
    ("stroke_rate_cycles_min", "stroke rate in cycles a minute", style.RIGHT, 1),
    ("stroke_length_m", "stroke length in m a cycle", style.THIRD, 2),
)
_SHAPES: Final = {"front_crawl": "circle", "drill": "square-open", "kick": "triangle-up-open"}


def draw_pace(lengths: pd.DataFrame) -> go.Figure:
    """Draw speed, stroke rate and stroke length over the lengths, one panel each."""
    panels = [panel for panel in _PANELS if lengths[panel[0]].notna().any()]
    if not panels:
        return style.blank("no length has a speed or a stroke rate.")
    fig = make_subplots(
        rows=len(panels),
        cols=1,
        shared_xaxes=True,
        vertical_spacing=0.09,
        subplot_titles=[panel[1] for panel in panels],
    )
    style.dress(fig, height=90 + 190 * len(panels))
    for row, panel in enumerate(panels, start=1):
        column = panel[0]
        _add_panel(fig, lengths.dropna(subset=[column]), panel, row)
    fig.update_xaxes(title_text="length", row=len(panels), col=1)
    fig.update_xaxes(showgrid=False)
    style.number_lengths(fig, lengths["length_no"])
    fig.update_layout(showlegend=False, margin={"t": 32})
    parts = [
        f"{title} from {lengths[column].min():.{digits}f} to {lengths[column].max():.{digits}f}"
        for column, title, _, digits in panels
    ]
    return style.with_alt(fig, f"From length to length: {'; '.join(parts)}.")


def _add_panel(
    fig: go.Figure, rows: pd.DataFrame, panel: tuple[str, str, str, int], row: int
) -> None:
    column, title, colour, digits = panel
    kinds = rows["activity"].fillna("other").tolist()
    fig.add_scatter(
        x=rows["length_no"].tolist(),
        y=rows[column].tolist(),
        mode="lines+markers",
        line={"color": style.GRID, "width": 1.5},
        marker={
            "color": colour,
            "size": 11,
            "symbol": [_SHAPES.get(kind, "x-thin-open") for kind in kinds],
            "line": {"color": colour, "width": 2},
        },
        customdata=[style.ACTIVITY_WORDS.get(kind, kind) for kind in kinds],
        hovertemplate=f"length %{{x}} (%{{customdata}}): %{{y:.{digits}f}}<extra>{title}</extra>",
        row=row,
        col=1,
    )
