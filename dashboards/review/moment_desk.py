"""The heart of the review: one moment, in the plots, in the video and in words."""

from __future__ import annotations

import asyncio
import math
from typing import Any, Final

import dash
import dash_mantine_components as dmc
import numpy as np
import pandas as pd
from dash import ClientsideFunction, Input, Output, State, ctx, dcc, html
from fastapi import FastAPI
from starlette.responses import JSONResponse

from sensorswim.dashboards.review import breath_marks, video_panel
from sensorswim.dashboards.review.desk import Desk, Opened, opened_or_stop
from sensorswim.errors import SensorswimError
from sensorswim.figures import LEGEND, Stretch, style
from sensorswim.figures.time_axis import HEIGHT_PX

_AXIS_CONFIG: Final = style.CONFIG | {"scrollZoom": False}
_AXIS_STYLE: Final = {"height": f"{HEIGHT_PX}px"}
_STEPS: Final = (
    ("stroke-back", "Stroke back", "←"),
    ("stroke-on", "Stroke on", "→"),
    ("breath-back", "Breath back", "Shift ←"),
    ("breath-on", "Breath on", "Shift →"),
    ("frame-back", "Frame back", ","),
    ("frame-on", "Frame on", "."),
    ("length-back", "Length back", "["),
    ("length-on", "Length on", "]"),
    ("play", "Play or pause", "Space"),
    ("loop", "Loop this cycle", "C"),
)
_HEARD: Final = {"moments": "data", "speed": "value", "axis-figure": "data"}
"""What the browser's own part of the page listens to."""
_STORES: Final = ("moved", "clip", "clip-number", "clip-turn", "clip-now", "measure")
_SPEEDS: Final = (("1", "full speed"), ("0.5", "½"), ("0.25", "¼"), ("0.125", "⅛"))


def section(opened: Opened, length_no: int | None, scheme: str) -> html.Section:
    """Return this part of the page, its plot drawn over a length or, for None, the session."""
    stretch = _stretch_of(opened, length_no, turn="first")
    drawn, words = (None, "") if stretch is None else _axis(opened, stretch, scheme)
    buttons = [
        html.Button(
            [name, html.Kbd(key)],
            type="button",
            **{"data-step": step, "aria-keyshortcuts": _shortcut(key)},
        )
        for step, name, key in _STEPS
    ]
    speeds = dmc.RadioGroup(
        dmc.Group([dmc.Radio(word, value=value) for value, word in _SPEEDS]),
        id="speed",
        label="Speed",
        value="1",
    )
    return html.Section(
        [
            html.H2("Moment by moment"),
            html.P(
                "Click into the plot to choose a moment; drag it to move along, or use the "
                "buttons. The keys work while the focus is in this part of the page.",
                className="reading",
            ),
            html.Div([*buttons, speeds], className="row steps"),
            html.P("No moment is chosen.", id="readout", role="status"),
            html.Div(
                [
                    html.Div(video_panel.at_first(opened), id="video-panel"),
                    html.Div(
                        [
                            _legend(),
                            html.Div(id="axis", style=_AXIS_STYLE),
                        ],
                        id="axis-box",
                        role="group",
                        **{"aria-label": "Roll, arms and legs over time"},
                    ),
                ],
                id="side-by-side",
                className=video_panel.beside(opened),
            ),
            html.P(words, id="axis-words", className="reading"),
            html.Div(id="breath-marks"),
            dcc.Store(id="stretch", data=stretch),
            dcc.Store(id="axis-figure", data=drawn),
            *[dcc.Store(id=name) for name in _STORES],
            *[dcc.Store(id=f"{name}-heard") for name in (*_HEARD, "clip", "tool")],
            dcc.Store(id="axis-heard", data=None if stretch else "nothing to draw"),
        ],
        id="moment-desk",
        className="moment-desk",
        tabIndex="0",
        **{"aria-label": "Moment by moment"},
    )


def _legend() -> html.Ul:
    entries = [
        html.Li(
            [
                html.Span(
                    glyph,
                    style={"color": f"light-dark({colour}, {style.DARK_OF[colour]})"},
                    **{"aria-hidden": "true"},
                ),
                f" {words}",
            ]
        )
        for glyph, colour, words in LEGEND
    ]
    return html.Ul(entries, className="legend")


def _shortcut(key: str) -> str:
    arrows = {"←": "ArrowLeft", "→": "ArrowRight", "Shift ←": "Shift+ArrowLeft"}
    return arrows.get(key, {"Shift →": "Shift+ArrowRight"}.get(key, key))


