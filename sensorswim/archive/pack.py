"""One analysed session, packed for the archive: rows and Parquet bytes, no database yet."""

from __future__ import annotations

import gzip
import hashlib
import io
import json
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import Any, Final

import pandas as pd
import pyarrow.parquet as pq

from sensorswim.errors import InputError
from sensorswim.export import summary
from sensorswim.figures import felt_against_measured
from sensorswim.formats.session_toml import MARKS_FILE, SESSION_FILE
from sensorswim.formats.settings_toml import SETTINGS_FILE
from sensorswim.formats.tables_io import plain
from sensorswim.metrics.season import figure_rows, season_lengths
from sensorswim.model.analysis import Analysis
from sensorswim.model.session import Session
from sensorswim.model.tables import SCHEMAS, frame, to_arrow

SMALL_FILES: Final = (SESSION_FILE, MARKS_FILE, SETTINGS_FILE)
"""Always kept: what the analysis needs beside the logs."""


@dataclass(frozen=True, kw_only=True)
class RawFile:
    """A file of the session folder: its checksum, and its bytes where they are kept."""

    name: str
    sha256: str
    size: int
    content: bytes | None


@dataclass(frozen=True, kw_only=True)
class Packed:
    """Everything that one session brings into the archive."""

    session: dict[str, Any]
    swimmer: dict[str, str]
    files: tuple[RawFile, ...]
    analysis: dict[str, Any]
    tables: dict[str, bytes]
    figures: list[dict[str, Any]]
    felt: list[dict[str, Any]]


def session_key(session: Session, files: tuple[RawFile, ...]) -> str:
    """Return what tells a session from others: its session_id, else its start and its logs."""
    if session.session_id:
        return session.session_id
    logs = [file.sha256 for file in files if file.name not in SMALL_FILES]
    text = "\n".join([session.started_at.astimezone(UTC).isoformat(), *sorted(logs)])
    return f"logs-{hashlib.sha256(text.encode()).hexdigest()[:32]}"


def swimmer_key(session: Session) -> str:
    """Return what tells a swimmer from others: swimmer_id, else the name."""
    return session.swimmer_id or f"name:{' '.join(session.swimmer.casefold().split())}"


def read_files(session: Session, *, keep_raw: bool) -> tuple[RawFile, ...]:
    """Read the checksums of a session's files, and the bytes of those that are kept.

    Raises
    ------
    InputError
        A file can't be read.
    """
    logs = [
        path
        for sensor in session.sensors
        for path in (sensor.file, sensor.accel_file, sensor.gyro_file)
        if path is not None
    ]
    small = [path for name in SMALL_FILES if (path := session.folder / name).is_file()]
    try:
        return tuple(
            _raw(path, session.folder, keep=keep_raw or path in small)
            for path in dict.fromkeys([*small, *logs])
        )
    except OSError as failure:
        where = Path(str(failure.filename or session.folder)).name
        raise InputError(f"can't be read ({failure.strerror})", where=where) from failure


def _raw(path: Path, folder: Path, *, keep: bool) -> RawFile:
    content = path.read_bytes()
    return RawFile(
        name=path.relative_to(folder).as_posix(),
        sha256=hashlib.sha256(content).hexdigest(),
        size=len(content),
        content=gzip.compress(content, 6, mtime=0) if keep else None,
    )


def input_hash(files: tuple[RawFile, ...]) -> str:
    """Return one checksum over all files of a session."""
    lines = sorted(f"{file.name} {file.sha256}" for file in files)
    return hashlib.sha256("\n".join(lines).encode()).hexdigest()


def pack(analysis: Analysis, files: tuple[RawFile, ...], *, squad: str = "") -> Packed:
    """Return an analysed session as rows.

    Parameters
    ----------
    analysis : Analysis
    files : tuple of RawFile
        From `read_files`; empty for a session without a folder.
    squad : str
        The swimmer's squad, "" to leave it as it is.
    """
    session = analysis.session
    now = datetime.now(UTC).isoformat(timespec="seconds")
    return Packed(
        session={
            "key": session_key(session, files),
            "started_at": session.started_at.astimezone(UTC).isoformat(),
            "pool_length_m": session.pool_length_m,
            "kit": " ".join(sorted(str(sensor.placement) for sensor in session.sensors)),
            "folder": str(session.folder.resolve()) if files else "",
            "invented": int(bool(session.extra.get("invented", False))),
            "added_at": now,
        },
        swimmer={"key": swimmer_key(session), "name": session.swimmer, "squad": squad},
        files=files,
        analysis={
            "version": analysis.version,
            "settings_hash": analysis.settings.hash,
            "input_hash": input_hash(files),
            "result_hash": _result_hash(analysis.tables),
            "made_at": now,
            "summary": json.dumps(plain(summary(analysis)), allow_nan=False),
        },
        tables={name: table_bytes(analysis.tables[name], name) for name in SCHEMAS},
        figures=figure_rows(season_lengths(analysis.tables, pool_length_m=session.pool_length_m)),
        felt=_felt(analysis),
    )


def table_bytes(table: pd.DataFrame, name: str) -> bytes:
    """Return a result table as the bytes of a Parquet file."""
    sink = io.BytesIO()
    pq.write_table(to_arrow(name, table), sink, compression="zstd")
    return sink.getvalue()


def table_of(content: bytes, name: str) -> pd.DataFrame:
    """Return the result table that `table_bytes` made."""
    raw = pq.read_table(io.BytesIO(content)).to_pandas()
    return frame(name, raw[[column for column in raw.columns if column in SCHEMAS[name].names]])


def _result_hash(tables: dict[str, pd.DataFrame]) -> str:
    """Return a checksum of the values, whatever the version of the file format."""
    digest = hashlib.sha256()
    for name in SCHEMAS:
        table = frame(name, tables[name])
        digest.update(pd.util.hash_pandas_object(table, index=False).to_numpy().tobytes())
    return digest.hexdigest()


def _felt(analysis: Analysis) -> list[dict[str, Any]]:
    table = felt_against_measured(analysis.session.blocks, analysis.lengths)
    return [
        {
            "row_no": number,
            "block_label": str(row["block_label"]),
            "activity": str(row["activity"]),
            "name": str(row["column"]),
            "felt": float(row["felt"]),
            "measured": plain(row["measured"]),
            "lengths": int(row["lengths"]),
        }
        for number, row in enumerate(table.to_dict("records"), start=1)
    ]
