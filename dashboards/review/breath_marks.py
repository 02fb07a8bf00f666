"""Marks of a breath, by eye: when the exhale starts, the mouth is clear, air comes in, it ends."""

from __future__ import annotations

import asyncio
from typing import Any, Final

import dash
import pandas as pd
from dash import Input, Output, State, ctx, html

from sensorswim.dashboards.review.desk import Desk, opened_or_stop
from sensorswim.errors import SensorswimError
from sensorswim.figures.style import number
from sensorswim.formats.marks_write import add_mark, drop_mark
from sensorswim.metrics.video_marks import BREATH_STEPS, breath_steps
from sensorswim.model import Mark

_WORDS: Final = {
    "exhale_start": "Exhale starts",
    "mouth_clear": "Mouth clear",
    "breath_in": "Breath in",
    "face_back": "Face back",
}
_COLUMNS: Final = {
    "mouth_clear_s": "mouth clear at, s",
    "exhale_s": "exhale, s",
    "mouth_out_s": "mouth out, s",
    "inhale_s": "inhale, s",
    "sensor_peak_s": "largest roll at, s",
    "sensor_hold_s": "on the side by the sensors, s",
    "peak_minus_breath_in_s": "largest roll after breath in, s",
}


def section() -> html.Details:
    """Return this part of the page."""
    return html.Details(
        [
            html.Summary("Mark a breath"),
            html.P(
                "Go to each moment in the clip (or the plot) and mark it. The sensors can't see "
                "when the exhale starts.",
                className="reading",
            ),
            html.Div(
                [
                    *[
                        html.Button(_WORDS[kind], id=f"mark-{kind}", type="button")
                        for kind in BREATH_STEPS
                    ],
                    html.Button("Take the last mark back", id="mark-back", type="button"),
                ],
                className="row",
            ),
            html.P("", id="mark-told", role="status"),
            html.Div(id="breath-steps"),
        ]
    )


def add_callbacks(app: dash.Dash, desk: Desk) -> None:
    """Add what sets marks and shows the times between them."""

    @app.callback(
        Output("mark-told", "children"),
        Output("marks-saved", "data", allow_duplicate=True),
        [Input(f"mark-{kind}", "n_clicks") for kind in BREATH_STEPS],
        Input("mark-back", "n_clicks"),
        State("moment", "data"),
        State("session-key", "data"),
        prevent_initial_call=True,
    )
    async def mark(*told: Any) -> tuple[Any, Any]:
        *clicks, moment_s, key = told
        if not any(clicks):
            raise dash.exceptions.PreventUpdate
        try:
            words = await asyncio.to_thread(_mark, desk, key, str(ctx.triggered_id), moment_s)
        except SensorswimError as problem:
            return str(problem), dash.no_update
        return words, f"marked {clicks}"

    @app.callback(
        Output("breath-steps", "children"),
        Input("marks-saved", "data"),
        Input("session-key", "data"),
    )
    async def show(_saved: Any, key: str) -> Any:
        opened = await opened_or_stop(desk, key, "any")
        return _sheet(breath_steps(opened.analysis.marks, opened.analysis.breaths))


def _mark(desk: Desk, key: str, pressed: str, moment_s: float | None) -> str:
    folder = desk.shelf.folder_of(key)
    kind = pressed.removeprefix("mark-")
    if kind == "back":
        opened = desk.open(key)
        drop_mark(folder, 0 if opened is None else len(opened.analysis.session.marks) - 1)
        return "The last mark is taken back."
    if moment_s is None:
        return "Choose a moment first."
    add_mark(folder, Mark(kind=kind, session_s=round(moment_s, 4)))
    return f"{_WORDS[kind]}: marked at {moment_s:.2f} s."


def _sheet(table: pd.DataFrame) -> Any:
    if table.empty:
        return html.P("No breath is marked yet.", className="nothing")
    head = html.Tr([html.Th(word, scope="col") for word in _COLUMNS.values()])
    rows = [
        html.Tr([html.Td(number(row[name], 2)) for name in _COLUMNS])
        for row in table.to_dict("records")
    ]
    return html.Div(
        html.Table([html.Thead(head), html.Tbody(rows)]),
        className="wide",
        tabIndex="0",
        role="region",
        **{"aria-label": "Breaths marked"},
    )
