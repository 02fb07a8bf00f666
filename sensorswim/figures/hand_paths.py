"""The path of each hand relative to its shoulder, from the side and from the front, on a body."""

from __future__ import annotations

from typing import Final

import numpy as np
import pandas as pd
import plotly.graph_objects as go
from plotly.subplots import make_subplots

from sensorswim.figures import style

_VIEWS: Final = (("x_m", "From the side"), ("y_m", "From the front, shoulders 40 cm apart"))
_AXES: Final = {
    "x_m": "ahead of the shoulder, m",
    "y_m": "to the swimmer's left, m",
}
_HALF_WIDTH_M: Final = 0.2
_DASH: Final = {("x_m", "left"): "solid", ("x_m", "right"): "dash",
                ("y_m", "left"): "dot", ("y_m", "right"): "dashdot"}  # fmt: skip
_GUESS_M: Final = 0.05
_EVERY: Final = 4

_TRUNK = np.array(
    [
        (0.07, 0.06), (0.0, 0.11), (-0.22, 0.11), (-0.45, 0.07), (-0.62, 0.1), (-0.8, 0.05),
        (-0.8, -0.09), (-0.6, -0.1), (-0.42, -0.08), (-0.2, -0.12), (0.0, -0.1), (0.07, -0.05),
    ]
)  # fmt: skip
_HEAD = (0.21, -0.01, 0.14, 0.1)
"""Our own plain outline of a prone body: trunk and thighs as corners (m ahead of and above the
shoulder), head as centre and half axes."""


def draw_hand_paths(hand_paths: pd.DataFrame) -> go.Figure:
    """Draw the median path of each wrist in two views, over a plain body.

    Parameters
    ----------
    hand_paths : DataFrame
        The result table; several lengths lie over one another, their median is the thick line,
        crosses show the usual spread between cycles.
    """
    known = hand_paths.dropna(subset=["x_m", "y_m", "z_m"])
    if known.empty:
        return style.blank("no hand path was worked out (it needs a wrist sensor and strokes).")
    fig = make_subplots(
        rows=2, cols=1, vertical_spacing=0.16, subplot_titles=[name for _, name in _VIEWS]
    )
    style.dress(fig, height=900)
    _add_body(fig)
    for side in ("left", "right"):
        own = style.side_of(known, side)
        if len(own):
            _add_side(fig, own, side)
    _add_guess(fig)
    for panel, (column, _) in enumerate(_VIEWS, start=1):
        fig.update_xaxes(title_text=_AXES[column], row=panel, col=1)
        fig.update_yaxes(
            title_text="above the shoulder, m",
            scaleanchor=f"x{panel if panel > 1 else ''}",
            row=panel,
            col=1,
        )
    fig.update_xaxes(autorange="reversed", row=2, col=1)
    fig.update_xaxes(automargin=False)
    fig.update_yaxes(automargin=False)
    fig.update_layout(margin={"l": 70, "r": 20, "b": 60})
    return style.with_alt(style.below_legend(fig), _sentence(known))


def _sentence(known: pd.DataFrame) -> str:
    parts = [
        f"{side} wrist down to {-float(own['z_m'].min()):.2f} m below its shoulder"
        for side in ("left", "right")
        if len(own := style.side_of(known, side))
    ]
    return f"Median hand paths over the arm cycle: {'; '.join(parts)}."


def _add_body(fig: go.Figure) -> None:
    """Add the outline: side view over the shoulder, front view as trunk and head."""
    line = {"color": style.BAND, "width": 1.5}
    fill = {"fill": "toself", "fillcolor": style.PALE, "mode": "lines", "line": line}
    quiet = {"hoverinfo": "skip", "showlegend": False}
    turn = np.linspace(0.0, 2 * np.pi, 41)
    x, z, long, high = _HEAD
    for outline, panel in (
        ((x + long * np.cos(turn), z + high * np.sin(turn)), 1),
        (tuple(np.vstack([_TRUNK, _TRUNK[:1]]).T), 1),
        ((_HALF_WIDTH_M * 1.15 * np.cos(turn), 0.11 * np.sin(turn)), 2),
        ((0.085 * np.cos(turn), 0.02 + 0.12 * np.sin(turn)), 2),
    ):
        fig.add_scatter(
            x=outline[0].tolist(), y=outline[1].tolist(), **fill, **quiet, row=panel, col=1
        )


