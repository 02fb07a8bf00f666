"""Two visits side by side, with the same scales."""

from __future__ import annotations

import asyncio
from typing import Any, Final

import dash
import dash_mantine_components as dmc
import pandas as pd
from dash import Input, Output, html

from sensorswim import figures
from sensorswim.archive import Store, Swimmer, Who, find_session, sessions
from sensorswim.archive.read import result_tables
from sensorswim.dashboards.components import no_picture, picture
from sensorswim.metrics.season import only_condition
from sensorswim.model.tables import empty

_KINDS: Final = {
    "side": ("Time on the side", ("breaths", "rolls")),
    "kicks": ("Kick rhythm", ("kicks", "arm_cycles")),
    "roll": ("Roll over the arm cycle", ("roll", "arm_cycles")),
    "paths": ("Hand paths", ("hand_paths",)),
    "phases": ("Phases of each arm", ("arm_strokes",)),
}
_READING: Final = "Both pictures have the same scales: what looks larger is larger."


def section(store: Store, swimmer: Swimmer) -> html.Section:
    """Return this part of the page, with the first and the last visit chosen."""
    table = sessions(store, swimmer)
    options = [
        {"value": str(row["key"]), "label": f"{row['started_at'][:16].replace('T', ' ')}"}
        for row in table.to_dict("records")
    ]
    heading = html.H2("Two visits side by side")
    if len(options) < 2:
        return html.Section([heading, no_picture("This needs two visits; add another session.")])
    chosen = (("before", "Earlier visit", 0), ("after", "Later visit", -1))
    return html.Section(
        [
            heading,
            html.Div(
                [
                    dmc.Select(
                        id="kind",
                        label="Picture",
                        data=[{"value": k, "label": words} for k, (words, _) in _KINDS.items()],
                        value="side",
                        allowDeselect=False,
                        className="choice",
                    ),
                    *(
                        dmc.Select(
                            id=key,
                            label=label,
                            data=options,
                            value=options[index]["value"],
                            allowDeselect=False,
                            className="choice",
                        )
                        for key, label, index in chosen
                    ),
                ],
                className="choices",
            ),
            html.Div(id="two-visits"),
        ]
    )


def add_callbacks(app: dash.Dash, store: Store, who: Who) -> None:
    """Add what draws the two visits."""

    @app.callback(
        Output("two-visits", "children"),
        Input("scheme", "data"),
        Input("set", "value"),
        Input("kind", "value"),
        Input("before", "value"),
        Input("after", "value"),
    )
    async def draw(scheme: str | None, condition: str, kind: str, before: str, after: str) -> Any:
        if scheme is None or not condition:
            return dash.no_update
        keys = (before, after)
        return await asyncio.to_thread(_drawn, store, who, keys, condition, kind, scheme)


def _drawn(
    store: Store, who: Who, keys: tuple[str, str], condition: str, kind: str, scheme: str
) -> html.Div:
    words, names = _KINDS[kind]
    rows = [find_session(store, key, who) for key in keys]
    drawn = [_figure(_tables(store, row, condition, names), kind) for row in rows]
    pair = figures.same_scales(drawn[0], drawn[1])
    return html.Div(
        [
            picture(f"visit-{number}", f"{words}, {row['started_at'][:10]}", _READING, fig, scheme)
            for number, (row, fig) in enumerate(zip(rows, pair, strict=True))
        ],
        className="pair",
    )


def _tables(
    store: Store, row: dict[str, Any], condition: str, names: tuple[str, ...]
) -> dict[str, pd.DataFrame]:
    wanted = ("lengths", *names)
    tables = {name: empty(name) for name in wanted}
    tables |= result_tables(store, row["analysis_id"], *wanted)
    return only_condition(tables, condition, pool_length_m=row["pool_length_m"])


def _figure(tables: dict[str, pd.DataFrame], kind: str) -> Any:
    if kind == "side":
        return figures.draw_side_time(tables["breaths"], tables["rolls"])
    if kind == "kicks":
        return figures.draw_kick_rhythm(tables["kicks"], tables["arm_cycles"])
    if kind == "roll":
        return figures.draw_typical_roll(tables["roll"], tables["arm_cycles"], tables["lengths"])
    if kind == "paths":
        return figures.draw_hand_paths(tables["hand_paths"])
    return figures.draw_arm_phases(tables["arm_strokes"])
