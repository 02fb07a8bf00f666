"""Lengths, cycles and phases of the truth, from the strokes, kicks, rolls and breaths found."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, Final

import numpy as np
import pandas as pd

from sensorswim.model.streams import FloatArray
from sensorswim.model.tables import frame
from sensorswim.rehearsal.records import records
from sensorswim.rehearsal.timeline import RATE_HZ
from sensorswim.rehearsal.truth_roll import ROLLED

if TYPE_CHECKING:
    from sensorswim.rehearsal.truth import Scene

ACTIVITY: Final = {"catch_up": "front_crawl", "single_arm": "other"}
"""What the file contract calls the activities of a plan that no block calls a drill."""
LONGEST_CYCLE_S: Final = 4.0


class Phases:
    """Phase within the arm cycle, 0..1 from the left hand's entry."""

    def __init__(self, strokes: pd.DataFrame) -> None:
        left = strokes.loc[strokes["side"] == "left", "entry_s"].dropna().to_numpy(float)
        self._entry_s = np.unique(left)

    def _bracket(self, time_s: FloatArray) -> tuple[FloatArray, FloatArray]:
        edges = np.r_[-np.inf, self._entry_s, np.inf]
        after = np.searchsorted(edges, time_s, side="right")
        start, end = edges[after - 1], edges[np.minimum(after, len(edges) - 1)]
        with np.errstate(invalid="ignore"):
            good = (end - start < LONGEST_CYCLE_S) & np.isfinite(start) & np.isfinite(end)
        return np.where(good, start, np.nan), np.where(good, end, np.nan)

    def of(self, time_s: FloatArray) -> FloatArray:
        """Return the phase (K,) of moments, NaN outside complete cycles."""
        start, end = self._bracket(np.asarray(time_s, dtype=float))
        return (time_s - start) / (end - start)

    def cycle_s(self, time_s: float) -> float:
        """Return how long the cycle around a moment lasts, NaN outside."""
        start, end = self._bracket(np.array([time_s]))
        return float(end[0] - start[0])


def windows(scene: Scene, strokes: pd.DataFrame) -> pd.DataFrame:
    """Return the table lengths with times, distance and activity only."""
    rows = []
    for length in scene.score.lengths:
        own = strokes[strokes["length_no"] == length.length_no]
        entries = own["entry_s"].dropna()
        last_exit = own["exit_s"].max()
        activity = ACTIVITY.get(length.activity, length.activity)
        if length.set_as == "drill" and activity in ("front_crawl", "other"):
            activity = "drill"
        row: dict[str, Any] = {
            "length_no": length.length_no,
            "start_s": length.start_s,
            "end_s": length.end_s,
            "swim_start_s": entries.min() if len(entries) else np.nan,
            "activity": activity,
            "distance_m": scene.pool_length_m,
            "speed_m_s": scene.pool_length_m / (length.end_s - length.start_s),
            "finished": True,
            "set_as": length.set_as,
        }
        if len(entries) and np.isfinite(last_exit):
            x = scene.body.pelvis_m[:, 0]
            a, b = scene.index(row["swim_start_s"]), scene.index(last_exit)
            row["clean_speed_m_s"] = abs(x[b] - x[a]) / (b - a) * RATE_HZ
            row["clean_speed_source"] = "truth"
        for side in ("left", "right"):
            arm = own.loc[own["side"] == side]
            row |= {
                f"pull_depth_{side}_m": arm["pull_depth_m"].median(),
                f"elbow_angle_{side}_deg": arm["elbow_angle_deg"].median(),
                f"elbow_sd_{side}_deg": 0.0 if arm["elbow_angle_deg"].notna().any() else np.nan,
            }
        rows.append(row)
    return frame("lengths", rows)


def lags_s(strokes: pd.DataFrame) -> pd.DataFrame:
    """Return one row a lag: one arm's exit minus the other's next catch."""
    pulls = strokes.dropna(subset=["mid_pull_s"]).sort_values("mid_pull_s")
    following = pulls.shift(-1)
    pair = (pulls["side"] != following["side"]) & (pulls["length_no"] == following["length_no"])
    table = pd.DataFrame(
        {
            "length_no": pulls["length_no"],
            "exit_s": pulls["exit_s"],
            "lag_s": pulls["exit_s"] - following["catch_s"],
        }
    )
    return table[pair.fillna(False)].dropna()


