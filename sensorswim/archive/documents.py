"""Notes, plans and diaries of a swimmer, kept as text."""

from __future__ import annotations

from datetime import UTC, datetime
from pathlib import Path
from typing import Final

from sensorswim.archive.read import Swimmer
from sensorswim.archive.schema import DOCUMENT
from sensorswim.archive.store import Store
from sensorswim.errors import InputError

KINDS: Final = ("note", "plan", "diary")
_LARGEST: Final = 4_000_000


def keep_text(store: Store, swimmer: Swimmer, text: str, *, kind: str, name: str = "") -> None:
    """Keep a text of a swimmer; the same text of the same kind is kept once.

    Raises
    ------
    InputError
        An unknown kind, or a text that a database can't hold.
    """
    if kind not in KINDS:
        raise InputError(f"no kind of text {kind!r}", mend=f"use {', '.join(KINDS)}")
    if "\0" in text:
        raise InputError("holds a zero byte", where=name, mend="save it as plain text")
    now = datetime.now(UTC).isoformat(timespec="seconds")
    same = (
        (DOCUMENT.c.swimmer_id == swimmer.id)
        & (DOCUMENT.c.kind == kind)
        & (DOCUMENT.c.content == text)
    )
    with store.write() as connection:
        if connection.execute(DOCUMENT.select().where(same)).first() is None:
            row = {"kind": kind, "name": name, "made_at": now, "content": text}
            connection.execute(DOCUMENT.insert().values(swimmer_id=swimmer.id, **row))


def keep_file(store: Store, swimmer: Swimmer, file: Path, *, kind: str) -> None:
    """Keep a text file of a swimmer, such as a plan.

    Raises
    ------
    InputError
        The file can't be read as UTF-8 text, or is too large.
    """
    try:
        raw = file.read_bytes()
        text = raw.decode("utf-8")
    except (OSError, UnicodeDecodeError) as failure:
        raise InputError("can't be read as UTF-8 text", where=str(file)) from failure
    if len(raw) > _LARGEST:
        raise InputError(f"is larger than {_LARGEST // 1_000_000} MB", where=str(file))
    keep_text(store, swimmer, text, kind=kind, name=file.name)
