"""Opening an archive: SQLite by default, PostgreSQL by URL, brought up to date by itself.

SQLite: transactions begin IMMEDIATE, so that two writers wait for each other in place of failing;
the layout is changed inside one transaction, with a copy of the file made before. PostgreSQL: one
advisory lock does the same for writers and for changes of the layout.
"""

from __future__ import annotations

import contextlib
import os
import sqlite3
from collections.abc import Iterator
from dataclasses import dataclass
from importlib import resources
from pathlib import Path
from typing import Any, Final

import platformdirs
import sqlalchemy as sa
from alembic.config import Config
from alembic.runtime.environment import EnvironmentContext
from alembic.runtime.migration import MigrationContext
from alembic.script import ScriptDirectory

from sensorswim.errors import ArchiveError

VARIABLE: Final = "SENSORSWIM_ARCHIVE"
FILE: Final = "archive.sqlite"
BUSY_MS: Final = 60_000
_LOCK: Final = 0x5E45_0A11
"""Number of the advisory lock on PostgreSQL; any that nothing else uses will do."""


@dataclass(frozen=True, kw_only=True)
class Store:
    """An open archive; `path` is the SQLite file, None on PostgreSQL."""

    engine: sa.Engine
    path: Path | None

    @contextlib.contextmanager
    def write(self) -> Iterator[sa.Connection]:
        """Open the one writing transaction; it is done whole or not at all."""
        with _told(self.path), self.engine.begin() as connection:
            _lock(connection)
            yield connection

    @contextlib.contextmanager
    def read(self) -> Iterator[sa.Connection]:
        """Open a reading transaction, which never waits for a writer."""
        engine = self.engine.execution_options(sensorswim_read=True)
        with _told(self.path), engine.connect() as connection:
            yield connection

    def close(self) -> None:
        """Give all connections back."""
        self.engine.dispose()


def archive_url() -> str:
    """Return where the archive is: `SENSORSWIM_ARCHIVE`, else a file in the user's data folder."""
    given = os.environ.get(VARIABLE, "").strip()
    return given or str(platformdirs.user_data_path("sensorswim", appauthor=False) / FILE)


def open_store(url: str | None = None, *, revision: str = "head") -> Store:
    """Open the archive, make it where there is none, and bring its layout up to date.

    Parameters
    ----------
    url : str, optional
        A PostgreSQL URL or the path of a SQLite file; `archive_url` by default.
    revision : str
        Layout to bring it to; only tests ask for an older one.

    Raises
    ------
    ArchiveError
        It can't be reached or read, or a newer version of the program made it.
    """
    place = url or archive_url()
    store = _postgresql(place) if "://" in place else _sqlite(Path(place).expanduser())
    try:
        with _told(store.path):
            _bring_up_to_date(store, revision)
    except BaseException:
        store.close()
        raise
    return store


def layouts() -> list[str]:
    """Return the revisions of the layout, oldest first."""
    return [script.revision for script in _scripts().walk_revisions()][::-1]


def _scripts() -> ScriptDirectory:
    config = Config()
    folder = str(resources.files("sensorswim.archive") / "migrations")
    config.set_main_option("script_location", folder.replace("%", "%%"))
    config.set_main_option("path_separator", "os")
    return ScriptDirectory.from_config(config)


def _sqlite(path: Path) -> Store:
    if path.is_dir():
        raise ArchiveError("is a folder", where=str(path), mend=f"name a file such as {FILE}")
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
    except OSError as failure:
        raise ArchiveError(
            f"can't be made ({failure.strerror})",
            where=str(path.parent),
            mend=f"set {VARIABLE} to another place",
        ) from failure
    engine = sa.create_engine(sa.URL.create("sqlite", database=str(path)))
    sa.event.listen(engine, "connect", _on_connect)
    sa.event.listen(engine, "begin", _on_begin)
    return Store(engine=engine, path=path)


def _on_connect(raw: sqlite3.Connection, _record: object) -> None:
    raw.isolation_level = None
    cursor = raw.cursor()
    for line in (
        f"busy_timeout = {BUSY_MS}",
        "journal_mode = WAL",
        "synchronous = FULL",
        "foreign_keys = ON",
        "secure_delete = ON",
        "cache_size = -65536",
    ):
        cursor.execute(f"PRAGMA {line}")
    cursor.close()


def _on_begin(connection: sa.Connection) -> None:
    reading = connection.get_execution_options().get("sensorswim_read", False)
    connection.exec_driver_sql("BEGIN" if reading else "BEGIN IMMEDIATE")


