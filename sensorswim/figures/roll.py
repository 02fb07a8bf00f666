"""The roll of the body: over one length, over the typical cycle, and its peaks by side."""

from __future__ import annotations

from typing import Final

import numpy as np
import numpy.typing as npt
import pandas as pd
import plotly.graph_objects as go

from sensorswim.figures import style
from sensorswim.units import counted

_GRID: Final = np.linspace(0.0, 1.0, 51)
_FEWEST_CYCLES: Final = 3
_NO_ROLL: Final = "no roll was found (it needs a sensor on the back, or both ankles)."
_TURNED_DEG: Final = 90.0
"""No roll of crawl goes so far: beyond it the swimmer turns at the wall."""
_ROLLING_DEG: Final = 45.0
_TURN_S: Final = 2.5
"""How long before the wall a turn may begin (our choice)."""


def best_source(lengths: pd.DataFrame, roll: pd.DataFrame) -> str | None:
    """Return the source that the lengths rest on, else the first that has a roll."""
    named = lengths["roll_source"].dropna()
    if len(named):
        return str(named.iloc[0])
    present = roll["source"].dropna().unique().tolist()
    order = ("upper_back", "lower_back", "ankles")
    return next((s for s in order if s in present), None)


def draw_roll_of_length(
    roll: pd.DataFrame, breaths: pd.DataFrame, lengths: pd.DataFrame, *, length_no: int
) -> go.Figure:
    """Draw the roll over one length as it was swum, with the breaths marked at their peaks.

    The way under water after the push-off and a flip turn at the end are left out.
    """
    row = lengths[lengths["length_no"] == length_no]
    source = best_source(lengths, roll)
    if row.empty or source is None:
        return style.blank(_NO_ROLL)
    start, end = float(row["start_s"].iloc[0]), float(row["end_s"].iloc[0])
    first = row["swim_start_s"].fillna(row["start_s"]).iloc[0]
    own = _before_the_turn(roll[(roll["source"] == source) & roll["time_s"].between(first, end)])
    if own["roll_deg"].notna().sum() < 2:
        return style.blank(_NO_ROLL)
    fig = style.new_figure(height=380)
    fig.add_scatter(
        x=(own["time_s"] - start).tolist(),
        y=own["roll_deg"].tolist(),
        mode="lines",
        line={"color": style.INK, "width": 2},
        name=f"roll, {style.SOURCE_WORDS.get(source, source)}",
        hovertemplate="%{x:.1f} s: %{y:.0f} degrees<extra></extra>",
    )
    taken = breaths[breaths["length_no"] == length_no]
    taken = taken[taken["peak_s"].between(own["time_s"].min(), own["time_s"].max())]
    for side in ("left", "right"):
        _mark_breaths(fig, style.side_of(taken, side), own, start, side)
    fig.update_xaxes(title_text="seconds since the push-off")
    _roll_axis(fig)
    text = (
        f"Roll over length {length_no}, {style.SOURCE_WORDS.get(source, source)}: between "
        f"{own['roll_deg'].min():.0f} and {own['roll_deg'].max():.0f} degrees, "
        f"{_breaths_told(len(taken), known=length_no in lengths_with_breaths(lengths))}."
    )
    return style.with_alt(fig, text)


def _before_the_turn(own: pd.DataFrame) -> pd.DataFrame:
    """Return the roll of a length without the flip turn at its end."""
    size = own["roll_deg"].abs().to_numpy(dtype=float)
    late = own["time_s"].to_numpy() > own["time_s"].max() - _TURN_S
    turned = np.flatnonzero((size > _TURNED_DEG) & late)
    rolling = np.flatnonzero(size[: turned[0]] <= _ROLLING_DEG) if len(turned) else turned
    return own.iloc[: rolling[-1] + 1] if len(rolling) else own


