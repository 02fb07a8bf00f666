"""The rhythm of the kicks against the arm cycle, cycle by cycle."""

from __future__ import annotations

import math
from typing import Final

import numpy as np
import pandas as pd
import plotly.graph_objects as go
from plotly.subplots import make_subplots

from sensorswim.figures import style
from sensorswim.units import counted

_BINS: Final = 25


def draw_kick_rhythm(
    kicks: pd.DataFrame, arm_cycles: pd.DataFrame, *, length_no: int | None = None
) -> go.Figure:
    """Draw each arm cycle as one row, each downbeat as a mark where in the cycle it falls.

    Columns of marks that stay one below the other are a steady rhythm; slanting columns drift,
    holes are missing kicks. To the right stands how many kicks each cycle holds, below how the
    downbeats gather over all cycles: left leg upwards, right leg downwards.

    Parameters
    ----------
    kicks, arm_cycles : DataFrame
        The result tables.
    length_no : int, optional
        One length only; all lengths without it.
    """
    rows = _rows(arm_cycles, length_no)
    beats = _placed(kicks, rows)
    if rows.empty:
        return style.blank("no arm cycle was found, and kicks are placed within arm cycles.")
    if beats.empty:
        return style.blank("no kick was found within an arm cycle (ankle sensors are needed).")
    fig = _panels(len(rows))
    for side in ("left", "right"):
        _add_side(fig, style.side_of(beats, side), side, many=len(rows) > 60)
    _add_counts(fig, rows, beats)
    _mark_lengths(fig, rows)
    _label_axes(fig, rows)
    return style.with_alt(fig, _alt(rows, beats))


def _rows(arm_cycles: pd.DataFrame, length_no: int | None) -> pd.DataFrame:
    rows = arm_cycles.dropna(subset=["start_s", "end_s"]).sort_values("start_s")
    if length_no is not None:
        rows = rows[rows["length_no"] == length_no]
    rows = rows.reset_index(drop=True)
    return rows.assign(row=np.arange(1, len(rows) + 1))


def _placed(kicks: pd.DataFrame, rows: pd.DataFrame) -> pd.DataFrame:
    """Return the downbeats that lie in a drawn cycle, with its row and their phase."""
    times = kicks["downbeat_s"].to_numpy(dtype=float)
    starts, ends = rows["start_s"].to_numpy(), rows["end_s"].to_numpy()
    index = np.searchsorted(starts, times, side="right") - 1
    safe = np.clip(index, 0, max(len(rows) - 1, 0))
    inside = (index >= 0) & (times < ends[safe]) if len(rows) else np.zeros(len(times), bool)
    found = kicks[inside].copy()
    at = safe[inside]
    by_time = (times[inside] - starts[at]) / (ends[at] - starts[at]) if len(rows) else times[:0]
    phase = found["cycle_phase"].to_numpy(dtype=float)
    return found.assign(row=at + 1, phase=np.where(np.isnan(phase), by_time, phase))


def _panels(count: int) -> go.Figure:
    raster = min(900, max(240, 11 * count))
    fig = make_subplots(
        rows=2,
        cols=2,
        shared_xaxes=True,
        row_heights=[raster, 150],
        column_widths=[0.8, 0.2],
        horizontal_spacing=0.05,
        vertical_spacing=16 / (raster + 166),
        specs=[[{}, {}], [{}, None]],
    )
    return style.dress(fig, height=raster + 150 + 150)


def _add_side(fig: go.Figure, beats: pd.DataFrame, side: str, *, many: bool) -> None:
    colour = style.SIDE_COLOUR[side]
    fig.add_scatter(
        x=beats["phase"].tolist(),
        y=beats["row"].tolist(),
        mode="markers",
        marker={
            "symbol": style.SIDE_MARKER[side],
            "size": 7 if many else 10,
            "color": colour,
            "line": {"width": 0},
        },
        name=f"{side} leg",
        customdata=beats["length_no"].tolist(),
        hovertemplate=f"{side} leg, length %{{customdata}}, row %{{y}}, "
        "%{x:.0%} of the cycle<extra></extra>",
        row=1,
        col=1,
    )
    counts, edges = np.histogram(beats["phase"], bins=_BINS, range=(0.0, 1.0))
    sign = 1 if side == "left" else -1
    fig.add_bar(
        x=((edges[:-1] + edges[1:]) / 2).tolist(),
        y=(sign * counts).tolist(),
        width=1 / _BINS,
        marker={"color": colour, "line": {"color": style.PAPER, "width": 1}},
        showlegend=False,
        customdata=counts.tolist(),
        hovertemplate=f"{side} leg: %{{customdata}} downbeats<extra></extra>",
        row=2,
        col=1,
    )


