"""The true paths of the hands, read off the simulated geometry."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np
import pandas as pd

from sensorswim.model import Side
from sensorswim.model.streams import FloatArray
from sensorswim.model.tables import frame
from sensorswim.rehearsal.timeline import RATE_HZ

PHASE = np.arange(40) / 40.0


def hand_paths(
    strokes: pd.DataFrame,
    relative_m: Mapping[Side, FloatArray],
    roll_rad: FloatArray,
) -> pd.DataFrame:
    """Return the table `hand_paths`, entry to entry.

    Parameters
    ----------
    strokes : DataFrame
        True arm strokes, in seconds of the internal grid.
    relative_m : dict
        Wrist relative to its shoulder (N, 3), x ahead, y left, z up.
    roll_rad : (N,)
        Of the upper trunk, left side up.
    """
    rows: list[dict[str, Any]] = []
    whole = strokes.dropna(subset=["entry_s", "next_entry_s", "mid_pull_s"])
    for (number, side), own in whole.groupby(["length_no", "side"]):
        at = np.stack([np.interp(PHASE, (0, 1), pair) for pair in _windows(own)])
        index = np.rint(at * RATE_HZ).astype(int)
        path, roll = relative_m[Side(side)][index], roll_rad[index]
        cosine, sine = np.cos(roll), np.sin(roll)
        y, z = path[..., 1], path[..., 2]
        trunk = np.stack([cosine * y + sine * z, cosine * z - sine * y], axis=-1)
        rows += _rows(int(number), side, path, trunk)
    return frame("hand_paths", rows)


def _windows(strokes: pd.DataFrame) -> FloatArray:
    return strokes[["entry_s", "next_entry_s"]].to_numpy(dtype=float)


def _rows(number: int, side: str, path: FloatArray, trunk: FloatArray) -> list[dict[str, Any]]:
    middle, inner = np.median(path, axis=0), np.median(trunk, axis=0)
    spread = 1.4826 * np.median(np.abs(path - middle), axis=0)
    return [
        {"length_no": number, "side": side, "phase": phase, "cycles": len(path)}
        | {f"{name}_m": middle[k, n] for n, name in enumerate("xyz")}
        | {f"{name}_spread_m": spread[k, n] for n, name in enumerate("xyz")}
        | {"y_trunk_m": inner[k, 0], "z_trunk_m": inner[k, 1]}
        for k, phase in enumerate(PHASE)
    ]
