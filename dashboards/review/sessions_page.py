"""The list of sessions: choose one, drop one in, or take the sample."""

from __future__ import annotations

import asyncio
from typing import Any

import dash
from dash import Input, Output, dcc, html
from fastapi import FastAPI

from sensorswim.dashboards.review.desk import Desk
from sensorswim.dashboards.review.drops import add_drop_routes
from sensorswim.dashboards.review.shelf import Entry


def content(desk: Desk) -> html.Div:
    """Return the page."""
    entries = desk.shelf.entries()
    listed = (
        html.Ul([_line(entry) for entry in entries], className="sessions")
        if entries
        else html.P(
            "No session is here yet. Drop one in below, or open the sample.", className="nothing"
        )
    )
    return html.Div(
        [
            html.H1("Sessions"),
            listed,
            html.Section(
                [
                    html.H2("Add a session"),
                    drop_zone(),
                ]
            ),
            html.Section(
                [
                    html.H2("Only looking?"),
                    html.P("The sample is an invented swimmer with faults of our own choice."),
                    html.Button("Open the sample", id="sample", type="button"),
                ]
            ),
            dcc.Loading(html.Div(id="sample-told")),
        ]
    )


def drop_zone() -> html.Div:
    """Return the place that files are dropped on."""
    words = (
        "Drop a session folder, a zip of one, or loose logs and clips here. Everything stays on "
        "this machine."
    )
    buttons = [
        html.Button("Choose a folder", type="button", **{"data-pick": "folder"}),
        html.Button("Choose files", type="button", **{"data-pick": "files"}),
    ]
    parts = [html.P(words), html.Div(buttons, className="row")]
    return html.Div(
        [*parts, html.P("", id="drop-told", role="status")], id="drop", className="drop"
    )


def _line(entry: Entry) -> html.Li:
    if entry.problem:
        return html.Li(
            [html.Strong(entry.title), html.P(f"Can't be opened: {entry.problem}")],
            className="problem",
        )
    mark = html.Span("invented", className="tag") if entry.invented else None
    blocks = dcc.Link("Blocks", href=f"/setup?session={entry.key}", className="aside")
    return html.Li([dcc.Link(entry.title, href=f"/review?session={entry.key}"), mark, blocks])


def add_routes(api: FastAPI, desk: Desk) -> None:
    """Add what the browser sends files to."""
    add_drop_routes(api, desk.shelf)


def add_callbacks(app: dash.Dash, desk: Desk) -> None:
    """Add what the page answers to."""

    @app.callback(
        Output("url", "href"),
        Output("sample-told", "children"),
        Input("sample", "n_clicks"),
        prevent_initial_call=True,
    )
    async def open_sample(clicks: int | None) -> tuple[Any, Any]:
        if not clicks:
            return dash.no_update, dash.no_update
        key = await asyncio.to_thread(desk.shelf.sample)
        return f"/review?session={key}", ""
