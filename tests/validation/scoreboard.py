"""Measure the analysis on rehearsal swims and print it as a table beside the bars.

Run: python -m tests.validation.scoreboard [--swims 40] [--sets 5] [--first 0] [--kit core]
     [--build second] [--rate 25] [--crawl]

Everything here rests on synthetic swimmers drawn over the whole range with sensor noise, straps and
clocks on; the truth comes from their geometry. The first build is sensorswim.rehearsal; the second
and the third were written without knowledge of it or of the analysis (second_swimmer,
third_swimmer). A row shows the worst of the seed sets. Activity is asked on all lengths; strokes,
kick beat, roll and breaths on crawl and drills, kicks on kicked lengths, too. A figure that stays
empty has no error: the rows "told" say how many true ones have got one.
"""

from __future__ import annotations

import argparse
import os
from collections import defaultdict
from collections.abc import Callable
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from functools import partial
from multiprocessing import get_context
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

import numpy as np
import pandas as pd
from rich.progress import track

from sensorswim.analyse import analyse
from sensorswim.model.analysis import Analysis
from sensorswim.rehearsal import draw_swim
from tests.validation import scoring, second_swimmer, third_swimmer
from tests.validation.scoring import Tally

Tallies = dict[str, Tally]


def _rehearsed(seed: int, folder: Path, kit: str, **choices: Any) -> dict[str, pd.DataFrame]:
    """Write one rehearsal swim into a folder and return its truth."""
    rehearsal = draw_swim(seed, kit=kit, **choices)
    rehearsal.write(folder)
    return rehearsal.truth


def _independent(seed: int, folder: Path, kit: str) -> dict[str, pd.DataFrame]:
    return second_swimmer.swim(seed, folder, kit=kit)


def _from_events(seed: int, folder: Path, kit: str) -> dict[str, pd.DataFrame]:
    return third_swimmer.swim(seed, folder, kit=kit)


BUILDS: dict[str, Callable[..., dict[str, pd.DataFrame]]] = {
    "first": _rehearsed,
    "second": _independent,
    "third": _from_events,
}


def measure(seed: int, kit: str = "core", build: str = "first", **choices: Any) -> Tallies:
    """Return the tallies of one synthetic swim, written to a folder and analysed from there."""
    with TemporaryDirectory() as place:
        folder = Path(place) / "swim"
        truth = BUILDS[build](seed, folder, kit, **choices)
        result = analyse(folder)
    return score(result, truth)


def score(result: Analysis, truth: dict[str, pd.DataFrame]) -> Tallies:
    """Return the tallies of one analysed swim."""
    source = result.facts["roll_source"] or "ankles"
    lengths = truth["lengths"]
    breaths = scoring.score_breaths(result.breaths, truth["breaths"])
    breaths.add("f1", breaths.f1)
    breaths.add("listed", float(len(result.breaths) > 0))
    strokes, kicks = (
        [scoring.told_of(table, column, lengths, told) for table in tables]
        for tables, column, told in (
            ((result.arm_strokes, truth["arm_strokes"]), "entry_s", scoring.CRAWL),
            ((result.kicks, truth["kicks"]), "downbeat_s", (*scoring.CRAWL, "kick")),
        )
    )
    return {
        "lengths": scoring.score_lengths(result.lengths, lengths),
        "strokes": scoring.score_strokes(*strokes),
        "kicks": scoring.score_kicks(*kicks),
        "all breaths": breaths,
        scoring.breath_group(truth["breaths"]): breaths,
        "roll": scoring.score_roll(result.tables["roll"], truth["roll"], lengths, source),
    }


def _median(name: str, scale: float = 1.0) -> Callable[[Tally], float]:
    return lambda t: scale * float(np.median(np.abs(t.errors.get(name, [np.nan]))))


def _p95(name: str, scale: float = 1.0) -> Callable[[Tally], float]:
    return lambda t: scale * float(np.percentile(np.abs(t.errors.get(name, [np.nan])), 95))


