"""A squad at a glance: who needs a look, and why. No order of merit, no score."""

from __future__ import annotations

import json
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Any, Final

import pandas as pd
import sqlalchemy as sa

from sensorswim.archive.read import KEEPER, Swimmer, Who, frame_of, swimmers, with_days
from sensorswim.archive.schema import ANALYSIS, FIGURE, SESSION, SWIMMER
from sensorswim.archive.store import Store
from sensorswim.metrics.change import Repeats, Verdict, repeats_of
from sensorswim.metrics.reliability import smallest_worthwhile_change
from sensorswim.metrics.season import MAIN, is_check
from sensorswim.metrics.trend import conditions, grouped, in_words, trends_of

VISITS: Final = 6
"""How many of each swimmer's last sessions are looked at."""
LONG_AGO_DAYS: Final = 42
"""A swimmer not measured for six weeks is said so (our choice: the length of a plan)."""


@dataclass(frozen=True, kw_only=True)
class Look:
    """One swimmer of the squad: when last measured, and the reasons for a look."""

    swimmer: Swimmer
    sessions: int
    last: str
    condition: str
    reasons: tuple[str, ...]


def squad_view(store: Store, who: Who = KEEPER, *, now: datetime | None = None) -> list[Look]:
    """Return a look at each swimmer that may be seen: those with reasons first, by name.

    Parameters
    ----------
    now : datetime, optional
        For what counts as long ago; this moment by default.
    """
    latest = _latest(store, who)
    figures = _figures(store, who)
    told = _summaries(store, who)
    by_swimmer = dict(list(figures.groupby("swimmer_id", sort=False)))
    pooled = _pooled(by_swimmer)
    moment = now or datetime.now(UTC)
    looks = []
    for swimmer in swimmers(store, who):
        row = latest.get(swimmer.id)
        if row is None:
            continue
        visits = by_swimmer.get(swimmer.id, figures.iloc[:0])
        condition, changes = _changes(visits, pooled)
        away = _away(row["last"], moment)
        reasons = [*changes, *_told(told.get(swimmer.id, "{}")), *away]
        looks.append(
            Look(
                swimmer=swimmer,
                sessions=int(row["sessions"]),
                last=str(row["last"]),
                condition=condition,
                reasons=tuple(reasons),
            )
        )
    return sorted(looks, key=lambda look: (not look.reasons, look.swimmer.name.casefold()))


def worthwhile_changes(store: Store, condition: str, who: Who = KEEPER) -> dict[str, float]:
    """Return the smallest worthwhile change of each figure, from the swimmers' last visits."""
    figures = _figures(store, who)
    own = figures[figures["condition"] == condition]
    last = own.groupby(["name", "swimmer_id"], sort=False)["mean"].last()
    return {
        str(name): smallest_worthwhile_change(means.to_numpy(float))
        for name, means in last.groupby(level="name")
    }


def _latest(store: Store, who: Who) -> dict[int, dict[str, Any]]:
    query = who.narrow(
        sa.select(
            SESSION.c.swimmer_id,
            sa.func.count().label("sessions"),
            sa.func.max(SESSION.c.started_at).label("last"),
        ).select_from(SWIMMER.join(SESSION))
    ).group_by(SESSION.c.swimmer_id)
    with store.read() as connection:
        return {row["swimmer_id"]: dict(row) for row in connection.execute(query).mappings()}


def _recent(who: Who, visits: int) -> sa.Subquery:
    """Return each swimmer's last sessions, newest numbered 1."""
    rank = sa.func.row_number().over(
        partition_by=SESSION.c.swimmer_id, order_by=SESSION.c.started_at.desc()
    )
    columns = (SESSION.c.id, SESSION.c.key, SESSION.c.swimmer_id, SESSION.c.started_at)
    ranked = who.narrow(
        sa.select(*columns, rank.label("rank")).select_from(SWIMMER.join(SESSION))
    ).subquery()
    return sa.select(ranked).where(ranked.c.rank <= visits).subquery()


def _figures(store: Store, who: Who) -> pd.DataFrame:
    recent = _recent(who, VISITS)
    current = (ANALYSIS.c.session_id == recent.c.id) & (ANALYSIS.c.is_current == 1)
    query = (
        sa.select(
            recent.c.swimmer_id,
            recent.c.id.label("session_id"),
            recent.c.key,
            recent.c.started_at,
            *(FIGURE.c[name] for name in ("condition", "name", "source", "n", "mean", "sd")),
        )
        .select_from(
            recent.join(ANALYSIS, current).join(FIGURE, FIGURE.c.analysis_id == ANALYSIS.c.id)
        )
        .where(FIGURE.c.name.in_(MAIN))
        .order_by(recent.c.swimmer_id, recent.c.started_at)
    )
    return with_days(frame_of(store, query))


def _summaries(store: Store, who: Who) -> dict[int, str]:
    last = _recent(who, 1)
    current = (ANALYSIS.c.session_id == last.c.id) & (ANALYSIS.c.is_current == 1)
    query = sa.select(last.c.swimmer_id, ANALYSIS.c.summary).select_from(
        last.join(ANALYSIS, current)
    )
    with store.read() as connection:
        return {row.swimmer_id: row.summary for row in connection.execute(query)}


def _pooled(by_swimmer: dict[Any, pd.DataFrame]) -> dict[str, Repeats]:
    """Return the repeats of all swimmers in their check sets, by figure."""
    pooled: dict[str, Repeats] = {}
    for visits in by_swimmer.values():
        for condition in filter(is_check, visits["condition"].unique()):
            own = visits[visits["condition"] == condition]
            for name, rows in grouped(own).items():
                like = [row.visit for row in rows if row.source == rows[-1].source]
                pooled[name] = pooled.get(name, Repeats()) + repeats_of(like)
    return pooled


def _changes(visits: pd.DataFrame, pooled: dict[str, Repeats]) -> tuple[str, list[str]]:
    """Return the condition that is compared, and the clear changes in it."""
    names = conditions(visits)
    if not names:
        return "", []
    found = trends_of(visits, names[0], pooled=pooled if is_check(names[0]) else None)
    return names[0], [
        f"{series.figure.words}: {in_words(series.since_first, series.figure)}"
        for series in found.values()
        if series.since_first.verdict is Verdict.CLEAR
    ]


def _told(summary: str) -> list[str]:
    """Return the last session's aims and what its data lost."""
    found = json.loads(summary)
    aims = [str(one.get("title", "")) for one in found.get("findings", [])[:2]]
    lost = [str(one["text"]) for one in found.get("quality", []) if one["severity"] == "lost"]
    return [f"last session: {text}" for text in [*aims, *lost[:1]] if text]


def _away(last: str, now: datetime) -> list[str]:
    days = (now - datetime.fromisoformat(last)).days
    return [f"not measured for {days} days"] if days > LONG_AGO_DAYS else []
