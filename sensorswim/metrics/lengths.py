"""From event tables to the figures of each length and of each arm cycle."""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass
from typing import Any, Final

import numpy as np
import pandas as pd

from sensorswim.metrics.cycle_kicks import count_kicks
from sensorswim.model import Session
from sensorswim.model.streams import FloatArray
from sensorswim.model.tables import by_length, frame, rows_of
from sensorswim.swim.activity import CRAWL_LIKE
from sensorswim.swim.coordination import NO_STROKES, StrokeTimes

_NEAREST_BEAT = {1: 2, 2: 2, 4: 4, 6: 6, 7: 6}
_BEAT_SHARE = 0.6
_SIDES: Final = ("left", "right")
NO_SPANS: Final = np.zeros((0, 2))
_LONGEST: Final = 1.6


def arm_cycles(
    lengths: pd.DataFrame,
    strokes: pd.DataFrame,
    kicks: pd.DataFrame,
    rolls: pd.DataFrame,
    breaths: pd.DataFrame,
    *,
    legs_unseen_s: FloatArray | None = NO_SPANS,
) -> pd.DataFrame:
    """Return the contract's `arm_cycles`: left entry to left entry, right where only that is worn.

    Parameters
    ----------
    lengths, strokes, kicks, rolls, breaths : DataFrame
        Contract tables; only lengths of crawl and drill have cycles.
    legs_unseen_s : (G, 2), optional
        Start and end of gaps in an ankle's data: kicks of a cycle that touches one stay empty.
        None where no ankle is worn.
    """
    rows: list[dict[str, Any]] = []
    seen = _Seen.of(kicks, rolls, breaths, legs_unseen_s)
    strokes_of = StrokeTimes.of_lengths(strokes)
    for number in lengths.loc[lengths["activity"].isin(CRAWL_LIKE), "length_no"]:
        own = strokes_of.get(number, NO_STROKES)
        cycle = own.left if own.left.any() else ~own.left
        spans_s = np.stack([own.entry_s, own.next_entry_s], axis=1)[cycle]
        lags = own.lags()
        spans_s = _whole(spans_s)
        kicked = count_kicks(seen.downbeat_s, spans_s)
        for count, (start_s, end_s) in enumerate(spans_s, 1):
            rows.append(
                {
                    "length_no": number,
                    "cycle_no": count,
                    "start_s": start_s,
                    "end_s": end_s,
                    "stroke_rate_cycles_min": 60.0 / (end_s - start_s),
                    "kicks": int(kicked[count - 1]) if seen.legs(start_s, end_s) else None,
                    "index_of_coordination_pct": lags.between(start_s, end_s).index_pct(
                        end_s - start_s
                    ),
                    **seen.roll_peaks(start_s, end_s),
                    "breath_side": seen.breath_side(start_s, end_s),
                    "cycle_side": "left" if own.left.any() else "right",
                }
            )
    return frame("arm_cycles", rows)


def _whole(spans_s: FloatArray) -> FloatArray:
    """Return the complete cycles (C, 2): one much longer than the others missed an entry."""
    spans_s = spans_s[np.isfinite(spans_s).all(axis=1)]
    if not len(spans_s):
        return spans_s
    long_s = np.diff(spans_s, axis=1)[:, 0]
    return spans_s[long_s < _LONGEST * np.median(long_s)]


@dataclass(frozen=True, kw_only=True)
class _Seen:
    """The events of a session in order of time, to be looked up cycle by cycle.

    Parameters
    ----------
    downbeat_s : (K,)
    unseen_s : (G, 2) or None
        When kicks could not be seen; None = never seen.
    rolls, breaths : dict
        Side -> time and size (R, 2) of the peaks.
    """

    downbeat_s: FloatArray
    unseen_s: FloatArray | None
    rolls: dict[str, FloatArray]
    breaths: dict[str, FloatArray]

    @classmethod
    def of(
        cls,
        kicks: pd.DataFrame,
        rolls: pd.DataFrame,
        breaths: pd.DataFrame,
        unseen_s: FloatArray | None,
    ) -> _Seen:
        """Return the events of three contract tables."""
        return cls(
            unseen_s=unseen_s,
            downbeat_s=np.sort(kicks["downbeat_s"].to_numpy(dtype=float)),
            rolls={side: _peaks(rolls, side) for side in _SIDES},
            breaths={side: _peaks(breaths, side) for side in _SIDES},
        )

    def legs(self, start_s: float, end_s: float) -> bool:
        """Return whether the legs were seen all through a cycle."""
        gaps_s = self.unseen_s
        return gaps_s is not None and not np.any((gaps_s[:, 0] < end_s) & (gaps_s[:, 1] > start_s))

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
    peaks = table[["peak_s", "peak_roll_deg"]].to_numpy(dtype=float)
    peaks = peaks[(table["side"] == side).to_numpy(dtype=bool)]
    return peaks[np.argsort(peaks[:, 0], kind="stable")]


