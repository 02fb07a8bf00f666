"""What is seen while a session is analysed."""

from __future__ import annotations

import asyncio
from typing import Any

import dash
import dash_mantine_components as dmc
from dash import Input, Output, State, dcc, html

from sensorswim.dashboards.review.desk import Desk

_ASK_MS = 400


def waiting(desk: Desk, key: str) -> html.Div:
    """Start the analysis of a session, and return how far it is."""
    folder = desk.shelf.folder_of(key)
    desk.results.start(folder)
    return html.Div(
        [
            html.H1("Working out this session"),
            html.P("The first time takes some seconds, a long session a minute or two."),
            dmc.Progress(id="waiting-bar", value=2, size="lg", **{"aria-label": "Share done"}),
            html.P("starting", id="waiting-step", role="status"),
            dcc.Store(id="waiting-key", data=key),
            dcc.Interval(id="waiting-tick", interval=_ASK_MS),
        ]
    )


def add_waiting(app: dash.Dash, desk: Desk) -> None:
    """Add what moves the bar and opens the page at its end."""

    @app.callback(
        Output("waiting-bar", "value"),
        Output("waiting-step", "children"),
        Output("waiting-step", "className"),
        Output("waiting-tick", "disabled"),
        Output("ready", "data"),
        Input("waiting-tick", "n_intervals"),
        State("waiting-key", "data"),
        prevent_initial_call=True,
    )
    async def look(ticks: int, key: str) -> tuple[Any, ...]:
        if not ticks:
            # asked as part of the page that is to be replaced, which Dash would not do
            raise dash.exceptions.PreventUpdate
        folder = await asyncio.to_thread(desk.shelf.folder_of, key)
        job = desk.results.job(folder)
        if job is None:
            raise dash.exceptions.PreventUpdate
        if job.problem:
            desk.results.forget(folder)
            return (
                0,
                f"This session can't be analysed: {job.problem}",
                "problem",
                True,
                dash.no_update,
            )
        ready = key if job.done else dash.no_update
        return 100 * job.share if not job.done else 100, job.step, "", job.done, ready
