"""The contract's tables, found on the simulated geometry by the contract's definitions."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Any

import numpy as np
import pandas as pd

from sensorswim.model import Limb, Placement, Side
from sensorswim.model.streams import FloatArray
from sensorswim.model.tables import SCHEMAS, frame
from sensorswim.rehearsal import rotations as rot
from sensorswim.rehearsal import truth_lengths, truth_paths, truth_roll
from sensorswim.rehearsal.body import ArmPath, Body, Pose
from sensorswim.rehearsal.score import LengthScore, Score
from sensorswim.rehearsal.settings import Kit
from sensorswim.rehearsal.timeline import RATE_HZ


@dataclass(kw_only=True)
class Scene:
    """What the tables are read from: joints, wrists, rolls and shank rates on the grid."""

    body: Body
    score: Score
    pool_length_m: float
    wrist_m: dict[Side, FloatArray] = field(default_factory=dict)
    forearm_up: dict[Side, FloatArray] = field(default_factory=dict)
    extension_deg_s: dict[Side, FloatArray] = field(default_factory=dict)
    roll_deg: dict[str, FloatArray] = field(default_factory=dict)
    head_roll_deg: FloatArray = field(default_factory=lambda: np.zeros(0))
    shank_roll: dict[Side, FloatArray] = field(default_factory=dict)

    def see(self, placement: Placement, pose: Pose) -> None:
        """Take what the truth needs from one sensor's ideal pose."""
        side = placement.side
        if placement.limb is Limb.WRIST and side:
            self.wrist_m[side] = pose.position_m
            self.forearm_up[side] = pose.rotation[:, 2, 0]
        elif placement.limb is Limb.ANKLE and side:
            trunk_like = np.stack(
                [-pose.rotation[:, :, 0], side.sign * pose.rotation[:, :, 2],
                 pose.rotation[:, :, 1] * side.sign], axis=2,
            )  # fmt: skip
            self.shank_roll[side] = rot.roll_deg(trunk_like)
            rate = rot.body_rate(pose.rotation, RATE_HZ)[:, 2] * side.sign
            self.extension_deg_s[side] = -np.degrees(np.r_[rate, rate[-1:]])
        elif placement is Placement.HEAD:
            self.head_roll_deg = rot.roll_deg(pose.rotation)
        elif placement in (Placement.UPPER_BACK, Placement.LOWER_BACK):
            self.roll_deg[placement.value] = rot.roll_deg(pose.rotation)

    @property
    def time_s(self) -> FloatArray:
        """The internal grid (N,)."""
        return self.body.time_s

    @property
    def rolls(self) -> dict[str, FloatArray]:
        """Roll (N,) by source, the mean of both shanks for the ankles."""
        mean = 0.5 * (self.shank_roll[Side.LEFT] + self.shank_roll[Side.RIGHT])
        return self.roll_deg | {"ankles": mean}

    def index(self, time_s: float) -> int:
        """Return the grid's sample at a moment."""
        return int(np.clip(round(time_s * RATE_HZ), 0, len(self.time_s) - 1))


def crossings(values: FloatArray, first: int, last: int, *, down: bool) -> FloatArray:
    """Return the moments (K,) in s where values pass 0, between two samples."""
    part = values[max(first, 0) : max(last, 0)] * (-1.0 if down else 1.0)
    at = np.flatnonzero((part[:-1] < 0) & (part[1:] >= 0))
    share = part[at] / (part[at] - part[at + 1])
    return (max(first, 0) + at + share) / RATE_HZ


def _near(moments: FloatArray, aim_s: float, within_s: float) -> float:
    close = moments[np.abs(moments - aim_s) <= within_s]
    return float(close[np.argmin(np.abs(close - aim_s))]) if len(close) else np.nan


_PULL, _ENTRY = 0.9, 1.3
"""Cycles from a mid-pull to its own exit, and to the entries before and after it, at most: a hold
at a breath makes a cycle longer."""


