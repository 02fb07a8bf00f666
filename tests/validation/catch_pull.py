"""Measure hand path, pull depth and elbow angle on rehearsal swims, beside the bars.

Run: python -m tests.validation.catch_pull [--swims 40] [--first 1000] [--kit core]
     [--build second]
     python -m tests.validation.catch_pull --sensitivity [--swims 6]

Everything rests on synthetic swimmers drawn over the whole range; the truth is read off their
geometry. The other builds (see `scoreboard`) were written without knowledge of the arm model and
tell no hand paths: they show how far its level is off in bodies that it wasn't made after. The
second form prints how the errors grow with what a coach can't know.
"""

from __future__ import annotations

import argparse
import os
import re
import sys
from collections.abc import Callable, Iterable
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass, field, replace
from multiprocessing import get_context
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any
from unittest.mock import patch

import numpy as np
import pandas as pd

from sensorswim.analyse import analyse
from sensorswim.model import Side
from sensorswim.model.analysis import Analysis
from sensorswim.model.streams import FloatArray
from sensorswim.rehearsal import (
    Kit,
    Knocks,
    Length,
    Plan,
    Rehearsal,
    Rest,
    Stand,
    draw_swim,
    draw_swimmer,
    rehearse,
)
from sensorswim.swim.arm_model import PHASES
from sensorswim.swim.hand_path import hand_paths
from sensorswim.swim.pull import Pulls
from sensorswim.swim.shoulder import Key
from tests.validation.scoreboard import BUILDS
from tests.validation.scoring import match_lengths

SIDES = ("left", "right")


_SHIFTS_S = np.linspace(-0.12, 0.12, 25)


@dataclass(frozen=True, kw_only=True)
class Paths:
    """RMS distance in m of each cycle's path from the true one, as it is and less the clock."""

    as_found: list[float] = field(default_factory=list)
    clock_put_right: list[float] = field(default_factory=list)


@dataclass(frozen=True, kw_only=True)
class Swum:
    """Found and true figures of one swim: one row a length and arm; paths by cycle."""

    rows: pd.DataFrame
    paths: Paths = field(default_factory=Paths)
    stood: bool = True


def look(swim: Rehearsal, change: Callable[[Rehearsal], Rehearsal] = lambda r: r) -> Swum:
    """Analyse a rehearsal from its folder and compare it with its truth."""
    pipeline = sys.modules[analyse.__module__]
    with (
        TemporaryDirectory() as place,
        patch.object(pipeline, "hand_paths", wraps=hand_paths) as pooling,
    ):
        result = analyse(change(swim).write(Path(place) / "swim"))
    pulls, strokes, _ = pooling.call_args.args
    true = swim.truth["lengths"].set_index("length_no")
    return _swum(result, swim.truth["lengths"], true, _paths(pulls, swim, strokes))


def _swum(result: Analysis, lengths: pd.DataFrame, true: pd.DataFrame, paths: Paths) -> Swum:
    """Return the arms of all lengths beside the truth, a row of `true` each length."""
    found = result.lengths.set_index("length_no")
    rows = []
    for a, b in match_lengths(result.lengths, lengths).items():
        for side in SIDES:
            names = (f"elbow_angle_{side}_deg", f"elbow_sd_{side}_deg", f"pull_depth_{side}_m")
            angle, sd, depth = (found.at[a, name] for name in names)
            rows.append(
                {
                    "side": side,
                    "angle": angle,
                    "sd": sd,
                    "true_angle": true.at[b, names[0]],
                    "depth": depth,
                    "true_depth": true.at[b, names[2]],
                }
            )
    stood = not any(
        row.code == "strap_not_checked" and str(row.placement).endswith("wrist")
        for row in result.quality.rows
    )
    table = pd.DataFrame(rows, columns=["side", "angle", "sd", "true_angle", "depth", "true_depth"])
    return Swum(rows=table.astype({"angle": float}), paths=paths, stood=stood)


