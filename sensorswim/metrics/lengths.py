"""From event tables to the figures of each length and of each arm cycle."""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass
from typing import Any, Final

import numpy as np
import pandas as pd

from sensorswim.model import Session
from sensorswim.model.streams import FloatArray
from sensorswim.model.tables import frame
from sensorswim.swim.activity import CRAWL_LIKE
from sensorswim.swim.coordination import coordination_lags, index_of_coordination_pct, mean_cycle_s

_NEAREST_BEAT = {1: 2, 2: 2, 4: 4, 6: 6, 7: 6}
_BEAT_SHARE = 0.6
_SIDES: Final = ("left", "right")


def arm_cycles(
    lengths: pd.DataFrame,
    strokes: pd.DataFrame,
    kicks: pd.DataFrame,
    rolls: pd.DataFrame,
    breaths: pd.DataFrame,
) -> pd.DataFrame:
    """Return the contract's `arm_cycles`: left entry to left entry, right where only that is worn.

    Parameters
    ----------
    lengths, strokes, kicks, rolls, breaths : DataFrame
        Contract tables; only lengths of crawl and drill have cycles.
    """
    rows: list[dict[str, Any]] = []
    seen = _Seen.of(kicks, rolls, breaths)
    parts = _by_length(strokes)
    for number in lengths.loc[lengths["activity"].isin(CRAWL_LIKE), "length_no"]:
        own = parts.get(number, strokes.iloc[:0])
        left = (own["side"] == "left").to_numpy(dtype=bool)
        cycle = left if left.any() else ~left
        spans_s = own[["entry_s", "next_entry_s"]].to_numpy(dtype=float)[cycle]
        lags = coordination_lags(own)
        for count, (start_s, end_s) in enumerate(spans_s[np.isfinite(spans_s).all(axis=1)], 1):
            rows.append(
                {
                    "length_no": number,
                    "cycle_no": count,
                    "start_s": start_s,
                    "end_s": end_s,
                    "stroke_rate_cycles_min": 60.0 / (end_s - start_s),
                    "kicks": seen.kicks(start_s, end_s),
                    "index_of_coordination_pct": lags.between(start_s, end_s).index_pct(
                        end_s - start_s
                    ),
                    **seen.roll_peaks(start_s, end_s),
                    "breath_side": seen.breath_side(start_s, end_s),
                    "cycle_side": "left" if left.any() else "right",
                }
            )
    return frame("arm_cycles", rows)


@dataclass(frozen=True, kw_only=True)
class _Seen:
    """The events of a session in order of time, to be looked up cycle by cycle.

    Parameters
    ----------
    downbeat_s : (K,)
    rolls, breaths : dict
        Side -> time and size (R, 2) of the peaks.
    """

    downbeat_s: FloatArray
    rolls: dict[str, FloatArray]
    breaths: dict[str, FloatArray]

    @classmethod
    def of(cls, kicks: pd.DataFrame, rolls: pd.DataFrame, breaths: pd.DataFrame) -> _Seen:
        """Return the events of three contract tables."""
        return cls(
            downbeat_s=np.sort(kicks["downbeat_s"].to_numpy(dtype=float)),
            rolls={side: _peaks(rolls, side) for side in _SIDES},
            breaths={side: _peaks(breaths, side) for side in _SIDES},
        )

    def kicks(self, start_s: float, end_s: float) -> int | None:
        """Return how many downbeats lie in a cycle, None where the session has none."""
        if not len(self.downbeat_s):
            return None
        first, last = np.searchsorted(self.downbeat_s, [start_s, end_s])
        return int(last - first)

    def roll_peaks(self, start_s: float, end_s: float) -> dict[str, float | None]:
        """Return the cycle's largest roll onto either side: left side up is onto the right."""
        size = {side: _within(self.rolls[side], start_s, end_s)[:, 1] for side in _SIDES}
        return {
            "roll_onto_right_deg": float(size["left"].max()) if len(size["left"]) else None,
            "roll_onto_left_deg": float(size["right"].max()) if len(size["right"]) else None,
        }

    def breath_side(self, start_s: float, end_s: float) -> str | None:
        """Return left, right, both, or None without a breath."""
        sides = [side for side in _SIDES if len(_within(self.breaths[side], start_s, end_s))]
        return None if not sides else sides[0] if len(sides) == 1 else "both"


def _peaks(table: pd.DataFrame, side: str) -> FloatArray:
    """Return time and size (K, 2) of one side's peaks, in order of time."""
    own = table.loc[(table["side"] == side).to_numpy(dtype=bool), ["peak_s", "peak_roll_deg"]]
    return own.sort_values("peak_s").to_numpy(dtype=float)


def _within(peaks: FloatArray, start_s: float, end_s: float) -> FloatArray:
    first, last = np.searchsorted(peaks[:, 0], [start_s, end_s])
    return peaks[first:last]


def _by_length(table: pd.DataFrame) -> dict[int, pd.DataFrame]:
    """Return the rows of every length that has any, by its number."""
    return {int(number): part for number, part in table.groupby("length_no")}


