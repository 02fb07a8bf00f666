"""The phases of both arms and how they take over from each other."""

from __future__ import annotations

from typing import Final

import pandas as pd
import plotly.graph_objects as go

from sensorswim.figures import style
from sensorswim.swim import coordination

PHASES: Final = (
    "entry to catch",
    "catch to mid-pull",
    "mid-pull to exit",
    "exit to next entry",
)
PHASE_FILLS: Final = (
    (style.BAND, style.INK),
    (style.THIRD, style.PAPER),
    (style.LEFT, style.PAPER),
    (style.PALE, style.INK),
)


def phase_shares(arm_strokes: pd.DataFrame) -> pd.DataFrame:
    """Return the share of the stroke's cycle in each phase, in %, for strokes that have all five.

    Returns
    -------
    DataFrame
        Columns length_no, side and one for each of `PHASES`.
    """
    shares = coordination.phase_shares(arm_strokes).dropna()
    shares.columns = pd.Index(PHASES)
    return arm_strokes.loc[shares.index, ["length_no", "side"]].join(shares)


def draw_arm_phases(arm_strokes: pd.DataFrame) -> go.Figure:
    """Draw the mean share of each phase in the cycle, one bar an arm."""
    shares = phase_shares(arm_strokes)
    if shares.empty:
        return style.blank("no arm stroke has all its events (a wrist sensor is needed).")
    sides = [side for side in ("left", "right") if len(style.side_of(shares, side))]
    means = {side: style.side_of(shares, side) for side in sides}
    fig = style.new_figure(height=150 + 80 * len(sides))
    for name, (colour, ink) in zip(PHASES, PHASE_FILLS, strict=True):
        values = [float(means[side][name].mean()) for side in sides]
        spread = [float(means[side][name].std()) for side in sides]
        fig.add_bar(
            y=[f"{side} arm" for side in sides],
            x=values,
            orientation="h",
            name=name,
            marker={"color": colour, "line": {"color": style.SOFT, "width": 1}},
            text=[f"{value:.0f} %" for value in values],
            textposition="inside",
            insidetextanchor="middle",
            textangle=0,
            textfont={"color": ink, "size": 15},
            customdata=spread,
            hovertemplate=f"{name}: %{{x:.0f}} % of the cycle, "
            "spread %{customdata:.1f}<extra></extra>",
        )
    fig.update_layout(barmode="stack", bargap=0.35, legend={"traceorder": "normal"})
    fig.update_xaxes(title_text="share of the arm's own cycle in %", range=[0, 100])
    fig.update_yaxes(autorange="reversed", showgrid=False)
    parts = [
        f"{side} arm " + ", ".join(f"{name} {means[side][name].mean():.0f} %" for name in PHASES)
        for side in sides
    ]
    return style.with_alt(fig, f"Share of each phase in the arm cycle: {'; '.join(parts)}.")


def draw_coordination(lengths: pd.DataFrame, arm_cycles: pd.DataFrame) -> go.Figure:
    """Draw the index of coordination of each length, with the cycles it is the mean of."""
    column = "index_of_coordination_pct"
    known = lengths.dropna(subset=[column])
    if known.empty:
        return style.blank("the index of coordination needs the events of both arms.")
    cycles = arm_cycles.dropna(subset=[column])
    fig = style.new_figure(height=400)
    fig.add_scatter(
        x=cycles["length_no"].tolist(),
        y=cycles[column].tolist(),
        mode="markers",
        marker={"symbol": "line-ew-open", "size": 16, "color": style.SOFT, "line": {"width": 1.5}},
        name="one cycle",
        hovertemplate="length %{x}: %{y:.1f} %<extra></extra>",
    )
    fig.add_scatter(
        x=known["length_no"].tolist(),
        y=known[column].tolist(),
        mode="markers",
        marker={
            "symbol": "circle",
            "size": 13,
            "color": style.LEFT,
            "line": {"color": style.PAPER, "width": 1.5},
        },
        name="mean of the length",
        hovertemplate="length %{x}: mean %{y:.1f} %<extra></extra>",
    )
    fig.add_hline(y=0, line={"color": style.INK, "width": 1.5, "dash": "dash"})
    fig.update_xaxes(title_text="length", showgrid=False)
    style.number_lengths(fig, lengths["length_no"])
    fig.update_yaxes(title_text="index of coordination<br>in % of the cycle")
    low, high = known[column].min(), known[column].max()
    text = (
        f"Index of coordination of {len(known)} lengths, from {low:.1f} to {high:.1f} % of the "
        "cycle; below zero the arms leave a gap in propulsion, above zero they overlap."
    )
    return style.with_alt(fig, text)