def _paths(pulls: dict[Key, Pulls], swim: Rehearsal, strokes: pd.DataFrame) -> Paths:
    """Return how far every cycle's path lies from the true one at the same moments.

    A cycle runs from reach to reach; those before the first entry or after the last exit of their
    length are no strokes. A clock that is off shifts all cycles of a sensor alike: the second
    answer is with the shift of each sensor that fits best.
    """
    table = swim.truth_extra["hand_path"]
    as_found, shifted = [], []
    for side in Side:
        true = table.loc[table["side"] == str(side)]
        cycles = [c for key, own in pulls.items() if key[1] is side and own.solved
                  for c in _cycles(own, key, strokes)]  # fmt: skip
        if not cycles:
            continue
        by_shift = np.array([[_rms(cycle, true, s) for cycle in cycles] for s in _SHIFTS_S])
        known = np.isfinite(by_shift).all(axis=0)
        as_found += by_shift[len(_SHIFTS_S) // 2, known].tolist()
        best = by_shift[:, known].mean(axis=1).argmin() if known.any() else 0
        shifted += by_shift[best, known].tolist()
    return Paths(as_found=as_found, clock_put_right=shifted)


def _cycles(own: Pulls, key: Key, strokes: pd.DataFrame) -> list[tuple[FloatArray, FloatArray]]:
    """Return time (P,) and path (P, 3) of the cycles that are strokes."""
    mine = strokes.loc[(strokes["length_no"] == key[0]) & (strokes["side"] == str(key[1]))]
    first_s, last_s = mine["entry_s"].min(), mine["exit_s"].max()
    times = own.start_s[:, None] + PHASES * (own.end_s - own.start_s)[:, None]
    return [
        (time_s, path)
        for time_s, path in zip(times, own.wrist_from_shoulder_m, strict=True)
        if first_s <= time_s[0] and time_s[-1] <= last_s
    ]


def _rms(cycle: tuple[FloatArray, FloatArray], true: pd.DataFrame, shift_s: float) -> float:
    time_s, path = cycle
    at = time_s + shift_s
    wanted = [np.interp(at, true["time_s"], true[name]) for name in ("x_m", "y_m", "z_m")]
    return float(np.sqrt(((path - np.stack(wanted, axis=1)) ** 2).sum(axis=1).mean()))


def drawn(seed: int, kit: str, build: str = "first") -> Swum:
    """Return one swim over the whole range."""
    if build == "first":
        return look(draw_swim(seed, kit=kit, crawl_only=True))
    with TemporaryDirectory() as place:
        folder = Path(place) / "swim"
        truth = BUILDS[build](seed, folder, kit)
        result = analyse(folder)
    strokes, true = truth["arm_strokes"], pd.DataFrame(index=truth["lengths"]["length_no"])
    for side in SIDES:
        own = strokes.loc[strokes["side"] == side].groupby("length_no")
        true[f"elbow_angle_{side}_deg"] = own["elbow_angle_deg"].median()
        true[f"pull_depth_{side}_m"] = own["pull_depth_m"].median()
    return _swum(result, truth["lengths"], true, Paths())


@dataclass(frozen=True, kw_only=True)
class Figures:
    """What a set of swims comes to."""

    lengths: int
    angle_mae_deg: float
    correlation: float
    inside_pct: float
    median_sd_deg: float
    depth_mae_cm: float
    path_rms_cm: float
    path_own_clock_cm: float
    told_pct: float


def figures_of(swims: Iterable[Swum]) -> Figures:
    """Return the figures over all lengths; the correlation is over swims."""
    swims = list(swims)
    rows = pd.concat([s.rows for s in swims], keys=range(len(swims)), names=["swim", None])
    real = rows.dropna(subset=["true_angle"])
    told = real.dropna(subset=["angle"])
    error = told["angle"] - told["true_angle"]
    means = told.groupby("swim")[["angle", "true_angle"]].mean()
    paths = [e for s in swims for e in s.paths.as_found]
    own_clock = [e for s in swims for e in s.paths.clock_put_right]
    return Figures(
        lengths=len(told),
        angle_mae_deg=float(error.abs().mean()),
        correlation=float(means.corr().iloc[0, 1]) if len(means) > 2 else np.nan,
        inside_pct=100.0 * float((error.abs() <= 2 * told["sd"]).mean()),
        median_sd_deg=float(told["sd"].median()),
        depth_mae_cm=100.0 * float((told["depth"] - told["true_depth"]).abs().mean()),
        path_rms_cm=100.0 * float(np.mean(paths)) if paths else np.nan,
        path_own_clock_cm=100.0 * float(np.mean(own_clock)) if own_clock else np.nan,
        told_pct=100.0 * len(told) / max(len(real), 1),
    )


BARS: tuple[tuple[str, str, float, bool], ...] = (
    ("elbow at mid-pull, mean error a length, deg", "angle_mae_deg", 8.0, False),
    ("elbow, correlation to the truth over swims", "correlation", 0.9, True),
    ("true elbow inside 2 SD, % of lengths", "inside_pct", 90.0, True),
    ("elbow, median stated SD, deg", "median_sd_deg", 8.0, False),
    ("pull depth, mean error, cm", "depth_mae_cm", 5.0, False),
    ("hand path of a cycle, RMS, cm", "path_rms_cm", 6.0, False),
    ("the same without the error of the wrist's clock, cm", "path_own_clock_cm", 6.0, False),
)
"""What is measured, its figure, its bar, and whether more is better."""

UNSTOOD_DEG, UPPER_ARM_DEG = 10.0, 5.0


def missed(value: float, bar: float, more: bool) -> bool:
    """Tell whether a value falls short of its bar."""
    return not (value >= bar if more else value <= bar)


def board(found: Figures, angle_bar_deg: float) -> str:
    """Return the bars as a Markdown table; what the swims don't tell has no row."""
    lines = ["| figure | bar | measured | |", "| --- | --- | --- | --- |"]
    for name, key, limit, more in BARS:
        bar = angle_bar_deg if key == "angle_mae_deg" else limit
        value = getattr(found, key)
        if np.isnan(value):
            continue
        short = "falls short" if missed(value, bar, more) else ""
        lines.append(f"| {name} | {'>=' if more else '<='} {bar:g} | {value:.3g} | {short} |")
    lines.append(f"| lengths and arms told, of {found.lengths} | | {found.told_pct:.0f} % | |")
    return "\n".join(lines)


CASES: dict[str, dict[str, Any]] = {
    "as drawn": {},
    "body surges little (5 %)": {"surge_share": 0.05},
    "body surges much (30 %)": {"surge_share": 0.3},
    "rolls 25 degrees": {"roll_onto_left_deg": 25.0, "roll_onto_right_deg": 25.0},
    "rolls 60 degrees": {"roll_onto_left_deg": 60.0, "roll_onto_right_deg": 60.0},
    "height given 5 cm too large": {"height_off_m": 0.05},
    "height given 5 cm too small": {"height_off_m": -0.05},
    "straps exact": {"strap_deg": 0.0},
    "straps up to 25 degrees off": {"strap_deg": 25.0},
    "nobody stood still, straps up to 15 degrees off": {"stand_s": 0.5, "strap_deg": 15.0},
}
"""What is changed in a case: settings of the swimmer, the kit, the standing or the height told."""


def in_case(seed: int, changes: dict[str, Any]) -> Swum:
    """Return one short swim of both wrists with these changes."""
    given = dict(changes)
    kit = Kit(placements=tuple(Kit().placements[:2]), strap_deg=given.pop("strap_deg", 12.0))
    stand, off = given.pop("stand_s", 10.0), given.pop("height_off_m", 0.0)
    swimmer = replace(draw_swimmer(np.random.default_rng([seed, 7])), **given)
    lengths = [Length(turn="open")] * 3 + [Length(turn="stop")]
    segments = (Knocks(), Stand(duration_s=stand), *lengths, Rest(duration_s=4.0), Knocks())
    swim = rehearse(Plan(segments=segments), swimmer=swimmer, kit=kit, seed=seed)
    told = f"height_m = {swimmer.height_m + off:.3f}"
    return look(
        swim, lambda r: replace(r, session_toml=re.sub(r"height_m = [\d.]+", told, r.session_toml))
    )


def sensitivity(swims: int, workers: int) -> str:
    """Return how the errors depend on what a coach can't know, as a Markdown table."""
    lines = [
        "| case | elbow, mean error | in 2 SD | pull depth, mean error | "
        "hand path of a cycle, RMS |",
        "| --- | --- | --- | --- | --- |",
    ]
    jobs = [(s, case) for case in CASES.values() for s in range(swims)]
    with ProcessPoolExecutor(workers, mp_context=get_context("spawn")) as pool:
        done = list(pool.map(in_case, *zip(*jobs, strict=True)))
    for n, name in enumerate(CASES):
        f = figures_of(done[n * swims : (n + 1) * swims])
        lines.append(
            f"| {name} | {f.angle_mae_deg:.1f} deg | {f.inside_pct:.0f} % | "
            f"{f.depth_mae_cm:.1f} cm | {f.path_rms_cm:.1f} cm |"
        )
    return "\n".join(lines)


def main() -> None:
    """Print the board or the table of sensitivity."""
    os.environ.setdefault("OMP_NUM_THREADS", "1")
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--swims", type=int, default=40, help="how many swims")
    parser.add_argument("--first", type=int, default=1000, help="seed of the first swim")
    parser.add_argument("--kit", default="core", help="core or full (with upper-arm sensors)")
    parser.add_argument("--build", default="first", choices=sorted(BUILDS), help="which swimmer")
    parser.add_argument("--sensitivity", action="store_true", help="what makes the errors grow")
    parser.add_argument("--workers", type=int, default=os.cpu_count() or 1)
    chosen = parser.parse_args()
    if chosen.sensitivity:
        print(sensitivity(chosen.swims, chosen.workers))
        return
    seeds = range(chosen.first, chosen.first + chosen.swims)
    with ProcessPoolExecutor(chosen.workers, mp_context=get_context("spawn")) as pool:
        jobs = [seeds, [chosen.kit] * len(seeds), [chosen.build] * len(seeds)]
        swims = list(pool.map(drawn, *jobs))
    for title, stood, bar in (("stood still first", True, 8.0), ("nobody stood", False, 10.0)):
        own = [s for s in swims if s.stood is stood]
        if own:
            angle_bar = UPPER_ARM_DEG if chosen.kit == "full" else bar
            build = f"{chosen.build} build, kit {chosen.kit}"
            print(f"{len(own)} synthetic swims, {build}, {title}\n")
            print(board(figures_of(own), angle_bar) + "\n")


if __name__ == "__main__":
    main()
