"""What was set in a session, block by block, on the lengths that were found; and what was felt."""

from __future__ import annotations

import asyncio
import re
from dataclasses import replace
from typing import Any, Final

import dash
import dash_mantine_components as dmc
import pandas as pd
from dash import ALL, Input, Output, State, ctx, dcc, html

from sensorswim import figures
from sensorswim.dashboards.components import shown
from sensorswim.dashboards.review.desk import Desk, opened_or_stop
from sensorswim.dashboards.review.shelf import title_of
from sensorswim.dashboards.review.waiting import waiting
from sensorswim.errors import SensorswimError, SessionError
from sensorswim.figures import style
from sensorswim.formats.drills_toml import read_drills
from sensorswim.formats.session_toml import read_session
from sensorswim.formats.session_write import write_session
from sensorswim.metrics.felt import FELT_WORDS
from sensorswim.model import Block, Quality

KINDS: Final = ("swim", "drill", "kick", "pull")
AIDS: Final = ("fins", "snorkel", "board", "buoy", "paddles", "band")
FELT: Final = ("kick_beat", "stroke_rate_cycles_min", "side_hold_s", "breaths_left",
               "breaths_right")  # fmt: skip
_REST_S: Final = 25.0
_FIELDS: Final = ("first", "last", "label", "lengths", "drill", "aids", "breathing",
                  *(f"felt_{name}" for name in FELT))  # fmt: skip

Row = dict[str, Any]


def content(desk: Desk, key: str) -> Any:
    """Return the page; while the lengths are looked for, how far that is."""
    opened = desk.open(key)
    if opened is None:
        return waiting(desk, key)
    session, lengths = opened.analysis.session, opened.analysis.lengths
    rows = rows_of(session.blocks, lengths) or proposed(lengths)
    return html.Div(
        [
            dcc.Store(id="session-key", data=key),
            html.H1(f"Blocks of {title_of(session)}"),
            html.P(
                "A block is what was set. Say from which length to which, and what each length "
                "was; a pattern like “drill swim” is repeated.",
                className="reading",
            ),
            dcc.Graph(id="blocks-strip", config=style.CONFIG, className="strip"),
            html.Div(
                _editors(rows, lengths, locked=desk.shelf.is_seen(session)), id="blocks-editors"
            ),
            html.Div(
                [
                    html.Button("Add a block", id="blocks-add", type="button"),
                    html.Button("Save the blocks", id="blocks-save", type="button"),
                    dcc.Link("Go on to the review", href=f"/review?session={key}"),
                ],
                className="row",
            ),
            html.P(_saved(session.blocks), id="blocks-told", role="status"),
        ]
    )


def _saved(blocks: tuple[Block, ...]) -> str:
    if not blocks:
        return "No block is saved yet; those above are proposed from the rests."
    return f"{len(blocks)} {'block is' if len(blocks) == 1 else 'blocks are'} saved."


def rows_of(blocks: tuple[Block, ...], lengths: pd.DataFrame) -> list[Row]:
    """Return the blocks as rows of the page, by the numbers of their lengths."""
    rows = []
    for number, block in enumerate(blocks, start=1):
        own = lengths.loc[lengths["block_no"].eq(number).fillna(value=False), "length_no"]
        if own.empty:
            continue
        felt = {f"felt_{name}": block.felt.get(name) for name in FELT}
        rows.append(
            {
                "first": int(own.iloc[0]),
                "last": int(own.iloc[-1]),
                "label": block.label,
                "lengths": " ".join(_shortest(block.lengths)),
                "drill": block.drill,
                "aids": list(block.aids),
                "breathing": block.breathing or "",
            }
            | felt
        )
    return rows


def _shortest(kinds: tuple[str, ...]) -> tuple[str, ...]:
    """Return the shortest pattern that gives these kinds when it is repeated."""
    fits = (n for n in range(1, len(kinds) + 1) if kinds == (kinds[:n] * len(kinds))[: len(kinds)])
    return kinds[: next(fits, len(kinds))]


def proposed(lengths: pd.DataFrame) -> list[Row]:
    """Return a row for each run of lengths without a long rest."""
    rest = lengths["start_s"] - lengths["end_s"].shift()
    runs = (rest > _REST_S).cumsum()
    rows = []
    for _, own in lengths.groupby(runs):
        kinds = ["kick" if kind == "kick" else "swim" for kind in own["activity"].fillna("")]
        first, last = int(own["length_no"].iloc[0]), int(own["length_no"].iloc[-1])
        pattern = kinds[0] if len(set(kinds)) == 1 else " ".join(kinds)
        rows.append(_new_row(first, last) | {"lengths": pattern})
    return rows


