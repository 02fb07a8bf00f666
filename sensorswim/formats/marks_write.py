"""Marks added to a session's marks.toml and taken out of it, swapped in whole."""

from __future__ import annotations

from dataclasses import asdict
from pathlib import Path

import tomlkit

from sensorswim.errors import SessionError
from sensorswim.formats.session_toml import MARKS_FILE
from sensorswim.formats.session_write import existing, swap_in
from sensorswim.model.session import Mark
from sensorswim.model.tables import FORMAT


def add_mark(folder: Path, mark: Mark) -> None:
    """Append a mark to marks.toml, which is made where there is none; what is there stays.

    Raises
    ------
    SessionError
        The marks.toml that is there isn't TOML.
    """
    document = existing(folder / MARKS_FILE)
    document.setdefault("format", FORMAT)
    row = tomlkit.table()
    for key, value in asdict(mark).items():
        if value not in (None, "", ()):
            row[key] = [list(point) for point in value] if key == "points" else value
    document.setdefault("mark", tomlkit.aot()).append(row)
    swap_in(document, folder / MARKS_FILE)


def drop_mark(folder: Path, number: int) -> None:
    """Take the mark of this number, from 0 in file order, out of marks.toml.

    Raises
    ------
    SessionError
        There is no such mark, or no TOML.
    """
    document = existing(folder / MARKS_FILE)
    marks = document.get("mark", [])
    if not 0 <= number < len(marks):
        raise SessionError("has no such mark any more", where=MARKS_FILE)
    del marks[number]
    swap_in(document, folder / MARKS_FILE)