def _add_guess(fig: go.Figure) -> None:
    """Say in the front view what rests on an assumption, and how far it may be off."""
    fig.add_scatter(
        x=[0.0],
        y=[0.34],
        error_x={"type": "constant", "value": _GUESS_M, "color": style.SOFT, "thickness": 1.5},
        mode="markers",
        marker={"symbol": "diamond-wide-open", "size": 9, "color": style.SOFT},
        name="how far out: an assumption",
        hovertemplate="How far out the path lies rests on an assumption about the elbow; it may "
        "be off by about 5 cm.<extra></extra>",
        row=2,
        col=1,
    )


def _shift(column: str, side: str) -> float:
    """Return where the shoulder is drawn in a view."""
    if column == "x_m":
        return 0.0
    return _HALF_WIDTH_M if side == "left" else -_HALF_WIDTH_M


def _add_side(fig: go.Figure, own: pd.DataFrame, side: str) -> None:
    names = [f"{axis}_{part}m" for axis in "xyz" for part in ("", "spread_")]
    middle = own.groupby("phase")[names].median().reset_index()
    closed = pd.concat([middle, middle.iloc[:1]])
    for panel, (column, _) in enumerate(_VIEWS, start=1):
        shift = _shift(column, side)
        if len(own["length_no"].unique()) > 1:
            _add_lengths(fig, own, column, side, panel)
        fig.add_scatter(
            x=(closed[column] + shift).tolist(),
            y=closed["z_m"].tolist(),
            customdata=closed["phase"].tolist(),
            mode="lines",
            line={
                "color": style.SIDE_COLOUR[side],
                "width": 3,
                "dash": _DASH[column, side],
            },
            name=f"{side} hand",
            showlegend=panel == 1,
            hovertemplate=f"{side} hand at %{{customdata:.0%}} of its cycle: %{{x:.2f}} m, "
            "%{y:.2f} m<extra></extra>",
            row=panel,
            col=1,
        )
        _add_spread(fig, middle, column, side, panel)


def _add_spread(fig: go.Figure, middle: pd.DataFrame, column: str, side: str, panel: int) -> None:
    """Add the entry, and crosses as wide and high as the spread between the cycles."""
    shift, colour = _shift(column, side), style.SIDE_COLOUR[side]
    some = middle.iloc[::_EVERY]
    across = column.replace("_m", "_spread_m")
    bars = {"color": style.clear(colour, 0.55), "thickness": 1, "width": 0, "type": "data"}
    fig.add_scatter(
        x=(some[column] + shift).tolist(),
        y=some["z_m"].tolist(),
        error_x=bars | {"array": some[across].fillna(0.0).tolist()},
        error_y=bars | {"array": some["z_spread_m"].fillna(0.0).tolist()},
        mode="markers",
        marker={"size": 3, "color": colour},
        name=f"{side}: spread between cycles",
        showlegend=False,
        hoverinfo="skip",
        row=panel,
        col=1,
    )
    fig.add_scatter(
        x=[middle[column].iloc[0] + shift],
        y=[middle["z_m"].iloc[0]],
        mode="markers",
        marker={"symbol": style.SIDE_MARKER[side], "size": 12, "color": colour},
        name=f"{side} hand enters",
        showlegend=panel == 1,
        hoverinfo="skip",
        row=panel,
        col=1,
    )


def _add_lengths(fig: go.Figure, own: pd.DataFrame, column: str, side: str, panel: int) -> None:
    across: list[float] = []
    up: list[float] = []
    for _, rows in own.groupby("length_no"):
        loop = pd.concat([rows, rows.iloc[:1]])
        across += [*(loop[column] + _shift(column, side)).tolist(), np.nan]
        up += [*loop["z_m"].tolist(), np.nan]
    fig.add_scatter(
        x=across,
        y=up,
        mode="lines",
        line={"color": style.clear(style.SIDE_COLOUR[side], 0.3), "width": 1},
        showlegend=False,
        hoverinfo="skip",
        row=panel,
        col=1,
    )