def cycles(strokes: pd.DataFrame, kicks: pd.DataFrame, rolls: pd.DataFrame) -> pd.DataFrame:
    """Return the table arm_cycles: left entry to left entry."""
    lags, rows = lags_s(strokes), []
    left = strokes[(strokes["side"] == "left")].dropna(subset=["entry_s", "next_entry_s"])
    for length_no, own in left.groupby("length_no"):
        for number, stroke in enumerate(records(own.sort_values("entry_s")), start=1):
            start, end = stroke["entry_s"], stroke["next_entry_s"]
            inside = rolls[(rolls["peak_s"] >= start) & (rolls["peak_s"] < end)]
            onto = {
                side: inside.loc[inside["side"] == up, "peak_roll_deg"].max()
                for side, up in (("left", "right"), ("right", "left"))
            }
            breaths = sorted(set(inside.loc[inside["is_breath"].fillna(False), "side"]))
            within = lags.loc[(lags["exit_s"] >= start) & (lags["exit_s"] < end), "lag_s"]
            beats = (kicks["downbeat_s"] >= start) & (kicks["downbeat_s"] < end)
            rows.append(
                {
                    "length_no": length_no,
                    "cycle_no": number,
                    "start_s": start,
                    "end_s": end,
                    "stroke_rate_cycles_min": 60.0 / (end - start),
                    "kicks": int(beats.sum()),
                    "index_of_coordination_pct": 100 * within.mean() / (end - start)
                    if len(within) == 2
                    else np.nan,
                    "roll_onto_left_deg": onto["left"],
                    "roll_onto_right_deg": onto["right"],
                    "breath_side": {0: None, 1: (breaths or [None])[0], 2: "both"}[len(breaths)],
                    "cycle_side": "left",
                }
            )
    return frame("arm_cycles", rows)


def _beat(kicks: FloatArray) -> int:
    """Return the beat that at least 60 % of the cycles are nearest to, else 0."""
    nearest = {1: 2, 2: 2, 4: 4, 6: 6, 7: 6}
    beats = [nearest.get(int(count), 0) for count in kicks]
    best = max((2, 4, 6), key=beats.count)
    return best if beats and beats.count(best) >= 0.6 * len(beats) else 0


def fill(
    lengths: pd.DataFrame,
    strokes: pd.DataFrame,
    kicks: pd.DataFrame,
    cycles_table: pd.DataFrame,
    rolls: pd.DataFrame,
    breaths: pd.DataFrame,
    source: str,
) -> pd.DataFrame:
    """Return the table lengths with its figures."""
    lags, rows = lags_s(strokes), []
    for row in records(lengths):
        number = row["length_no"]
        own, cyc, roll, breath, beats = (
            table[table["length_no"] == number]
            for table in (strokes, cycles_table, rolls, breaths, kicks)
        )
        period = (own["next_entry_s"] - own["entry_s"]).mean()
        rate = 60.0 / period if period > 0 else np.nan
        lag = lags.loc[lags["length_no"] == number, "lag_s"].mean()
        crawl = row["activity"] in ("front_crawl", "drill", "other")
        breathed = row["activity"] in ROLLED
        row |= {
            "arm_strokes": int(own["mid_pull_s"].notna().sum()),
            "stroke_rate_cycles_min": rate,
            "stroke_length_m": 60.0 * row["clean_speed_m_s"] / rate,
            "index_of_coordination_pct": 100.0 * lag / period if crawl else np.nan,
            "kicks": len(beats),
            "kicks_per_cycle": cyc["kicks"].astype(float).mean(),
            "kick_beat": _beat(cyc["kicks"].to_numpy(float)) if len(cyc) else None,
            "roll_onto_left_deg": roll.loc[roll["side"] == "right", "peak_roll_deg"].median(),
            "roll_onto_right_deg": roll.loc[roll["side"] == "left", "peak_roll_deg"].median(),
            "roll_source": source,
            "breaths_left": int((breath["side"] == "left").sum()) if breathed else None,
            "breaths_right": int((breath["side"] == "right").sum()) if breathed else None,
            "side_hold_s": breath["hold_s"].median(),
            "side_hold_excess_s": breath["excess_s"].median(),
        }
        for side in ("left", "right"):
            arm = own.loc[own["side"] == side]
            row |= {
                f"pull_depth_{side}_m": arm["pull_depth_m"].median(),
                f"elbow_angle_{side}_deg": arm["elbow_angle_deg"].median(),
                f"elbow_sd_{side}_deg": 0.0 if arm["elbow_angle_deg"].notna().any() else np.nan,
            }
        rows.append(row)
    return frame("lengths", rows)