def _postgresql(url: str) -> Store:
    try:
        parsed = sa.make_url(url)
    except sa.exc.ArgumentError as failure:
        raise _no_url() from failure
    if parsed.get_backend_name() != "postgresql":
        raise _no_url()
    try:
        engine = sa.create_engine(parsed.set(drivername="postgresql+psycopg"))
    except ModuleNotFoundError as failure:
        raise ArchiveError(
            "PostgreSQL needs the package psycopg",
            where=VARIABLE,
            mend="install it by: pip install 'sensorswim[postgresql]'",
        ) from failure
    return Store(engine=engine, path=None)


def _no_url() -> ArchiveError:
    return ArchiveError(
        "is no PostgreSQL URL",
        where=VARIABLE,
        mend="write postgresql://user@host/database, or the path of a SQLite file",
    )


def _lock(connection: sa.Connection) -> None:
    if connection.dialect.name == "postgresql":
        connection.execute(sa.select(sa.func.pg_advisory_xact_lock(_LOCK)))


@contextlib.contextmanager
def _told(path: Path | None) -> Iterator[None]:
    """Turn what the database says into one line."""
    try:
        yield
    except sa.exc.DBAPIError as failure:
        if isinstance(failure, sa.exc.IntegrityError | sa.exc.ProgrammingError):
            raise
        reason = str(failure.orig).strip().splitlines()[0]
        mend = "check the disk and the path" if path else "check the server and the URL"
        raise ArchiveError(
            f"can't be used ({reason})", where=str(path or "PostgreSQL"), mend=mend
        ) from failure


def _bring_up_to_date(store: Store, revision: str) -> None:
    scripts = _scripts()
    target = scripts.get_current_head() if revision == "head" else revision
    with store.read() as connection:
        found = _revision_of(connection)
    if found == target:
        return
    _refuse_newer(found, store)
    with _without_foreign_keys(store) as connection:
        _lock(connection)
        found = _revision_of(connection)
        if found == target:
            return
        if found is not None and store.path is not None:
            back_up(store.path, f"before-{target}")
        _migrate(connection, scripts, str(target))
        _check_keys(connection)


def _refuse_newer(found: str | None, store: Store) -> None:
    if found is not None and found not in layouts():
        raise ArchiveError(
            f"its layout {found} is newer than this version knows",
            where=str(store.path or "PostgreSQL"),
            mend="update sensorswim",
        )


def _revision_of(connection: sa.Connection) -> str | None:
    return MigrationContext.configure(connection).get_current_revision()


@contextlib.contextmanager
def _without_foreign_keys(store: Store) -> Iterator[sa.Connection]:
    """Begin the transaction of a change of layout: a rebuilt table must not take its children."""
    with store.engine.connect() as connection:
        raw: Any = connection.connection.dbapi_connection
        if store.path is not None:
            raw.execute("PRAGMA foreign_keys = OFF")
        try:
            with connection.begin():
                yield connection
        finally:
            if store.path is not None:
                raw.execute("PRAGMA foreign_keys = ON")


def _migrate(connection: sa.Connection, scripts: ScriptDirectory, target: str) -> None:
    def steps(revision: Any, _context: MigrationContext) -> Any:
        return scripts._upgrade_revs(target, revision)

    with EnvironmentContext(Config(), scripts, fn=steps) as environment:
        environment.configure(connection=connection, transactional_ddl=False)
        environment.run_migrations()


def _check_keys(connection: sa.Connection) -> None:
    if connection.dialect.name == "sqlite":
        broken = connection.exec_driver_sql("PRAGMA foreign_key_check").all()
        if broken:
            raise ArchiveError(f"{len(broken)} rows lost their owner; nothing was changed")


def back_up(path: Path, why: str) -> Path:
    """Copy a SQLite archive, rows still in its log included, beside it; an older copy stays."""
    place = path.with_name(f"{path.stem}-{why}{path.suffix}")
    if place.exists():
        return place
    part = place.with_name(f".{place.name}.{os.getpid()}.part")
    with (
        contextlib.closing(sqlite3.connect(path)) as source,
        contextlib.closing(sqlite3.connect(part)) as copy,
    ):
        source.backup(copy)
    return part.replace(place)


def backups(path: Path) -> list[Path]:
    """Return the copies that were made beside a SQLite archive, finished or not."""
    names = (f"{path.stem}-before-*{path.suffix}*", f".{path.stem}-before-*")
    return sorted(found for name in names for found in path.parent.glob(name))
