"""What the swimmer gets, on the review page: the coach edits its words, then has it made."""

from __future__ import annotations

import asyncio
import re
from dataclasses import replace
from pathlib import Path
from typing import Any, Final

import dash
import dash_mantine_components as dmc
from dash import ALL, Input, Output, State, ctx, html
from fastapi import FastAPI
from starlette.responses import FileResponse, PlainTextResponse, Response

from sensorswim.advice import HANDOUT_FILE, export_clip, words_of, write_handout
from sensorswim.dashboards.review.desk import Desk, Opened
from sensorswim.errors import SensorswimError
from sensorswim.formats.handout_toml import OWN_FOLDER, WORDS_FILE, write_words
from sensorswim.model.handout import AimWords, HandoutWords
from sensorswim.model.plan import PlanOptions
from sensorswim.report.print_pdf import INSTALL, browser, print_pdf

_PLAIN: Final = {
    "title": "Title",
    "greeting": "Greeting",
    "closing": "Last words",
    "coach": "Signed by",
}
_OF_AIM: Final = {
    "heading": "Heading",
    "saw": "What was seen",
    "why": "Why it matters",
    "try_this": "What to try",
}
_PDF: Final = Path(HANDOUT_FILE).with_suffix(".pdf").name
_TYPES: Final = {HANDOUT_FILE: "text/html", _PDF: "application/pdf"}
_WAIT_MS: Final = 500
_FILM_S: Final = 6.0
_FILM: Final = re.compile(r"moment_-?\d+\.\d\.webm")
_WAITING: Final = ((Output("being-made", "hidden"), False, True),)


def section(opened: Opened) -> html.Section:
    """Return this part of the page."""
    try:
        now, first = words_of(opened.analysis, opened.folder / OWN_FOLDER)
    except SensorswimError as problem:
        return html.Section([html.H2("For the swimmer"), html.P(str(problem), className="problem")])
    fields = [_field(name, label, now, first) for name, label in _PLAIN.items()]
    for number, aim in enumerate(first.aims, start=1):
        names = {f"{aim.finding_id}/{part}": label for part, label in _OF_AIM.items()}
        rows = [_field(name, label, now, first) for name, label in names.items()]
        fields.append(
            html.Fieldset([html.Legend(f"Aim {number}: {aim.heading}"), *rows], className="words")
        )
    return html.Section(
        [
            html.H2("For the swimmer"),
            html.P(
                "The handout has the aims, pictures, drills, a plan, a diary and the cautions. "
                "These are its words; what you write is kept as you go.",
                className="reading",
            ),
            html.Details([html.Summary("Edit the words"), html.Div(fields, className="words")]),
            html.P("", id="words-told", role="status"),
            html.Div(
                [
                    html.Button("Make the handout", id="make-handout", type="button"),
                    html.Button(
                        "Film of the moment on screen",
                        id="make-film",
                        type="button",
                        hidden=not opened.analysis.session.videos,
                    ),
                ],
                className="row",
            ),
            html.Div(
                [html.Span("Being made…"), html.Progress(**{"aria-label": "Being made"})],
                id="being-made",
                className="row",
                hidden=True,
            ),
            html.Div(id="film-made", role="status", className="row"),
            html.Div(
                _links(opened.key, opened.folder / OWN_FOLDER),
                id="handout-made",
                role="status",
                className="row",
            ),
        ]
    )


def _field(name: str, label: str, now: HandoutWords, first: HandoutWords) -> html.Div:
    text, own = _text(now, name), _text(first, name)
    return html.Div(
        [
            dmc.Textarea(
                id={"type": "word", "name": name},
                label=label,
                value=text,
                autosize=True,
                minRows=1,
                debounce=_WAIT_MS,
            ),
            html.Button(
                "Back to the first words",
                id={"type": "word-back", "name": name},
                type="button",
                hidden=text == own,
                **{"aria-label": f"Back to the first words: {label}"},
            ),
        ],
        className="word",
    )


def _text(words: HandoutWords, name: str) -> str:
    """Return one text by its field's name: plain, or finding and part."""
    finding, _, part = name.rpartition("/")
    if not finding:
        return str(getattr(words, part))
    return next((str(getattr(a, part)) for a in words.aims if a.finding_id == finding), "")


def _with_text(words: HandoutWords, name: str, text: str) -> HandoutWords:
    finding, _, part = name.rpartition("/")
    if not finding:
        plain: dict[str, Any] = {part: text}
        return replace(words, **plain)
    return replace(words, aims=tuple(_with_part(aim, finding, part, text) for aim in words.aims))


def _with_part(aim: AimWords, finding: str, part: str, text: str) -> AimWords:
    return replace(aim, **{part: text}) if aim.finding_id == finding else aim


def _whole(now: HandoutWords, first: HandoutWords) -> HandoutWords:
    """Return the words with those of every aim, also of one that came later."""
    known = {aim.finding_id for aim in now.aims}
    return replace(now, aims=(*now.aims, *(a for a in first.aims if a.finding_id not in known)))