def kick_beat(kicks_per_cycle: pd.Series) -> int | None:
    """Return 2, 4 or 6 where at least 60 % of the cycles agree, 0 where not; None without cycles.

    Parameters
    ----------
    kicks_per_cycle : Series
        Downbeats of both legs in each complete cycle. 0, 3, 5 and more than 7 agree with none.
    """
    known = kicks_per_cycle.dropna()
    if not len(known):
        return None
    beats = Counter(_NEAREST_BEAT.get(int(count), 0) for count in known)
    beat, agree = beats.most_common(1)[0]
    return beat if agree >= _BEAT_SHARE * len(known) else 0


def fill_lengths(
    session: Session,
    lengths: pd.DataFrame,
    *,
    strokes: pd.DataFrame,
    kicks: pd.DataFrame,
    cycles: pd.DataFrame,
    rolls: pd.DataFrame,
    breaths: pd.DataFrame,
    clean_speed_m_s: dict[int, float],
    ankles: int,
    wrists: int,
    roll_source: str | None,
    breaths_told: bool,
) -> pd.DataFrame:
    """Return the contract's `lengths` with every figure filled that can be had.

    Parameters
    ----------
    lengths : DataFrame
        length_no, start_s, end_s, activity, finished and the block's columns.
    clean_speed_m_s : dict
        By length_no.
    ankles, wrists : int
        How many of each are worn.
    breaths_told : bool
        Whether breaths could be told apart: else the counts stay empty.
    """
    rows = []
    given = {"strokes": strokes, "kicks": kicks, "cycles": cycles, "rolls": rolls,
             "breaths": breaths}  # fmt: skip
    parts = {name: _by_length(table) for name, table in given.items()}
    for record in lengths.to_dict("records"):
        row = {str(key): value for key, value in record.items()}
        number = row["length_no"]
        tables = {name: parts[name].get(number, table.iloc[:0]) for name, table in given.items()}
        rows.append(
            row
            | _arm_figures(session, row, tables["strokes"], clean_speed_m_s.get(number), wrists)
            | _kick_figures(row, tables["kicks"], tables["cycles"], ankles, wrists)
            | _roll_figures(row, tables["rolls"], tables["breaths"], roll_source, breaths_told)
        )
    return frame("lengths", rows)


def _arm_figures(
    session: Session,
    row: dict[str, Any],
    strokes: pd.DataFrame,
    clean_speed_m_s: float | None,
    wrists: int,
) -> dict[str, Any]:
    distance = session.pool_length_m if row["finished"] else None
    figures: dict[str, Any] = {
        "distance_m": distance,
        "speed_m_s": None if distance is None else distance / (row["end_s"] - row["start_s"]),
        "swim_start_s": strokes["entry_s"].min() if len(strokes) else None,
    }
    if not len(strokes) or row["activity"] == "kick":
        return figures
    rate = 60.0 / mean_cycle_s(strokes)
    figures |= {
        "arm_strokes": int(strokes["mid_pull_s"].notna().sum()),
        "stroke_rate_cycles_min": rate,
    }
    if distance is not None and clean_speed_m_s is not None:
        figures |= {
            "clean_speed_m_s": clean_speed_m_s,
            "clean_speed_source": "pool_and_glide",
            "stroke_length_m": 60.0 * clean_speed_m_s / rate,
        }
    if row["activity"] in CRAWL_LIKE:
        figures["index_of_coordination_pct"] = index_of_coordination_pct(strokes)
    return figures


def _kick_figures(
    row: dict[str, Any], kicks: pd.DataFrame, cycles: pd.DataFrame, ankles: int, wrists: int
) -> dict[str, Any]:
    if not ankles:
        return {}
    figures: dict[str, Any] = {"kicks": len(kicks)}
    if row["activity"] in CRAWL_LIKE and wrists and len(cycles):
        counts = cycles["kicks"].astype("float64")
        figures["kicks_per_cycle"] = float(counts.mean()) * (2 if ankles == 1 else 1)
        figures["kick_beat"] = kick_beat(counts) if ankles == 2 else None
    return figures


def _roll_figures(
    row: dict[str, Any],
    rolls: pd.DataFrame,
    breaths: pd.DataFrame,
    roll_source: str | None,
    breaths_told: bool,
) -> dict[str, Any]:
    if row["activity"] not in CRAWL_LIKE or roll_source is None:
        return {}
    peaks = {s: rolls.loc[rolls["side"] == s, "peak_roll_deg"] for s in ("left", "right")}
    figures: dict[str, Any] = {
        "roll_onto_right_deg": peaks["left"].median(),
        "roll_onto_left_deg": peaks["right"].median(),
        "roll_source": roll_source,
        "side_hold_s": breaths["hold_s"].median(),
        "side_hold_excess_s": breaths["excess_s"].median(),
    }
    if breaths_told:
        figures |= {
            "breaths_left": int((breaths["side"] == "left").sum()),
            "breaths_right": int((breaths["side"] == "right").sum()),
        }
    return figures
