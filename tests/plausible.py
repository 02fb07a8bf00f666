"""A small made-up session as result tables, for tests of what is drawn and written."""

from __future__ import annotations

from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd

from sensorswim.model import (
    Block,
    Mark,
    Placement,
    Quality,
    SensorFile,
    Session,
    Settings,
    Severity,
    Video,
    VideoMark,
)
from sensorswim.model.analysis import Analysis
from sensorswim.model.tables import SCHEMAS, empty, frame

LENGTH_S, CYCLE_S, CYCLES = 24.0, 2.0, 9
MISSING = {(3, 4), (5, 2)}
"""Cycles (length, cycle) whose last kick is left out."""


def _start(length_no: int) -> float:
    return 120.0 + (length_no - 1) * 45.0


def _lengths() -> list[dict[str, Any]]:
    return [
        {
            "length_no": n,
            "start_s": _start(n),
            "end_s": _start(n) + LENGTH_S,
            "swim_start_s": _start(n) + 4.0,
            "activity": "drill" if n % 4 == 1 else "front_crawl",
            "distance_m": 25.0,
            "speed_m_s": 25.0 / LENGTH_S + 0.01 * n,
            "clean_speed_m_s": 1.0,
            "arm_strokes": 2 * CYCLES,
            "stroke_rate_cycles_min": 30.0 + 0.2 * n,
            "stroke_length_m": 2.0 - 0.01 * n,
            "index_of_coordination_pct": -8.0 + n,
            "kicks": 6 * CYCLES,
            "kicks_per_cycle": 6.0,
            "kick_beat": 6,
            "roll_onto_left_deg": 41.0,
            "roll_onto_right_deg": 52.0,
            "roll_source": "ankles",
            "breaths_left": 4,
            "breaths_right": 2,
            "side_hold_s": 0.8,
            "side_hold_excess_s": 0.21,
            "elbow_angle_left_deg": 125.0,
            "elbow_angle_right_deg": 125.0,
            "elbow_sd_left_deg": 8.0,
            "elbow_sd_right_deg": 8.0,
            "pull_depth_left_m": 0.62,
            "pull_depth_right_m": 0.55,
            "block_no": 1 if n <= 4 else 2,
            "block_label": "4 x 25 alternating" if n <= 4 else "4 x 25 steady",
            "set_as": "drill" if n % 4 == 1 else "swim",
            "finished": True,
        }
        for n in range(1, 9)
    ]


def _cycles() -> list[dict[str, Any]]:
    rows = []
    for n in range(1, 9):
        for c in range(1, CYCLES + 1):
            start = _start(n) + 4.0 + (c - 1) * CYCLE_S
            rows.append(
                {
                    "length_no": n,
                    "cycle_no": c,
                    "start_s": start,
                    "end_s": start + CYCLE_S,
                    "stroke_rate_cycles_min": 30.0,
                    "kicks": 6,
                    "index_of_coordination_pct": -8.0 + n + 3 * np.sin(c),
                    "roll_onto_left_deg": 41.0,
                    "roll_onto_right_deg": 52.0,
                    "breath_side": ("left", None, "right")[c % 3],
                    "cycle_side": "left",
                }
            )
    return rows


def _kicks(cycles: list[dict[str, Any]]) -> list[dict[str, Any]]:
    noise = np.random.default_rng(3)
    rows = []
    for cycle in cycles:
        for k in range(6):
            if k == 5 and (cycle["length_no"], cycle["cycle_no"]) in MISSING:
                continue
            phase = (k + 0.4) / 6 + noise.normal(0, 0.012)
            rows.append(
                {
                    "length_no": cycle["length_no"],
                    "side": ("right", "left")[k % 2],
                    "downbeat_s": cycle["start_s"] + phase * CYCLE_S,
                    "peak_rate_deg_s": 260.0,
                    "cycle_phase": phase,
                }
            )
    return rows


def _strokes(cycles: list[dict[str, Any]]) -> list[dict[str, Any]]:
    return [
        {
            "length_no": cycle["length_no"],
            "side": side,
            "entry_s": entry,
            "catch_s": entry + (0.7 if side == "left" else 0.6),
            "mid_pull_s": entry + 1.0,
            "exit_s": entry + 1.4,
            "next_entry_s": entry + CYCLE_S,
            "pull_depth_m": 0.55,
            "elbow_angle_deg": 125.0,
            "elbow_sd_deg": 9.0,
            "elbow_source": "wrist_model",
            "source": f"{side}_wrist",
        }
        for cycle in cycles
        for side, entry in (("left", cycle["start_s"]), ("right", cycle["start_s"] + 1.0))
    ]


def _rolls(cycles: list[dict[str, Any]]) -> list[dict[str, Any]]:
    noise = np.random.default_rng(5)
    rows = []
    for cycle in cycles:
        for side, at in (("left", 0.5), ("right", 1.5)):
            breathing = cycle["breath_side"] == side
            hold = (0.85 if breathing else 0.6) + noise.normal(0, 0.04)
            peak = cycle["start_s"] + at
            rows.append(
                {
                    "length_no": cycle["length_no"],
                    "side": side,
                    "peak_s": peak,
                    "start_s": peak - hold / 2,
                    "end_s": peak + hold / 2,
                    "hold_s": hold,
                    "peak_roll_deg": (52.0 if side == "left" else 41.0)
                    + 6 * breathing
                    + noise.normal(0, 2),
                    "is_breath": breathing,
                    "source": "ankles",
                }
            )
    return rows


