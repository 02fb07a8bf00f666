"""Is the archive whole? Every row has its owner, every table can be read, every checksum fits."""

from __future__ import annotations

import gzip
import hashlib
from collections.abc import Iterator

import pyarrow as pa
import sqlalchemy as sa

from sensorswim import __version__
from sensorswim.archive.pack import table_of
from sensorswim.archive.schema import ANALYSIS, RAW_FILE, RESULT_TABLE, SESSION
from sensorswim.archive.store import Store
from sensorswim.model.tables import SCHEMAS


def problems(store: Store) -> Iterator[str]:
    """Yield what is wrong, one line each; nothing where the archive is whole."""
    with store.read() as connection:
        if store.path is not None:
            yield from _file(connection)
        yield from _analyses(connection)
        yield from _tables(connection)
        yield from _logs(connection)


def _file(connection: sa.Connection) -> Iterator[str]:
    told = connection.exec_driver_sql("PRAGMA integrity_check").scalars().all()
    yield from (f"the file: {line}" for line in told if line != "ok")
    lost = connection.exec_driver_sql("PRAGMA foreign_key_check").all()
    yield from (f"{row[0]}: row {row[1]} has lost its owner" for row in lost)


def _analyses(connection: sa.Connection) -> Iterator[str]:
    current = sa.func.coalesce(sa.func.sum(ANALYSIS.c.is_current), 0)
    query = (
        sa.select(SESSION.c.key, current.label("current"))
        .select_from(SESSION.outerjoin(ANALYSIS))
        .group_by(SESSION.c.id, SESSION.c.key)
        .having(current != 1)
    )
    for row in connection.execute(query):
        yield f"session {row.key}: {row.current} current analyses in place of one"


def _tables(connection: sa.Connection) -> Iterator[str]:
    names: dict[int, set[str]] = {}
    for row in connection.execute(sa.select(RESULT_TABLE)):
        names.setdefault(row.analysis_id, set()).add(row.name)
        try:
            table_of(row.content, row.name)
        except (pa.ArrowException, KeyError, ValueError, OSError):
            yield f"analysis {row.analysis_id}: the table {row.name} can't be read"
    query = sa.select(ANALYSIS.c.id).where(ANALYSIS.c.version == __version__)
    for analysis_id in connection.execute(query).scalars():
        missing = set(SCHEMAS) - names.get(analysis_id, set())
        if missing:
            yield f"analysis {analysis_id}: without {', '.join(sorted(missing))}"


def _logs(connection: sa.Connection) -> Iterator[str]:
    query = sa.select(RAW_FILE).where(RAW_FILE.c.content.is_not(None))
    for row in connection.execute(query):
        try:
            fits = hashlib.sha256(gzip.decompress(row.content)).hexdigest() == row.sha256
        except (OSError, EOFError, ValueError):
            fits = False
        if not fits:
            yield f"session {row.session_id}: the kept {row.name} doesn't fit its checksum"
