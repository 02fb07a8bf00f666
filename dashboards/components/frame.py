"""The frame of every page: head with navigation, the look's switch, content, cautions."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any, Final

import dash
import dash_mantine_components as dmc
import plotly.graph_objects as go
from dash import dcc, html

from sensorswim.figures import style
from sensorswim.report.words import CAUTIONS

_SHADES: Final = (
    "#f1effb",
    "#ddd9f4",
    "#bdb5ec",
    "#a79df5",
    "#8376d6",
    "#6759c2",
    style.LEFT,
    "#3f3591",
    "#332b78",
    "#261f5c",
)
_THEME: Final[dict[str, Any]] = {
    "fontFamily": style.FONT,
    "fontSizes": {"xs": "0.875rem", "sm": "0.9375rem", "md": "1rem"},
    "colors": {"house": list(_SHADES)},
    "primaryColor": "house",
    "primaryShade": {"light": 6, "dark": 3},
    "autoContrast": True,
    "respectReducedMotion": True,
}


def frame(app: dash.Dash, *, main: Any, stores: Sequence[Any] = ()) -> dmc.MantineProvider:
    """Return a whole page.

    It holds a store ``scheme`` with ``light`` or ``dark``, filled by the browser and changed
    with the look: an Input for every callback that draws (see `shown`).

    Parameters
    ----------
    app : Dash
        Made by `new_app`, for its navigation.
    main : component or list
        The content.
    stores : sequence of components
        Things that aren't seen.
    """
    links = [
        html.Li(dcc.Link(page.name, href=page.path, className="nav-link"))
        for page in app.server.state.pages
    ]
    head = html.Header(
        [
            html.Span("sensorswim", className="brand"),
            html.Nav(html.Ul(links), **{"aria-label": "Pages"}) if links else None,
            dmc.ColorSchemeToggle(
                lightIcon="☀",
                darkIcon="☾",
                size="lg",
                variant="default",
                color="gray",
                **{"aria-label": "Light or dark look"},
            ),
        ],
        className="head",
    )
    body = [
        dcc.Store(id="scheme"),
        *stores,
        head,
        html.Main(main, id="main", tabIndex="-1"),
        html.Footer(
            [html.H2("Cautions"), html.Ul([html.Li(line) for line in CAUTIONS])],
            className="cautions",
        ),
    ]
    return dmc.MantineProvider(body, theme=_THEME, defaultColorScheme="auto")


def shown(fig: go.Figure, scheme: str | None) -> go.Figure:
    """Return a figure in the look that the page has now."""
    return style.recolour(fig, scheme or "light")


def picture(
    key: str, title: str, reading: str, fig: go.Figure, scheme: str | None, **graph: Any
) -> html.Section:
    """Return a figure under its title with how to read it, and what it shows in words."""
    heading = html.H3(title, id=f"{key}-title")
    alt = style.alt_of(fig)
    if style.is_blank(fig):
        return html.Section([heading, no_picture(alt)], className="picture")
    drawn = dcc.Graph(
        id=key,
        figure=shown(fig, scheme),
        config=style.CONFIG,
        style={"height": f"{int(fig.layout.height)}px"},
        responsive=True,
        **graph,
    )
    plot = html.Div(drawn, role="group", **{"aria-label": alt})
    return html.Section(
        [heading, html.P(reading, className="reading"), plot],
        className="picture",
        **{"aria-labelledby": f"{key}-title"},
    )


def no_picture(reason: str) -> html.P:
    """Return what stands where nothing can be drawn."""
    return html.P(reason, className="nothing")
