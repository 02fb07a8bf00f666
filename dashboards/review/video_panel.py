"""The clip beside the plots: shown, put in its place in time, measured on."""

from __future__ import annotations

import asyncio
from dataclasses import replace
from typing import Any, Final

import dash
import dash_mantine_components as dmc
from dash import ClientsideFunction, Input, Output, State, ctx, dcc, html

from sensorswim.dashboards.review.clips import Clip, keep_mark, listen
from sensorswim.dashboards.review.desk import Desk, Opened, opened_or_stop
from sensorswim.dashboards.review.media import clip_of
from sensorswim.errors import SensorswimError
from sensorswim.formats.marks_write import add_mark
from sensorswim.formats.session_toml import read_session
from sensorswim.formats.session_write import write_session
from sensorswim.model import Mark, Quality, VideoMark

_ASK_MS: Final = 500
_VIEWS: Final = ("side", "front", "rear", "below", "above")
_MEASURES: Final = {
    "left_elbow_angle": "Left elbow angle",
    "right_elbow_angle": "Right elbow angle",
    "angle": "Another angle",
    "knee_gap": "Gap between the knees",
    "length": "Another length",
    "line": "Line against the surface",
}
_TOOLS: Final = (
    ("angle", "Angle: three points, the joint second"),
    ("length", "Length: two points on what is known, two on what is not"),
    ("line", "Line: two points on the surface, two on the line"),
)


def at_first(opened: Opened) -> list[Any]:
    """Return what of the panel needs no look at the session's clips."""
    return [] if opened.analysis.session.videos else [_no_clip()]


def beside(opened: Opened) -> str:
    """Return the class of what holds the panel and the plot."""
    return f"side-by-side {'with-video' if opened.analysis.session.videos else ''}"


def content(opened: Opened, clips: list[Clip], number: int, desk: Desk) -> list[Any]:
    """Return the panel for one of the session's clips."""
    if not clips:
        return [_no_clip()]
    clip = clips[min(number, len(clips) - 1)]
    choice = dmc.Select(
        id="clip-choice",
        label="Clip",
        data=[{"value": str(c.number), "label": c.video.file.name} for c in clips],
        value=str(clip.number),
        allowDeselect=False,
    )
    return [choice, _screen(opened, clip, desk), html.P(clip.how_placed(), id="clip-place"),
            _placing(clip), _measuring(), _adder("")]  # fmt: skip


def _screen(opened: Opened, clip: Clip, desk: Desk) -> Any:
    if clip.problem:
        return html.P(f"This clip can't be shown: {clip.problem}.", className="nothing")
    if desk.clips.playable(clip) is None:
        return html.Div(
            [
                html.P("A copy that the browser plays is being made; the original stays."),
                dmc.Progress(id="copy-bar", value=0, size="lg", **{"aria-label": "Share copied"}),
                html.P("", id="copy-told", role="status"),
                dcc.Interval(id="copy-tick", interval=_ASK_MS),
            ]
        )
    return html.Div(
        [
            html.Video(
                html.Track(
                    src=f"/cues/{opened.key}/{clip.number}",
                    kind="captions",
                    srcLang="en",
                    label="What is swum",
                    default=True,
                ),
                id="clip-video",
                src=f"/media/{opened.key}/{clip.number}",
                controls=True,
                preload="auto",
                muted=True,
                **{"aria-label": f"Clip {clip.video.file.name}"},
            ),
            html.Div(id="clip-glass", className="glass"),
        ],
        className="screen",
    )


def _placing(clip: Clip) -> html.Details:
    return html.Details(
        [
            html.Summary("Place in time"),
            html.Div(
                [
                    html.Button("Listen for the knocks", id="clip-listen", type="button"),
                    html.Button(
                        "Let plots and clip go apart",
                        type="button",
                        **{"data-clip": "apart", "aria-pressed": "false"},
                    ),
                    html.Button("Both show the same moment", id="clip-same", type="button"),
                ],
                className="row",
            ),
            dmc.NumberInput(
                id="clip-slow",
                label="Stored how many times slower than life",
                value=round(clip.slow, 3),
                min=1,
                max=100,
                step=1,
                w=300,
            ),
            html.Button("Keep the slow motion", id="clip-slow-keep", type="button"),
            html.P(
                "To pick a moment in each: let them go apart, find the same moment in the plot "
                "and in the clip, then say that both show it.",
                className="reading",
            ),
        ]
    )


