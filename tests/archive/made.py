"""Made-up sessions for the archive: tables and no logs, or a whole small session folder."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime, timedelta
from functools import cache
from typing import Any

from sensorswim.archive.pack import Packed, RawFile, pack
from tests.plausible import plausible_analysis, plausible_session, plausible_tables

FIRST = datetime(2026, 3, 14, 6, 30, tzinfo=UTC)
_TABLES = plausible_tables()


@cache
def made(
    number: int,
    *,
    swimmer: str = "Mira",
    shift: float = 0.0,
    version: str = "0.1.0",
    squad: str = "",
    files: tuple[RawFile, ...] = (),
    **session: Any,
) -> Packed:
    """Return session `number` of a swimmer: a week apart, the stroke rate moved by `shift`."""
    rate = _TABLES["lengths"]["stroke_rate_cycles_min"] + shift
    tables = _TABLES | {"lengths": _TABLES["lengths"].assign(stroke_rate_cycles_min=rate)}
    told = plausible_session(
        session_id=f"{swimmer}-{number}",
        swimmer=swimmer,
        started_at=FIRST + timedelta(weeks=number),
        **session,
    )
    analysis = replace(plausible_analysis(tables=tables), session=told, version=version)
    return pack(analysis, files, squad=squad)
