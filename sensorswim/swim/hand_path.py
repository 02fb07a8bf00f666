"""The hands' paths of a session, pooled over the cycles of each length, as a table."""

from __future__ import annotations

from typing import Any

import numpy as np
import pandas as pd

from sensorswim.model import Side
from sensorswim.model.streams import FloatArray
from sensorswim.model.tables import frame
from sensorswim.swim.arm_model import N_PHASES, PHASES
from sensorswim.swim.pull import Pulls
from sensorswim.swim.shoulder import Key

_MAD = 1.4826


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
            entries = strokes.loc[
                (strokes["length_no"] == number) & (strokes["side"] == str(side)), "entry_s"
            ].to_numpy(dtype=float)
            rows += _rows(number, side, own, entries)
    rows.sort(key=lambda row: (row["length_no"], row["side"], row["phase"]))
    return frame("hand_paths", rows)


def _rows(number: int, side: Side, pulls: Pulls, entries_s: FloatArray) -> list[dict[str, Any]]:
    path = pulls.wrist_from_shoulder_m
    trunk = _in_trunk(path, side.sign * pulls.pose.roll_rad)
    middle, spread = np.median(path, axis=0), _spread(path)
    trunk_middle = np.median(trunk, axis=0)
    first = round(_entry_phase(pulls, entries_s) * N_PHASES) % N_PHASES
    rows = []
    for k, phase in enumerate(PHASES):
        at = (first + k) % N_PHASES
        values = {"length_no": number, "side": str(side), "phase": phase, "cycles": len(path)}
        for axis, name in enumerate("xyz"):
            values |= {f"{name}_m": middle[at, axis], f"{name}_spread_m": spread[at, axis]}
        values |= {"y_trunk_m": trunk_middle[at, 1], "z_trunk_m": trunk_middle[at, 2]}
        rows.append(values)
    return rows


def _in_trunk(path: FloatArray, roll_rad: FloatArray) -> FloatArray:
    """Return a path (C, P, 3) in the axes of the rolling trunk; roll positive = left side up."""
    cosine, sine = np.cos(roll_rad), np.sin(roll_rad)
    y, z = path[..., 1], path[..., 2]
    return np.stack([path[..., 0], cosine * y + sine * z, cosine * z - sine * y], axis=-1)


def _spread(values: FloatArray) -> FloatArray:
    middle = np.median(values, axis=0)
    return np.asarray(_MAD * np.median(np.abs(values - middle), axis=0))


def _entry_phase(pulls: Pulls, entries_s: FloatArray) -> float:
    """Return the usual phase of the entry in the windows, 0 where none is known."""
    phases = [
        (entry - pulls.start_s[k]) / (pulls.end_s[k] - pulls.start_s[k])
        for entry in entries_s[np.isfinite(entries_s)]
        if (k := pulls.at(entry)) is not None
    ]
    return float(np.median(phases)) if phases else 0.0