def _measuring() -> html.Details:
    return html.Details(
        [
            html.Summary("Measure on this frame"),
            dmc.RadioGroup(
                dmc.Stack([dmc.Radio(word, value=tool) for tool, word in _TOOLS], gap=4),
                id="measure-tool",
                label="Tool",
                value=None,
            ),
            html.Div(
                [
                    dmc.Select(
                        id="measure-kind",
                        label="What it is",
                        data=[{"value": k, "label": w} for k, w in _MEASURES.items()],
                        value="right_elbow_angle",
                        allowDeselect=False,
                    ),
                    dmc.Select(
                        id="measure-view",
                        label="View",
                        data=list(_VIEWS),
                        value="side",
                        allowDeselect=False,
                        w=120,
                    ),
                    dmc.NumberInput(
                        id="measure-known", label="Known length, m", value=0.3, min=0.01, max=60,
                        step=0.01, decimalScale=3, w=150,
                    ),
                ],
                className="row bottom",
            ),
            html.P("Choose a tool, then click its points on the frame. By keyboard: focus the "
                   "frame, move the cross with the arrow keys, set a point with Enter.",
                   className="reading"),
            html.P("", id="measure-told", role="status"),
            html.Div(
                [
                    html.Button("Start over", type="button", **{"data-clip": "over"}),
                    html.Button("Save as a mark", id="measure-save", type="button"),
                ],
                className="row",
            ),
        ]
    )  # fmt: skip


def _no_clip() -> html.Div:
    return _adder("No video is in this session, and everything here works without one.")


def _adder(words: str) -> html.Div:
    return html.Div(
        [
            html.P(words) if words else None,
            html.Button("Add a clip", type="button", **{"data-pick-clip": "yes"}),
            html.P("", id="clip-told", role="status"),
        ],
        className="adder",
    )


def add_callbacks(app: dash.Dash, desk: Desk) -> None:
    """Add what the panel answers to."""
    app.clientside_callback(
        ClientsideFunction("review", "clip"), Output("clip-heard", "data"), Input("clip", "data")
    )
    app.clientside_callback(
        ClientsideFunction("review", "tool"),
        Output("tool-heard", "data"),
        Input("measure-tool", "value"),
        Input("measure-known", "value"),
    )
    _add_panel(app, desk)
    _add_copying(app, desk)
    _add_placing(app, desk)
    _add_measuring(app, desk)


def _add_panel(app: dash.Dash, desk: Desk) -> None:
    @app.callback(
        Output("video-panel", "children"),
        Output("clip", "data"),
        Output("side-by-side", "className"),
        Input("session-key", "data"),
        Input("clip-number", "data"),
        Input("clip-turn", "data"),
    )
    async def show(key: str, number: int | None, _turn: Any) -> tuple[Any, Any, str]:
        opened = await opened_or_stop(desk, key, "any")
        clips = await asyncio.to_thread(desk.clips.of, opened.analysis.session)
        panel = await asyncio.to_thread(content, opened, clips, number or 0, desk)
        told = clips[min(number or 0, len(clips) - 1)].as_told(key) if clips else None
        return panel, told, f"side-by-side {'with-video' if clips else ''}"

    @app.callback(
        Output("clip-number", "data"), Input("clip-choice", "value"), State("clip-number", "data")
    )
    async def choose(value: str | None, now: int | None) -> Any:
        return dash.no_update if value is None or int(value) == (now or 0) else int(value)


def _add_copying(app: dash.Dash, desk: Desk) -> None:
    @app.callback(
        Output("copy-bar", "value"),
        Output("copy-told", "children"),
        Output("copy-tick", "disabled"),
        Output("clip-turn", "data", allow_duplicate=True),
        Input("copy-tick", "n_intervals"),
        State("clip", "data"),
        prevent_initial_call=True,
    )
    async def look(ticks: int, clip: dict[str, Any]) -> tuple[Any, ...]:
        own = await asyncio.to_thread(clip_of, desk, clip["key"], clip["number"])
        if own is None:
            raise dash.exceptions.PreventUpdate
        told = desk.clips.copying(own)
        if isinstance(told, str):
            return 0, told, True, dash.no_update
        if desk.clips.playable(own) is not None:
            return 100, "done", True, ticks
        return 100 * told, f"{100 * told:.0f} of 100 copied", False, dash.no_update


