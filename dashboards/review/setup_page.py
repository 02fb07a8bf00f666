"""A new session: what was dropped is guessed at, the rest is asked, session.toml is written."""

from __future__ import annotations

import asyncio
import shutil
import uuid
from dataclasses import dataclass, replace
from datetime import datetime
from pathlib import Path
from typing import Any, Final

import dash
import dash_mantine_components as dmc
from dash import ALL, Input, Output, State, html

from sensorswim.dashboards.review.clips import SUFFIXES
from sensorswim.dashboards.review.desk import Desk
from sensorswim.dashboards.review.drops import drop_folder
from sensorswim.dashboards.review.sessions_page import drop_zone
from sensorswim.dashboards.review.shelf import Shelf, key_of
from sensorswim.errors import InputError, SensorswimError, SessionError
from sensorswim.formats.log_guess import (
    LogGuess,
    complete_columns,
    guess_limb,
    guess_log,
    guess_placement,
)
from sensorswim.formats.logs import read_stream
from sensorswim.formats.session_toml import LOG_SUFFIXES, read_session
from sensorswim.formats.session_write import write_session
from sensorswim.model import Limb, Placement, Quality, SensorFile, Session, Side, Video
from sensorswim.video import read_facts

_LEAVE_OUT: Final = "leave out"
_POOLS: Final = (("25", "25 m"), ("50", "50 m"), ("22.86", "25 yards"), ("45.72", "50 yards"),
                 ("33.33", "33.33 m"), ("20", "20 m"), ("16.67", "16.67 m"))  # fmt: skip


@dataclass(frozen=True, kw_only=True)
class Dropped:
    """One log that was dropped in, and what is guessed about it."""

    path: Path
    guess: LogGuess | None
    placement: Placement | None = None
    by: str = ""
    problem: str = ""


def content(desk: Desk, token: str | None) -> Any:
    """Return the page: the drop zone, or the questions about what was dropped."""
    if token is None:
        return html.Div(
            [
                html.H1("Set up a new session"),
                html.P(
                    "Begin with the logs of the sensors, from any logger, as CSV or Parquet, and "
                    "clips if there are any.",
                    className="reading",
                ),
                drop_zone(),
            ]
        )
    folder = drop_folder(desk.shelf, token)
    logs, clips = look_at(folder), _clips(folder)
    if not logs:
        raise InputError(
            "no log was dropped", mend=f"drop files that end in {', '.join(LOG_SUFFIXES)}"
        )
    return html.Div(
        [
            html.H1("Set up a new session"),
            html.H2("Sensors"),
            html.P("What was guessed can be corrected.", className="reading"),
            *[_log(index, log, folder) for index, log in enumerate(logs)],
            html.H2("Clips"),
            html.Ul([html.Li(clip.name) for clip in clips])
            if clips
            else html.P("No clip was dropped; one can be added on the review page."),
            html.H2("Questions"),
            _questions(logs),
            html.Button("Write the session", id="setup-write", type="button"),
            html.P("", id="setup-told", className="problem", role="alert"),
            dash.dcc.Store(id="setup-token", data=token),
        ]
    )


def look_at(folder: Path) -> list[Dropped]:
    """Return the logs in a folder with what is guessed about each."""
    paths = sorted(p for p in folder.rglob("*") if p.name.lower().endswith(LOG_SUFFIXES))
    logs = [_look(path) for path in paths]
    taken = {log.placement for log in logs}
    answer = []
    for log in logs:
        moved = _by_movement(log, taken) if log.placement is None and not log.problem else log
        taken.add(moved.placement)
        answer.append(moved)
    return answer


def _look(path: Path) -> Dropped:
    try:
        guess = guess_log(path)
    except SensorswimError as problem:
        return Dropped(path=path, guess=None, problem=str(problem))
    place = guess_placement(path.name)
    return Dropped(path=path, guess=guess, placement=place, by="its name" if place else "")


def _by_movement(log: Dropped, taken: set[Placement | None]) -> Dropped:
    if log.guess is None or log.guess.missing:
        return log
    sensor = SensorFile(placement=Placement.HEAD, file=log.path, columns=log.guess.columns)
    try:
        limb = guess_limb(read_stream(sensor, Quality()))
    except SensorswimError as problem:
        return replace(log, problem=str(problem))
    places = [Placement.LOWER_BACK] if limb is Limb.LOWER_BACK else [
        Placement.of(limb, side) for side in Side
    ]  # fmt: skip
    free = next((place for place in places if place not in taken), None)
    return replace(log, placement=free, by="its movement" if free else "")


def _clips(folder: Path) -> list[Path]:
    return sorted(p for p in folder.rglob("*") if p.suffix.lower() in SUFFIXES)


def _log(index: int, log: Dropped, folder: Path) -> html.Fieldset:
    name = log.path.relative_to(folder).as_posix()
    if log.guess is None:
        return html.Fieldset([html.Legend(name), html.P(f"Can't be used: {log.problem}")])
    options = [{"value": str(p), "label": p.label} for p in Placement]
    parts: list[Any] = [
        html.Legend(name),
        dmc.Select(
            id={"type": "log-place", "index": index},
            label="Worn on the",
            data=[*options, {"value": _LEAVE_OUT, "label": "leave this log out"}],
            value=str(log.placement) if log.placement else None,
            placeholder="choose",
            w=220,
        ),
        html.P(_told(log), className="reading"),
    ]
    parts += [_asked_column(index, role, log.guess) for role in log.guess.missing]
    return html.Fieldset(parts, className="log")