def add_callbacks(app: dash.Dash, desk: Desk) -> None:
    """Add what keeps the words and makes the handout."""

    @app.callback(
        Output("words-told", "children"),
        Output({"type": "word-back", "name": ALL}, "hidden"),
        Input({"type": "word", "name": ALL}, "value"),
        State({"type": "word", "name": ALL}, "id"),
        State("session-key", "data"),
        prevent_initial_call=True,
    )
    async def keep(values: list[str], ids: list[dict[str, str]], key: str) -> tuple[str, Any]:
        names = [one["name"] for one in ids]
        texts = {n: v or "" for n, v in zip(names, values, strict=True)}
        try:
            return await asyncio.to_thread(_keep, desk, key, texts)
        except SensorswimError as problem:
            return str(problem), [dash.no_update] * len(ids)

    @app.callback(
        Output({"type": "word", "name": ALL}, "value"),
        Input({"type": "word-back", "name": ALL}, "n_clicks"),
        State({"type": "word", "name": ALL}, "id"),
        State("session-key", "data"),
        prevent_initial_call=True,
    )
    async def restore(clicks: list[int | None], ids: list[dict[str, str]], key: str) -> list[Any]:
        if not any(clicks) or not isinstance(ctx.triggered_id, dict):
            raise dash.exceptions.PreventUpdate
        wanted = ctx.triggered_id["name"]
        opened = await asyncio.to_thread(desk.open, key)
        if opened is None:
            raise dash.exceptions.PreventUpdate
        folder = opened.folder / OWN_FOLDER
        first = (await asyncio.to_thread(words_of, opened.analysis, folder))[1]
        return [_text(first, wanted) if one["name"] == wanted else dash.no_update for one in ids]

    @app.callback(
        Output("handout-made", "children"),
        Input("make-handout", "n_clicks"),
        State("session-key", "data"),
        prevent_initial_call=True,
        running=[*_WAITING, (Output("make-handout", "disabled"), True, False)],
    )
    async def make(clicks: int | None, key: str) -> Any:
        if not clicks:
            raise dash.exceptions.PreventUpdate
        try:
            return await asyncio.to_thread(_make, desk, key)
        except SensorswimError as problem:
            return html.P(str(problem), className="problem")

    @app.callback(
        Output("film-made", "children"),
        Input("make-film", "n_clicks"),
        State("moment", "data"),
        State("session-key", "data"),
        prevent_initial_call=True,
        running=[*_WAITING, (Output("make-film", "disabled"), True, False)],
    )
    async def film(clicks: int | None, moment_s: float | None, key: str) -> Any:
        if not clicks:
            raise dash.exceptions.PreventUpdate
        if moment_s is None:
            return "Choose a moment in the plot or the clip first."
        try:
            return await asyncio.to_thread(_film, desk, key, moment_s)
        except SensorswimError as problem:
            return html.P(str(problem), className="problem")


def _keep(desk: Desk, key: str, texts: dict[str, str]) -> tuple[str, list[bool]]:
    """Write what changed; return what to say, and which texts are as they first were."""
    opened = desk.open(key)
    if opened is None:
        raise dash.exceptions.PreventUpdate
    folder = opened.folder / OWN_FOLDER
    held, first = words_of(opened.analysis, folder)
    now = held = _whole(held, first)
    for name, text in texts.items():
        now = _with_text(now, name, text.strip())
    told = ""
    if now != held:
        folder.mkdir(exist_ok=True)
        write_words(now, folder / WORDS_FILE)
        told = "Kept. Make the handout anew to have it in."
    return told, [_text(now, name) == _text(first, name) for name in texts]


def _make(desk: Desk, key: str) -> list[Any]:
    opened = desk.open(key)
    if opened is None:
        raise dash.exceptions.PreventUpdate
    folder = opened.folder / OWN_FOLDER
    folder.mkdir(exist_ok=True)
    options = PlanOptions(distance_m=opened.analysis.session.pool_length_m)
    page = write_handout(opened.analysis, folder, options)
    if browser():
        print_pdf(page, page.with_name(_PDF))
        return _links(key, folder)
    return [*_links(key, folder), html.Span(f"No PDF: {INSTALL}.")]


def _film(desk: Desk, key: str, moment_s: float) -> list[Any]:
    opened = desk.open(key)
    if opened is None:
        raise dash.exceptions.PreventUpdate
    place = opened.folder / OWN_FOLDER / f"moment_{moment_s:.1f}.webm"
    place.parent.mkdir(exist_ok=True)
    export_clip(opened.analysis, moment_s, _FILM_S, place)
    return [
        _link(key, place.name, "Save the film"),
        html.Span(f"{_FILM_S:.0f} s around {moment_s:.1f} s, without sound."),
    ]


def _links(key: str, folder: Path) -> list[Any]:
    """Return where the handout that was made is found, nothing before that."""
    words = {HANDOUT_FILE: "Save the handout", _PDF: "Open the PDF"}
    made = [_link(key, name, text) for name, text in words.items() if (folder / name).is_file()]
    return [*made, html.Span(f"In the session's folder, under {OWN_FOLDER}.")] if made else []


def _link(key: str, name: str, words: str) -> html.A:
    return html.A(
        words, href=f"/handout/{key}/{name}", target="_blank", rel="noopener", className="button"
    )


def add_routes(api: FastAPI, desk: Desk) -> None:
    """Add the address of a handout, or a film of a moment, that was made.

    The page is for saving: with its own scripts in it, it wouldn't open under our content policy.
    """

    @api.get("/handout/{key}/{name}")
    async def handout(key: str, name: str) -> Response:
        path = await asyncio.to_thread(_place, desk, key, name)
        if path is None:
            return PlainTextResponse("There is no such handout.\n", status_code=404)
        saved = None if name == _PDF else path.name
        kind = _TYPES.get(name, "video/webm")
        return FileResponse(path, media_type=kind, filename=saved)


def _place(desk: Desk, key: str, name: str) -> Path | None:
    try:
        folder = desk.shelf.folder_of(key)
    except SensorswimError:
        return None
    path = folder / OWN_FOLDER / name
    known = name in _TYPES or _FILM.fullmatch(name)
    return path if known and path.is_file() else None