def stroke_row(
    scene: Scene, length: LengthScore, side: Side, aim_s: float, period_s: float
) -> dict[str, Any] | None:
    """Return one arm stroke, None where the wrist never passes its shoulder.

    A hand that comes up to the surface in the streamline does not enter: only one that was behind
    its shoulder since the push-off does.
    """
    path: ArmPath = scene.body.arm(side)[0]
    wrist = scene.wrist_m[side]
    first, last = scene.index(aim_s - _ENTRY * period_s), scene.index(aim_s + _PULL * period_s)
    ahead = np.sign(scene.body.thorax[scene.index(aim_s), 0, 0])
    relative = ahead * (wrist[:, 0] - path.shoulder_m[:, 0])
    middle = _near(crossings(relative, first, last, down=True), aim_s, 0.3 * period_s)
    if np.isnan(middle):
        return None
    at = scene.index(middle)
    speed = ahead * np.gradient(wrist[first : at + 1, 0])
    forward = np.flatnonzero(speed >= 0)
    catch = (first + forward[-1] + 1) / RATE_HZ if len(forward) else np.nan
    pushed = scene.index(length.start_s + 0.5)
    start = max(first, pushed) if (relative[pushed:at] < 0).any() else at
    entries = crossings(wrist[:, 2], start, at, down=True)
    end = scene.index(length.end_s)
    exits = crossings(wrist[:, 2], at, min(last, end), down=False)
    leave = float(exits[0]) if len(exits) else np.nan
    stop = min(scene.index(aim_s + _ENTRY * period_s), end)
    following = crossings(wrist[:, 2], scene.index(middle) + 50, stop, down=True)
    following = following[following > leave] if len(exits) else following[:0]
    deep = slice(at - int(0.2 * period_s * RATE_HZ), at + int(0.2 * period_s * RATE_HZ))
    return {
        "length_no": length.length_no,
        "side": side.value,
        "entry_s": float(entries[-1]) if len(entries) else np.nan,
        "catch_s": catch,
        "mid_pull_s": middle,
        "exit_s": leave,
        "next_entry_s": float(following[0]) if len(following) else np.nan,
        "pull_depth_m": float(np.max(path.shoulder_m[deep, 2] - wrist[deep, 2])),
        "elbow_angle_deg": float(path.elbow_deg[at]),
        "elbow_sd_deg": 0.0,
        "elbow_source": "upper_arm",
        "source": "truth",
    }


def stroke_rows(scene: Scene, length: LengthScore) -> list[dict[str, Any]]:
    """Return the strokes of a length in order of mid-pull, then the reach to the wall."""
    rows = [stroke_row(scene, length, *stroke) for stroke in length.strokes]
    found = sorted((row for row in rows if row), key=lambda row: row["mid_pull_s"])
    for side, aim in length.reaches:
        z = scene.wrist_m[side][:, 2]
        moments = crossings(z, scene.index(aim - 0.5), scene.index(aim + 0.5), down=True)
        entry = _near(moments, aim, 0.4)
        if not np.isnan(entry):
            found.append(
                {"length_no": length.length_no, "side": side.value, "entry_s": entry,
                 "source": "truth"}
            )  # fmt: skip
    return found


def kick_rows(scene: Scene, length: LengthScore) -> list[dict[str, Any]]:
    """Return the downbeats: the fastest extension of the shank near each laid kick."""
    rows = []
    for side, aim in sorted(length.kicks, key=lambda kick: kick[1]):
        first = scene.index(aim - 0.1)
        part = scene.extension_deg_s[side][first : scene.index(aim + 0.1)]
        at = int(np.argmax(part))
        if 0 < at < len(part) - 1 and part[at] > 20.0:
            rows.append(
                {
                    "length_no": length.length_no,
                    "side": side.value,
                    "downbeat_s": (first + at) / RATE_HZ,
                    "peak_rate_deg_s": float(part[at]),
                }
            )
    return rows