def _mean(name: str, scale: float = 1.0) -> Callable[[Tally], float]:
    return lambda t: scale * float(np.mean(np.abs(t.errors.get(name, [np.nan]))))


def _rms(name: str) -> Callable[[Tally], float]:
    return lambda t: float(np.sqrt(np.mean(np.square(t.errors.get(name, [np.nan])))))


def _share_within(name: str, limit: float) -> Callable[[Tally], float]:
    return lambda t: 100.0 * float(np.mean(np.abs(t.errors.get(name, [np.inf])) <= limit))


def _lowest(name: str) -> Callable[[Tally], float]:
    return lambda t: float(np.min(t.errors.get(name, [np.nan])))


def _f1(tally: Tally) -> float:
    return tally.f1


@dataclass(frozen=True, kw_only=True)
class Bar:
    """One row: what is measured, how, and the bar (core kit, kit with a sensor on the back).

    Rows without a bar have NaN there.
    """

    name: str
    tally: str
    value: Callable[[Tally], float]
    core: float
    back: float
    higher_is_better: bool = False

    def limit(self, kit: str) -> float:
        """Return the bar of a kit."""
        return self.core if kit == "core" else self.back

    def missed(self, value: float, kit: str) -> bool:
        """Tell whether a value falls short of the bar; never without one or a swim to measure."""
        bar = self.limit(kit)
        if np.isnan(value) or np.isnan(bar):
            return False
        return not (value >= bar if self.higher_is_better else value <= bar)


def _least(name: str, tally: str, value: Callable[[Tally], float], core: float, back: float) -> Bar:
    return Bar(name=name, tally=tally, value=value, core=core, back=back, higher_is_better=True)


def _most(name: str, tally: str, value: Callable[[Tally], float], core: float, back: float) -> Bar:
    return Bar(name=name, tally=tally, value=value, core=core, back=back)


def _plain(name: str, tally: str, value: Callable[[Tally], float]) -> Bar:
    return _least(f"{name} (no bar)", tally, value, np.nan, np.nan)


BARS = (
    _least("lengths with the right activity, F1", "lengths", _f1, 1.0, 1.0),
    _least("push-off within 0.2 s, %", "lengths", _share_within("start_s", 0.2), 100, 100),
    _least("end within 0.5 s, %", "lengths", _share_within("end_s", 0.5), 100, 100),
    _least("arm strokes, F1", "strokes", _f1, 0.995, 0.995),
    _most("entry, median error, ms", "strokes", _median("entry_s", 1e3), 25, 25),
    _most("entry, 95th percentile, ms", "strokes", _p95("entry_s", 1e3), 80, 80),
    _most("exit, median error, ms", "strokes", _median("exit_s", 1e3), 25, 25),
    _most("exit, 95th percentile, ms", "strokes", _p95("exit_s", 1e3), 80, 80),
    _most("catch, median error, ms", "strokes", _median("catch_s", 1e3), 35, 35),
    _most("mid-pull, median error, ms", "strokes", _median("mid_pull_s", 1e3), 30, 30),
    _most("stroke rate, mean error, 1/min", "lengths", _mean("stroke_rate_cycles_min"), 0.3, 0.3),
    _most(
        "index of coordination, mean error, points",
        "lengths", _mean("index_of_coordination_pct"), 3.0, 3.0,
    ),
    _least("kicks, F1", "kicks", _f1, 0.98, 0.98),
    _most("kicks, median timing error, ms", "kicks", _median("timing_s", 1e3), 15, 15),
    _most("kicks per cycle, mean error", "lengths", _mean("kicks_per_cycle"), 0.1, 0.1),
    _most("kick beat wrong, % of lengths", "lengths", _mean("kick_beat_wrong", 100), 2.0, 2.0),
    _most("roll, RMSE while swimming, deg", "roll", _rms("roll_deg"), 5.0, 3.0),
    _least("breaths that add 0.2 s or more, F1", "breaths", _f1, 0.93, 0.99),
    _least("the same, lowest of a swim", "breaths", _lowest("f1"), 0.85, 0.85),
    _most("swims without breaths with any listed, %", "no breaths", _mean("listed", 100), 0, 0),
    _most("time on the side, mean error, ms", "all breaths", _mean("hold_s", 1e3), 60, 50),
    _plain("breaths that add less, F1", "slight breaths", _f1),
    _plain("catch told, %", "strokes", _mean("catch_s_told", 100)),
    _plain("exit told, %", "strokes", _mean("exit_s_told", 100)),
    _plain(
        "index of coordination told, %", "lengths", _mean("index_of_coordination_pct_told", 100)
    ),
    _plain("time on the side told, %", "all breaths", _mean("hold_s_told", 100)),
)  # fmt: skip


