"""A swimmer's figures over the visits, like with like, and what may be said of them."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Collection, Mapping
from dataclasses import dataclass, replace
from typing import Final

import pandas as pd

from sensorswim.metrics.change import (
    FEWEST_LENGTHS,
    Change,
    Repeats,
    Spread,
    Verdict,
    Visit,
    judge,
    judge_together,
    spread_of,
)
from sensorswim.metrics.season import FIGURES, MAIN, UNFINISHED, Figure, is_check
from sensorswim.units import counted

SPEED: Final = "speed_m_s"


@dataclass(frozen=True, kw_only=True)
class Series:
    """One figure in one condition over the visits, oldest first.

    Parameters
    ----------
    figure : Figure
    condition : str
    visits : tuple of Visit
    sessions : tuple of str
        Key of each visit's session.
    spread : Spread
    since_first, since_last : Change
        Of the last visit against the first and against the one before.
    left_out : int
        Visits that rest on another sensor, or on other rolls, than the last one; left out.
    source : str
        The sensor that the figure rests on, "" where it doesn't matter.
    worthwhile : float
        Smallest worthwhile change, from the spread between swimmers; NaN where unknown.
    """

    figure: Figure
    condition: str
    visits: tuple[Visit, ...]
    sessions: tuple[str, ...]
    spread: Spread
    since_first: Change
    since_last: Change
    left_out: int
    source: str = ""
    worthwhile: float = math.nan


def conditions(visits: pd.DataFrame) -> list[str]:
    """Return the conditions there are: check sets first, then those that tell most visits apart.

    Parameters
    ----------
    visits : DataFrame
        condition, session_id, n, as the archive's `visits_of` returns it.
    """
    columns = (visits[c].tolist() for c in ("condition", "session_id", "n"))
    rows = [(c, session, n) for c, session, n in zip(*columns, strict=True) if UNFINISHED not in c]
    told = Counter(c for c, _ in {(c, session) for c, session, n in rows if n >= FEWEST_LENGTHS})
    there = {c for c, _, _ in rows}
    return sorted(there, key=lambda name: (not is_check(name), -told[name], name))


def trends_of(
    visits: pd.DataFrame,
    condition: str,
    *,
    pooled: Mapping[str, Repeats] | None = None,
    names: Collection[str] = MAIN,
    worthwhile: Mapping[str, float] | None = None,
) -> dict[str, Series]:
    """Return a series for each figure that has two visits or more in a condition.

    Both changes of each series are judged together with those of the other figures.

    Parameters
    ----------
    visits : DataFrame
        day, key, condition, name, source, n, mean, sd; oldest first.
    condition : str
    pooled : mapping, optional
        Repeats of the squad by figure.
    names : collection of str
        Figures to look at.
    worthwhile : mapping, optional
        Smallest worthwhile change by figure, where it is known.
    """
    own = visits[visits["condition"] == condition]
    found = {}
    for name, rows in grouped(own).items():
        if name in names and name in FIGURES:
            series = _series(rows, FIGURES[name], condition, (pooled or {}).get(name))
            if series is not None:
                found[name] = series
    first = judge_together({name: series.since_first for name, series in found.items()})
    last = judge_together({name: series.since_last for name, series in found.items()})
    return {
        name: replace(
            found[name],
            since_first=first[name],
            since_last=last[name],
            worthwhile=(worthwhile or {}).get(name, math.nan),
        )
        for name in FIGURES
        if name in found
    }


@dataclass(frozen=True, kw_only=True)
class Row:
    """One figure of one visit, with its session and the sensor that it rests on."""

    session: str
    source: str
    visit: Visit


def grouped(visits: pd.DataFrame) -> dict[str, list[Row]]:
    """Return the visits of one condition by figure, in the order of the rows."""
    columns = (visits[c].tolist() for c in ("name", "key", "source", "day", "n", "mean", "sd"))
    found: dict[str, list[Row]] = {}
    for name, key, source, day, n, mean, sd in zip(*columns, strict=True):
        visit = Visit(day=day, n=n, mean=mean, sd=sd)
        found.setdefault(name, []).append(Row(session=key, source=source, visit=visit))
    return found


def _series(
    rows: list[Row], figure: Figure, condition: str, pooled: Repeats | None
) -> Series | None:
    like = [row for row in rows if row.source == rows[-1].source]
    if len(like) < 2:
        return None
    visits = tuple(row.visit for row in like)
    spread = spread_of(visits, default_sd=figure.between_sd, pooled=pooled)
    return Series(
        figure=figure,
        condition=condition,
        visits=visits,
        sessions=tuple(row.session for row in like),
        spread=spread,
        since_first=judge(visits[0], visits[-1], spread),
        since_last=judge(visits[-2], visits[-1], spread),
        left_out=len(rows) - len(like),
        source=rows[-1].source,
    )


def number_with_unit(value: float, figure: Figure, *, sign: bool = False) -> str:
    """Return a value in the figure's digits and unit, "not known" where it is empty."""
    if not math.isfinite(value):
        return "not known"
    plus = "+" if sign else ""
    return f"{value:{plus}.{figure.digits}f} {figure.unit}".replace("-", "−")


def in_words(change: Change, figure: Figure) -> str:
    """Return one sentence on a change: the verdict, how large, and what would count."""
    if change.verdict is Verdict.TOO_FEW:
        fewest = min(change.before.n, change.after.n)
        return f"{change.verdict}: {fewest} in one of the visits"
    moved = number_with_unit(change.difference, figure, sign=True)
    counts = number_with_unit(change.detectable, figure)
    return f"{change.verdict}: {moved}; changes from {counts} count"


def notes(series: Series, all_series: Mapping[str, Series]) -> list[str]:
    """Return what a reader has to know beside the verdict."""
    told = []
    if not series.spread.from_repeats:
        told.append(
            "The spread between visits is a cautious guess "
            f"({number_with_unit(series.figure.between_sd, series.figure)}) until the set has "
            "been repeated within three days often enough."
        )
    speed = all_series.get(SPEED)
    if (
        series.figure.follows_speed
        and speed is not None
        and series is not speed
        and speed.since_first.verdict is Verdict.CLEAR
    ):
        faster = "faster" if speed.since_first.difference > 0 else "slower"
        told.append(f"The set was swum {faster}: look at this figure against speed.")
    change = series.since_first
    if change.verdict is Verdict.CLEAR and abs(change.difference) < series.worthwhile:
        told.append("Clear, but smaller than what tells swimmers of the squad apart.")
    if series.left_out:
        told.append(
            f"Left out, as on another sensor or other rolls: {counted(series.left_out, 'visit')}."
        )
    return told
