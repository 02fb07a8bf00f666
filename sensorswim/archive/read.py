"""What the archive answers: swimmers, sessions, a figure over the visits, a whole result."""

from __future__ import annotations

import json
from dataclasses import dataclass
from datetime import datetime
from typing import Any, Final

import pandas as pd
import sqlalchemy as sa

from sensorswim.archive.pack import table_of
from sensorswim.archive.schema import (
    ANALYSIS,
    DOCUMENT,
    FELT,
    FIGURE,
    RAW_FILE,
    RESULT_TABLE,
    SESSION,
    SWIMMER,
)
from sensorswim.archive.store import Store
from sensorswim.errors import ArchiveError

_DAY_S: Final = 86_400.0


@dataclass(frozen=True, kw_only=True)
class Who:
    """Who looks: a coach at a squad, a swimmer at their own sessions, or the archive's keeper.

    Parameters
    ----------
    squad : str or None
        Only swimmers of this squad.
    swimmer_key : str or None
        Only this swimmer.
    """

    squad: str | None = None
    swimmer_key: str | None = None

    def narrow(self, query: sa.Select[Any]) -> sa.Select[Any]:
        """Return a query on swimmers narrowed to those that may be seen."""
        if self.squad is not None:
            query = query.where(SWIMMER.c.squad == self.squad)
        if self.swimmer_key is not None:
            query = query.where(SWIMMER.c.key == self.swimmer_key)
        return query


KEEPER: Final = Who()


@dataclass(frozen=True, kw_only=True)
class Swimmer:
    """A swimmer of the archive."""

    id: int
    key: str
    name: str
    pseudonym: str
    squad: str


def swimmers(store: Store, who: Who = KEEPER) -> list[Swimmer]:
    """Return the swimmers that may be seen, by name."""
    query = who.narrow(sa.select(SWIMMER)).order_by(SWIMMER.c.name, SWIMMER.c.id)
    with store.read() as connection:
        return [Swimmer(**row) for row in connection.execute(query).mappings()]


def find_swimmer(store: Store, named: str, who: Who = KEEPER) -> Swimmer:
    """Return the swimmer with this name, key or pseudonym.

    Raises
    ------
    ArchiveError
        There is none, or more than one.
    """
    wanted = " ".join(named.casefold().split())
    seen = swimmers(store, who)
    found = [s for s in seen if named in (s.key, s.pseudonym)]
    found = found or [s for s in seen if " ".join(s.name.casefold().split()) == wanted]
    if len(found) == 1:
        return found[0]
    if found:
        keys = ", ".join(s.pseudonym for s in found)
        raise ArchiveError(f"{len(found)} swimmers are named {named!r}", mend=f"use {keys}")
    known = ", ".join(s.name or s.pseudonym for s in seen[:5]) or "the archive is empty"
    raise ArchiveError(f"there is no swimmer {named!r}", where="archive", mend=f"known: {known}")


_SESSION_COLUMNS: Final = (
    SESSION.c.id,
    SESSION.c.key,
    SESSION.c.started_at,
    SESSION.c.pool_length_m,
    SESSION.c.kit,
    SESSION.c.folder,
    SESSION.c.invented,
    SWIMMER.c.name.label("swimmer"),
    SWIMMER.c.pseudonym,
    SWIMMER.c.squad,
    ANALYSIS.c.id.label("analysis_id"),
    ANALYSIS.c.version,
    ANALYSIS.c.made_at,
)


def _current() -> sa.Join:
    return SWIMMER.join(SESSION).join(
        ANALYSIS, (ANALYSIS.c.session_id == SESSION.c.id) & (ANALYSIS.c.is_current == 1)
    )


def sessions(store: Store, swimmer: Swimmer | None = None, who: Who = KEEPER) -> pd.DataFrame:
    """Return one row a session with its current analysis, oldest first."""
    query = who.narrow(sa.select(*_SESSION_COLUMNS).select_from(_current()))
    if swimmer is not None:
        query = query.where(SESSION.c.swimmer_id == swimmer.id)
    return frame_of(store, query.order_by(SESSION.c.started_at, SESSION.c.id))


def find_session(store: Store, named: str, who: Who = KEEPER) -> dict[str, Any]:
    """Return the session whose key, or its beginning, is given.

    Raises
    ------
    ArchiveError
        There is none, or more than one.
    """
    query = who.narrow(sa.select(*_SESSION_COLUMNS).select_from(_current()))
    query = query.where(SESSION.c.key.startswith(named, autoescape=True)).limit(2)
    with store.read() as connection:
        found = connection.execute(query).mappings().all()
    exact = [row for row in found if row["key"] == named] or found
    if not named or len(exact) != 1:
        what = "more than one session begins" if found and named else "no session begins"
        mend = "sensorswim archive list shows them"
        raise ArchiveError(f"{what} with {named!r}", where="archive", mend=mend)
    return dict(exact[0])


