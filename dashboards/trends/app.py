"""The app: its addresses, and what each of them shows."""

from __future__ import annotations

import asyncio
from pathlib import Path
from typing import Any, Final
from urllib.parse import parse_qs

import dash
from dash import Input, Output, dcc, html

from sensorswim.archive import KEEPER, Store, Who
from sensorswim.dashboards.components import Page, frame, new_app
from sensorswim.dashboards.trends import squad_page, trends_page, two_visits
from sensorswim.errors import SensorswimError

PAGES: Final = (Page(path="/", name="Trends"), Page(path="/squad", name="Squad"))
_STATIC: Final = Path(__file__).parent / "static"


def trends_app(store: Store, who: Who = KEEPER) -> dash.Dash:
    """Return the season's pages over an archive.

    Parameters
    ----------
    store : Store
        An open archive.
    who : Who
        Whose swimmers are shown: a coach's squad, one swimmer, or all.
    """
    app = new_app("Season", pages=PAGES, static=_STATIC)
    stores = [dcc.Location(id="url", refresh="callback-nav")]
    app.layout = frame(app, main=html.Div(id="page"), stores=stores)

    @app.callback(Output("page", "children"), Input("url", "pathname"), Input("url", "search"))
    async def show_page(pathname: str, search: str) -> Any:
        asked = {name: values[0] for name, values in parse_qs((search or "").lstrip("?")).items()}
        return await asyncio.to_thread(_page, store, who, pathname, asked)

    trends_page.add_callbacks(app, store, who)
    two_visits.add_callbacks(app, store, who)
    return app


def _page(store: Store, who: Who, pathname: str, asked: dict[str, str]) -> Any:
    try:
        if pathname == "/squad":
            return squad_page.content(store, who)
        return trends_page.content(store, who, asked)
    except SensorswimError as problem:
        return html.Div([html.H1("This can't be shown"), html.P(str(problem), className="problem")])