def _new_row(first: int, last: int) -> Row:
    empty = dict.fromkeys(_FIELDS)
    return empty | {"first": first, "last": last, "label": "", "lengths": "swim", "aids": [],
                    "breathing": ""}  # fmt: skip


def blocks_from(rows: list[Row], lengths: pd.DataFrame, old: tuple[Block, ...]) -> list[Block]:
    """Return the blocks in session time, each from half a rest before to half a rest after.

    Parameters
    ----------
    rows : list of dict
        As the page has them.
    old : tuple of Block
        Blocks so far: felt values that the page doesn't ask for are kept from the one of the
        same first length.

    Raises
    ------
    SessionError
        A length that isn't there, a pattern that isn't known, or blocks that overlap.
    """
    spans = lengths.set_index("length_no")[["start_s", "end_s"]].astype(float)
    blocks, until = [], 0
    for number, row in enumerate(sorted(rows, key=lambda r: r["first"] or 0), start=1):
        where = f"block {number}"
        first, last = row["first"], row["last"]
        if first not in spans.index or last not in spans.index or first > last:
            raise SessionError(
                "its lengths aren't right", where=where, mend="choose the first and last length"
            )
        if first <= until:
            raise SessionError("overlaps the one before", where=where, mend="move its first length")
        until = last
        start, end = _reach(spans, first, last)
        kept = next((b.felt for b in old if b.start_s <= spans.loc[first].mean() < b.end_s), {})
        felt = {n: v for n, v in kept.items() if n not in FELT}
        felt |= {n: float(v) for n in FELT if (v := row.get(f"felt_{n}")) not in (None, "")}
        blocks.append(
            Block(
                start_s=round(start, 2),
                end_s=round(end, 2),
                label=" ".join((row["label"] or "").split()),
                lengths=_pattern(row["lengths"], where),
                drill=row["drill"] or None,
                aids=tuple(row["aids"] or ()),
                breathing=" ".join((row["breathing"] or "").split()) or None,
                felt=felt,
            )
        )
    return blocks


def _reach(spans: pd.DataFrame, first: int, last: int) -> tuple[float, float]:
    start, end = spans.loc[first, "start_s"], spans.loc[last, "end_s"]
    before, after = spans.loc[: first - 1, "end_s"], spans.loc[last + 1 :, "start_s"]
    room_before = start - before.iloc[-1] if len(before) else 2.0
    room_after = after.iloc[0] - end if len(after) else 2.0
    return float(start - min(1.0, 0.45 * room_before)), float(end + min(1.0, 0.45 * room_after))


def _pattern(text: str | None, where: str) -> tuple[str, ...]:
    words = tuple(re.split(r"[\s,;]+", (text or "swim").strip().lower()))
    odd = [word for word in words if word not in KINDS]
    if odd:
        raise SessionError(
            f"{odd[0]!r} is no kind of length", where=where, mend=f"use {', '.join(KINDS)}"
        )
    return words


def _editors(rows: list[Row], lengths: pd.DataFrame, *, locked: bool) -> list[Any]:
    numbers = [{"value": str(n), "label": str(n)} for n in lengths["length_no"]]
    if not rows:
        return [html.P("There are no lengths in this session, so there is nothing to set.",
                       className="nothing")]  # fmt: skip
    drills = [{"value": d.id, "label": d.name} for d in read_drills()]
    return [_editor(i, row, numbers, drills, locked=locked) for i, row in enumerate(rows)]


