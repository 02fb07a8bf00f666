"""The session folder's session.toml and marks.toml, read and checked.

Whatever is wrong ends as one `SessionError` line with file, table, key and how to mend it;
what is only odd is told in `Quality`.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from itertools import pairwise
from pathlib import Path
from typing import Any, Final

from pydantic import ValidationError

from sensorswim.errors import SessionError
from sensorswim.formats.session_schema import (
    AnyTable,
    BlockTable,
    MarksTable,
    MarkTable,
    SensorTable,
    SessionTable,
    VideoTable,
)
from sensorswim.formats.toml_text import check_format, raise_first, read_toml, shown
from sensorswim.model.quality import Quality, Severity
from sensorswim.model.session import Block, Mark, SensorFile, Session, Video, VideoMark
from sensorswim.model.tables import SCHEMAS
from sensorswim.units import YARD_M

SESSION_FILE: Final = "session.toml"
MARKS_FILE: Final = "marks.toml"
LOG_SUFFIXES: Final = (".csv", ".csv.gz", ".parquet")
INVENTED: Final = "invented"
"""Key that marks a made-up session; it is kept in `Session.extra`."""
USUAL_POOLS_M: Final = (12.5, 15.0, 16.67, 20.0, 25 * YARD_M, 25.0, 30.0, 33.33, 50 * YARD_M, 50.0)
"""Pool lengths that are built (common practice, no source); others are read and noted."""


def read_session(folder: Path, quality: Quality) -> Session:
    """Read session.toml and, where there is one, marks.toml of a session folder.

    Parameters
    ----------
    folder : Path
        The session folder.
    quality : Quality
        Gets a row for each unknown key and each odd but usable value.

    Raises
    ------
    SessionError
        The folder or a file is missing, or a value can't be used.
    """
    if not folder.is_dir():
        raise SessionError("is no folder", where=str(folder), mend="give a session folder")
    data = read_toml(_existing(folder / SESSION_FILE), SessionError)
    check_format(data, SESSION_FILE, SessionError, need=True)
    _check_pool_key(data)
    try:
        raw = SessionTable.model_validate(data)
    except ValidationError as failure:
        raise_first(failure, SESSION_FILE, SessionError)
    _note_unknown(raw, quality)
    _note_odd(raw, quality)
    return Session(
        folder=folder,
        started_at=raw.started_at,
        swimmer=raw.swimmer,
        pool_length_m=raw.pool_length_m,
        sensors=_sensors(raw.sensor, folder),
        height_m=raw.height_m,
        upper_arm_m=raw.upper_arm_m,
        forearm_m=raw.forearm_m,
        session_id=raw.session_id,
        swimmer_id=raw.swimmer_id,
        blocks=_blocks(raw.block),
        videos=tuple(_video(video, folder, no, quality) for no, video in enumerate(raw.video, 1)),
        marks=read_marks(folder, quality),
        extra=dict(raw.unknown),
    )


def read_marks(folder: Path, quality: Quality) -> tuple[Mark, ...]:
    """Return the marks of marks.toml in file order, none where there is no such file."""
    path = folder / MARKS_FILE
    if not path.exists():
        return ()
    data = read_toml(path, SessionError)
    check_format(data, MARKS_FILE, SessionError, need=False)
    try:
        raw = MarksTable.model_validate(data)
    except ValidationError as failure:
        raise_first(failure, MARKS_FILE, SessionError)
    keys = [key for mark in raw.mark for key in mark.unknown]
    _note_keys([*(key for key in raw.unknown if key != "format"), *keys], MARKS_FILE, quality)
    names = MarkTable.model_fields
    return tuple(Mark(**{name: getattr(mark, name) for name in names}) for mark in raw.mark)


def _existing(path: Path) -> Path:
    if not path.is_file():
        raise SessionError(
            f"there is no {path.name}", where=str(path.parent), mend="give a session folder"
        )
    return path


def _check_pool_key(data: Mapping[str, Any]) -> None:
    yards = data.get("pool_length_yd")
    if "pool_length_m" not in data and isinstance(yards, int | float):
        raise SessionError(
            "pool_length_m is missing",
            where=SESSION_FILE,
            mend=f"write pool_length_m = {yards * YARD_M:.2f} in place of pool_length_yd",
        )


def _sensors(raw: Iterable[SensorTable], folder: Path) -> tuple[SensorFile, ...]:
    sensors: list[SensorFile] = []
    used: dict[Path, str] = {}
    for number, sensor in enumerate(raw, 1):
        where = f"{SESSION_FILE} [[sensor]] {number}"
        if sensor.placement in {other.placement for other in sensors}:
            raise SessionError(
                f"{sensor.placement} is there twice",
                where=where,
                mend="give each sensor its own placement",
            )
        keys = ("file", "accel_file", "gyro_file")
        files = {
            key: log_path(folder, name, f"{where} {key}")
            for key in keys
            if (name := getattr(sensor, key)) is not None
        }
        for key, path in files.items():
            if path.resolve() in used:
                raise SessionError(
                    f"{path.name} is already used by {used[path.resolve()]}",
                    where=f"{where} {key}",
                    mend="name each log once",
                )
            used[path.resolve()] = f"{sensor.placement} {key}"
        sensors.append(
            SensorFile(
                placement=sensor.placement,
                accel_range_g=sensor.accel_range_g,
                gyro_range_deg_s=sensor.gyro_range_deg_s,
                columns=dict(sensor.columns),
                **files,
            )
        )
    return tuple(sensors)


def inside_path(folder: Path, name: str, where: str) -> Path:
    """Return the path of a file named in session.toml, which may not leave the folder.

    Raises
    ------
    SessionError
        An absolute path, a path that leads out of the folder (links followed), or none.
    """
    if not name.strip():
        raise SessionError("is empty", where=where, mend="name a file in the session folder")
    try:
        inside = (folder / name).resolve().is_relative_to(folder.resolve())
    except (OSError, RuntimeError) as failure:
        raise SessionError(f"{shown(name)} can't be followed", where=where) from failure
    if not inside or Path(name).is_absolute():
        raise SessionError(
            f"{shown(name)} lies outside the session folder",
            where=where,
            mend="copy the file into the folder and name it without a path",
        )
    return folder / name


def log_path(folder: Path, name: str, where: str) -> Path:
    """Return the path of a log: inside the folder, there, and of a kind that is read."""
    path = inside_path(folder, name, where)
    if not path.is_file():
        raise SessionError(
            f"{shown(name)} is not in the session folder",
            where=where,
            mend="copy the log into the folder or correct the name",
        )
    if not path.name.lower().endswith(LOG_SUFFIXES):
        raise SessionError(
            f"{shown(name)} is no log that is read",
            where=where,
            mend="use .csv, .csv.gz or .parquet",
        )
    return path


def _blocks(raw: list[BlockTable]) -> tuple[Block, ...]:
    order = sorted(range(len(raw)), key=lambda i: (raw[i].start_s, raw[i].end_s))
    for before, after in pairwise(order):
        if raw[after].start_s < raw[before].end_s:
            raise SessionError(
                f"block {before + 1} (to {raw[before].end_s:g} s) and block {after + 1} "
                f"(from {raw[after].start_s:g} s) overlap",
                where=f"{SESSION_FILE} [[block]] {after + 1}",
                mend="let each block start after the one before has ended",
            )
    return tuple(
        Block(
            start_s=block.start_s,
            end_s=block.end_s,
            label=block.label,
            lengths=tuple(block.lengths),
            drill=block.drill or None,
            aids=tuple(block.aids),
            breathing=block.breathing or None,
            felt={k.removeprefix("felt_"): float(block.unknown[k]) for k in block.felt_keys()},
        )
        for block in raw
    )


def _video(raw: VideoTable, folder: Path, number: int, quality: Quality) -> Video:
    path = inside_path(folder, raw.file, f"{SESSION_FILE} [[video]] {number} file")
    if not path.is_file():
        quality.add(
            "video_missing", Severity.NOTE, f"The video {raw.file} is not in the session folder."
        )
    if len({mark.video_s for mark in raw.mark}) < len(raw.mark):
        raise SessionError(
            "two marks have the same video_s",
            where=f"{SESSION_FILE} [[video]] {number}",
            mend="keep one of them",
        )
    if raw.starts_at_s is None and not raw.mark:
        quality.add(
            "video_unplaced",
            Severity.NOTE,
            f"The video {raw.file} has neither starts_at_s nor marks: its time is unknown.",
        )
    marks = tuple(
        VideoMark(video_s=mark.video_s, session_s=mark.session_s, label=mark.label)
        for mark in raw.mark
    )
    return Video(
        file=path, starts_at_s=raw.starts_at_s, marks=marks, slow_factor=raw.slow_factor or 1.0
    )


def _note_unknown(raw: SessionTable, quality: Quality) -> None:
    _note_keys([key for key in raw.unknown if key != INVENTED], SESSION_FILE, quality)
    tables: list[tuple[str, AnyTable]] = [("[[sensor]]", s) for s in raw.sensor]
    tables += [("[[video]]", v) for v in raw.video]
    tables += [("[[video.mark]]", m) for v in raw.video for m in v.mark]
    for name, table in tables:
        _note_keys(table.unknown, f"{SESSION_FILE} {name}", quality)
    for block in raw.block:
        felt = block.felt_keys()
        keys = [key for key in block.unknown if key not in felt]
        keys += [k for k in felt if k.removeprefix("felt_") not in SCHEMAS["lengths"].names]
        _note_keys(keys, f"{SESSION_FILE} [[block]]", quality)


def _note_keys(keys: Iterable[str], where: str, quality: Quality) -> None:
    for key in dict.fromkeys(keys):
        name = shown(key)[1:-1]
        quality.add(
            "unknown_key", Severity.NOTE, f"{where}: the key {name} is not known; not used."
        )


def _note_odd(raw: SessionTable, quality: Quality) -> None:
    if not any(abs(raw.pool_length_m - usual) < 0.11 for usual in USUAL_POOLS_M):
        quality.add(
            "pool_length_unusual",
            Severity.NOTE,
            f"A pool of {raw.pool_length_m:g} m is unusual (25 yd is 22.86 m); taken as given.",
        )
    if not raw.swimmer.strip():
        quality.add("swimmer_missing", Severity.NOTE, "session.toml does not name the swimmer.")
    for number, block in enumerate(raw.block, 1):
        if block.drill is not None and "drill" not in block.lengths:
            quality.add(
                "drill_unused",
                Severity.NOTE,
                f"Block {number} names the drill {block.drill} but none of its lengths is a drill.",
                start_s=block.start_s,
                end_s=block.end_s,
            )
