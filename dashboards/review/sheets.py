"""The tables: every row of the result, sorted and filtered as wanted, linked to the moment."""

from __future__ import annotations

import asyncio
from typing import Any, Final

import dash
import dash_ag_grid as dag
import dash_mantine_components as dmc
import pyarrow as pa
from dash import ClientsideFunction, Input, Output, State, dcc, html

from sensorswim.dashboards.review.desk import Desk, opened_or_stop
from sensorswim.formats.tables_io import plain
from sensorswim.model.analysis import Analysis
from sensorswim.model.tables import SCHEMAS
from sensorswim.units import counted

_HEIGHT: Final = "420px"
_NAMES: Final = {
    "lengths": "Lengths",
    "arm_strokes": "Arm strokes",
    "arm_cycles": "Arm cycles",
    "kicks": "Kicks",
    "breaths": "Breaths",
    "rolls": "Rolls",
    "marks": "Marks",
}


def section(analysis: Analysis) -> html.Section:
    """Return this part of the page."""
    counts = {name: len(analysis.tables[name]) for name in _NAMES}
    return html.Section(
        [
            html.H2("Tables"),
            html.P(
                "Sort by a click on a column's head, filter by the field below it. Choosing a row "
                "moves plots and video to its moment.",
                className="reading",
            ),
            dmc.Select(
                id="sheet",
                label="Table",
                data=[
                    {"value": name, "label": f"{word} ({counted(counts[name], 'row')})"}
                    for name, word in _NAMES.items()
                ],
                value="lengths",
                allowDeselect=False,
                w=280,
            ),
            html.Div(id="sheet-box", style={"minHeight": _HEIGHT}),
            dcc.Store(id="grid-there"),
            dcc.Store(id="grid-heard"),
        ]
    )


def add_callbacks(app: dash.Dash, desk: Desk) -> None:
    """Add what fills the table and what a chosen row does."""

    @app.callback(
        Output("sheet-box", "children"),
        Input("sheet", "value"),
        Input("scheme", "data"),
        Input("marks-saved", "data"),
        Input("grid-there", "data"),
        State("session-key", "data"),
    )
    async def fill(name: str, scheme: str | None, _saved: Any, there: Any, key: str) -> Any:
        opened = await opened_or_stop(desk, key, scheme if there else None)
        return await asyncio.to_thread(_grid, opened.analysis, name)

    app.clientside_callback(
        ClientsideFunction("review", "grid"), Output("grid-heard", "data"), Input("sheet", "id")
    )
    app.clientside_callback(
        ClientsideFunction("review", "row"),
        Output("sheet-box", "title"),
        Input("grid", "selectedRows"),
        prevent_initial_call=True,
    )


def _grid(analysis: Analysis, name: str) -> Any:
    table = analysis.tables[name]
    if table.empty:
        return html.P(f"No rows: nothing of this kind ({_NAMES[name].lower()}) was found "
                      "or marked in this session.", className="nothing")  # fmt: skip
    return dag.AgGrid(
        id="grid",
        rowData=plain(table.round(3).to_dict("records")),
        columnDefs=[_column(field) for field in SCHEMAS[name]],
        defaultColDef={
            "sortable": True,
            "resizable": True,
            "filter": True,
            "floatingFilter": True,
            "minWidth": 120,
        },
        dashGridOptions={
            "rowSelection": {"mode": "singleRow", "enableClickSelection": True,
                             "checkboxes": False},
            "animateRows": False,
            "enableBrowserTooltips": True,
            "suppressColumnVirtualisation": False,
        },
        style={"height": _HEIGHT},
        dangerously_allow_code=False,
    )  # fmt: skip


def _column(field: pa.Field) -> dict[str, Any]:
    told = {key.decode(): value.decode() for key, value in (field.metadata or {}).items()}
    unit = told.get("unit", "")
    words = field.name
    for suffix in ("_s", "_m", "_deg", "_m_s", "_deg_s", "_pct", "_cycles_min"):
        if unit not in ("", "1") and words.endswith(suffix):
            words = words.removesuffix(suffix)
    name = words.replace("_", " ").replace(" m s", "")
    head = f"{name}, {unit}" if unit not in ("", "1") else name
    number = pa.types.is_floating(field.type) or pa.types.is_integer(field.type)
    return {
        "field": field.name,
        "headerName": head,
        "headerTooltip": told.get("meaning", ""),
        "filter": "agNumberColumnFilter" if number else "agTextColumnFilter",
        "type": "rightAligned" if number else None,
    }
