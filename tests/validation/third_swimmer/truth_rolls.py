"""Truth of the roll, its half cycles and the breaths, measured from the simulated geometry."""

from __future__ import annotations

from itertools import pairwise

import numpy as np
import pandas as pd

from .body import Motion
from .curves import RATE_HZ, Array
from .rotations import roll_deg
from .traits import SIDES, other, sign
from .truth_strokes import Bounds, entries_of, phase

FIXED_DEG = {"upper_back": 35.0, "ankles": 20.0}
_FACE_OUT_DEG = 50.0
_SMALLEST_DEG = 4.0
_FEWEST_PLAIN = 10
_ADDS_S = 0.2
_COLUMNS = ["length_no", "side", "peak_s", "peak_roll_deg", "is_breath", "source", "begin", "end"]


def roll_signals(motion: Motion) -> dict[str, Array]:
    """Roll (deg) of the upper trunk, and the mean roll of the two shanks."""
    shanks = []
    for side in SIDES:
        axes = motion.axes[f"{side}_ankle"]
        head, left = -axes[:, :, 0], sign(side) * axes[:, :, 2]
        shanks.append(roll_deg(np.stack([head, left, np.cross(head, left)], axis=2)))
    trunk = roll_deg(motion.axes["upper_back"])
    return {"upper_back": trunk, "ankles": 0.5 * (shanks[0] + shanks[1])}


def roll_table(motion: Motion) -> pd.DataFrame:
    """Both roll signals at 50 Hz (s, true time)."""
    step = slice(None, None, int(RATE_HZ / 50.0))
    parts = [
        pd.DataFrame({"time_s": motion.time_s[step], "roll_deg": signal[step], "source": source})
        for source, signal in roll_signals(motion).items()
    ]
    return pd.concat(parts, ignore_index=True)


def _beyond(time_s: Array, values: Array, level: float) -> tuple[float, float]:
    """First and last crossing of `level` (s), NaN where it isn't reached."""
    above = np.flatnonzero(values > level)
    if not above.size:
        return float("nan"), float("nan")
    first, last = int(above[0]), int(above[-1])
    start, end = time_s[first], time_s[last]
    if first > 0:
        start -= (values[first] - level) / (values[first] - values[first - 1]) / RATE_HZ
    if last + 1 < values.size:
        end += (values[last] - level) / (values[last] - values[last + 1]) / RATE_HZ
    return float(start), float(end)


def _half_cycles(
    motion: Motion, bounds: list[Bounds], firsts: dict[int, float], signal: Array, source: str
) -> pd.DataFrame:
    face = roll_deg(motion.axes["head"])
    rows = []
    for bound in (b for b in bounds if b.crawl):
        window = motion.span(bound.record.stroke_s, bound.stop_s)
        above = np.sign(signal[window])
        for begin, end in pairwise(window.start + 1 + np.flatnonzero(np.diff(above))):
            up = float(np.sign(signal[(begin + end) // 2]))
            peak = begin + int(np.argmax(up * signal[begin:end]))
            size, peak_s = float(up * signal[peak]), float(motion.time_s[peak])
            if size >= _SMALLEST_DEG and peak_s >= firsts[bound.length_no]:
                breath = bool(np.max(up * face[begin:end]) > _FACE_OUT_DEG)
                side = "left" if up > 0 else "right"
                rows.append([bound.length_no, side, peak_s, size, breath, source, begin, end])
    return pd.DataFrame(rows, columns=_COLUMNS)


def rolls(
    motion: Motion, bounds: list[Bounds], firsts: dict[int, float], source: str
) -> pd.DataFrame:
    """Half cycles of crawl and drill lengths with hold_s by the contract (s, true time)."""
    signal = roll_signals(motion)[source]
    table = _half_cycles(motion, bounds, firsts, signal, source)
    plain = table.loc[~table["is_breath"], "peak_roll_deg"]
    few = len(plain) < _FEWEST_PLAIN
    typical = float(table["peak_roll_deg"].median() if few else plain.median())
    spans, fixed = [], []
    for row in table.itertuples():
        time_s = motion.time_s[row.begin : row.end]
        values = sign(row.side) * signal[row.begin : row.end]
        spans.append(_beyond(time_s, values, 0.5 * typical))
        low, high = _beyond(time_s, values, FIXED_DEG[source])
        fixed.append(high - low if np.isfinite(low) else 0.0)
    table[["start_s", "end_s"]] = np.array(spans)
    table["hold_s"] = (table["end_s"] - table["start_s"]).fillna(0.0)
    table["beyond_fixed_s"] = fixed
    usual = table[~table["is_breath"]].groupby("side")["hold_s"].median()
    excess = table["hold_s"] - table["side"].map(usual).fillna(usual.mean())
    table["excess_s"] = np.nan if few else excess
    return table.drop(columns=["begin", "end"])


def breaths(motion: Motion, half_cycles: pd.DataFrame, strokes: pd.DataFrame) -> pd.DataFrame:
    """The half cycles with the face out of the water; `adds` marks 0.2 s or more."""
    table = half_cycles[half_cycles["is_breath"]].drop(columns="is_breath").reset_index(drop=True)
    table["adds_s"] = table["excess_s"]
    table["adds"] = table["adds_s"] >= _ADDS_S
    table["confidence"] = 1.0
    cycle = (strokes["next_entry_s"] - strokes["entry_s"]).groupby(strokes["length_no"]).mean()
    phases, tilts = [], []
    for row in table.itertuples():
        phases.append(phase(entries_of(strokes, row.length_no), row.peak_s))
        reaching = motion.axes[f"{other(row.side)}_wrist"][motion.index(row.peak_s)]
        tilts.append(float(np.degrees(np.arcsin(-reaching[2, 0]))))
    table["cycle_phase"], table["lead_arm_tilt_deg"] = phases, tilts
    table["hold_share"] = table["hold_s"] / table["length_no"].map(cycle)
    return table


def with_rolls(cycles: pd.DataFrame, half_cycles: pd.DataFrame) -> pd.DataFrame:
    """Arm cycles with the peak rolls and the breath that lie in them."""
    rows = []
    for cycle in cycles.itertuples():
        inside = half_cycles["peak_s"].between(cycle.start_s, cycle.end_s)
        own = half_cycles[inside & (half_cycles["length_no"] == cycle.length_no)]
        peaks = own.groupby("side")["peak_roll_deg"].max()
        sides = own.loc[own["is_breath"], "side"]
        breath = sides.iloc[0] if len(sides) else None
        rows.append([peaks.get("right", np.nan), peaks.get("left", np.nan), breath])
    columns = ["roll_onto_left_deg", "roll_onto_right_deg", "breath_side"]
    return cycles.join(pd.DataFrame(rows, columns=columns, index=cycles.index))
