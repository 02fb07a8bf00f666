"""One swimmer's figures over the visits: in words, as pictures, and all of them in a table."""

from __future__ import annotations

import asyncio
from typing import Any, Final

import dash
import dash_mantine_components as dmc
from dash import Input, Output, html

from sensorswim import figures
from sensorswim.archive import Store, Swimmer, Who, find_swimmer, sessions
from sensorswim.archive.read import felt_of, swimmers, visits_of
from sensorswim.dashboards.components import no_picture, picture
from sensorswim.dashboards.trends import two_visits
from sensorswim.dashboards.trends.squad_page import nobody
from sensorswim.findings.bands import band_of
from sensorswim.formats.rules_toml import read_rules
from sensorswim.metrics.season import FIGURES, MAIN
from sensorswim.metrics.trend import (
    SPEED,
    Series,
    conditions,
    in_words,
    notes,
    number_with_unit,
    trends_of,
)

_SWUM: Final = " · front crawl"
_DRILLED: Final = " · drill"


def content(store: Store, who: Who, asked: dict[str, str]) -> html.Div:
    """Return the page of the swimmer that is asked for, else of the first one."""
    seen = swimmers(store, who)
    if not seen:
        return html.Div([html.H1("Trends"), nobody()])
    chosen = find_swimmer(store, asked["swimmer"], who) if "swimmer" in asked else seen[0]
    names = conditions(visits_of(store, chosen))
    told = sessions(store, chosen, who)
    mark = html.P("Invented swimmer, no real person", className="invented")
    return html.Div(
        [
            html.H1("Trends"),
            mark if bool(told["invented"].all()) else None,
            html.Div(
                [
                    _select(
                        "swimmer",
                        "Swimmer",
                        [(s.pseudonym, s.name or s.pseudonym) for s in seen],
                        chosen.pseudonym,
                    ),
                    _select("set", "Set that is compared", [(n, n) for n in names], names[0])
                    if names
                    else html.P("No figure was found in the sessions.", className="nothing"),
                    _select("figure", "Figure", [(f.name, f.words) for f in FIGURES.values()],
                            asked.get("figure", MAIN[1])),
                ],
                className="choices",
            ),
            html.Div(id="trend", role="status"),
            two_visits.section(store, chosen),
            html.Div(id="beside"),
        ]
    )  # fmt: skip


def _select(key: str, label: str, options: list[tuple[str, str]], value: str) -> dmc.Select:
    return dmc.Select(
        id=key,
        label=label,
        data=[{"value": name, "label": words} for name, words in options],
        value=value,
        allowDeselect=False,
        searchable=len(options) > 8,
        className="choice",
    )


def add_callbacks(app: dash.Dash, store: Store, who: Who) -> None:
    """Add what the page answers to."""

    @app.callback(
        Output("url", "search"),
        Input("swimmer", "value"),
        prevent_initial_call=True,
    )
    async def other_swimmer(pseudonym: str) -> Any:
        return f"?swimmer={pseudonym}" if dash.ctx.triggered_id == "swimmer" else dash.no_update

    @app.callback(
        Output("trend", "children"),
        Output("beside", "children"),
        Input("scheme", "data"),
        Input("swimmer", "value"),
        Input("set", "value"),
        Input("figure", "value"),
    )
    async def draw(scheme: str | None, pseudonym: str, condition: str, name: str) -> Any:
        if not condition or scheme is None:
            return dash.no_update, dash.no_update
        return await asyncio.to_thread(_drawn, store, who, pseudonym, condition, name, scheme)


def _drawn(
    store: Store, who: Who, pseudonym: str, condition: str, name: str, scheme: str
) -> tuple[Any, Any]:
    swimmer = find_swimmer(store, pseudonym, who)
    visits = visits_of(store, swimmer)
    alone = trends_of(visits, condition, names={name})
    speed = trends_of(visits, condition, names={SPEED}).get(SPEED)
    if name not in alone:
        words = FIGURES[name].words
        trend: Any = no_picture(
            f"“{words}” needs two visits of this set with the same sensors; add a session, or "
            "choose another set or figure."
        )
    else:
        trend = html.Div([*_words(alone[name], speed), *_pictures(alone[name], speed, scheme)])
    return (
        html.Section([html.H2(FIGURES[name].words.capitalize()), trend]),
        [_table(visits, condition), *_beside(store, swimmer, visits, condition, name, scheme)],
    )


