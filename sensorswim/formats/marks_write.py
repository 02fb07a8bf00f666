"""A mark more in a session's marks.toml, swapped in whole."""

from __future__ import annotations

import os
from pathlib import Path

import tomlkit
from tomlkit.exceptions import ParseError

from sensorswim.errors import SessionError
from sensorswim.formats.session_toml import MARKS_FILE
from sensorswim.model.session import Mark
from sensorswim.model.tables import FORMAT


def add_mark(folder: Path, mark: Mark) -> None:
    """Append a mark to marks.toml, which is made where there is none; what is there stays.

    Raises
    ------
    SessionError
        The marks.toml that is there isn't TOML.
    """
    path = folder / MARKS_FILE
    document = tomlkit.document()
    if path.exists():
        try:
            document = tomlkit.parse(path.read_text(encoding="utf-8-sig"))
        except (ParseError, UnicodeDecodeError) as failure:
            raise SessionError(
                f"is not valid TOML: {failure}", where=MARKS_FILE, mend="correct or remove it"
            ) from failure
    else:
        document["format"] = FORMAT
    row = tomlkit.table()
    for key, value in _given(mark).items():
        row[key] = value
    if "mark" not in document:
        document["mark"] = tomlkit.aot()
    document["mark"].append(row)
    part = path.with_name(f"{path.name}.part")
    with part.open("w", encoding="utf-8", newline="\n") as file:
        file.write(tomlkit.dumps(document))
        file.flush()
        os.fsync(file.fileno())
    part.replace(path)


def _given(mark: Mark) -> dict[str, str | float]:
    every = {
        "kind": mark.kind, "session_s": mark.session_s, "video": mark.video,
        "video_s": mark.video_s, "label": mark.label, "value": mark.value, "unit": mark.unit,
        "view": mark.view,
    }  # fmt: skip
    return {key: value for key, value in every.items() if value not in (None, "")}
