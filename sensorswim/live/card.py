"""What a coach sees of one swimmer at a glance: the newest figures, made of committed tables."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, Final

import numpy as np
import numpy.typing as npt
import pandas as pd

from sensorswim.model.streams import FloatArray
from sensorswim.model.tables import SCHEMAS

IntArray = npt.NDArray[np.intp]

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


def _column(rows: pd.DataFrame, name: str) -> FloatArray:
    return np.asarray(rows[name].to_numpy(dtype=np.float64, na_value=np.nan))


def _newest(at_s: FloatArray, count: int) -> IntArray:
    """Return the rows (up to `count`) with the latest moments, in rising order; NaN never."""
    order = np.argsort(at_s)
    return order[: np.count_nonzero(~np.isnan(at_s))][-count:]


def _mean(values: FloatArray) -> float:
    known = values[~np.isnan(values)]
    return float(known.mean()) if len(known) else float("nan")


def _stroke_rate(strokes: pd.DataFrame) -> dict[str, Any]:
    """Return cycles a minute over the newest strokes of both hands."""
    entry_s, next_s = _column(strokes, "entry_s"), _column(strokes, "next_entry_s")
    newest = _newest(np.where(np.isnan(entry_s), np.nan, next_s), 2 * CYCLES_SHOWN)
    if not len(newest):
        return {"cycles_min": None, "at_s": None}
    period_s = float((next_s[newest] - entry_s[newest]).mean())
    return {"cycles_min": round(60.0 / period_s, 2), "at_s": _number(next_s[newest[-1]])}


def _kicks(cycles: pd.DataFrame, kicks: pd.DataFrame) -> dict[str, Any]:
    """Return kicks a cycle over the newest cycles, and where in each cycle they came.

    With one leg's kicks only, twice that leg's, as in the table `lengths`.
    """
    start_s, end_s, counts = (_column(cycles, name) for name in ("start_s", "end_s", "kicks"))
    newest = _newest(np.where(np.isnan(counts), np.nan, end_s), CYCLES_SHOWN)
    sides, beats_s = kicks["side"].to_numpy(dtype=object), _column(kicks, "downbeat_s")
    legs = {side: np.sort(beats_s[sides == side]) for side in ("left", "right")}
    shown = [
        {"start_s": _number(start_s[row]), "end_s": _number(end_s[row])}
        | {side: _phases(own_s, start_s[row], end_s[row]) for side, own_s in legs.items()}
        for row in newest
    ]
    one_leg = sum(len(own_s) > 0 for own_s in legs.values()) == 1
    mean = _number(_mean(counts[newest]) * (2.0 if one_leg else 1.0))
    at_s = _number(end_s[newest[-1]]) if len(newest) else None
    return {"a_cycle": mean, "one_leg": one_leg, "cycles": shown, "at_s": at_s}


def _phases(beats_s: FloatArray, start_s: float, end_s: float) -> list[float]:
    """Return where in a cycle the beats within it came, 0 to 1."""
    within_s = beats_s[(beats_s >= start_s) & (beats_s <= end_s)]
    return [round(float((beat_s - start_s) / (end_s - start_s)), 3) for beat_s in within_s]


def _roll(rolls: pd.DataFrame) -> dict[str, Any]:
    """Return the median peak roll onto each side over the newest half cycles."""
    newest = _newest(_column(rolls, "peak_s"), 2 * CYCLES_SHOWN)
    sizes = np.abs(_column(rolls, "peak_roll_deg")[newest])
    sides = rolls["side"].to_numpy(dtype=object)[newest]
    peaks = {side: sizes[(sides == side) & ~np.isnan(sizes)] for side in ("left", "right")}
    medians = {side: _number(np.median(p)) if len(p) else None for side, p in peaks.items()}
    return {
        "onto_right_deg": medians["left"],
        "onto_left_deg": medians["right"],
        "source": str(rolls["source"].iloc[newest[-1]]) if len(newest) else None,
        "at_s": _number(rolls["peak_s"].iloc[newest[-1]]) if len(newest) else None,
    }


def _breaths(breaths: pd.DataFrame) -> dict[str, Any]:
    at_s = _column(breaths, "peak_s")
    newest = _newest(at_s, BREATHS_SHOWN)
    sides = breaths["side"].to_numpy(dtype=object)
    hold_s, excess_s = _column(breaths, "hold_s"), _column(breaths, "excess_s")
    shown = [
        {
            "side": str(sides[row]),
            "hold_s": _number(hold_s[row]),
            "excess_s": _number(excess_s[row]),
            "at_s": _number(at_s[row]),
        }
        for row in newest
    ]
    return {"shown": shown, "at_s": shown[-1]["at_s"] if shown else None}


def _lengths(lengths: pd.DataFrame, aims: tuple[Aim, ...]) -> dict[str, Any]:
    """Return the last length, the one before, and what became of the aims on the last."""
    newest = _newest(_column(lengths, "end_s"), 2)[::-1]
    rows = [_length(lengths, row) for row in newest]
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


def _length(lengths: pd.DataFrame, row: np.intp) -> dict[str, Any]:
    at = {name: _number(_column(lengths, name)[row]) for name in (*COMPARED, "start_s", "end_s")}
    start_s, end_s = at["start_s"], at["end_s"]
    return at | {
        "length_no": int(lengths["length_no"].iloc[row]),
        "activity": str(lengths["activity"].iloc[row]),
        "seconds": None if start_s is None or end_s is None else round(end_s - start_s, 2),
    }
