"""One whole session: draw, move, record, measure the truth and write the folder."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from pathlib import Path

import numpy as np
import pandas as pd
import pyarrow as pa
from pyarrow import csv

from .body import Motion, move_body
from .choreography import write_session
from .script import Script
from .sensors import KNOCK_GAP_S, RATES_HZ, Clock, G, Handling, draw_clock, record
from .traits import Kit, SessionPlan, Swimmer, draw_plan, draw_swimmer
from .truth_lengths import lengths
from .truth_rolls import breaths, roll_table, rolls, with_rolls
from .truth_strokes import arm_cycles, arm_strokes, find_bounds, kicks

_DURATIONS = {"hold_s", "excess_s", "beyond_fixed_s", "adds_s", "side_hold_s",
              "side_hold_excess_s", "speed_m_s", "clean_speed_m_s", "peak_rate_deg_s"}  # fmt: skip


def _handlings(plan: SessionPlan, motion: Motion, rng: np.random.Generator) -> list[Handling]:
    """Three knocks of the bundle before strapping the sensors on and after taking them off."""
    if not plan.knocks:
        return []
    end = float(motion.time_s[-1])
    gaps = np.arange(3) * KNOCK_GAP_S + rng.uniform(-0.04, 0.04, 3)
    early, late = 4.6 + rng.uniform(0.0, 1.0) + gaps, end - 4.0 + gaps
    strength = float(rng.uniform(60.0, 110.0))
    return [
        Handling(tuple(early), strength, float(early[-1]) + 0.6, 13.5),
        Handling(tuple(late), strength, float(late[0]) - 0.6, end - 10.5),
    ]


def _truth(
    motion: Motion, script: Script, swimmer: Swimmer, plan: SessionPlan
) -> dict[str, pd.DataFrame]:
    """All tables in true time."""
    bounds = find_bounds(motion, script.lengths, swimmer, plan.pool_length_m)
    strokes = arm_strokes(motion, bounds)
    beats = kicks(motion, bounds, strokes)
    cycles = arm_cycles(strokes, beats)
    starts = strokes.groupby("length_no")["entry_s"].min().to_dict()
    source = "ankles" if plan.kit == "core" else "upper_back"
    half_cycles = rolls(motion, bounds, starts, source)
    breathed = breaths(motion, half_cycles, strokes)
    return {
        "lengths": lengths(
            motion, bounds, plan.pool_length_m, strokes, beats, cycles, half_cycles, breathed
        ),
        "arm_strokes": strokes,
        "arm_cycles": with_rolls(cycles, half_cycles),
        "kicks": beats,
        "rolls": half_cycles,
        "breaths": breathed,
        "roll": roll_table(motion),
    }


def _to_session_time(table: pd.DataFrame, clock: Clock) -> pd.DataFrame:
    moments = [c for c in table.columns if c.endswith("_s") and c not in _DURATIONS]
    table = table.copy()
    for column in moments:
        table[column] = clock.read(table[column].to_numpy(dtype=float))
    return table


def _write_log(log: pd.DataFrame, path: Path, units: str) -> None:
    if units == "g_rad":
        log = log.copy()
        for axis in "xyz":
            log[f"accel_{axis}_m_s2"] /= G
            log[f"gyro_{axis}_deg_s"] = np.radians(log[f"gyro_{axis}_deg_s"])
        names = {f"accel_{a}_m_s2": f"accel_{a}_g" for a in "xyz"}
        log = log.rename(columns=names | {f"gyro_{a}_deg_s": f"gyro_{a}_rad_s" for a in "xyz"})
    if path.suffix == ".parquet":
        log.to_parquet(path, index=False)
    else:
        with pa.output_stream(path, compression="gzip" if path.suffix == ".gz" else None) as out:
            csv.write_csv(pa.Table.from_pandas(log.round(5), preserve_index=False), out)


def _blocks(plan: SessionPlan, table: pd.DataFrame) -> list[str]:
    """A [[block]] for each drill, kick and pull length."""
    lines: list[str] = []
    for length, row in zip(plan.lengths, table.itertuples(), strict=True):
        kind = {"drill": "drill", "kick": "kick"}.get(length.activity, "pull")
        if kind == "pull" and not length.pull_buoy:
            continue
        lines += ["", "[[block]]", f"start_s = {row.start_s - 0.5:.2f}"]
        lines += [f"end_s = {row.end_s + 0.5:.2f}", f'label = "{kind}"', f'lengths = ["{kind}"]']
        lines += {"drill": ['drill = "single-arm"'], "kick": ['aids = ["board"]']}.get(
            kind, ['aids = ["buoy"]']
        )
    return lines


def _write_toml(
    folder: Path, seed: int, swimmer: Swimmer, plan: SessionPlan, clock: Clock, table: pd.DataFrame
) -> None:
    started = datetime(2026, 3, 2, 6, 30, tzinfo=UTC) + timedelta(days=seed % 300)
    started += timedelta(seconds=round(clock.start_s, 3))
    lines = ["format = 1", f"started_at = {started.isoformat(timespec='milliseconds')}"]
    lines += [f'swimmer = "Third {seed}"', f"height_m = {swimmer.height_m:.2f}"]
    lines += [f"pool_length_m = {plan.pool_length_m}"]
    for placement in plan.placements:
        lines += ["", "[[sensor]]", f'placement = "{placement}"']
        lines += [f'file = "{placement}{plan.file_suffix}"']
        lines += ["accel_range_g = 16.0", "gyro_range_deg_s = 2000.0"]
    lines += _blocks(plan, table)
    (folder / "session.toml").write_text("\n".join(lines) + "\n", encoding="utf-8")


def swim(seed: int, folder: Path, *, kit: Kit = "core") -> dict[str, pd.DataFrame]:
    """Write the session of `seed` into `folder`; gives the truth tables in session time."""
    folder.mkdir(parents=True, exist_ok=True)
    rng = np.random.default_rng([seed, 7])
    swimmer, plan = draw_swimmer(rng, seed), draw_plan(rng, kit, seed)
    script = write_session(swimmer, plan, rng)
    motion = move_body(script, swimmer)
    handlings = _handlings(plan, motion, rng)
    usual_hz, shared = float(rng.choice(RATES_HZ)), int(rng.integers(2**31))
    mixed = rng.random() < 0.2
    clocks = {p: draw_clock(rng, plan.clocks_near_zero) for p in plan.placements}
    for placement, clock in clocks.items():
        rate_hz = float(rng.choice(RATES_HZ)) if mixed else usual_hz
        log = record(motion, placement, clock, rate_hz, handlings, shared, rng)
        _write_log(log, folder / f"{placement}{plan.file_suffix}", plan.units)
    session = clocks[plan.placements[0]]
    truth = {
        name: _to_session_time(table, session)
        for name, table in _truth(motion, script, swimmer, plan).items()
    }
    _write_toml(folder, seed, swimmer, plan, session, truth["lengths"])
    return truth
