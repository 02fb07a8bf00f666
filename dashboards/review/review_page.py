"""The review of one session: strip, time axis, pictures, tables; with or without a video."""

from __future__ import annotations

import asyncio
from typing import Any

import dash
import dash_mantine_components as dmc
import pandas as pd
from dash import ClientsideFunction, Input, Output, State, dcc, html

from sensorswim.dashboards.review import (
    breath_marks,
    findings_part,
    moment_desk,
    pictures,
    sheets,
    words_part,
)
from sensorswim.dashboards.review.desk import Desk, Opened, opened_or_stop
from sensorswim.dashboards.review.shelf import title_of
from sensorswim.dashboards.review.waiting import add_waiting, waiting
from sensorswim.figures import style
from sensorswim.figures.time_axis import Spec
from sensorswim.report import headline
from sensorswim.report.words import SEVERITY_WORDS


def content(desk: Desk, asked: dict[str, str], scheme: str) -> Any:
    """Return the page of the session asked for; while it is analysed, how far that is.

    What is seen first comes with the page, drawn in the look `scheme`; the rest is asked for
    once that is drawn.
    """
    key = asked["session"]
    opened = desk.open(key)
    if opened is None:
        return waiting(desk, key)
    desk.shelf.note_seen(opened.analysis.session)
    chosen = _first_length(opened, asked)
    strip = _strip(opened, scheme)
    height = {"height": f"{strip['layout']['height']}px"}
    return html.Div(
        [
            dcc.Store(id="session-key", data=key),
            dcc.Store(id="moments", data=moment_desk.moments(opened)),
            *_head(opened),
            html.Section(
                [
                    html.H2("The session", className="first"),
                    html.Div(id="strip", style=height),
                    dcc.Store(id="strip-figure", data=strip),
                    dcc.Store(id="strip-figure-heard"),
                    _chooser(opened, chosen),
                ]
            ),
            moment_desk.section(opened, chosen, scheme),
            html.Div(id="rest"),
        ],
        className="review",
    )


def _rest(opened: Opened) -> list[Any]:
    """Return the parts of the page that lie below what is seen first."""
    return [
        findings_part.section(opened.analysis),
        words_part.section(opened),
        html.Section([html.H2("Pictures"), pictures.controls(), html.Div(id="pictures")]),
        sheets.section(opened.analysis),
        _quality(opened),
    ]


def _first_length(opened: Opened, asked: dict[str, str]) -> int | None:
    """Return the length asked for, else the one at the moment asked for, else the first."""
    lengths = opened.analysis.lengths
    numbers = [int(n) for n in lengths["length_no"]]
    wanted, moment = asked.get("length", ""), asked.get("t", "")
    if wanted.isdigit() and int(wanted) in numbers:
        return int(wanted)
    if moment.replace(".", "", 1).isdigit():
        begun = lengths.loc[lengths["start_s"] <= float(moment), "length_no"]
        return int(begun.iloc[-1]) if len(begun) else numbers[0] if numbers else None
    return numbers[0] if numbers else None


def _head(opened: Opened) -> list[Any]:
    session = opened.analysis.session
    lines = [
        html.Div([html.Dt(subject), html.Dd(line)]) for subject, line in headline(opened.analysis)
    ]
    parts: list[Any] = [html.H1(title_of(session))]
    if session.extra.get("invented"):
        parts.append(html.P("Invented demo data: no such swim took place.", className="invented"))
    parts.append(
        html.Details([html.Summary("In short"), html.Dl(lines, className="facts")], open=False)
    )
    return parts


def _chooser(opened: Opened, chosen: int | None) -> html.Div:
    options = [
        {"value": str(row["length_no"]), "label": _length_label(row)}
        for row in opened.analysis.lengths.to_dict("records")
    ]
    return html.Div(
        [
            dmc.Select(
                id="length",
                label="Length",
                data=options,
                value=None if chosen is None else str(chosen),
                allowDeselect=False,
                searchable=True,
                w=320,
            ),
            html.Button("Show this length", id="show-length", type="button"),
            html.Button("Show the whole session", id="show-all", type="button"),
        ],
        className="row bottom",
    )


def _length_label(row: dict[Any, Any]) -> str:
    kind = "other" if pd.isna(row["activity"]) else str(row["activity"])
    label = f"{row['length_no']}: {style.ACTIVITY_WORDS.get(kind, kind)}"
    return label if pd.isna(row["block_label"]) else f"{label}, {row['block_label']}"


def _quality(opened: Opened) -> html.Section:
    rows = [
        html.Li([html.Strong(SEVERITY_WORDS[str(row.severity)]), f": {row.text}"])
        for row in opened.analysis.quality
    ]
    told: Any = html.Ul(rows) if rows else html.P("Nothing was missing or doubtful.")
    return html.Section([html.H2("How sure the data are"), told])


def add_callbacks(app: dash.Dash, desk: Desk) -> None:
    """Add what the page answers to."""
    add_waiting(app, desk)
    moment_desk.add_callbacks(app, desk)
    _add_strip(app, desk)
    _add_rest(app, desk)
    pictures.add_callbacks(app, desk)
    words_part.add_callbacks(app, desk)
    sheets.add_callbacks(app, desk)


def _add_rest(app: dash.Dash, desk: Desk) -> None:
    @app.callback(
        Output("rest", "children"),
        Output("breath-marks", "children"),
        Input("axis-heard", "data"),
        State("session-key", "data"),
    )
    async def show_rest(first: Any, key: str) -> tuple[list[Any], Any]:
        opened = await opened_or_stop(desk, key, first)
        return await asyncio.to_thread(_rest, opened), breath_marks.section()


def _add_strip(app: dash.Dash, desk: Desk) -> None:
    @app.callback(
        Output("strip-figure", "data"),
        Input("scheme", "data"),
        State("session-key", "data"),
        prevent_initial_call=True,
    )
    async def draw_strip(scheme: str | None, key: str) -> Spec:
        return _strip(await opened_or_stop(desk, key, scheme), scheme or "light")

    app.clientside_callback(
        ClientsideFunction("review", "strip-figure"),
        Output("strip-figure-heard", "data"),
        Input("strip-figure", "data"),
    )


def _strip(opened: Opened, scheme: str) -> Spec:
    return style.recolour_spec(opened.drawn.strip, scheme) | {"config": style.CONFIG}
