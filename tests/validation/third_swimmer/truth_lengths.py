"""Truth of the lengths table, from the other tables and the path of the trunk."""

from __future__ import annotations

import numpy as np
import pandas as pd

from .body import Motion
from .traits import CRAWL_LIKE
from .truth_strokes import Bounds, kick_beat, lags


def _median(values: pd.Series) -> float:
    return float(values.median()) if len(values) else float("nan")


def _arm_figures(
    motion: Motion, bound: Bounds, strokes: pd.DataFrame, half_cycles: pd.DataFrame
) -> dict[str, object]:
    """Figures of a crawl or drill length."""
    start = float(strokes["entry_s"].min())
    cycle = float((strokes["next_entry_s"] - strokes["entry_s"]).mean())
    last_exit = float(strokes["exit_s"].max())
    hips = np.interp([start, last_exit], motion.time_s, motion.points["hip"][:, 0])
    clean = float(abs(hips[1] - hips[0]) / (last_exit - start))
    delays = lags(strokes)["lag_s"]
    single = bound.record.plan.single_arm is not None
    up = half_cycles.set_index("side")["peak_roll_deg"]
    return {
        "swim_start_s": start,
        "arm_strokes": int(strokes["mid_pull_s"].notna().sum()),
        "stroke_rate_cycles_min": 60.0 / cycle,
        "clean_speed_m_s": clean,
        "stroke_length_m": clean * cycle,
        "index_of_coordination_pct": float("nan") if single else 100.0 * delays.mean() / cycle,
        "roll_onto_left_deg": _median(up[up.index == "right"]),
        "roll_onto_right_deg": _median(up[up.index == "left"]),
    }


def lengths(
    motion: Motion, bounds: list[Bounds], pool_m: float, strokes: pd.DataFrame,
    beats: pd.DataFrame, cycles: pd.DataFrame, half_cycles: pd.DataFrame, breathed: pd.DataFrame,
) -> pd.DataFrame:  # fmt: skip
    """One row a length (s, true time); figures that make no sense for a stroke stay empty."""
    rows = []
    for bound in bounds:
        number, activity = bound.length_no, bound.record.plan.activity
        row: dict[str, object] = {
            "length_no": number, "start_s": bound.start_s, "end_s": bound.end_s,
            "activity": activity, "distance_m": pool_m,
            "speed_m_s": pool_m / (bound.end_s - bound.start_s),
        }  # fmt: skip
        if activity in CRAWL_LIKE:
            own = {
                name: table[table["length_no"] == number]
                for name, table in (("strokes", strokes), ("rolls", half_cycles))
            }
            row |= _arm_figures(motion, bound, own["strokes"], own["rolls"])
            counts = cycles.loc[cycles["length_no"] == number, "kicks"].to_numpy(dtype=float)
            mine = breathed[breathed["length_no"] == number]
            row |= {
                "kicks": int((beats["length_no"] == number).sum()),
                "kicks_per_cycle": float(counts.mean()) if counts.size else float("nan"),
                "kick_beat": kick_beat(counts),
                "breaths_left": int((mine["side"] == "left").sum()),
                "breaths_right": int((mine["side"] == "right").sum()),
                "side_hold_s": _median(mine["hold_s"]),
                "side_hold_excess_s": _median(mine["excess_s"].dropna()),
            }
        elif activity == "kick":
            row |= {"kicks": int((beats["length_no"] == number).sum()), "arm_strokes": 0}
        rows.append(row)
    return pd.DataFrame(rows)
