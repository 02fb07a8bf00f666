"""What the browser fetches by itself: clips in parts, cues; and clips that are added."""

from __future__ import annotations

import asyncio
from pathlib import Path
from typing import Final

from fastapi import FastAPI, Request
from starlette.responses import FileResponse, JSONResponse, PlainTextResponse, Response

from sensorswim.dashboards.review.clips import SUFFIXES, Clip, add_clip
from sensorswim.dashboards.review.desk import Desk
from sensorswim.errors import InputError, SensorswimError
from sensorswim.formats.session_pack import safe_relative
from sensorswim.formats.session_toml import read_session
from sensorswim.formats.webvtt import cues_to_vtt
from sensorswim.model import Quality
from sensorswim.report import cues_in_video

_TYPES: Final = {".webm": "video/webm"}


def add_media_routes(api: FastAPI, desk: Desk) -> None:
    """Add the addresses of clips and cues; keys and numbers are looked up, never paths."""

    @api.get("/media/{key}/{number}")
    async def media(key: str, number: int) -> Response:
        path = await asyncio.to_thread(_media_path, desk, key, number)
        if path is None:
            return PlainTextResponse("There is no such clip.\n", status_code=404)
        kind = _TYPES.get(path.suffix.lower(), "video/mp4")
        return FileResponse(path, media_type=kind)

    @api.get("/cues/{key}/{number}")
    async def cues(key: str, number: int) -> Response:
        text = await asyncio.to_thread(_cue_text, desk, key, number)
        return Response(text, media_type="text/vtt")

    @api.put("/clips/{key}")
    async def take(key: str, name: str, request: Request) -> JSONResponse:
        try:
            folder = await asyncio.to_thread(desk.shelf.folder_of, key)
            path = clip_place(folder, name)
            with path.open("xb") as file:
                async for chunk in request.stream():
                    await asyncio.to_thread(file.write, chunk)
            await asyncio.to_thread(_name_clip, desk, folder, path)
        except SensorswimError as problem:
            return JSONResponse({"problem": str(problem)}, status_code=400)
        return JSONResponse({"taken": path.name})


def clip_of(desk: Desk, key: str, number: int) -> Clip | None:
    """Return a clip of a session, None where there is none of this number."""
    session = read_session(desk.shelf.folder_of(key), Quality())
    return desk.clips.of(session)[number] if 0 <= number < len(session.videos) else None


def clip_place(folder: Path, name: str) -> Path:
    """Return where a clip that is added goes.

    Raises
    ------
    InputError
        No name of a clip, or one that is taken.
    """
    path = folder / safe_relative(name).name
    if path.suffix.lower() not in SUFFIXES:
        raise InputError("is no clip", where=path.name, mend=f"use {', '.join(SUFFIXES)}")
    if path.exists():
        raise InputError("is in the session already", where=path.name, mend="rename the clip")
    return path


def _name_clip(desk: Desk, folder: Path, path: Path) -> None:
    try:
        facts = desk.clips.facts(path)
    except InputError:
        path.unlink()
        raise
    add_clip(read_session(folder, Quality()), path, facts.slow_factor)


def _media_path(desk: Desk, key: str, number: int) -> Path | None:
    try:
        clip = clip_of(desk, key, number)
    except InputError:
        return None
    return None if clip is None else desk.clips.playable(clip)


def _cue_text(desk: Desk, key: str, number: int) -> str:
    try:
        opened, clip = desk.open(key), clip_of(desk, key, number)
    except SensorswimError:
        return cues_to_vtt([])
    if opened is None or clip is None or clip.placed is None:
        return cues_to_vtt([])
    return cues_in_video(opened.analysis, *clip.placed)
