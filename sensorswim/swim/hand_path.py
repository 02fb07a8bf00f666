"""The hands' paths of a session, pooled over the cycles of each length, as a table."""

from __future__ import annotations

from typing import Any

import numpy as np
import pandas as pd

from sensorswim.model import Side
from sensorswim.model.streams import FloatArray
from sensorswim.model.tables import frame
from sensorswim.swim.arm_model import PHASES
from sensorswim.swim.pull import Pulls
from sensorswim.swim.shoulder import Key

_MAD = 1.4826
_LONGEST_STEP = 0.06


def hand_paths(pulls: dict[Key, Pulls], strokes: pd.DataFrame, lengths: list[int]) -> pd.DataFrame:
    """Return the table `hand_paths`: median and spread over the cycles of each length.

    Parameters
    ----------
    pulls : dict
        By (length_no, side).
    strokes : DataFrame
        `arm_strokes`: their entries are phase 0.
    lengths : list of int
        Lengths to list (crawl).
    """
    rows: list[dict[str, Any]] = []
    windows = _windows_s(strokes)
    for (number, side), own in pulls.items():
        if number in lengths and own.solved and (number, str(side)) in windows:
            rows += _rows(number, side, own, windows[number, str(side)])
    rows.sort(key=lambda row: (row["length_no"], row["side"], row["phase"]))
    return frame("hand_paths", rows)


def _windows_s(strokes: pd.DataFrame) -> dict[tuple[int, str], FloatArray]:
    """Return entry and next entry (C, 2) of the whole cycles, by length and side."""
    whole = strokes[["length_no", "side", "entry_s", "next_entry_s"]].dropna()
    times_s = whole[["entry_s", "next_entry_s"]].to_numpy(dtype=float)
    groups = whole.groupby(["length_no", "side"], observed=True).indices
    return {(int(number), str(side)): times_s[rows] for (number, side), rows in groups.items()}


def _rows(number: int, side: Side, pulls: Pulls, windows_s: FloatArray) -> list[dict[str, Any]]:
    path = pulls.wrist_from_shoulder_m
    trunk = _in_trunk(path, side.sign * pulls.pose.roll_rad)
    cycles = _entry_to_entry(pulls, np.concatenate([path, trunk[..., 1:]], axis=-1), windows_s)
    if not len(cycles):
        return []
    middle, spread = np.median(cycles, axis=0), _spread(cycles)
    names = ("x_m", "y_m", "z_m", "y_trunk_m", "z_trunk_m")
    return [
        {"length_no": number, "side": str(side), "phase": phase, "cycles": len(cycles)}
        | {name: middle[k, n] for n, name in enumerate(names)}
        | {f"{axis}_spread_m": spread[k, n] for n, axis in enumerate("xyz")}
        for k, phase in enumerate(PHASES)
    ]


def _entry_to_entry(pulls: Pulls, values: FloatArray, windows_s: FloatArray) -> FloatArray:
    """Return values (C, P, V), known reach to reach, for each cycle from entry to entry.

    Cycles that a gap leaves without a path are left out.
    """
    span = pulls.end_s - pulls.start_s
    time_s = (pulls.start_s[:, None] + PHASES * span[:, None]).ravel()
    flat = values.reshape(len(time_s), -1)
    entry_s, turn_s = windows_s[:, :1], np.diff(windows_s, axis=1)
    at = entry_s + PHASES * turn_s
    before = np.searchsorted(time_s, at, side="right").clip(1, len(time_s) - 1) - 1
    step_s = time_s[before + 1] - time_s[before]
    near = (step_s < _LONGEST_STEP * turn_s).all(axis=1)
    whole = near & (time_s[0] <= at[:, 0]) & (at[:, -1] <= pulls.end_s[-1])
    at, before, step_s = at[whole], before[whole], step_s[whole]
    slope = (flat[before + 1] - flat[before]) / step_s[..., None]
    later = np.minimum(at, time_s[-1]) - time_s[before]
    return np.asarray(slope * later[..., None] + flat[before])


def _in_trunk(path: FloatArray, roll_rad: FloatArray) -> FloatArray:
    """Return a path (C, P, 3) in the axes of the rolling trunk; roll positive = left side up."""
    cosine, sine = np.cos(roll_rad), np.sin(roll_rad)
    y, z = path[..., 1], path[..., 2]
    return np.stack([path[..., 0], cosine * y + sine * z, cosine * z - sine * y], axis=-1)


def _spread(values: FloatArray) -> FloatArray:
    middle = np.median(values, axis=0)
    return np.asarray(_MAD * np.median(np.abs(values - middle), axis=0))