def tables(
    scene: Scene, kit: Kit, *, to_session: Callable[[Any], Any]
) -> tuple[dict[str, pd.DataFrame], dict[str, Any]]:
    """Return the contract's tables in session time, and what goes beyond them."""
    strokes = pd.DataFrame([r for n in scene.score.lengths for r in stroke_rows(scene, n)])
    strokes = frame("arm_strokes", strokes)
    kicks = frame(
        "kicks", pd.DataFrame([r for n in scene.score.lengths for r in kick_rows(scene, n)])
    )
    source = best_source(kit)
    lengths = truth_lengths.windows(scene, strokes)
    phase = truth_lengths.Phases(strokes)
    kicks["cycle_phase"] = phase.of(kicks["downbeat_s"].to_numpy())
    by_source = {name: truth_roll.roll_tables(scene, lengths, phase, name) for name in scene.rolls}
    rolls, breaths = by_source[source]
    cycles = truth_lengths.cycles(strokes, kicks, rolls)
    lengths = truth_lengths.fill(lengths, strokes, kicks, cycles, rolls, breaths, source)
    result = {
        "lengths": lengths, "arm_strokes": strokes, "kicks": kicks, "arm_cycles": cycles,
        "rolls": rolls, "breaths": breaths, "roll": truth_roll.roll_50_hz(scene),
        "marks": frame("marks", []),
        "hand_paths": truth_paths.hand_paths(
            strokes, _wrist_from_shoulder(scene), np.radians(rot.roll_deg(scene.body.thorax))
        ),
    }  # fmt: skip
    extra = {
        "rolls": {name: _moved("rolls", pair[0], to_session) for name, pair in by_source.items()},
        "breaths": {
            name: _moved("breaths", pair[1], to_session) for name, pair in by_source.items()
        },
        "hand_path": _moved_time(_hand_path(scene), to_session),
        "body_speed": _moved_time(_body_speed(scene), to_session),
        "knocks_s": [float(to_session(moment)) for moment, _ in scene.score.knocks],
    }
    return {name: _moved(name, table, to_session) for name, table in result.items()}, extra


def best_source(kit: Kit) -> str:
    """Return the roll's source that the tables rest on: the best worn."""
    for placement in (Placement.UPPER_BACK, Placement.LOWER_BACK):
        if placement in kit.placements:
            return placement.value
    return "ankles"


def _moved(name: str, table: pd.DataFrame, to_session: Callable[[Any], Any]) -> pd.DataFrame:
    moved = table.copy()
    for column in SCHEMAS[name].names:
        if column in ("start_s", "end_s", "swim_start_s", "time_s", "peak_s", "downbeat_s") or (
            name == "arm_strokes" and column.endswith("_s")
        ):
            moved[column] = to_session(table[column])
    return frame(name, moved)


def _moved_time(table: pd.DataFrame, to_session: Callable[[Any], Any]) -> pd.DataFrame:
    return table.assign(time_s=to_session(table["time_s"]))


def _wrist_from_shoulder(scene: Scene) -> dict[Side, FloatArray]:
    """Return each wrist relative to its shoulder (N, 3): x ahead, y left, z up."""
    ahead = np.sign(scene.body.thorax[:, 0, 0])
    turn = np.stack([ahead, ahead, np.ones_like(ahead)], axis=1)
    return {s: turn * (scene.wrist_m[s] - scene.body.arm(s)[0].shoulder_m) for s in Side}


def _hand_path(scene: Scene) -> pd.DataFrame:
    parts, step = [], slice(None, None, 10)
    for side, relative in _wrist_from_shoulder(scene).items():
        path = scene.body.arm(side)[0]
        parts.append(
            pd.DataFrame(
                {
                    "time_s": scene.time_s[step],
                    "side": side.value,
                    "x_m": relative[step, 0],
                    "y_m": relative[step, 1],
                    "z_m": relative[step, 2],
                    "depth_m": -scene.wrist_m[side][step, 2],
                    "elbow_deg": path.elbow_deg[step],
                }
            )
        )
    return pd.concat(parts, ignore_index=True)


def _body_speed(scene: Scene) -> pd.DataFrame:
    speed = np.gradient(scene.body.pelvis_m[:, 0]) * RATE_HZ
    step = slice(None, None, 20)
    return pd.DataFrame(
        {
            "time_s": scene.time_s[step],
            "speed_m_s": np.abs(speed[step]),
            "x_m": scene.body.pelvis_m[step, 0],
        }
    )
