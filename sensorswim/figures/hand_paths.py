"""The path of each hand relative to its shoulder: from the side and from the front."""

from __future__ import annotations

from typing import Final

import numpy as np
import pandas as pd
import plotly.graph_objects as go
from plotly.subplots import make_subplots

from sensorswim.figures import style

_VIEWS: Final = (("x_m", "seen from the side"), ("y_m", "seen from the front"))
_AXES: Final = {"x_m": "ahead of the shoulder, m", "y_m": "to the left of the shoulder, m"}


def draw_hand_paths(hand_paths: pd.DataFrame) -> go.Figure:
    """Draw the median path of each wrist, one line a length, in two views.

    Parameters
    ----------
    hand_paths : DataFrame
        The result table; several lengths lie over one another, their median is the thick line.
    """
    known = hand_paths.dropna(subset=["x_m", "y_m", "z_m"])
    if known.empty:
        return style.blank("no hand path was worked out (it needs a wrist sensor and strokes).")
    fig = make_subplots(
        rows=1, cols=2, horizontal_spacing=0.12, subplot_titles=[name for _, name in _VIEWS]
    )
    style.dress(fig, height=430)
    for side in ("left", "right"):
        own = style.side_of(known, side)
        if len(own):
            _add_side(fig, own, side)
    for panel, (column, _) in enumerate(_VIEWS, start=1):
        fig.update_xaxes(title_text=_AXES[column], row=1, col=panel)
        fig.update_yaxes(scaleanchor=f"x{panel if panel > 1 else ''}", row=1, col=panel)
    fig.update_yaxes(title_text="above the shoulder, m", row=1, col=1)
    depths = {
        side: -float(style.side_of(known, side)["z_m"].min())
        for side in ("left", "right")
        if len(style.side_of(known, side))
    }
    parts = [f"{side} wrist down to {depth:.2f} m below its shoulder" for side, depth in
             depths.items()]  # fmt: skip
    return style.with_alt(fig, f"Median hand paths over the arm cycle: {'; '.join(parts)}.")


def _add_side(fig: go.Figure, own: pd.DataFrame, side: str) -> None:
    middle = own.groupby("phase")[["x_m", "y_m", "z_m"]].median().reset_index()
    for panel, (column, _) in enumerate(_VIEWS, start=1):
        if len(own["length_no"].unique()) > 1:
            _add_lengths(fig, own, column, side, panel)
        fig.add_scatter(
            x=middle[column].tolist(),
            y=middle["z_m"].tolist(),
            customdata=middle["phase"].tolist(),
            mode="lines",
            line={
                "color": style.SIDE_COLOUR[side],
                "width": 3,
                "dash": "solid" if side == "left" else "dash",
            },
            name=f"{side} hand",
            showlegend=panel == 1,
            hovertemplate=f"{side} hand at %{{customdata:.0%}} of its cycle: %{{x:.2f}} m, "
            "%{y:.2f} m<extra></extra>",
            row=1,
            col=panel,
        )
        fig.add_scatter(
            x=[middle[column].iloc[0]],
            y=[middle["z_m"].iloc[0]],
            mode="markers",
            marker={
                "symbol": style.SIDE_MARKER[side],
                "size": 12,
                "color": style.SIDE_COLOUR[side],
            },
            name=f"{side} hand enters",
            showlegend=panel == 1,
            hoverinfo="skip",
            row=1,
            col=panel,
        )


def _add_lengths(fig: go.Figure, own: pd.DataFrame, column: str, side: str, panel: int) -> None:
    across: list[float] = []
    up: list[float] = []
    for _, rows in own.groupby("length_no"):
        across += [*rows[column].tolist(), np.nan]
        up += [*rows["z_m"].tolist(), np.nan]
    fig.add_scatter(
        x=across,
        y=up,
        mode="lines",
        line={"color": style.clear(style.SIDE_COLOUR[side], 0.3), "width": 1},
        showlegend=False,
        hoverinfo="skip",
        row=1,
        col=panel,
    )
