"""Putting sessions into the archive: once, whole, and without losing older figures."""

from __future__ import annotations

import secrets
from collections.abc import Callable
from enum import StrEnum
from pathlib import Path
from typing import Any, Final

import sqlalchemy as sa

from sensorswim import __version__
from sensorswim.analyse import analyse
from sensorswim.archive.pack import Packed, input_hash, pack, read_files, session_key, swimmer_key
from sensorswim.archive.schema import (
    ANALYSIS,
    FELT,
    FIGURE,
    RAW_FILE,
    RESULT_TABLE,
    SESSION,
    SWIMMER,
)
from sensorswim.archive.store import Store
from sensorswim.errors import ArchiveError
from sensorswim.formats.session_toml import read_session
from sensorswim.formats.settings_toml import read_settings
from sensorswim.model import Quality

_LETTERS: Final = "abcdefghjkmnpqrstuvwxyz23456789"
"""Letters of a pseudonym, without those that are mixed up when read aloud."""

Progress = Callable[[str], None]


class Added(StrEnum):
    """What adding a session did."""

    NEW = "added"
    AGAIN = "analysed again; the old figures stay with the version that made them"
    KNOWN = "already there, nothing changed"


def add_session(
    store: Store,
    folder: Path,
    *,
    squad: str = "",
    keep_raw: bool = False,
    progress: Progress = lambda _step: None,
) -> Added:
    """Analyse a session folder, unless that is done already, and put it into the archive.

    Parameters
    ----------
    store : Store
    folder : Path
        A session folder.
    squad : str
        Squad of the swimmer; "" leaves it as it is.
    keep_raw : bool
        Keep the logs themselves in the archive, compressed, beside their checksums.
    progress : callable
        Told each step.

    Raises
    ------
    SensorswimError
        The folder can't be used, or other logs of the same session are in the archive.
    """
    session = read_session(folder, Quality())
    files = read_files(session, keep_raw=keep_raw)
    settings_hash = read_settings(folder).hash
    with store.read() as connection:
        known = connection.execute(
            sa.select(ANALYSIS.c.id)
            .join(SESSION)
            .where(
                SESSION.c.key == session_key(session, files),
                ANALYSIS.c.version == __version__,
                ANALYSIS.c.settings_hash == settings_hash,
                ANALYSIS.c.input_hash == input_hash(files),
                ANALYSIS.c.is_current == 1,
            )
        ).first()
        complete = known is not None and not (keep_raw and _raw_missing(connection, known.id))
    if complete:
        _join_squad(store, swimmer_key(session), squad)
        return Added.KNOWN
    packed = pack(analyse(folder, progress=progress), files, squad=squad)
    progress("writing into the archive")
    return put(store, packed)


def _join_squad(store: Store, key: str, squad: str) -> None:
    if squad:
        with store.write() as connection:
            own = (SWIMMER.c.key == key) & (SWIMMER.c.squad != squad)
            connection.execute(SWIMMER.update().where(own).values(squad=squad))


def _raw_missing(connection: sa.Connection, analysis_id: int) -> bool:
    query = (
        sa.select(RAW_FILE.c.name)
        .join(ANALYSIS, ANALYSIS.c.session_id == RAW_FILE.c.session_id)
        .where(ANALYSIS.c.id == analysis_id, RAW_FILE.c.content.is_(None))
    )
    return connection.execute(query).first() is not None


def put(store: Store, packed: Packed) -> Added:
    """Put a packed session into the archive in one transaction.

    Raises
    ------
    ArchiveError
        The same session is there with other logs, or of another swimmer.
    """
    with store.write() as connection:
        swimmer_id = _swimmer(connection, packed)
        found = connection.execute(
            sa.select(SESSION).where(SESSION.c.key == packed.session["key"])
        ).first()
        if found is None:
            row = packed.session | {"swimmer_id": swimmer_id}
            session_id = _insert(connection, SESSION, row)
        else:
            session_id = found.id
            _check_same(connection, found, swimmer_id, packed)
        changed = _files(connection, session_id, packed)
        added = _analysis(connection, session_id, packed)
    if found is None:
        return Added.NEW
    return Added.AGAIN if added or changed else Added.KNOWN


