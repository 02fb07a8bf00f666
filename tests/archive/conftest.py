"""An empty archive on SQLite and on a PostgreSQL that the tests start."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest
import sqlalchemy as sa

from sensorswim.archive.store import Store, open_store
from tests.archive.servers import postgresql


@pytest.fixture(scope="session")
def server() -> Iterator[str]:
    with postgresql() as url:
        yield url


@pytest.fixture(params=["sqlite", "postgresql"])
def place(request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[str]:
    """The URL of an archive that isn't there yet."""
    if request.param == "sqlite":
        yield str(tmp_path / "archive.sqlite")
        return
    server = request.getfixturevalue("server")
    engine = sa.create_engine(server, isolation_level="AUTOCOMMIT")
    name = f"t{abs(hash(tmp_path)):x}"
    with engine.connect() as connection:
        connection.exec_driver_sql(f"CREATE DATABASE {name}")
    yield server.replace("/postgres?", f"/{name}?")
    with engine.connect() as connection:
        connection.exec_driver_sql(f"DROP DATABASE {name} WITH (FORCE)")
    engine.dispose()


@pytest.fixture
def store(place: str) -> Iterator[Store]:
    opened = open_store(place)
    yield opened
    opened.close()
