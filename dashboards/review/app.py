"""The app: its addresses, and what each of them shows."""

from __future__ import annotations

import asyncio
import threading
from pathlib import Path
from typing import Any, Final, Literal
from urllib.parse import parse_qs

import dash
from dash import ClientsideFunction, Input, Output, dcc, html
from fastapi import Response
from plotly.io.json import to_json_plotly
from pydantic import BaseModel

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


class Asked(BaseModel):
    """The address of a page and the look that it is shown in."""

    pathname: str
    search: str
    scheme: Literal["light", "dark"]


def review_app(shelf: Shelf) -> dash.Dash:
    """Return the review of the sessions on a shelf; the likeliest is read ahead meanwhile."""
    app = new_app(
        "Session review", pages=PAGES, static=_STATIC, later=("dash_ag_grid",), seen_first=True
    )
    desk = Desk.of(shelf)
    sessions_page.add_routes(app.server, desk)
    add_media_routes(app.server, desk)
    moment_desk.add_routes(app.server, desk)
    words_part.add_routes(app.server, desk)
    stores = [
        dcc.Location(id="url", refresh="callback-nav"),
        dcc.Store(id="ready"),
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
    """Add how pages come: the browser asks for them itself, the first one before Dash is there."""
    app.clientside_callback(
        ClientsideFunction("first", "page"),
        Output("page", "children"),
        Input("url", "pathname"),
        Input("url", "search"),
        Input("ready", "data"),
    )

    @app.server.post("/page")
    async def page(asked: Asked) -> Response:
        query = {name: values[0] for name, values in parse_qs(asked.search.lstrip("?")).items()}
        content = await asyncio.to_thread(_page, desk, asked.pathname, query, asked.scheme)
        return Response(to_json_plotly(content), media_type="application/json")


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