def _mark_breaths(
    fig: go.Figure, taken: pd.DataFrame, own: pd.DataFrame, start_s: float, side: str
) -> None:
    if taken.empty:
        return
    finite = own.dropna(subset=["roll_deg"])
    at = np.interp(taken["peak_s"], finite["time_s"], finite["roll_deg"])
    fig.add_scatter(
        x=(taken["peak_s"] - start_s).tolist(),
        y=at.tolist(),
        mode="markers",
        marker={
            "symbol": style.SIDE_MARKER[side],
            "size": 15,
            "color": style.SIDE_COLOUR[side],
            "line": {"color": style.PAPER, "width": 1.5},
        },
        name=f"breath to the {side}",
        hovertemplate=f"breath to the {side} at %{{x:.1f}} s<extra></extra>",
    )


def lengths_with_breaths(lengths: pd.DataFrame) -> set[int]:
    """Return the numbers of the lengths whose breaths could be told, also where there were none."""
    told = lengths[["breaths_left", "breaths_right"]].notna().any(axis=1)
    return set(lengths.loc[told, "length_no"].astype(int))


def _breaths_told(count: int, *, known: bool) -> str:
    return f"with {counted(count, 'breath')} marked" if known else "breaths not known"


def _roll_axis(fig: go.Figure) -> None:
    fig.update_yaxes(title_text="roll in degrees<br>(right side down: up)", zeroline=True, nticks=8)


def draw_typical_roll(
    roll: pd.DataFrame, arm_cycles: pd.DataFrame, lengths: pd.DataFrame
) -> go.Figure:
    """Draw the median roll over the arm cycle, with the band that holds 8 cycles of 10.

    Cycles with and without a breath are drawn apart where there are enough of both, and apart
    from these the cycles of lengths whose breaths could not be told.
    """
    source = best_source(lengths, roll)
    cycles = arm_cycles.dropna(subset=["start_s", "end_s"])
    if source is None:
        return style.blank(_NO_ROLL)
    if cycles.empty:
        return style.blank("no whole arm cycle was found (it needs a wrist sensor).")
    own = roll[roll["source"] == source].dropna(subset=["roll_deg"]).sort_values("time_s")
    shapes, used = _folded(own, cycles)
    if len(used) < _FEWEST_CYCLES:
        return style.blank("too few whole arm cycles with a roll signal.")
    fig = style.new_figure(height=420)
    breathing = used["breath_side"].notna().to_numpy()
    told = used["length_no"].isin(lengths_with_breaths(lengths)).to_numpy()
    groups = (
        ("cycles without a breath", told & ~breathing, style.LEFT, "solid"),
        ("cycles with a breath", breathing, style.RIGHT, "dash"),
        ("cycles, breaths not known", ~told & ~breathing, style.THIRD, "dot"),
    )
    for name, chosen, colour, dash in groups:
        if chosen.sum() >= _FEWEST_CYCLES:
            _add_band(fig, shapes[chosen], f"{name} ({chosen.sum()})", colour, dash)
    fig.update_xaxes(
        title_text=style.cycle_title(used),
        tickvals=[0, 0.25, 0.5, 0.75, 1],
        ticktext=["0", "¼", "½", "¾", "1"],
    )
    _roll_axis(fig)
    middle = np.median(shapes, axis=0)
    text = (
        f"Typical roll over the arm cycle, {style.SOURCE_WORDS.get(source, source)}, from "
        f"{len(used)} cycles: from {middle.min():.0f} to {middle.max():.0f} degrees."
    )
    return style.with_alt(fig, text)


def _folded(
    own: pd.DataFrame, cycles: pd.DataFrame
) -> tuple[npt.NDArray[np.float64], pd.DataFrame]:
    """Return the roll of each cycle on 51 steps of phase, and the cycles that have one."""
    times, values = own["time_s"].to_numpy(), own["roll_deg"].to_numpy()
    shapes, kept = [], []
    for index, (start, end) in enumerate(zip(cycles["start_s"], cycles["end_s"], strict=True)):
        inside = slice(*np.searchsorted(times, [start, end]))
        if inside.stop - inside.start < 0.8 * 50.0 * (end - start):
            continue
        shapes.append(np.interp(start + _GRID * (end - start), times, values))
        kept.append(index)
    stacked = np.array(shapes) if shapes else np.empty((0, len(_GRID)))
    return stacked, cycles.iloc[kept]


