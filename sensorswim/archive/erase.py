"""Taking a session or a swimmer out: rows, kept logs, files, and what deleted rows leave behind.

What is to go is written down first, so that an erasure that a crash stops is finished by the next
opening. On SQLite deleted bytes are overwritten, the file is rebuilt and its log emptied; copies
made before a change of layout go, too. On PostgreSQL the tables are rebuilt; its own log and its
backups are the server's keeper's to clear.
"""

from __future__ import annotations

import json
from collections.abc import Sequence
from pathlib import Path
from typing import Any, Final

import sqlalchemy as sa

from sensorswim.archive.schema import ERASURE, METADATA, SESSION, SWIMMER
from sensorswim.archive.store import Store, backups
from sensorswim.errors import ArchiveError, InputError, OutputError
from sensorswim.export import check_out
from sensorswim.formats.session_toml import MARKS_FILE, SESSION_FILE, read_session
from sensorswim.formats.settings_toml import SETTINGS_FILE
from sensorswim.model import Quality

_OF: Final = {"swimmer": SWIMMER, "session": SESSION}


def erase(store: Store, kind: str, row_id: int, *, files: Sequence[Path] = ()) -> None:
    """Erase a swimmer or a session, and the given files.

    Parameters
    ----------
    kind : str
        ``swimmer`` or ``session``.
    row_id : int
        Its id in the archive.
    files : sequence of Path
        From `session_files` and `result_files`; folders that are empty after it go, too.
    """
    listed = json.dumps([str(file.resolve()) for file in files])
    with store.write() as connection:
        connection.execute(ERASURE.insert().values(kind=kind, row_id=row_id, files=listed))
    finish_erasures(store)


def finish_erasures(store: Store) -> int:
    """Finish what was begun, by this process or by one that was killed; return how many."""
    with store.read() as connection:
        begun = connection.execute(sa.select(ERASURE).order_by(ERASURE.c.id)).all()
    for row in begun:
        _remove_files([Path(name) for name in json.loads(row.files)])
        with store.write() as connection:
            table = _OF[row.kind]
            connection.execute(table.delete().where(table.c.id == row.row_id))
            connection.execute(ERASURE.update().where(ERASURE.c.id == row.id).values(files="[]"))
        _sweep(store)
        with store.write() as connection:
            connection.execute(ERASURE.delete().where(ERASURE.c.id == row.id))
    if begun:
        _empty_log(store)
    return len(begun)


def _sweep(store: Store) -> None:
    """Rebuild the files of the database, so that nothing of a deleted row is left in them."""
    if store.path is not None:
        for copy in backups(store.path):
            copy.unlink(missing_ok=True)
    with store.engine.connect().execution_options(isolation_level="AUTOCOMMIT") as connection:
        if store.path is not None:
            raw: Any = connection.connection.dbapi_connection
            raw.execute("VACUUM")
        else:
            for table in METADATA.sorted_tables:
                connection.exec_driver_sql(f'VACUUM (FULL, ANALYZE) "{table.name}"')
    _empty_log(store)


def _empty_log(store: Store) -> None:
    if store.path is not None:
        with store.engine.connect() as connection:
            raw: Any = connection.connection.dbapi_connection
            connection.rollback()
            raw.execute("PRAGMA wal_checkpoint(TRUNCATE)")


def _remove_files(files: Sequence[Path]) -> None:
    try:
        for file in files:
            file.unlink(missing_ok=True)
        for folder in sorted({file.parent for file in files}, key=lambda f: -len(f.parts)):
            if folder.is_dir() and not any(folder.iterdir()):
                folder.rmdir()
    except OSError as failure:
        raise ArchiveError(
            f"can't be removed ({failure.strerror})",
            where=str(failure.filename),
            mend="remove it by hand; the next use of the archive goes on erasing",
        ) from failure


def session_files(folder: Path) -> list[Path]:
    """Return the files of a session folder that session.toml names, itself included.

    A folder that is gone, or whose session.toml can't be read any more, has none.
    """
    try:
        session = read_session(folder, Quality())
    except InputError:
        return []
    logs = [f for s in session.sensors for f in (s.file, s.accel_file, s.gyro_file)]
    videos = [video.file for video in session.videos]
    small = [folder / name for name in (SESSION_FILE, MARKS_FILE, SETTINGS_FILE)]
    return [path for path in [*logs, *videos, *small] if path is not None and path.is_file()]


def result_files(folder: Path) -> list[Path]:
    """Return the files of a result folder.

    Raises
    ------
    OutputError
        The folder isn't there, or holds anything but a result of this program.
    """
    place = check_out(folder)
    if not place.is_dir():
        raise OutputError("there is no such folder", where=str(folder), mend="check the name")
    return sorted(path for path in place.rglob("*") if path.is_file())
