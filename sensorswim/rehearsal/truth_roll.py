"""Rolls and breaths of the truth: half cycles, holds and what the head does in them."""

from __future__ import annotations

from itertools import pairwise
from typing import TYPE_CHECKING, Any, Final

import numpy as np
import pandas as pd

from sensorswim.model import Side
from sensorswim.model.streams import FloatArray
from sensorswim.model.tables import frame
from sensorswim.rehearsal.records import records
from sensorswim.rehearsal.timeline import RATE_HZ

if TYPE_CHECKING:
    from sensorswim.rehearsal.truth import Scene
    from sensorswim.rehearsal.truth_lengths import Phases

FIXED_DEG: Final = {"upper_back": 35.0, "lower_back": 25.0, "ankles": 20.0}
"""The fixed angles of beyond_fixed_s in the file contract."""
BREATH_HEAD_DEG: Final = 45.0
"""A head turned further than this to the upper side is a breath."""
SMALLEST_DEG: Final = 5.0
ROLLED: Final = ("front_crawl", "drill")
"""Activities whose rolls and breaths the file contract counts."""


def half_cycles(roll_deg: FloatArray, first: int, last: int) -> list[tuple[int, int]]:
    """Return sample ranges between the roll's zero crossings within a window."""
    sign = np.sign(roll_deg[first:last])
    edges = first + 1 + np.flatnonzero(sign[1:] * sign[:-1] < 0)
    return [
        (int(a), int(b))
        for a, b in pairwise(edges)
        if np.max(np.abs(roll_deg[a:b])) > SMALLEST_DEG and b - a > 0.15 * RATE_HZ
    ]


def beyond_s(size_deg: FloatArray, at: int, level_deg: float) -> tuple[float, float] | None:
    """Return where the size passes a level before and after its peak, in samples."""
    if size_deg[at] <= level_deg:
        return None
    low = np.flatnonzero(size_deg[:at] <= level_deg)
    high = at + np.flatnonzero(size_deg[at:] <= level_deg)
    if not len(low) or not len(high):
        return None
    i, j = low[-1], high[0]
    before = i + (level_deg - size_deg[i]) / (size_deg[i + 1] - size_deg[i])
    after = j - 1 + (size_deg[j - 1] - level_deg) / (size_deg[j - 1] - size_deg[j])
    return float(before), float(after)


def _prone(scene: Scene, first: int, last: int) -> tuple[int, int]:
    """Cut a window where the swimmer leaves the level, as in a somersault: no roll there."""
    steep = np.flatnonzero(np.abs(scene.body.thorax[first:last, 2, 0]) > 0.6)
    return first, first + int(steep[0]) if len(steep) else last


def _halves(scene: Scene, lengths: pd.DataFrame, source: str) -> list[dict[str, Any]]:
    roll, head = scene.rolls[source], scene.head_roll_deg
    rows = []
    for length in records(lengths[lengths["activity"].isin(ROLLED)]):
        if not np.isfinite(length["swim_start_s"]):
            continue
        window = _prone(scene, scene.index(length["swim_start_s"]), scene.index(length["end_s"]))
        for a, b in half_cycles(roll, *window):
            side = Side.LEFT if roll[a:b].mean() > 0 else Side.RIGHT
            size = side.sign * roll[a - 1 : b + 1]
            at = int(np.argmax(size))
            turned = side.sign * head[a:b]
            rows.append(
                {"length_no": length["length_no"], "side": side.value, "from": a - 1, "size": size,
                 "at": at, "peak_s": (a - 1 + at) / RATE_HZ, "peak_roll_deg": float(size[at]),
                 "is_breath": bool(np.max(turned) > BREATH_HEAD_DEG), "source": source}
            )  # fmt: skip
    return rows


def roll_tables(
    scene: Scene, lengths: pd.DataFrame, phase: Phases, source: str
) -> tuple[pd.DataFrame, pd.DataFrame]:
    """Return the tables rolls and breaths that rest on one source."""
    halves = _halves(scene, lengths, source)
    quiet = [h["peak_roll_deg"] for h in halves if not h["is_breath"]]
    typical = quiet if len(quiet) >= 10 else [h["peak_roll_deg"] for h in halves]
    if not halves:
        return frame("rolls", []), frame("breaths", [])
    level = 0.5 * float(np.median(typical))
    for half in halves:
        span = beyond_s(half["size"], half["at"], level)
        start, end = span if span else (np.nan, np.nan)
        half |= {
            "start_s": (half["from"] + start) / RATE_HZ,
            "end_s": (half["from"] + end) / RATE_HZ,
            "hold_s": (end - start) / RATE_HZ,
        }
    table = pd.DataFrame(halves)
    rolls = frame("rolls", table.drop(columns=["from", "size", "at"]))
    rows = [_breath(scene, half, table, phase, source) for half in halves if half["is_breath"]]
    if len(quiet) < 10:
        rows = [row | {"excess_s": np.nan} for row in rows]
    return rolls, frame("breaths", rows)


def _breath(
    scene: Scene, half: dict[str, Any], table: pd.DataFrame, phase: Phases, source: str
) -> dict[str, Any]:
    quiet = table[~table["is_breath"].astype(bool)]
    same = quiet.loc[quiet["side"] == half["side"], "hold_s"]
    other = quiet.loc[quiet["side"] != half["side"], "hold_s"]
    usual = (same if len(same) else other).median()
    beyond = beyond_s(half["size"], half["at"], FIXED_DEG[source])
    reaching = Side(half["side"]).other
    up = scene.forearm_up[reaching][scene.index(half["peak_s"])]
    return {
        "length_no": half["length_no"],
        "side": half["side"],
        "peak_s": half["peak_s"],
        "start_s": half["start_s"],
        "end_s": half["end_s"],
        "hold_s": half["hold_s"],
        "hold_share": half["hold_s"] / phase.cycle_s(half["peak_s"]),
        "excess_s": half["hold_s"] - usual,
        "beyond_fixed_s": (beyond[1] - beyond[0]) / RATE_HZ if beyond else 0.0,
        "peak_roll_deg": half["peak_roll_deg"],
        "cycle_phase": float(phase.of(np.array([half["peak_s"]]))[0]),
        "lead_arm_tilt_deg": float(-np.degrees(np.arcsin(np.clip(up, -1, 1)))),
        "confidence": 1.0,
        "source": source,
    }


def roll_50_hz(scene: Scene) -> pd.DataFrame:
    """Return the table roll: every source at 50 Hz."""
    step = slice(None, None, round(RATE_HZ / 50))
    parts = [
        pd.DataFrame({"time_s": scene.time_s[step], "roll_deg": roll[step], "source": source})
        for source, roll in scene.rolls.items()
    ]
    return frame("roll", pd.concat(parts, ignore_index=True))
