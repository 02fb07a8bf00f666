"""The app: its addresses, and what each of them shows."""

from __future__ import annotations

import asyncio
import threading
from pathlib import Path
from typing import Any, Final
from urllib.parse import parse_qs

import dash
from dash import ClientsideFunction, Input, Output, dcc, html

from sensorswim.dashboards.components import Page, frame, new_app
from sensorswim.dashboards.review import (
    blocks_page,
    moment_desk,
    review_page,
    sessions_page,
    setup_page,
    words_part,
)
from sensorswim.dashboards.review.desk import Desk
from sensorswim.dashboards.review.media import add_media_routes
from sensorswim.dashboards.review.shelf import Shelf
from sensorswim.errors import SensorswimError

PAGES: Final = (
    Page(path="/", name="Sessions"),
    Page(path="/review", name="Review"),
    Page(path="/setup", name="Set up"),
)
_STATIC: Final = Path(__file__).parent / "static"


def review_app(shelf: Shelf) -> dash.Dash:
    """Return the review of the sessions on a shelf; the likeliest is read ahead meanwhile."""
    app = new_app("Session review", pages=PAGES, static=_STATIC, later=("dash_ag_grid",))
    desk = Desk.of(shelf)
    sessions_page.add_routes(app.server, desk)
    add_media_routes(app.server, desk)
    moment_desk.add_routes(app.server, desk)
    words_part.add_routes(app.server, desk)
    stores = [
        dcc.Location(id="url", refresh="callback-nav"),
        dcc.Store(id="ready"),
        dcc.Store(id="asked"),
        dcc.Store(id="moment"),
        dcc.Store(id="marks-saved"),
    ]
    app.layout = frame(app, main=html.Div(id="page"), stores=stores)
    _add_pages(app, desk)
    review_page.add_callbacks(app, desk)
    sessions_page.add_callbacks(app, desk)
    setup_page.add_callbacks(app, desk)
    blocks_page.add_callbacks(app, desk)
    threading.Thread(target=desk.read_ahead, daemon=True).start()
    return app


def _add_pages(app: dash.Dash, desk: Desk) -> None:
    app.clientside_callback(
        ClientsideFunction("shell", "asked"),
        Output("asked", "data"),
        Input("url", "pathname"),
        Input("url", "search"),
        Input("ready", "data"),
    )

    @app.callback(Output("page", "children"), Input("asked", "data"), prevent_initial_call=True)
    async def show_page(told: dict[str, str]) -> Any:
        query = parse_qs(told["search"].lstrip("?"))
        asked = {name: values[0] for name, values in query.items()}
        scheme = "dark" if told["scheme"] == "dark" else "light"
        return await asyncio.to_thread(_page, desk, told["pathname"], asked, scheme)


def _page(desk: Desk, pathname: str, asked: dict[str, str], scheme: str) -> Any:
    try:
        if pathname == "/review" and "session" in asked:
            return review_page.content(desk, asked, scheme)
        if pathname == "/setup" and "session" in asked:
            return blocks_page.content(desk, asked["session"])
        if pathname == "/setup":
            return setup_page.content(desk, asked.get("drop"))
    except SensorswimError as problem:
        return html.Div(
            [html.H1("This can't be opened"), html.P(str(problem), className="problem")]
        )
    if pathname == "/review":
        return html.Div(
            [
                html.H1("No session is open"),
                html.P(
                    ["Choose one under ", dcc.Link("Sessions", href="/"), ", or open the sample."],
                    className="nothing",
                ),
            ]
        )
    return sessions_page.content(desk)
