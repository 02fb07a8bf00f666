"""Takes in what is dropped on the page: a session folder, a zip of one, or loose files."""

from __future__ import annotations

import asyncio
import re
import shutil
import uuid
from pathlib import Path
from typing import Final

from fastapi import FastAPI, Request
from starlette.responses import JSONResponse

from sensorswim.dashboards.review.shelf import Shelf, key_of
from sensorswim.errors import InputError, SensorswimError
from sensorswim.formats.session_pack import safe_relative, unpack
from sensorswim.formats.session_toml import SESSION_FILE

_TOKEN: Final = re.compile(r"[0-9a-f]{32}")


def add_drop_routes(api: FastAPI, shelf: Shelf) -> None:
    """Add the three steps of a drop: begin, one PUT a file, done."""

    @api.post("/drop")
    async def begin() -> JSONResponse:
        token = uuid.uuid4().hex
        (shelf.drops / token).mkdir(parents=True)
        return JSONResponse({"token": token})

    @api.put("/drop/{token}/file")
    async def take(token: str, name: str, request: Request) -> JSONResponse:
        try:
            path = _place(shelf, token, name)
        except SensorswimError as problem:
            return JSONResponse({"problem": str(problem)}, status_code=400)
        path.parent.mkdir(parents=True, exist_ok=True)
        with path.open("wb") as file:
            async for chunk in request.stream():
                await asyncio.to_thread(file.write, chunk)
        return JSONResponse({"taken": path.name})

    @api.post("/drop/{token}/done")
    async def finish(token: str) -> JSONResponse:
        try:
            answer = await asyncio.to_thread(settle, shelf, token)
        except SensorswimError as problem:
            return JSONResponse({"problem": str(problem)}, status_code=400)
        return JSONResponse(answer)


def drop_folder(shelf: Shelf, token: str) -> Path:
    """Return the folder of a drop.

    Raises
    ------
    InputError
        No such drop.
    """
    if not _TOKEN.fullmatch(token) or not (shelf.drops / token).is_dir():
        raise InputError("this drop is not there any more", mend="drop the files again")
    return shelf.drops / token


def _place(shelf: Shelf, token: str, name: str) -> Path:
    folder = drop_folder(shelf, token)
    path = folder / safe_relative(name)
    if not path.resolve().is_relative_to(folder.resolve()):
        raise InputError("lies outside the folder", where=name, mend="rename the file")
    return path


def settle(shelf: Shelf, token: str) -> dict[str, str]:
    """Return where the page goes next: to the session that was dropped, or to its set-up.

    Raises
    ------
    InputError
        Nothing was dropped, or a zip that can't be taken.
    """
    folder = drop_folder(shelf, token)
    for path in [p for p in folder.rglob("*") if p.suffix.lower() == ".zip"]:
        unpack(path, path.parent)
        path.unlink()
    sessions = sorted(folder.rglob(SESSION_FILE), key=lambda p: len(p.parts))
    if sessions:
        return {"session": key_of(_shelved(shelf, sessions[0].parent, folder))}
    if not any(p.is_file() for p in folder.rglob("*")):
        raise InputError("nothing was dropped", mend="drop a folder, a zip or files")
    return {"drop": token}


def _shelved(shelf: Shelf, session: Path, drop: Path) -> Path:
    place = shelf.free_folder(session.name if session != drop else "session")
    shutil.move(session, place)
    shutil.rmtree(drop, ignore_errors=True)
    return place