def _add_counts(fig: go.Figure, rows: pd.DataFrame, beats: pd.DataFrame) -> None:
    counts, usual = _counted(rows, beats)
    odd = (counts != usual).tolist()
    fig.add_scatter(
        x=counts.tolist(),
        y=rows["row"].tolist(),
        mode="lines+markers",
        line={"color": style.SOFT, "width": 1, "shape": "hvh"},
        marker={
            "color": [style.FOURTH if other else style.INK for other in odd],
            "symbol": ["square" if other else "circle" for other in odd],
            "size": [8 if other else 5 for other in odd],
            "opacity": 1,
        },
        showlegend=False,
        hovertemplate="%{x} kicks in row %{y}<extra></extra>",
        row=1,
        col=2,
    )


def _mark_lengths(fig: go.Figure, rows: pd.DataFrame) -> None:
    """Draw a line between two lengths and write the length's number beside its rows."""
    firsts = rows.groupby("length_no")["row"].agg(["min", "max"])
    between = (firsts["min"].iloc[1:] - 0.5).tolist()
    line = {"type": "line", "x0": 0, "x1": 1, "line": {"color": style.SOFT, "width": 1}}
    fig.update_layout(
        shapes=[
            line | {"xref": f"x{panel} domain", "yref": f"y{panel}", "y0": y, "y1": y}
            for y in between
            for panel in ("", "2")
        ]
    )
    every = max(1, math.ceil(len(firsts) / 14))
    shown = firsts.iloc[::every]
    fig.update_yaxes(
        tickmode="array",
        tickvals=((shown["min"] + shown["max"]) / 2).tolist(),
        ticktext=[f"{number}" for number in shown.index],
        row=1,
        col=1,
    )


def _label_axes(fig: go.Figure, rows: pd.DataFrame) -> None:
    span = [len(rows) + 0.7, 0.3]
    fig.update_yaxes(
        range=span, title_text="length (one row a cycle)", showgrid=False, row=1, col=1
    )
    fig.update_yaxes(range=span, showticklabels=False, showgrid=False, row=1, col=2)
    fig.update_yaxes(title_text="downbeats", showticklabels=False, zeroline=True, row=2, col=1)
    marks = {"tickvals": [0, 0.25, 0.5, 0.75, 1], "range": [-0.01, 1.01]}
    ticks = ["0", "¼", "½", "¾", "1"]
    fig.update_xaxes(**marks, showticklabels=False, row=1, col=1)
    fig.update_xaxes(**marks, ticktext=ticks, title_text=style.cycle_title(rows), row=2, col=1)
    fig.update_xaxes(
        title_text="kicks<br>per cycle",
        rangemode="tozero",
        dtick=2,
        showticklabels=True,
        row=1,
        col=2,
    )
    fig.update_layout(bargap=0, barmode="relative")


def _counted(rows: pd.DataFrame, beats: pd.DataFrame) -> tuple[pd.Series[int], pd.Series[int]]:
    """Return the kicks of each drawn cycle, and the most frequent number in its length."""
    counts = beats.groupby("row").size().reindex(rows["row"], fill_value=0)
    lengths = rows["length_no"].to_numpy()
    return counts, counts.groupby(lengths).transform(lambda own: own.mode().iloc[0])


def _alt(rows: pd.DataFrame, beats: pd.DataFrame) -> str:
    counts, usual = _counted(rows, beats)
    fewer = int((counts < usual).sum())
    return (
        f"Downbeats of the legs within {counted(len(rows), 'arm cycle')}: "
        f"{counted(counts.mode().iloc[0], 'kick')} a cycle "
        f"{'is' if counts.mode().iloc[0] == 1 else 'are'} the most frequent, "
        f"{counted(fewer, 'cycle')} {'holds' if fewer == 1 else 'hold'} fewer than is usual in "
        f"the length; {counted(len(style.side_of(beats, 'left')), 'downbeat')} of the left leg "
        f"and {len(style.side_of(beats, 'right'))} of the right."
    )
