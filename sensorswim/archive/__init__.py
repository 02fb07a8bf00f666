"""The sessions of a swimmer or a squad: SQLite by default, PostgreSQL by URL."""

from sensorswim.archive.add import Added, add_session, put
from sensorswim.archive.erase import erase, finish_erasures
from sensorswim.archive.read import KEEPER, Swimmer, Who, find_session, find_swimmer, sessions
from sensorswim.archive.store import Store, archive_url, open_store

__all__ = [
    "KEEPER",
    "Added",
    "Store",
    "Swimmer",
    "Who",
    "add_session",
    "archive_url",
    "erase",
    "find_session",
    "find_swimmer",
    "finish_erasures",
    "open_archive",
    "put",
    "sessions",
]


def open_archive(url: str | None = None) -> Store:
    """Open the archive as `open_store` does, and finish what a crash left half erased."""
    store = open_store(url)
    finish_erasures(store)
    return store
