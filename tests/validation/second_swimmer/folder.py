"""The session folder's session.toml: who, where, which sensors, and what was set."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pandas as pd

from .sensors import Unit
from .swimmer import Length, Plan

BREATHING = {
    "every_2": "every 2",
    "every_3": "every 3",
    "every_4": "every 4",
    "irregular": "free",
}


def write_session(
    folder: Path, plan: Plan, units: list[Unit], lengths: pd.DataFrame, rng: np.random.Generator
) -> None:
    """Write session.toml with the sensors and a block for each run of lengths set alike."""
    day, hour = int(rng.integers(1, 29)), int(rng.integers(6, 20))
    lines = [
        "format = 1",
        f"started_at = 2026-03-{day:02d}T{hour:02d}:30:00+00:00",
        'swimmer = "Invented"',
        f"pool_length_m = {plan.pool}",
    ]
    if rng.random() < 0.85:
        lines.append(f"height_m = {plan.swimmer.build.height:.2f}")
    for unit in units:
        lines += ["", "[[sensor]]", f'placement = "{unit.placement}"', f'file = "{unit.file}"']
        lines.append(f"accel_range_g = {unit.accel_range_g}")
        lines.append(f"gyro_range_deg_s = {unit.gyro_range_deg_s}")
    for first, last in _runs(plan.lengths):
        lines += _block(plan.lengths[first], lengths.iloc[first : last + 1])
    (folder / "session.toml").write_text("\n".join(lines) + "\n", encoding="utf-8")


def _runs(lengths: tuple[Length, ...]) -> list[tuple[int, int]]:
    """Return first and last index of each run of lengths that were set the same way."""
    runs: list[tuple[int, int]] = []
    for k, one in enumerate(lengths):
        if one.set_as == "swim":
            continue
        if runs and runs[-1][1] == k - 1 and lengths[k - 1].set_as == one.set_as:
            runs[-1] = (runs[-1][0], k)
        else:
            runs.append((k, k))
    return runs


def _block(one: Length, rows: pd.DataFrame) -> list[str]:
    """Return the lines of one block that begins and ends within 0.5 s of its lengths."""
    begin, end = rows["start_s"].iloc[0] - 0.5, rows["end_s"].iloc[-1] + 0.3
    lines = ["", "[[block]]", f"start_s = {begin:.2f}", f"end_s = {end:.2f}"]
    lines += [f'label = "{len(rows)} {one.set_as}"', f'lengths = ["{one.set_as}"]']
    if one.set_as == "drill":
        lines.append('drill = "single-arm"')
    aids = {"pull": "buoy", "kick": "board"}
    if one.set_as in aids:
        lines.append(f'aids = ["{aids[one.set_as]}"]')
    if one.breathing in BREATHING and one.set_as != "kick":
        lines.append(f'breathing = "{BREATHING[one.breathing]}"')
    return lines
