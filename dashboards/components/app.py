"""A Dash app in the house style: own files only, guarded, on a FastAPI server."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Final

import dash
from fastapi import FastAPI
from starlette.staticfiles import StaticFiles

from sensorswim.dashboards.components.guard import Guard
from sensorswim.figures import LIBRARY_FOLDER, LIBRARY_NAME

_SHARED: Final = Path(__file__).parent / "static"
_PLOTS: Final = (
    f'<link rel="preload" as="script" href="/static/plots/{LIBRARY_NAME}" data-library="plots">'
)
_SCRIPT: Final = re.compile(r'<script src="[^"]*/_dash-component-suites/([^"]*)">')
_RUNS: Final = 'type="application/javascript"'
_UNUSED: Final = ("dash/dash_table/", "dash/deps/polyfill@")
"""The table that AG Grid replaced; what browsers older than our style sheets lack.

The latter also puts slow stand-ins in the place of what today's browsers have, as `parseFloat`.
The one thing of it that Dash needs, regenerator-runtime 0.14.1 (MIT), is loaded on its own.
"""
_INDEX: Final = """<!DOCTYPE html>
<html lang="en">
  <head>
    {%metas%}
    <script src="/static/shared/early/start.js"></script>
    <script src="/static/shared/early/regenerator-runtime.js"></script>
    <meta name="viewport" content="width=device-width, initial-scale=1">
    <meta name="color-scheme" content="light dark">
    <link rel="icon" href="/static/shared/icon.svg" type="image/svg+xml">
    {plots}
    <title>{%title%}</title>
    {%css%}
  </head>
  <body>
    <a class="skip" href="#main">Skip to the content</a>
    {%app_entry%}
    <footer class="dash-scripts">{%config%}{%scripts%}{%renderer%}</footer>
  </body>
</html>
""".replace("{plots}", _PLOTS)


@dataclass(frozen=True, kw_only=True)
class Page:
    """One entry of the navigation."""

    path: str
    name: str


class HouseDash(dash.Dash):
    """A Dash app whose page reads the scripts of some libraries only when they are needed.

    Every library that is imported would else be read and run before anything is seen. Those
    that wait stay on the page as scripts of the type ``later``, which browsers don't fetch;
    ``window.sensorswimLater()`` of the shared scripts fetches them.
    """

    later: Sequence[str] = ()
    """The folders, as in the scripts' addresses, of the libraries that wait."""
    seen_first: bool = False
    """Whether Dash itself waits, as scripts of the type ``dash``, for ``sensorswimStart()``."""

    def interpolate_index(self, **parts: str) -> str:
        """Return the page's HTML from its parts by their names, scripts among them."""
        scripts = (self._in_time(tag) for tag in parts["scripts"].splitlines())
        timed = {"scripts": "\n".join(filter(None, scripts))}
        if self.seen_first:
            timed["renderer"] = parts["renderer"].replace(_RUNS, 'type="dash"')
        return super().interpolate_index(**parts | timed)

    def _in_time(self, tag: str) -> str:
        """Return a script's tag as the page has it, "" for one that no page uses."""
        known = _SCRIPT.match(tag)
        if known is None:
            return tag
        if known[1].startswith(_UNUSED):
            return ""
        waits = known[1].split("/")[0] in self.later
        kind = "later" if waits else "dash" if self.seen_first else ""
        return tag.replace("<script ", f'<script type="{kind}" ', 1) if kind else tag


def new_app(
    title: str,
    *,
    pages: Sequence[Page] = (),
    static: Path | None = None,
    hosts: Sequence[str] = (),
    plots: bool = True,
    later: Sequence[str] = (),
    seen_first: bool = False,
) -> dash.Dash:
    """Return an app without layout and callbacks.

    Its FastAPI server is ``app.server``: add own routes before it is started, as Dash answers
    every other GET path with the page. Write callbacks as ``async def`` with
    ``asyncio.to_thread`` around what takes long: plain ones hold up every other request.

    Parameters
    ----------
    title : str
        Of the window.
    pages : sequence of Page
        The navigation; kept as ``app.server.state.pages``.
    static : Path, optional
        A folder whose .css and .js are loaded in order of name and served under /static/own/.
    hosts : sequence of str
        Host names that may be asked for besides this machine's own loopback names.
    plots : bool
        Load the plotting library, for pages that draw with it.
    later : sequence of str
        Component libraries, by their package's name, that pages fetch when they need them.
    seen_first : bool
        The app's own scripts show the page before Dash is read; they have to start it with
        ``window.sensorswimStart()``.
    """
    api = FastAPI(docs_url=None, redoc_url=None, openapi_url=None)
    api.state.pages = tuple(pages)
    folders = {"shared": _SHARED} | ({"own": static} if static else {})
    if plots:
        api.mount("/static/plots", StaticFiles(directory=LIBRARY_FOLDER), name="plots")
    for name, folder in folders.items():
        api.mount(f"/static/{name}", StaticFiles(directory=folder), name=name)
    app = HouseDash(
        f"sensorswim.{title}",
        server=api,
        title=title,
        update_title=None,
        assets_folder=str(_SHARED / "none"),
        index_string=_INDEX if plots else _INDEX.replace(_PLOTS, ""),
        external_stylesheets=_links(folders, ".css"),
        external_scripts=_links(folders, ".js"),
        suppress_callback_exceptions=True,
    )
    app.later, app.seen_first = tuple(later), seen_first
    api.add_middleware(Guard, script_hashes=app.csp_hashes, hosts=tuple(hosts))
    return app


def _links(folders: dict[str, Path], suffix: str) -> list[str]:
    return [
        f"/static/{name}/{path.name}"
        for name, folder in folders.items()
        for path in sorted(folder.glob(f"*{suffix}"))
    ]