def measure_sets(
    swims: int, sets: int, kit: str, build: str, workers: int, *, first: int = 0, **choices: Any
) -> list[Tallies]:
    """Return one joined tally a seed set; swims run in processes of their own."""
    jobs = [(s * 1000 + k) for s in range(first, first + sets) for k in range(swims)]
    joined: list[Tallies] = [defaultdict(Tally) for _ in range(sets)]
    with ProcessPoolExecutor(workers, mp_context=get_context("spawn")) as pool:
        done = pool.map(partial(measure, kit=kit, build=build, **choices), jobs)
        for seed, tallies in track(zip(jobs, done, strict=True), "swims", total=len(jobs)):
            for name, tally in tallies.items():
                joined[seed // 1000 - first][name].join(tally)
    return joined


def table(sets: list[Tallies], kit: str) -> str:
    """Return the scoreboard as a Markdown table, the worst of the sets in each row."""
    lines = ["| figure | bar | measured | |", "| --- | --- | --- | --- |"]
    for bar in BARS:
        values = [v for s in sets if not np.isnan(v := bar.value(s[bar.tally]))]
        limit = bar.limit(kit)
        wanted = "" if np.isnan(limit) else f"{'>=' if bar.higher_is_better else '<='} {limit:g}"
        if not values:
            lines.append(f"| {bar.name} | {wanted} | none drawn |  |")
            continue
        worst = (min if bar.higher_is_better else max)(values)
        short = "falls short" if bar.missed(worst, kit) else ""
        lines.append(f"| {bar.name} | {wanted} | {worst:.3g} | {short} |")
    return "\n".join(lines)


def main() -> None:
    """Print the scoreboard."""
    os.environ.setdefault("OMP_NUM_THREADS", "1")
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--swims", type=int, default=40, help="swims in a seed set")
    parser.add_argument("--sets", type=int, default=5, help="seed sets")
    parser.add_argument("--kit", default="core", help="core, full or back_head")
    parser.add_argument("--build", default="first", choices=sorted(BUILDS), help="which swimmer")
    parser.add_argument("--first", type=int, default=0, help="number of the first seed set")
    parser.add_argument("--rate", type=float, help="Hz of every sensor, first build only")
    parser.add_argument("--crawl", action="store_true", help="crawl only, first build only")
    parser.add_argument("--workers", type=int, default=os.cpu_count() or 1)
    chosen = parser.parse_args()
    choices: dict[str, Any] = {"rate_hz": chosen.rate} if chosen.rate else {}
    choices |= {"crawl_only": True} if chosen.crawl else {}
    if choices and chosen.build != "first":
        parser.error("--rate and --crawl are of the first build")
    sets = measure_sets(
        chosen.swims, chosen.sets, chosen.kit, chosen.build, chosen.workers,
        first=chosen.first, **choices,
    )  # fmt: skip
    swims = f"{chosen.swims} synthetic swims, {chosen.build} build"
    print(f"{chosen.sets} sets of {swims}, kit {chosen.kit}, from set {chosen.first}\n")
    print(table(sets, chosen.kit))


if __name__ == "__main__":
    main()