def _insert(connection: sa.Connection, table: sa.Table, row: dict[str, Any]) -> int:
    return int(connection.execute(table.insert().values(row).returning(table.c.id)).scalar_one())


def _swimmer(connection: sa.Connection, packed: Packed) -> int:
    """Return the swimmer's row, made where it is missing; a squad that is given counts."""
    given = packed.swimmer
    found = connection.execute(sa.select(SWIMMER).where(SWIMMER.c.key == given["key"])).first()
    if found is None:
        taken = set(connection.execute(sa.select(SWIMMER.c.pseudonym)).scalars())
        return _insert(connection, SWIMMER, given | {"pseudonym": _pseudonym(taken)})
    if given["squad"] and given["squad"] != found.squad:
        connection.execute(
            SWIMMER.update().where(SWIMMER.c.id == found.id).values(squad=given["squad"])
        )
    return int(found.id)


def _pseudonym(taken: set[str]) -> str:
    while True:
        name = "swimmer-" + "".join(secrets.choice(_LETTERS) for _ in range(6))
        if name not in taken:
            return name


def _check_same(connection: sa.Connection, found: Any, swimmer_id: int, packed: Packed) -> None:
    """Refuse another swimmer's or other logs under a session that is there."""
    if found.swimmer_id != swimmer_id:
        raise ArchiveError(
            "this session is in the archive as another swimmer's",
            mend="correct swimmer or swimmer_id in session.toml, or remove the old session first",
        )
    query = sa.select(RAW_FILE.c.name, RAW_FILE.c.sha256).where(RAW_FILE.c.session_id == found.id)
    stored = {row.name: row.sha256 for row in connection.execute(query)}
    for file in packed.files:
        if not file.name.endswith(".toml") and stored.get(file.name, file.sha256) != file.sha256:
            raise ArchiveError(
                "differs from the log that is in the archive under the same session_id",
                where=file.name,
                mend="give the session its own session_id, or remove the old one first",
            )


def _files(connection: sa.Connection, session_id: int, packed: Packed) -> bool:
    """Write checksums and kept bytes; tell whether anything changed. Kept bytes stay kept."""
    columns = (RAW_FILE.c.name, RAW_FILE.c.sha256, RAW_FILE.c.content.is_not(None).label("kept"))
    query = sa.select(*columns).where(RAW_FILE.c.session_id == session_id)
    stored = {row.name: row for row in connection.execute(query)}
    changed = False
    for file in packed.files:
        old = stored.get(file.name)
        if old and old.sha256 == file.sha256 and (old.kept or file.content is None):
            continue
        here = (RAW_FILE.c.session_id == session_id) & (RAW_FILE.c.name == file.name)
        connection.execute(RAW_FILE.delete().where(here))
        connection.execute(
            RAW_FILE.insert().values(
                session_id=session_id,
                name=file.name,
                sha256=file.sha256,
                bytes=file.size,
                content=file.content,
            )
        )
        changed = True
    return changed


def _analysis(connection: sa.Connection, session_id: int, packed: Packed) -> bool:
    """Write an analysis that isn't there yet and make it the current one."""
    row = packed.analysis
    told = ("version", "settings_hash", "input_hash", "result_hash")
    found = connection.execute(
        sa.select(ANALYSIS.c.id, ANALYSIS.c.is_current).where(
            ANALYSIS.c.session_id == session_id, *(ANALYSIS.c[key] == row[key] for key in told)
        )
    ).first()
    if found is not None and found.is_current:
        return False
    own = ANALYSIS.c.session_id == session_id
    connection.execute(ANALYSIS.update().where(own).values(is_current=0))
    if found is not None:
        connection.execute(ANALYSIS.update().where(ANALYSIS.c.id == found.id).values(is_current=1))
        return True
    analysis_id = _insert(connection, ANALYSIS, row | {"session_id": session_id, "is_current": 1})
    owner = {"analysis_id": analysis_id}
    tables = [{"name": name, "content": blob} for name, blob in packed.tables.items()]
    for table, rows in ((RESULT_TABLE, tables), (FIGURE, packed.figures), (FELT, packed.felt)):
        if rows:
            connection.execute(table.insert(), [owner | one for one in rows])
    return True