def _add_band(
    fig: go.Figure, shapes: npt.NDArray[np.float64], name: str, colour: str, dash: str
) -> None:
    low, middle, high = np.percentile(shapes, [10, 50, 90], axis=0)
    fig.add_scatter(
        x=[*_GRID, *_GRID[::-1]],
        y=[*high, *low[::-1]],
        fill="toself",
        fillcolor=style.clear(colour, 0.22),
        line={"width": 0},
        hoverinfo="skip",
        showlegend=False,
        mode="lines",
    )
    fig.add_scatter(
        x=_GRID.tolist(),
        y=middle.tolist(),
        mode="lines",
        line={"color": colour, "width": 3, "dash": dash},
        name=name,
        hovertemplate="%{x:.0%} of the cycle: %{y:.0f} degrees<extra></extra>",
    )


def draw_roll_peaks(rolls: pd.DataFrame) -> go.Figure:
    """Draw the peak of every roll, by the side that is up, breathing and not."""
    known = rolls.dropna(subset=["peak_roll_deg", "side"])
    if known.empty:
        return style.blank(_NO_ROLL)
    fig = style.new_figure(height=420)
    breath = known["is_breath"]
    groups = [
        ("without<br>a breath", breath.eq(False).fillna(value=False).astype(bool)),
        ("with<br>a breath", breath.eq(True).fillna(value=False).astype(bool)),
        ("can't tell", breath.isna()),
    ]
    for side in ("left", "right"):
        rows = style.side_of(known, side)
        labels, values = _grouped(rows, groups)
        _add_peaks(fig, side, labels, values)
    fig.update_layout(boxmode="group", boxgap=0.35)
    fig.update_xaxes(categoryorder="array", categoryarray=[name for name, _ in groups])
    fig.update_yaxes(title_text="peak of the roll in degrees", rangemode="tozero")
    onto_right = style.side_of(known, "left")["peak_roll_deg"].median()
    onto_left = style.side_of(known, "right")["peak_roll_deg"].median()
    source = known["source"].dropna()
    word = style.SOURCE_WORDS.get(str(source.iloc[0]), "") if len(source) else ""
    text = (
        f"Peaks of {len(known)} rolls, {word}: median {style.number(onto_right, 0)} degrees onto "
        f"the right side and {style.number(onto_left, 0)} degrees onto the left."
    )
    return style.with_alt(fig, text)


def _grouped(
    rows: pd.DataFrame, groups: list[tuple[str, pd.Series[bool]]]
) -> tuple[list[str], list[float]]:
    labels: list[str] = []
    values: list[float] = []
    for name, chosen in groups:
        own = rows.loc[chosen.reindex(rows.index), "peak_roll_deg"].tolist()
        labels += [name] * len(own)
        values += own
    return labels, values


def _add_peaks(fig: go.Figure, side: str, labels: list[str], values: list[float]) -> None:
    down = {"left": "right", "right": "left"}[side]
    fig.add_box(
        x=labels,
        y=values,
        name=f"onto the {down} side",
        boxpoints="all",
        jitter=0.6,
        pointpos=0,
        fillcolor=style.clear(style.SIDE_COLOUR[down], 0.15),
        line={"color": style.SIDE_COLOUR[down], "width": 2},
        marker={
            "symbol": style.SIDE_MARKER[down],
            "size": 6,
            "opacity": 0.55,
            "color": style.SIDE_COLOUR[down],
        },
        hovertemplate=f"onto the {down}: %{{y:.0f}} degrees<extra></extra>",
    )
