"""What a coach sees of one swimmer at a glance: the newest figures, made of committed tables."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any, Final

import pandas as pd

from sensorswim.model.tables import SCHEMAS

CYCLES_SHOWN: Final = 4
BREATHS_SHOWN: Final = 6
COMPARED: Final = (
    "stroke_rate_cycles_min",
    "kicks_per_cycle",
    "roll_onto_left_deg",
    "roll_onto_right_deg",
    "side_hold_s",
    "side_hold_excess_s",
    "clean_speed_m_s",
)
"""Columns of `lengths` that the last length is held against the one before in."""


@dataclass(frozen=True, kw_only=True)
class Aim:
    """What the coach wants to see of a length.

    Parameters
    ----------
    column : str
        A number of the table `lengths`, such as ``kicks_per_cycle``.
    at_least, at_most : float or None
        One of them, or both for a band.
    """

    column: str
    at_least: float | None = None
    at_most: float | None = None

    def word(self, value: float | None) -> str:
        """Return ``there``, ``below``, ``above``, or ``unknown`` where there is no figure."""
        if value is None:
            return "unknown"
        if self.at_least is not None and value < self.at_least:
            return "below"
        if self.at_most is not None and value > self.at_most:
            return "above"
        return "there"


def aim_columns() -> dict[str, str]:
    """Return the columns that an aim can be about, and their units."""
    schema = SCHEMAS["lengths"]
    return {name: schema.field(name).metadata[b"unit"].decode() for name in COMPARED}


def card(tables: dict[str, pd.DataFrame], aims: tuple[Aim, ...]) -> dict[str, Any]:
    """Return the figures of a card as plain values for JSON; None where one can't be had.

    Every figure has `at_s`, the session time of the newest event it rests on, so that whoever
    shows it can say how old it is.
    """
    return {
        "stroke_rate": _stroke_rate(tables["arm_strokes"]),
        "kicks": _kicks(tables["arm_cycles"], tables["kicks"]),
        "roll": _roll(tables["rolls"]),
        "breaths": _breaths(tables["breaths"]),
        "lengths": _lengths(tables["lengths"], aims),
    }


def _number(value: Any) -> float | None:
    return None if pd.isna(value) else round(float(value), 4)


def _stroke_rate(strokes: pd.DataFrame) -> dict[str, Any]:
    """Return cycles a minute over the newest strokes of both hands."""
    rows = strokes.dropna(subset=["entry_s", "next_entry_s"]).nlargest(
        2 * CYCLES_SHOWN, "next_entry_s"
    )
    if rows.empty:
        return {"cycles_min": None, "at_s": None}
    period_s = float((rows["next_entry_s"] - rows["entry_s"]).mean())
    return {"cycles_min": round(60.0 / period_s, 2), "at_s": _number(rows["next_entry_s"].max())}


def _kicks(cycles: pd.DataFrame, kicks: pd.DataFrame) -> dict[str, Any]:
    """Return kicks a cycle over the newest cycles, and where in each cycle they came.

    With one leg's kicks only, twice that leg's, as in the table `lengths`.
    """
    rows = cycles.dropna(subset=["kicks"]).nlargest(CYCLES_SHOWN, "end_s").sort_values("end_s")
    shown = [
        {"start_s": _number(row.start_s), "end_s": _number(row.end_s)} | _phases(kicks, row)
        for row in rows.itertuples()
    ]
    one_leg = set(kicks["side"]) in ({"left"}, {"right"})
    mean = _number(rows["kicks"].astype("float64").mean() * (2.0 if one_leg else 1.0))
    at_s = _number(rows["end_s"].max())
    return {"a_cycle": mean, "one_leg": one_leg, "cycles": shown, "at_s": at_s}


def _phases(kicks: pd.DataFrame, cycle: Any) -> dict[str, list[float]]:
    within = kicks[kicks["downbeat_s"].between(cycle.start_s, cycle.end_s)]
    span_s = cycle.end_s - cycle.start_s
    return {
        side: [
            round(float((t - cycle.start_s) / span_s), 3)
            for t in within.loc[within["side"] == side, "downbeat_s"]
        ]
        for side in ("left", "right")
    }


def _roll(rolls: pd.DataFrame) -> dict[str, Any]:
    """Return the median peak roll onto each side over the newest half cycles."""
    newest = rolls.nlargest(2 * CYCLES_SHOWN, "peak_s")
    sizes = newest["peak_roll_deg"].abs()
    peaks = {side: sizes[newest["side"] == side] for side in ("left", "right")}
    return {
        "onto_right_deg": _number(peaks["left"].median()),
        "onto_left_deg": _number(peaks["right"].median()),
        "source": str(newest["source"].iloc[0]) if len(newest) else None,
        "at_s": _number(newest["peak_s"].max()),
    }


def _breaths(breaths: pd.DataFrame) -> dict[str, Any]:
    rows = breaths.nlargest(BREATHS_SHOWN, "peak_s").sort_values("peak_s")
    shown = [
        {
            "side": str(row.side),
            "hold_s": _number(row.hold_s),
            "excess_s": _number(row.excess_s),
            "at_s": _number(row.peak_s),
        }
        for row in rows.itertuples()
    ]
    return {"shown": shown, "at_s": _number(rows["peak_s"].max())}


def _lengths(lengths: pd.DataFrame, aims: tuple[Aim, ...]) -> dict[str, Any]:
    """Return the last length, the one before, and what became of the aims on the last."""
    rows = [_length(row) for _, row in lengths.nlargest(2, "end_s").iterrows()]
    last = rows[0] if rows else None
    told = [
        {
            "column": aim.column,
            "at_least": aim.at_least,
            "at_most": aim.at_most,
            "value": last[aim.column] if last else None,
            "word": aim.word(last[aim.column] if last else None),
        }
        for aim in aims
    ]
    return {
        "count": len(lengths),
        "last": last,
        "before": rows[1] if len(rows) > 1 else None,
        "aims": told,
    }


def _length(row: pd.Series) -> dict[str, Any]:
    figures: dict[str, Any] = {name: _number(row[name]) for name in COMPARED}
    figures |= {"length_no": int(row["length_no"]), "activity": str(row["activity"])}
    figures |= {name: _number(row[name]) for name in ("start_s", "end_s")}
    seconds = row["end_s"] - row["start_s"]
    figures["seconds"] = None if math.isnan(seconds) else round(float(seconds), 2)
    return figures