def _breaths(rolls: list[dict[str, Any]]) -> list[dict[str, Any]]:
    common = ("length_no", "side", "peak_s", "start_s", "end_s", "hold_s", "peak_roll_deg")
    return [
        {key: roll[key] for key in common}
        | {"hold_share": roll["hold_s"] / CYCLE_S, "excess_s": roll["hold_s"] - 0.6}
        | {"beyond_fixed_s": 0.7, "cycle_phase": 0.25, "confidence": 0.8, "source": "ankles"}
        for roll in rolls
        if roll["is_breath"]
    ]


def _roll() -> pd.DataFrame:
    parts = []
    for n in range(1, 9):
        time_s = np.arange(_start(n), _start(n) + LENGTH_S, 0.02)
        angle = 2 * np.pi * (time_s - _start(n) - 4.0) / CYCLE_S
        roll_deg = 5.5 + 46.5 * np.sin(angle) * (time_s > _start(n) + 4.0)
        parts.append(pd.DataFrame({"time_s": time_s, "roll_deg": roll_deg, "source": "ankles"}))
    return pd.concat(parts)


def _paths() -> pd.DataFrame:
    """Ovals below and above the shoulder, deeper on the left."""
    phase = np.arange(40) / 40.0
    turn, parts = 2 * np.pi * (phase - 0.06), []
    for n in range(1, 9):
        for side, sign, deep in (("left", 1, 0.62), ("right", -1, 0.52)):
            size = np.where(np.sin(turn) > 0, deep, 0.3)
            part = pd.DataFrame({"phase": phase, "length_no": n, "side": side, "cycles": CYCLES})
            part["x_m"], part["z_m"] = 0.55 * np.cos(turn), -size * np.sin(turn)
            part["y_m"] = sign * (0.12 - 0.08 * np.cos(turn))
            part["y_trunk_m"], part["z_trunk_m"] = part["y_m"] + 0.05 * sign, part["z_m"]
            parts.append(part.assign(x_spread_m=0.03, y_spread_m=0.04, z_spread_m=0.03))
    return pd.concat(parts, ignore_index=True)


def plausible_tables() -> dict[str, pd.DataFrame]:
    """Eight lengths of a steady six-beat crawl, two of them drills, two kicks missing."""
    cycles = _cycles()
    rolls = _rolls(cycles)
    return {
        "lengths": frame("lengths", _lengths()),
        "arm_strokes": frame("arm_strokes", _strokes(cycles)),
        "hand_paths": frame("hand_paths", _paths()),
        "kicks": frame("kicks", _kicks(cycles)),
        "arm_cycles": frame("arm_cycles", cycles),
        "rolls": frame("rolls", rolls),
        "breaths": frame("breaths", _breaths(rolls)),
        "roll": frame("roll", _roll()),
        "marks": frame(
            "marks", [{"session_s": 171.0, "kind": "coach", "label": "look at the kick"}]
        ),
    }


def plausible_session(**changes: Any) -> Session:
    """The session that `plausible_tables` could come from."""
    places = (
        Placement.LEFT_WRIST,
        Placement.RIGHT_WRIST,
        Placement.LEFT_ANKLE,
        Placement.RIGHT_ANKLE,
    )
    values: dict[str, Any] = {
        "folder": Path("session"),
        "started_at": datetime(2026, 3, 14, 6, 30, tzinfo=UTC),
        "swimmer": "Mira",
        "height_m": 1.72,
        "pool_length_m": 25.0,
        "sensors": tuple(SensorFile(placement=p, file=Path(f"{p}.csv")) for p in places),
        "blocks": (
            Block(
                start_s=110.0,
                end_s=285.0,
                label="4 x 25 alternating",
                lengths=("drill", "swim"),
                drill="single-arm",
                felt={"kick_beat": 4.0, "roll_onto_left_deg": 55.0},
            ),
            Block(start_s=290.0, end_s=480.0, label="4 x 25 steady", felt={"kick_beat": 6.0}),
        ),
        "marks": (Mark(kind="coach", session_s=171.0, label="look at the kick"),),
        "extra": {"invented": True},
    }
    return Session(**(values | changes))


def plausible_analysis(**changes: Any) -> Analysis:
    """The whole answer to that session."""
    quality = Quality()
    quality.add(
        "clock_from_movement",
        Severity.DEGRADED,
        "No knocks were found at the end; the clock of the right ankle was aligned from the "
        "movement itself, to about 12 ms.",
        placement="right_ankle",
    )
    values: dict[str, Any] = {
        "session": plausible_session(),
        "settings": Settings(),
        "quality": quality,
        "version": "0.1.0",
        "tables": plausible_tables(),
        "facts": {"typical_roll_deg": 46.5, "roll_source": "ankles"},
    }
    return Analysis(**(values | changes))


def bare_analysis() -> Analysis:
    """An answer in which nothing was found."""
    return plausible_analysis(
        session=plausible_session(blocks=(), marks=(), extra={}),
        tables={name: empty(name) for name in SCHEMAS},
        facts={},
    )


def filmed_session() -> Session:
    """The same session with one video that is placed by two marks."""
    marks = (VideoMark(video_s=3.0, session_s=123.0), VideoMark(video_s=103.0, session_s=223.1))
    return plausible_session(
        videos=(Video(file=Path("side.webm"), starts_at_s=0.0, marks=marks),),
    )
