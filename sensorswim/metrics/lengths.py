"""From event tables to the figures of each length and of each arm cycle."""

from __future__ import annotations

from typing import Any

import pandas as pd

from sensorswim.model import Session
from sensorswim.model.tables import frame
from sensorswim.swim.activity import CRAWL_LIKE
from sensorswim.swim.coordination import coordination_lags, index_of_coordination_pct, mean_cycle_s

_NEAREST_BEAT = {1: 2, 2: 2, 4: 4, 6: 6, 7: 6}
_BEAT_SHARE = 0.6


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
    for row in lengths.loc[lengths["activity"].isin(CRAWL_LIKE)].itertuples():
        own = strokes.loc[strokes["length_no"] == row.length_no]
        side = "left" if (own["side"] == "left").any() else "right"
        cycles = own.loc[own["side"] == side].dropna(subset=["entry_s", "next_entry_s"])
        lags = coordination_lags(own)
        both = own["side"].nunique() == 2
        for number, (start_s, end_s) in enumerate(
            zip(cycles["entry_s"], cycles["next_entry_s"], strict=True), start=1
        ):
            rows.append(
                {
                    "length_no": row.length_no,
                    "cycle_no": number,
                    "start_s": start_s,
                    "end_s": end_s,
                    "stroke_rate_cycles_min": 60.0 / (end_s - start_s),
                    "kicks": _within(kicks, "downbeat_s", start_s, end_s) if len(kicks) else None,
                    "index_of_coordination_pct": _cycle_lag(lags, start_s, end_s) if both else None,
                    **_roll_peaks(rolls, start_s, end_s),
                    "breath_side": _breath_side(breaths, start_s, end_s),
                    "cycle_side": side,
                }
            )
    return frame("arm_cycles", rows)


def _within(table: pd.DataFrame, column: str, start_s: float, end_s: float) -> int:
    return int(((table[column] >= start_s) & (table[column] < end_s)).sum())


def _cycle_lag(lags: pd.DataFrame, start_s: float, end_s: float) -> float | None:
    own = lags.loc[(lags["at_s"] >= start_s) & (lags["at_s"] < end_s)]
    if own["side"].nunique() < 2:
        return None
    return float(100.0 * own.groupby("side")["lag_s"].mean().mean() / (end_s - start_s))


def _roll_peaks(rolls: pd.DataFrame, start_s: float, end_s: float) -> dict[str, float | None]:
    own = rolls.loc[(rolls["peak_s"] >= start_s) & (rolls["peak_s"] < end_s)]
    up = {side: own.loc[own["side"] == side, "peak_roll_deg"] for side in ("left", "right")}
    return {
        "roll_onto_right_deg": float(up["left"].max()) if len(up["left"]) else None,
        "roll_onto_left_deg": float(up["right"].max()) if len(up["right"]) else None,
    }


def _breath_side(breaths: pd.DataFrame, start_s: float, end_s: float) -> str | None:
    own = breaths.loc[(breaths["peak_s"] >= start_s) & (breaths["peak_s"] < end_s), "side"]
    sides = sorted(own.unique())
    return None if not sides else sides[0] if len(sides) == 1 else "both"


def kick_beat(kicks_per_cycle: pd.Series) -> int | None:
    """Return 2, 4 or 6 where at least 60 % of the cycles agree, 0 where not; None without cycles.

    Parameters
    ----------
    kicks_per_cycle : Series
        Downbeats of both legs in each complete cycle. 0, 3, 5 and more than 7 agree with none.
    """
    counts = kicks_per_cycle.dropna().astype(int)
    if not len(counts):
        return None
    agree = counts.map(_NEAREST_BEAT).value_counts() / len(counts)
    return int(agree.index[0]) if len(agree) and agree.iloc[0] >= _BEAT_SHARE else 0


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
    for given in lengths.to_dict("records"):
        row = {str(key): value for key, value in given.items()}
        number = row["length_no"]
        tables = {
            "strokes": strokes.loc[strokes["length_no"] == number],
            "kicks": kicks.loc[kicks["length_no"] == number],
            "cycles": cycles.loc[cycles["length_no"] == number],
            "rolls": rolls.loc[rolls["length_no"] == number],
            "breaths": breaths.loc[breaths["length_no"] == number],
        }
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