def moments(opened: Opened) -> dict[str, Any]:
    """Return the moments that the browser steps through, in seconds of session time."""
    tables = opened.analysis.tables
    lengths, cycles = tables["lengths"], tables["arm_cycles"].dropna(subset=["start_s", "end_s"])
    spans = lengths[["length_no", "start_s", "end_s"]].to_numpy(float)
    return {
        "key": opened.key,
        "strokes": _times(tables["arm_strokes"]["entry_s"]),
        "breaths": _times(tables["breaths"]["peak_s"]),
        "cycles": cycles[["start_s", "end_s"]].to_numpy(float).round(3).tolist(),
        "lengths": spans.round(3).tolist(),
    }


def _times(column: pd.Series[float]) -> list[float]:
    return sorted(np.round(column.dropna().to_numpy(float), 3).tolist())


def add_callbacks(app: dash.Dash, desk: Desk) -> None:
    """Add what this part of the page answers to."""
    for name, source in _HEARD.items():
        app.clientside_callback(
            ClientsideFunction("review", name), Output(f"{name}-heard", "data"), Input(name, source)
        )
    _add_stretch(app, desk)
    _add_axis(app, desk)
    video_panel.add_callbacks(app, desk)
    breath_marks.add_callbacks(app, desk)


def _add_stretch(app: dash.Dash, desk: Desk) -> None:
    @app.callback(
        Output("stretch", "data"),
        Input("length", "value"),
        Input("show-length", "n_clicks"),
        Input("show-all", "n_clicks"),
        State("scheme", "data"),
        State("session-key", "data"),
        prevent_initial_call=True,
    )
    async def choose_stretch(
        length: str | None, once: int | None, whole: int | None, scheme: str | None, key: str
    ) -> Any:
        opened = await opened_or_stop(desk, key, scheme)
        number = None if ctx.triggered_id == "show-all" else int(length or 0)
        chosen = _stretch_of(opened, number, turn=f"{length} {once} {whole}")
        if chosen is None:
            raise dash.exceptions.PreventUpdate
        return chosen


def _stretch_of(opened: Opened, length_no: int | None, *, turn: str) -> dict[str, Any] | None:
    """Return a length's times, else the whole session's; None where there is no length."""
    lengths = opened.analysis.lengths
    own = lengths[lengths["length_no"] == (length_no or 0)]
    if own.empty:
        own = lengths
    if own.empty:
        return None
    start, end = float(own["start_s"].min()) - 0.5, float(own["end_s"].max()) + 0.5
    return {"start_s": start, "end_s": end, "turn": turn}


def _add_axis(app: dash.Dash, desk: Desk) -> None:
    @app.callback(
        Output("axis-figure", "data"),
        Output("axis-words", "children"),
        Input("scheme", "data"),
        Input("stretch", "data"),
        State("moved", "data"),
        State("session-key", "data"),
        prevent_initial_call=True,
    )
    async def draw_axis(
        scheme: str | None, chosen: dict[str, Any] | None, moved: dict[str, Any] | None, key: str
    ) -> tuple[Any, Any]:
        if chosen is None:
            raise dash.exceptions.PreventUpdate
        opened = await opened_or_stop(desk, key, scheme)
        stays = ctx.triggered_id == "scheme" and moved and moved["turn"] == chosen["turn"]
        return _axis(opened, moved if stays and moved else chosen, scheme or "light")


def add_routes(api: FastAPI, desk: Desk) -> None:
    """Add where the browser fetches the plot of the times that it was dragged to."""

    @api.get("/axis/{key}")
    async def axis(key: str, start_s: float, end_s: float, turn: str, scheme: str) -> JSONResponse:
        if not (math.isfinite(start_s) and math.isfinite(end_s) and start_s < end_s):
            return JSONResponse({"problem": "no stretch of time"}, status_code=400)
        shown = {"start_s": start_s, "end_s": end_s, "turn": turn}
        look = "dark" if scheme == "dark" else "light"
        drawn = await asyncio.to_thread(_fetched, desk, key, shown, look)
        if drawn is None:
            return JSONResponse({"problem": "no such session"}, status_code=404)
        return JSONResponse({"figure": drawn[0], "words": drawn[1]})


def _fetched(
    desk: Desk, key: str, shown: dict[str, Any], scheme: str
) -> tuple[dict[str, Any], str] | None:
    try:
        opened = desk.open(key)
    except SensorswimError:
        return None
    return None if opened is None else _axis(opened, shown, scheme)


def _axis(opened: Opened, shown: dict[str, Any], scheme: str) -> tuple[dict[str, Any], str]:
    """Return the plot of the times shown and its words; a new turn takes the view there."""
    spec = opened.axis.draw(Stretch(start_s=shown["start_s"], end_s=shown["end_s"]))
    spec["config"] = _AXIS_CONFIG
    spec["layout"]["uirevision"] = shown["turn"]
    words = f"In words: {spec['layout']['meta']['alt']}"
    return style.recolour_spec(spec, scheme), words