def _told(log: Dropped) -> str:
    guess = log.guess or LogGuess(header=())
    words = [f"The place is guessed from {log.by}." if log.by else "Its place can't be guessed."]
    if log.by == "its movement":
        words.append("Left and right look alike there; the analysis puts a swapped pair right.")
    if guess.columns:
        read = ", ".join(f"{ours} from “{theirs}”" for ours, theirs in guess.columns.items())
        words.append(f"Read as: {read}.")
    if guess.unsure:
        words.append(f"Units guessed from the numbers: {', '.join(guess.unsure)}.")
    return " ".join([*words, log.problem])


def _asked_column(index: int, role: str, guess: LogGuess) -> dmc.Select:
    return dmc.Select(
        id={"type": "log-column", "index": index, "role": role},
        label=f"Which column is {role.replace('_', ' ')}?",
        data=list(guess.header),
        placeholder="choose",
        w=260,
    )


def _questions(logs: list[Dropped]) -> html.Div:
    begun = datetime.fromtimestamp(min(log.path.stat().st_mtime for log in logs)).astimezone()
    return html.Div(
        [
            dmc.TextInput(id="setup-swimmer", label="Swimmer", value="", w=260),
            dmc.NumberInput(
                id="setup-height", label="Height, m (may stay empty)", min=0.8, max=2.5,
                step=0.01, decimalScale=2, w=220,
            ),
            dmc.Select(
                id="setup-pool", label="Length of the pool", value=None, placeholder="choose",
                data=[{"value": value, "label": word} for value, word in _POOLS], w=180,
            ),
            dmc.TextInput(
                id="setup-start", label="Begun at (date, time, offset)",
                value=begun.isoformat(timespec="minutes"), w=260,
            ),
        ],
        className="row bottom",
    )  # fmt: skip


def add_callbacks(app: dash.Dash, desk: Desk) -> None:
    """Add what writes the session."""

    @app.callback(
        Output("setup-told", "children"),
        Output("url", "href", allow_duplicate=True),
        Input("setup-write", "n_clicks"),
        State("setup-token", "data"),
        State({"type": "log-place", "index": ALL}, "value"),
        State({"type": "log-place", "index": ALL}, "id"),
        State({"type": "log-column", "index": ALL, "role": ALL}, "value"),
        State({"type": "log-column", "index": ALL, "role": ALL}, "id"),
        State("setup-swimmer", "value"),
        State("setup-height", "value"),
        State("setup-pool", "value"),
        State("setup-start", "value"),
        prevent_initial_call=True,
    )
    async def write(clicks: int | None, token: str, *told: Any) -> tuple[Any, Any]:
        if not clicks:
            raise dash.exceptions.PreventUpdate
        places, place_ids, names, name_ids, swimmer, height, pool, start = told
        answers = Answers(
            places={i["index"]: v for i, v in zip(place_ids, places, strict=True)},
            columns={(i["index"], i["role"]): v for i, v in zip(name_ids, names, strict=True)},
            swimmer=swimmer or "",
            height_m=float(height) if height else None,
            pool_length_m=float(pool) if pool else None,
            started_at=start or "",
        )
        try:
            folder = await asyncio.to_thread(write_new, desk.shelf, token, answers)
        except SensorswimError as problem:
            return str(problem), dash.no_update
        return "", f"/setup?session={key_of(folder)}"


@dataclass(frozen=True, kw_only=True)
class Answers:
    """What the coach answered; logs by their number on the page."""

    places: dict[int, str | None]
    columns: dict[tuple[int, str], str | None]
    swimmer: str
    height_m: float | None
    pool_length_m: float | None
    started_at: str


def write_new(shelf: Shelf, token: str, answers: Answers) -> Path:
    """Write session.toml beside what was dropped, and put it on the shelf as a session.

    Raises
    ------
    SensorswimError
        A question isn't answered, or the answers make no session that can be read.
    """
    drop = drop_folder(shelf, token)
    session = _session(drop, answers)
    path = write_session(session, drop)
    try:
        read_session(drop, Quality())
    except SensorswimError:
        path.unlink()
        raise
    place = shelf.free_folder(f"{session.started_at:%Y-%m-%d} {session.swimmer}")
    shutil.move(drop, place)
    return place


def _session(drop: Path, answers: Answers) -> Session:
    sensors = []
    for index, log in enumerate(look_at(drop)):
        place = answers.places.get(index)
        if log.guess is None or place == _LEAVE_OUT:
            continue
        if place is None:
            raise SessionError(
                "its place isn't said", where=log.path.name, mend="choose one, or leave it out"
            )
        chosen = {role: name for (i, role), name in answers.columns.items() if i == index}
        columns = complete_columns(log.path, log.guess, chosen)
        sensors.append(SensorFile(placement=Placement(place), file=log.path, columns=columns))
    if answers.pool_length_m is None:
        raise SessionError("the length of the pool isn't said", mend="choose it")
    return Session(
        folder=drop,
        started_at=_moment(answers.started_at),
        swimmer=" ".join(answers.swimmer.split()),
        pool_length_m=answers.pool_length_m,
        sensors=tuple(sorted(sensors, key=lambda sensor: list(Placement).index(sensor.placement))),
        height_m=answers.height_m,
        session_id=str(uuid.uuid4()),
        videos=tuple(_video(path) for path in _clips(drop)),
    )


def _moment(text: str) -> datetime:
    try:
        moment = datetime.fromisoformat(text.strip())
    except ValueError as failure:
        raise SessionError(
            "the beginning is no date and time", mend="write it like 2026-03-14T06:30+00:00"
        ) from failure
    return moment if moment.tzinfo else moment.astimezone()


def _video(path: Path) -> Video:
    return Video(file=path, slow_factor=read_facts(path).slow_factor)