def _editor(
    index: int, row: Row, numbers: list[Row], drills: list[Row], *, locked: bool
) -> html.Fieldset:
    def name(field: str) -> dict[str, Any]:
        return {"type": f"block-{field}", "index": index}

    lock = "Locked: figures of this session were shown already." if locked else (
        "What the swimmer felt, asked before any figure is shown; may stay empty."
    )  # fmt: skip
    felt = [
        dmc.NumberInput(
            id=name(f"felt_{key}"), label=FELT_WORDS[key], value=row[f"felt_{key}"] or "",
            disabled=locked, min=0, w=190,
        )
        for key in FELT
    ]  # fmt: skip
    drill = row["drill"]
    known = [*drills] if not drill or drill in {d["value"] for d in drills} else [
        *drills, {"value": drill, "label": drill}
    ]  # fmt: skip
    return html.Fieldset(
        [
            html.Legend(f"Block {index + 1}"),
            html.Div(
                [
                    dmc.Select(id=name("first"), label="From length", data=numbers,
                               value=str(row["first"]), w=110),
                    dmc.Select(id=name("last"), label="To length", data=numbers,
                               value=str(row["last"]), w=110),
                    dmc.TextInput(id=name("label"), label="Label", value=row["label"], w=240),
                    dmc.TextInput(id=name("lengths"), label="What each length was",
                                  value=row["lengths"], placeholder="drill swim", w=320),
                    dmc.Select(id=name("drill"), label="Drill", data=known, value=drill,
                               clearable=True, searchable=True, w=240),
                    dmc.MultiSelect(id=name("aids"), label="Aids", data=list(AIDS),
                                    value=row["aids"], w=240),
                    dmc.TextInput(id=name("breathing"), label="Asked breathing",
                                  value=row["breathing"], placeholder="every 3", w=170),
                ],
                className="row bottom",
            ),
            html.P(lock, className="reading"),
            html.Div(felt, className="row bottom"),
            html.Button(f"Remove block {index + 1}", id=name("remove"), type="button"),
        ],
        className="log",
    )  # fmt: skip


def add_callbacks(app: dash.Dash, desk: Desk) -> None:
    """Add what draws the lengths, and what adds, removes and saves blocks."""

    @app.callback(
        Output("blocks-strip", "figure"),
        Output("blocks-strip", "style"),
        Input("scheme", "data"),
        State("session-key", "data"),
    )
    async def draw(scheme: str | None, key: str) -> tuple[Any, Any]:
        opened = await opened_or_stop(desk, key, scheme)
        fig = figures.draw_swum(opened.analysis.lengths, opened.analysis.session.blocks)
        return shown(fig, scheme), {"height": f"{int(fig.layout.height)}px"}

    @app.callback(
        Output("blocks-editors", "children"),
        Output("blocks-told", "children"),
        Output("ready", "data", allow_duplicate=True),
        Input("blocks-add", "n_clicks"),
        Input("blocks-save", "n_clicks"),
        Input({"type": "block-remove", "index": ALL}, "n_clicks"),
        [State({"type": f"block-{field}", "index": ALL}, "value") for field in _FIELDS],
        State("session-key", "data"),
        prevent_initial_call=True,
    )
    async def change(
        added: int | None, saved: int | None, removed: list[int | None], *told: Any
    ) -> tuple[Any, Any, Any]:
        *columns, key = told
        if not (added or saved or any(removed)):
            raise dash.exceptions.PreventUpdate
        opened = await opened_or_stop(desk, key, "any")
        rows = [dict(zip(_FIELDS, values, strict=True)) for values in zip(*columns, strict=True)]
        rows = [row | {k: int(row[k] or 0) for k in ("first", "last")} for row in rows]
        if ctx.triggered_id == "blocks-save":
            try:
                await asyncio.to_thread(_save, desk, key, rows)
            except SensorswimError as problem:
                return dash.no_update, str(problem), dash.no_update
            return dash.no_update, "Saved.", f"saved {saved}"
        rows = _changed(rows, ctx.triggered_id, opened.analysis.lengths)
        locked = desk.shelf.is_seen(opened.analysis.session)
        return _editors(rows, opened.analysis.lengths, locked=locked), "", dash.no_update


def _changed(rows: list[Row], pressed: Any, lengths: pd.DataFrame) -> list[Row]:
    if isinstance(pressed, dict):
        return [row for index, row in enumerate(rows) if index != pressed["index"]]
    last, until = int(lengths["length_no"].max()), max((row["last"] for row in rows), default=0)
    return [*rows, _new_row(min(until + 1, last), last)]


def _save(desk: Desk, key: str, rows: list[Row]) -> None:
    opened = desk.open(key)
    if opened is None:
        raise SessionError("the session has changed meanwhile", mend="load the page again")
    session = read_session(opened.folder, Quality())
    if desk.shelf.is_seen(session):
        rows = _with_old_felt(rows, rows_of(session.blocks, opened.analysis.lengths))
    blocks = blocks_from(rows, opened.analysis.lengths, session.blocks)
    write_session(replace(session, blocks=tuple(blocks)), opened.folder)


def _with_old_felt(rows: list[Row], old: list[Row]) -> list[Row]:
    """Return the rows with what was felt as it was: it is locked."""
    before = {row["first"]: row for row in old}
    names = [f"felt_{name}" for name in FELT]
    return [row | {name: before.get(row["first"], {}).get(name) for name in names} for row in rows]