def visits_of(
    store: Store,
    swimmer: Swimmer,
    *,
    name: str | None = None,
    condition: str | None = None,
) -> pd.DataFrame:
    """Return n, mean and SD of the swimmer's figures at each visit, oldest first.

    Parameters
    ----------
    name, condition : str, optional
        One figure, one condition; all by default.

    Returns
    -------
    DataFrame
        session_id, key, started_at, day (from 1970), analysis_id, condition, name, source, n,
        mean, sd.
    """
    query = (
        sa.select(
            SESSION.c.id.label("session_id"),
            SESSION.c.key,
            SESSION.c.started_at,
            FIGURE.c.analysis_id,
            FIGURE.c.condition,
            FIGURE.c.name,
            FIGURE.c.source,
            FIGURE.c.n,
            FIGURE.c.mean,
            FIGURE.c.sd,
        )
        .select_from(_current().join(FIGURE, FIGURE.c.analysis_id == ANALYSIS.c.id))
        .where(SESSION.c.swimmer_id == swimmer.id)
        .order_by(SESSION.c.started_at, SESSION.c.id)
    )
    if name is not None:
        query = query.where(FIGURE.c.name == name)
    if condition is not None:
        query = query.where(FIGURE.c.condition == condition)
    return with_days(frame_of(store, query))


def versions_of(store: Store, session_id: int) -> pd.DataFrame:
    """Return every analysis of a session, oldest first: version, made_at, is_current."""
    columns = (ANALYSIS.c.id, ANALYSIS.c.version, ANALYSIS.c.made_at, ANALYSIS.c.is_current)
    query = sa.select(*columns).where(ANALYSIS.c.session_id == session_id)
    return frame_of(store, query.order_by(ANALYSIS.c.id))


def result_tables(store: Store, analysis_id: int, *names: str) -> dict[str, pd.DataFrame]:
    """Return result tables of one analysis, all where none is named."""
    query = sa.select(RESULT_TABLE.c.name, RESULT_TABLE.c.content).where(
        RESULT_TABLE.c.analysis_id == analysis_id
    )
    if names:
        query = query.where(RESULT_TABLE.c.name.in_(names))
    with store.read() as connection:
        return {row.name: table_of(row.content, row.name) for row in connection.execute(query)}


def result_summary(store: Store, analysis_id: int) -> dict[str, Any]:
    """Return the summary of one analysis: figures, findings, quality, settings."""
    query = sa.select(ANALYSIS.c.summary).where(ANALYSIS.c.id == analysis_id)
    with store.read() as connection:
        return dict(json.loads(connection.execute(query).scalar_one()))


def felt_of(store: Store, swimmer: Swimmer) -> pd.DataFrame:
    """Return what was felt beside what was measured at each visit, oldest first."""
    query = (
        sa.select(SESSION.c.started_at, FELT)
        .select_from(_current().join(FELT, FELT.c.analysis_id == ANALYSIS.c.id))
        .where(SESSION.c.swimmer_id == swimmer.id)
        .order_by(SESSION.c.started_at, FELT.c.row_no)
    )
    table = frame_of(store, query)
    return table.assign(measured=table["measured"].astype(float))


def documents_of(store: Store, swimmer: Swimmer) -> pd.DataFrame:
    """Return notes, plans and diaries of a swimmer, oldest first."""
    query = sa.select(DOCUMENT).where(DOCUMENT.c.swimmer_id == swimmer.id)
    return frame_of(store, query.order_by(DOCUMENT.c.made_at, DOCUMENT.c.id))


def raw_files(store: Store, session_id: int) -> pd.DataFrame:
    """Return the files of a session: name, sha256, bytes, and whether the archive keeps them."""
    kept = RAW_FILE.c.content.is_not(None).label("kept")
    columns = (RAW_FILE.c.name, RAW_FILE.c.sha256, RAW_FILE.c.bytes, kept)
    query = sa.select(*columns).where(RAW_FILE.c.session_id == session_id)
    return frame_of(store, query.order_by(RAW_FILE.c.name))


def frame_of(store: Store, query: sa.Select[Any]) -> pd.DataFrame:
    """Return the rows of a query as a table."""
    with store.read() as connection:
        result = connection.execute(query)
        return pd.DataFrame([tuple(row) for row in result], columns=list(result.keys()))


def with_days(visits: pd.DataFrame) -> pd.DataFrame:
    """Return the visits with `day`, days from 1970, and empty spreads as NaN."""
    known = {
        text: datetime.fromisoformat(text).timestamp() / _DAY_S
        for text in visits["started_at"].unique()
    }
    days = visits["started_at"].map(known).astype(float)
    return visits.assign(day=days, sd=visits["sd"].astype(float))
