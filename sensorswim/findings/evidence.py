"""The part of a session that findings rest on, and what a measure answers."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np
import pandas as pd

from sensorswim.metrics.own_rolls import reference_sides
from sensorswim.model.analysis import Analysis
from sensorswim.model.session import Session
from sensorswim.model.streams import FloatArray

ADRIFT_S = 0.1
"""A clock that may be off by more than this can't tell what comes before what."""


@dataclass(frozen=True, kw_only=True)
class Swum:
    """Plain front crawl of a session: no drill, no pull or kick set, no aids.

    Parameters
    ----------
    session : Session
    lengths, strokes, kicks, cycles, rolls, breaths : DataFrame
        Contract tables, of those lengths only.
    all_lengths : DataFrame
        Every length, for felt against measured.
    ankles : int
        How many ankles are worn.
    excess_against : dict of str to str
        By side of a breath, the side of the rolls that its `excess_s` was held against.
    adrift : frozenset of str
        Limbs whose clock isn't good enough to say what comes before what.
    """

    session: Session
    lengths: pd.DataFrame
    strokes: pd.DataFrame
    kicks: pd.DataFrame
    cycles: pd.DataFrame
    rolls: pd.DataFrame
    breaths: pd.DataFrame
    all_lengths: pd.DataFrame
    ankles: int
    excess_against: dict[str, str] = field(default_factory=dict)
    adrift: frozenset[str] = frozenset()

    @staticmethod
    def of(analysis: Analysis) -> Swum:
        """Return the plain crawl of an analysis."""
        lengths = analysis.lengths
        plain = lengths["activity"].eq("front_crawl") & lengths["aids"].isna()
        plain &= lengths["set_as"].isna() | lengths["set_as"].eq("swim")
        own = lengths.loc[plain.fillna(value=False).astype(bool)]
        numbers = set(own["length_no"])

        def part(name: str) -> pd.DataFrame:
            table = analysis.tables[name]
            return table.loc[table["length_no"].isin(numbers)]

        adrift = _adrift(analysis.facts.get("clock_error_s", {}))
        breaths = part("breaths")
        seen_by = {*breaths["source"].dropna(), *part("rolls")["source"].dropna()}
        if {source.removesuffix("s") for source in seen_by} & adrift:
            breaths = breaths.iloc[:0]
        worn = [str(sensor.placement) for sensor in analysis.session.sensors]
        return Swum(
            session=analysis.session,
            lengths=own,
            strokes=part("arm_strokes"),
            kicks=part("kicks"),
            cycles=part("arm_cycles"),
            rolls=part("rolls"),
            breaths=breaths,
            all_lengths=lengths,
            ankles=sum(name.endswith("ankle") for name in worn),
            excess_against=reference_sides(analysis.rolls),
            adrift=adrift,
        )


def _adrift(error_s: dict[str, float | None]) -> frozenset[str]:
    far = [name for name, error in error_s.items() if error is not None and error > ADRIFT_S]
    return frozenset(name.removeprefix("left_").removeprefix("right_") for name in far)


@dataclass(frozen=True, kw_only=True)
class Measured:
    """One figure and the single values that it is made of.

    Parameters
    ----------
    value : float
    session_s, length_no, each : (N,) arrays
        The counts: breaths, strokes, cycles, rolls or lengths.
    each_sd : (N,) array or None
        Standard deviation of each count, where the analysis states it: one within two of them of
        the band's end is undecided and not counted as beyond.
    error : float
        Standard error of `value` from the spread of its counts.
    source : str
        The sensor behind it.
    side : str or None
    stated : float
        Standard deviation of the level that the analysis states for it; NaN where it states none,
        and the rule's own `error` counts.
    trust : float
        0..1, how sure the counts are what they are taken for.
    words : dict
        Further words for the rule's sentence: ``where``, ``what``.
    note : str
        A sentence that stands behind the rule's own, "" for none.
    """

    value: float
    session_s: FloatArray
    length_no: FloatArray
    each: FloatArray
    error: float
    source: str = ""
    side: str | None = None
    stated: float = float("nan")
    trust: float = 1.0
    words: dict[str, str] | None = None
    note: str = ""
    each_sd: FloatArray | None = None

    @property
    def spread(self) -> float:
        """Standard deviation between the counts, 0 for one."""
        return float(np.std(self.each, ddof=1)) if len(self.each) > 1 else 0.0


def typical(table: pd.DataFrame, column: str, time: str, **more: Any) -> Measured | None:
    """Return the median of a column as a figure, None where all of it is empty.

    Parameters
    ----------
    table : DataFrame
        Has length_no and the named columns.
    column, time : str
        The values and their session time.
    **more
        Further fields of `Measured`.
    """
    known = table.dropna(subset=[column, time])
    if known.empty:
        return None
    values = known[column].to_numpy(dtype=float)
    return Measured(
        value=float(np.median(values)),
        session_s=known[time].to_numpy(dtype=float),
        length_no=known["length_no"].to_numpy(dtype=float),
        each=values,
        error=median_error(values),
        **more,
    )


def apart(figures: list[Measured], *, percent: bool = False) -> list[Measured]:
    """Return how much larger the larger of two sides is, with that side's name.

    Parameters
    ----------
    figures : list of Measured
        One a side; with fewer than two the answer is empty.
    percent : bool
        In % of their mean instead of in their own unit.
    """
    if len(figures) < 2:
        return []
    larger, other = sorted(figures, key=lambda m: -m.value)
    scale = 200.0 / (larger.value + other.value) if percent else 1.0
    return [
        replace(
            larger,
            value=scale * (larger.value - other.value),
            each=scale * (larger.each - other.value),
            each_sd=None,
            error=abs(scale) * float(np.hypot(larger.error, other.error)),
            stated=abs(scale) * float(np.hypot(larger.stated, other.stated)),
        )
    ]


def median_error(values: FloatArray) -> float:
    """Return the standard error of the median of roughly normal values (1.25 of the mean's)."""
    if len(values) < 2:
        return float("inf")
    middle = np.median(np.abs(values - np.median(values)))
    return float(1.25 * 1.4826 * middle / np.sqrt(len(values)))


def by_side(table: pd.DataFrame, side: str) -> pd.DataFrame:
    """Return the rows of one side."""
    return table.loc[table["side"].eq(side).fillna(value=False).astype(bool)]


def only_source(table: pd.DataFrame) -> str:
    """Return the source named most in a table, "" where none is."""
    named = table["source"].dropna()
    return str(named.mode().iloc[0]) if len(named) else ""