def _within(peaks: FloatArray, start_s: float, end_s: float) -> FloatArray:
    first, last = np.searchsorted(peaks[:, 0], [start_s, end_s])
    return peaks[first:last]


def kick_beat(kicks_per_cycle: FloatArray) -> int | None:
    """Return 2, 4 or 6 where at least 60 % of the cycles agree, 0 where not; None without cycles.

    Parameters
    ----------
    kicks_per_cycle : (C,)
        Downbeats of both legs in each complete cycle, NaN where not known. 0, 3, 5 and more than 7
        agree with none.
    """
    known = kicks_per_cycle[np.isfinite(kicks_per_cycle)]
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
    rolls : DataFrame
        Where none of a length's could be told to be a breath or not, its counts stay empty.
    """
    rows = []
    strokes_of = StrokeTimes.of_lengths(strokes)
    kicks_of = by_length(kicks, "downbeat_s")
    cycles_of = by_length(cycles, "kicks")
    rolls_of = by_length(rolls, "side", "peak_roll_deg")
    breaths_of = by_length(breaths, "side", "hold_s", "excess_s")
    told = set(rolls.loc[rolls["is_breath"].notna(), "length_no"])
    untold = set(rolls["length_no"]) - told
    for row in rows_of(lengths, *lengths.columns):
        number = row["length_no"]
        beats, counts = kicks_of.get(number), cycles_of.get(number)
        count = len(beats["downbeat_s"]) if beats else 0
        own = strokes_of.get(number, NO_STROKES)
        rows.append(
            row
            | _arm_figures(session, row, own, clean_speed_m_s.get(number))
            | _kick_figures(row, count, counts["kicks"] if counts else None, ankles, wrists)
            | _roll_figures(
                row,
                rolls_of.get(number),
                breaths_of.get(number),
                roll_source,
                breaths_told=bool(told) and number not in untold,
            )
        )
    return frame("lengths", rows)


def _arm_figures(
    session: Session, row: dict[str, Any], strokes: StrokeTimes, clean_speed_m_s: float | None
) -> dict[str, Any]:
    distance = session.pool_length_m if row["finished"] else None
    entries = strokes.entry_s[np.isfinite(strokes.entry_s)]
    figures: dict[str, Any] = {
        "distance_m": distance,
        "speed_m_s": None if distance is None else distance / (row["end_s"] - row["start_s"]),
        "swim_start_s": float(entries.min()) if len(entries) else None,
    }
    if not len(strokes.entry_s) or row["activity"] == "kick":
        return figures
    rate = 60.0 / strokes.cycle_s
    pulls = int(np.isfinite(strokes.mid_pull_s).sum())
    figures |= {
        "arm_strokes": pulls or None,
        "stroke_rate_cycles_min": rate,
    }
    if distance is not None and clean_speed_m_s is not None and not strokes.stops:
        figures |= {
            "clean_speed_m_s": clean_speed_m_s,
            "clean_speed_source": "pool_and_glide",
            "stroke_length_m": 60.0 * clean_speed_m_s / rate,
        }
    if row["activity"] in CRAWL_LIKE:
        figures["index_of_coordination_pct"] = strokes.lags().index_pct(strokes.cycle_s)
    return figures


def _kick_figures(
    row: dict[str, Any], kicks: int, counts: FloatArray | None, ankles: int, wrists: int
) -> dict[str, Any]:
    if not ankles:
        return {}
    figures: dict[str, Any] = {"kicks": kicks}
    if row["activity"] in CRAWL_LIKE and wrists and counts is not None:
        known = counts[np.isfinite(counts)]
        mean = float(known.mean()) if len(known) else np.nan
        figures["kicks_per_cycle"] = mean * (2 if ankles == 1 else 1)
        figures["kick_beat"] = kick_beat(counts) if ankles == 2 else None
    return figures


def _roll_figures(
    row: dict[str, Any],
    rolls: dict[str, Any] | None,
    breaths: dict[str, Any] | None,
    roll_source: str | None,
    *,
    breaths_told: bool,
) -> dict[str, Any]:
    if row["activity"] not in CRAWL_LIKE or roll_source is None:
        return {}
    figures: dict[str, Any] = {"roll_source": roll_source}
    if rolls is not None:
        left, size = rolls["side"] == "left", rolls["peak_roll_deg"]
        figures["roll_onto_right_deg"] = _median(size[left])
        figures["roll_onto_left_deg"] = _median(size[~left])
    if breaths is not None:
        figures["side_hold_s"] = _median(breaths["hold_s"])
        figures["side_hold_excess_s"] = _median(breaths["excess_s"])
    if breaths_told:
        sides = [] if breaths is None else list(breaths["side"])
        figures |= {f"breaths_{side}": sides.count(side) for side in _SIDES}
    return figures


def _median(values: FloatArray) -> float:
    """Return the median of what is known, NaN of nothing."""
    known = values[np.isfinite(values)]
    return float(np.median(known)) if len(known) else float("nan")
