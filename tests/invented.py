"""A session of an invented swimmer, for tests of what comes after the reading."""

from __future__ import annotations

from datetime import UTC, datetime
from pathlib import Path

from sensorswim.model import Session


def invented_session() -> Session:
    """Return a session in a 25 m pool without any sensor."""
    return Session(
        folder=Path(),
        started_at=datetime(2026, 1, 5, tzinfo=UTC),
        swimmer="Invented",
        pool_length_m=25.0,
        sensors=(),
    )
