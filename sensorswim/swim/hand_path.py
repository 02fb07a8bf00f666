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
    for (number, side), own in pulls.items():
        if number in lengths and own.solved:
            mine = (strokes["length_no"] == number) & (strokes["side"] == str(side))
            windows = strokes.loc[mine, ["entry_s", "next_entry_s"]].dropna().to_numpy(dtype=float)
            rows += _rows(number, side, own, windows)
    rows.sort(key=lambda row: (row["length_no"], row["side"], row["phase"]))
    return frame("hand_paths", rows)


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
    cycles = []
    for entry_s, next_s in windows_s:
        at = entry_s + PHASES * (next_s - entry_s)
        after = np.searchsorted(time_s, at).clip(1, len(time_s) - 1)
        near = time_s[after] - time_s[after - 1] < _LONGEST_STEP * (next_s - entry_s)
        if near.all() and time_s[0] <= at[0] and at[-1] <= pulls.end_s[-1]:
            cycles.append(np.stack([np.interp(at, time_s, column) for column in flat.T], axis=1))
    return np.array(cycles)


def _in_trunk(path: FloatArray, roll_rad: FloatArray) -> FloatArray:
    """Return a path (C, P, 3) in the axes of the rolling trunk; roll positive = left side up."""
    cosine, sine = np.cos(roll_rad), np.sin(roll_rad)
    y, z = path[..., 1], path[..., 2]
    return np.stack([path[..., 0], cosine * y + sine * z, cosine * z - sine * y], axis=-1)


def _spread(values: FloatArray) -> FloatArray:
    middle = np.median(values, axis=0)
    return np.asarray(_MAD * np.median(np.abs(values - middle), axis=0))