def _words(series: Series, speed: Series | None) -> list[Any]:
    figure = series.figure
    known = {} if speed is None else {SPEED: speed}
    lines = [("Since the first visit", series.since_first)]
    if len(series.visits) > 2:
        lines.append(("Since the visit before", series.since_last))
    return [
        html.Dl(
            [html.Div([html.Dt(when), html.Dd(in_words(c, figure))]) for when, c in lines],
            className="verdicts",
        ),
        html.Ul([html.Li(line) for line in notes(series, known)], className="reading"),
    ]


def _pictures(series: Series, speed: Series | None, scheme: str) -> list[Any]:
    band = band_of(series.figure.name, series.source, read_rules())
    drawn = [
        picture(
            "over-visits",
            "Over the visits",
            "Each mark is a visit, its bar the spread of the lengths in it. Only a mark outside "
            "the grey field differs from the first visit by more than chance and straps would.",
            figures.draw_trend(series, band),
            scheme,
        )
    ]
    if speed is not None and series.figure.name != SPEED:
        drawn.append(
            picture(
                "against-speed",
                "Against speed",
                "A faster set raises the stroke rate and more. If the marks lie on one line, the "
                "figure followed the speed and the stroke stayed as it was.",
                figures.draw_against_speed(series, speed),
                scheme,
            )
        )
    return [html.Div(drawn, className="pair")]


def _table(visits: Any, condition: str) -> html.Section:
    """Return the main figures, judged together."""
    found = trends_of(visits, condition)
    heads = ("figure", "in words", "change", "counts from", "first", "last", "visits")
    rows = [
        html.Tr(
            [
                html.Th(series.figure.words, scope="row"),
                html.Td(str(series.since_first.verdict)),
                html.Td(number_with_unit(series.since_first.difference, series.figure, sign=True)),
                html.Td(number_with_unit(series.since_first.detectable, series.figure)),
                html.Td(number_with_unit(series.visits[0].mean, series.figure)),
                html.Td(number_with_unit(series.visits[-1].mean, series.figure)),
                html.Td(len(series.visits)),
            ]
        )
        for series in found.values()
    ]
    body = (
        html.Div(
            html.Table(
                [html.Thead(html.Tr([html.Th(h, scope="col") for h in heads])), html.Tbody(rows)]
            ),
            className="sheet",
            tabIndex="0",
            role="region",
            **{"aria-label": "Main figures, judged together"},
        )
        if rows
        else no_picture("A change needs two visits of the same set; add another session.")
    )
    return html.Section(
        [
            html.H2("Main figures together"),
            html.P(
                "Looking at many figures finds changes that are none. So each has to change more "
                "here than when it is looked at alone.",
                className="reading",
            ),
            body,
        ]
    )


def _beside(
    store: Store, swimmer: Swimmer, visits: Any, condition: str, name: str, scheme: str
) -> list[Any]:
    """Return what was carried over from the drill, and felt against measured."""
    return [
        html.Section(
            [
                html.H2("Carried over from drill to swum lengths"),
                _carried(visits, condition, name, scheme),
            ]
        ),
        html.Section(
            [
                html.H2("What the swimmer felt"),
                picture(
                    "sense",
                    "Felt and measured over the visits",
                    "Diamonds: felt, told before any figure was seen. Dots: measured. A sense "
                    "that gets better brings the two together.",
                    figures.draw_sense(felt_of(store, swimmer)),
                    scheme,
                ),
            ]
        ),
    ]


def _carried(visits: Any, condition: str, name: str, scheme: str) -> Any:
    """Draw drill and swum lengths of the block of a condition, else of the first such block."""
    for block in dict.fromkeys([_block(condition), *map(_block, conditions(visits))]):
        own = [c for c in conditions(visits) if _block(c) == block]
        drilled = [c for c in own if _DRILLED in c]
        swum = [c for c in own if _SWUM in c]
        if drilled and swum:
            drill, swim = (
                trends_of(visits, names[0], names={name}).get(name) for names in (drilled, swum)
            )
            if drill is not None and swim is not None:
                return picture(
                    "carried",
                    f"{FIGURES[name].words} in “{block}”",
                    "Squares: drill lengths, dots: swum lengths of the same block. Carried over "
                    "means that the dots move to where the squares are.",
                    figures.draw_carry_over(drill, swim),
                    scheme,
                )
    return no_picture(
        "No block with drill and swum lengths has this figure at two visits. Alternate drill and "
        "swim in one block of session.toml, and keep its label."
    )


def _block(condition: str) -> str:
    return condition.partition(" · ")[0]
