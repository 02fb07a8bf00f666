"""The pictures below the time axis: of the chosen length, its block or the whole session."""

from __future__ import annotations

import asyncio
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any, Final

import dash
import dash_mantine_components as dmc
import pandas as pd
import plotly.graph_objects as go
from dash import Input, Output, State, html

from sensorswim import figures
from sensorswim.dashboards.components import picture
from sensorswim.dashboards.review.desk import Desk, opened_or_stop
from sensorswim.model.analysis import Analysis

Tables = dict[str, pd.DataFrame]


@dataclass(frozen=True, kw_only=True)
class Kind:
    """One picture that can be chosen."""

    title: str
    reading: str
    draw: Callable[[Tables, Analysis], go.Figure]


KINDS: Final = {
    "kicks": Kind(
        title="Kicks against the arm cycle",
        reading="Each row is one arm cycle, each mark one downbeat. Straight columns are a steady "
        "rhythm, slanting ones drift, a hole is a missing kick; on the right how many kicks the "
        "cycle holds, a square where it isn't its length's usual number.",
        draw=lambda t, _: figures.draw_kick_rhythm(t["kicks"], t["arm_cycles"]),
    ),
    "roll": Kind(
        title="Roll over the arm cycle",
        reading="The line is the typical cycle, the band holds 8 of 10 cycles. Up means rolled "
        "onto the right side.",
        draw=lambda t, _: figures.draw_typical_roll(t["roll"], t["arm_cycles"], t["lengths"]),
    ),
    "peaks": Kind(
        title="How far each roll goes",
        reading="One mark a roll, with and without a breath, left and right.",
        draw=lambda t, _: figures.draw_roll_peaks(t["rolls"]),
    ),
    "side": Kind(
        title="Time on the side, breath by breath",
        reading="One mark a breath; the dashed line and its band are the swimmer's own rolls "
        "without a breath.",
        draw=lambda t, _: figures.draw_side_time(t["breaths"], t["rolls"]),
    ),
    "hands": Kind(
        title="Hand paths",
        reading="The wrist's way round its shoulder over the arm cycle, thin lines single "
        "lengths. How far it lies to the side is an estimate; changes are surer than the level.",
        draw=lambda t, _: figures.draw_hand_paths(t["hand_paths"]),
    ),
    "phases": Kind(
        title="Phases of each arm",
        reading="Each bar is one arm's whole cycle.",
        draw=lambda t, _: figures.draw_arm_phases(t["arm_strokes"]),
    ),
    "coordination": Kind(
        title="How the arms take over from each other",
        reading="Below the dashed line there is a gap in propulsion, above it the arms overlap.",
        draw=lambda t, _: figures.draw_coordination(t["lengths"], t["arm_cycles"]),
    ),
    "pace": Kind(
        title="Speed, stroke rate and stroke length",
        reading="One mark a length; open marks are drills or kicking.",
        draw=lambda t, _: figures.draw_pace(t["lengths"]),
    ),
    "felt": Kind(
        title="Felt and measured",
        reading="Diamonds: what the swimmer felt before seeing any figure. Dots: measured.",
        draw=lambda t, a: figures.draw_felt(a.session.blocks, t["lengths"]),
    ),
}
_SCOPES: Final = (("length", "This length"), ("block", "Its block"), ("session", "Whole session"))


def controls() -> html.Div:
    """Return what chooses the picture and what it covers."""
    return html.Div(
        [
            dmc.Select(
                id="picture-kind",
                label="Picture",
                data=[{"value": key, "label": kind.title} for key, kind in KINDS.items()],
                value="kicks",
                allowDeselect=False,
                w=360,
            ),
            dmc.RadioGroup(
                dmc.Group([dmc.Radio(word, value=value) for value, word in _SCOPES]),
                id="picture-scope",
                label="Covers",
                value="block",
            ),
        ],
        className="row bottom",
    )


def add_callbacks(app: dash.Dash, desk: Desk) -> None:
    """Add what draws the picture."""

    @app.callback(
        Output("pictures", "children"),
        Input("scheme", "data"),
        Input("picture-kind", "value"),
        Input("picture-scope", "value"),
        Input("length", "value"),
        State("session-key", "data"),
    )
    async def draw(scheme: str | None, kind: str, scope: str, length: str | None, key: str) -> Any:
        opened = await opened_or_stop(desk, key, scheme)
        return await asyncio.to_thread(_drawn, opened.analysis, kind, scope, length, scheme)


def _drawn(
    analysis: Analysis, kind: str, scope: str, length: str | None, scheme: str | None
) -> html.Section:
    chosen = KINDS[kind]
    tables = covered(analysis.tables, scope, int(length or 0))
    fig = chosen.draw(tables, analysis)
    return picture(f"picture-{kind}", chosen.title, chosen.reading, fig, scheme)


def covered(tables: Tables, scope: str, length_no: int) -> Tables:
    """Return the tables with only the rows of a length, of its block or of the session."""
    lengths = tables["lengths"]
    own = lengths[lengths["length_no"] == length_no]
    if scope == "session" or own.empty:
        return tables
    block = own["block_no"].iloc[0]
    if scope == "block" and not pd.isna(block):
        own = lengths[lengths["block_no"].eq(block).fillna(value=False).astype(bool)]
    numbers = set(own["length_no"])
    return {
        name: table[table["length_no"].isin(numbers)] if "length_no" in table else table
        for name, table in tables.items()
    }
