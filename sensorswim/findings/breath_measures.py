"""Figures of the breaths: time on the side, lateness, the reaching arm."""

from __future__ import annotations

import numpy as np
import pandas as pd

from sensorswim.findings.evidence import Measured, Swum, by_side, only_source, typical

SIDES = ("left", "right")


def _each_side(swum: Swum, breaths: pd.DataFrame, column: str) -> list[Measured]:
    found = []
    for side in SIDES:
        own = by_side(breaths, side).dropna(subset=[column])
        if not len(own):
            continue
        trust = float(own["confidence"].mean()) if own["confidence"].notna().any() else 1.0
        figure = typical(own, column, "peak_s", source=only_source(own), side=side, trust=trust)
        found += [] if figure is None else [figure]
    return found


def excess_s(swum: Swum) -> list[Measured]:
    """Time on the side beyond the swimmer's own rolls without a breath, by side."""
    return _each_side(swum, swum.breaths, "excess_s")


def share_pct(swum: Swum) -> list[Measured]:
    """Time on the side in % of the arm cycle, by side; a plain roll gives about a third."""
    return _each_side(swum, swum.breaths.assign(share=100 * swum.breaths["hold_share"]), "share")


def lateness_pct(swum: Swum) -> list[Measured]:
    """How long after the upper hand's exit the roll of the breath peaks, in % of the cycle."""
    late = []
    for row in swum.breaths.itertuples():
        own = by_side(swum.strokes, str(row.side)).dropna(subset=["exit_s", "next_entry_s"])
        own = own.loc[own["length_no"] == row.length_no]
        late.append(_after_exit_pct(own, float(row.peak_s)))
    return _each_side(swum, swum.breaths.assign(late=np.array(late, dtype=float)), "late")


def _after_exit_pct(strokes: pd.DataFrame, peak_s: float) -> float:
    if not len(strokes):
        return float("nan")
    exits = strokes["exit_s"].to_numpy(dtype=float)
    at = int(np.abs(exits - peak_s).argmin())
    cycle = float((strokes["next_entry_s"] - strokes["entry_s"]).median())
    late = 100.0 * (peak_s - exits[at]) / cycle
    return late if abs(late) < 40.0 else float("nan")


def lead_arm_tilt_deg(swum: Swum) -> list[Measured]:
    """Forearm of the reaching arm below level while that arm still waits for its catch."""
    waits = []
    for row in swum.breaths.itertuples():
        lead = "right" if row.side == "left" else "left"
        own = by_side(swum.strokes, lead)
        own = own.loc[own["length_no"] == row.length_no]
        waits.append(bool(((own["entry_s"] < row.peak_s) & (own["catch_s"] > row.peak_s)).any()))
    return _each_side(swum, swum.breaths.loc[np.array(waits, dtype=bool)], "lead_arm_tilt_deg")