def _add_placing(app: dash.Dash, desk: Desk) -> None:
    @app.callback(
        Output("clip-told", "children"),
        Output("clip-turn", "data"),
        Input("clip-listen", "n_clicks"),
        Input("clip-same", "n_clicks"),
        Input("clip-slow-keep", "n_clicks"),
        State("clip", "data"),
        State("moment", "data"),
        State("clip-now", "data"),
        State("clip-slow", "value"),
        prevent_initial_call=True,
    )
    async def place(
        listened: int | None, same: int | None, kept: int | None,
        clip: dict[str, Any], moment_s: float | None, player_s: float | None, slow: float | None,
    ) -> tuple[Any, Any]:  # fmt: skip
        if not (listened or same or kept):
            raise dash.exceptions.PreventUpdate
        turn = f"{listened} {same} {kept}"
        own = await asyncio.to_thread(clip_of, desk, clip["key"], clip["number"])
        if own is None:
            raise dash.exceptions.PreventUpdate
        try:
            if ctx.triggered_id == "clip-listen":
                return await asyncio.to_thread(_listen, desk, clip["key"], own), turn
            if ctx.triggered_id == "clip-same":
                return _keep_same(desk, clip["key"], own, moment_s, player_s), turn
            return _keep_slow(desk, clip["key"], own, slow), turn
        except SensorswimError as problem:
            return str(problem), dash.no_update


def _listen(desk: Desk, key: str, clip: Clip) -> str:
    session = read_session(desk.shelf.folder_of(key), Quality())
    places = listen(session, clip)
    best = places[0]
    words = f"knocks heard, {best.error_s:.4f} s off at most"
    mark = VideoMark(video_s=best.knock_video_s, session_s=best.knock_session_s, label=words)
    keep_mark(session, clip.number, mark, alone=True, slow=clip.slow)
    more = "" if len(places) == 1 else f" {len(places) - 1} other places fit less well."
    return (
        f"The clip begins at {best.starts_at_s:.3f} s of the session; the knocks heard and felt "
        f"lie at most {1000 * best.error_s:.1f} ms apart.{more}"
    )


def _keep_same(
    desk: Desk, key: str, clip: Clip, moment_s: float | None, player_s: float | None
) -> str:
    if moment_s is None or player_s is None:
        return "Choose a moment in the plot and in the clip first."
    session = read_session(desk.shelf.folder_of(key), Quality())
    mark = VideoMark(
        video_s=round(player_s * clip.slow, 4), session_s=round(moment_s, 4), label="picked by eye"
    )
    keep_mark(session, clip.number, mark, alone=False, slow=clip.slow)
    return "Kept. A second moment far from it would also set the clip's rate."


def _keep_slow(desk: Desk, key: str, clip: Clip, slow: float | None) -> str:
    session = read_session(desk.shelf.folder_of(key), Quality())
    videos = list(session.videos)
    videos[clip.number] = replace(videos[clip.number], slow_factor=float(slow or 1.0))
    write_session(replace(session, videos=tuple(videos)), session.folder)
    return "Kept."


def _add_measuring(app: dash.Dash, desk: Desk) -> None:
    @app.callback(
        Output("measure-told", "children"),
        Output("marks-saved", "data"),
        Input("measure-save", "n_clicks"),
        State("measure", "data"),
        State("measure-kind", "value"),
        State("measure-view", "value"),
        State("clip", "data"),
        prevent_initial_call=True,
    )
    async def save(
        clicks: int | None, measured: dict[str, Any] | None, kind: str, view: str,
        clip: dict[str, Any],
    ) -> tuple[Any, Any]:  # fmt: skip
        if not clicks:
            raise dash.exceptions.PreventUpdate
        if not measured or not isinstance(measured.get("value"), int | float):
            return "Nothing is measured yet: choose a tool and set its points.", dash.no_update
        wanted = "deg" if "angle" in kind or kind == "line" else "m"
        if measured["unit"] != wanted:
            return f"{_MEASURES[kind]} needs another tool.", dash.no_update
        folder = await asyncio.to_thread(desk.shelf.folder_of, clip["key"])
        mark = Mark(
            kind=kind,
            session_s=_rounded(measured.get("session_s"), 4),
            video=clip["name"],
            video_s=_rounded(measured["player_s"] * clip["slow"], 4),
            value=_rounded(measured["value"], 3),
            unit=wanted,
            view=view,
            points=tuple((round(x, 4), round(y, 4)) for x, y in measured.get("points", ())),
        )
        await asyncio.to_thread(add_mark, folder, mark)
        return f"Saved: {_MEASURES[kind]}, {mark.value:g} {wanted}.", f"measured {clicks}"


def _rounded(value: float | None, digits: int) -> float | None:
    return None if value is None else round(float(value), digits)
