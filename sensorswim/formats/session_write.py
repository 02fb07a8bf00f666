"""The session.toml, written: for the dashboards and for rehearsed sessions."""

from __future__ import annotations

import os
from collections.abc import Mapping
from pathlib import Path
from typing import Any

import tomlkit
from tomlkit.exceptions import ParseError
from tomlkit.items import AoT

from sensorswim.errors import SessionError
from sensorswim.formats.session_toml import SESSION_FILE
from sensorswim.model.session import Block, SensorFile, Session, Video
from sensorswim.model.tables import FORMAT


def write_session(session: Session, folder: Path) -> Path:
    """Write the session's session.toml into a folder and return its path.

    A session.toml that is there already is edited: its comments and the top-level keys that
    aren't known stay; the tables (sensor, block, video) are written anew. Files are named
    relative to `session.folder`. The marks of marks.toml are not written. The file is swapped in
    whole, so that a crash leaves the old one.

    Raises
    ------
    SessionError
        The session.toml that is there isn't TOML, or a file lies outside `session.folder`.
    """
    path = folder / SESSION_FILE
    document = existing(path)
    for key, value in _top_level(session).items():
        if value is None:
            document.pop(key, None)
        else:
            document[key] = value
    _set_tables(document, "sensor", [_sensor(s, session.folder) for s in session.sensors])
    _set_tables(document, "block", [_block(block) for block in session.blocks])
    _set_tables(document, "video", [_video(video, session.folder) for video in session.videos])
    return swap_in(document, path)


def swap_in(document: tomlkit.TOMLDocument, path: Path) -> Path:
    """Write a document beside the path, safely on disk, and swap it in whole."""
    part = path.with_name(f"{path.name}.part")
    with part.open("w", encoding="utf-8", newline="\n") as file:
        file.write(tomlkit.dumps(document))
        file.flush()
        os.fsync(file.fileno())
    return part.replace(path)


def existing(path: Path) -> tomlkit.TOMLDocument:
    """Return the TOML that is there to be edited, an empty document where there is none.

    Raises
    ------
    SessionError
        What is there isn't TOML.
    """
    if not path.exists():
        return tomlkit.document()
    try:
        return tomlkit.parse(path.read_text(encoding="utf-8-sig"))
    except (ParseError, UnicodeDecodeError) as failure:
        raise SessionError(
            f"is not valid TOML: {failure}", where=path.name, mend="correct or remove it"
        ) from failure


def _top_level(session: Session) -> dict[str, Any]:
    return {
        "format": FORMAT,
        "started_at": session.started_at,
        "session_id": session.session_id,
        "swimmer": session.swimmer or None,
        "swimmer_id": session.swimmer_id,
        "height_m": session.height_m,
        "upper_arm_m": session.upper_arm_m,
        "forearm_m": session.forearm_m,
        "pool_length_m": session.pool_length_m,
        **session.extra,
    }


def _set_tables(document: tomlkit.TOMLDocument, key: str, rows: list[dict[str, Any]]) -> None:
    document.pop(key, None)
    if rows:
        document[key] = _array(rows)


def _array(rows: list[dict[str, Any]]) -> AoT:
    array = tomlkit.aot()
    for row in rows:
        table = tomlkit.table()
        for name, value in row.items():
            table[name] = _array(value) if name == "mark" else value
        array.append(table)
    return array


def _given(row: Mapping[str, Any]) -> dict[str, Any]:
    return {key: value for key, value in row.items() if value not in (None, "", {}, [])}


def _relative(path: Path | None, folder: Path) -> str | None:
    if path is None:
        return None
    try:
        return path.relative_to(folder).as_posix()
    except ValueError as failure:
        raise SessionError("lies outside the session folder", where=path.name) from failure


def _sensor(sensor: SensorFile, folder: Path) -> dict[str, Any]:
    return _given(
        {
            "placement": str(sensor.placement),
            "file": _relative(sensor.file, folder),
            "accel_file": _relative(sensor.accel_file, folder),
            "gyro_file": _relative(sensor.gyro_file, folder),
            "accel_range_g": sensor.accel_range_g,
            "gyro_range_deg_s": sensor.gyro_range_deg_s,
            "columns": dict(sensor.columns),
        }
    )


def _block(block: Block) -> dict[str, Any]:
    felt = {f"felt_{name}": value for name, value in block.felt.items()}
    row = {
        "start_s": block.start_s,
        "end_s": block.end_s,
        "label": block.label,
        "lengths": list(block.lengths),
        "drill": block.drill,
        "aids": list(block.aids),
        "breathing": block.breathing,
    }
    return _given(row) | felt


def _video(video: Video, folder: Path) -> dict[str, Any]:
    marks = [
        _given({"video_s": mark.video_s, "session_s": mark.session_s, "label": mark.label})
        for mark in video.marks
    ]
    return _given(
        {
            "file": _relative(video.file, folder),
            "starts_at_s": video.starts_at_s,
            "slow_factor": None if video.slow_factor == 1.0 else video.slow_factor,
            "mark": marks,
        }
    )
