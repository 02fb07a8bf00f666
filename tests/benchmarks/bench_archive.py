"""How long the trends page's query and the squad view take with 20,000 sessions in the archive.

Run: python -m tests.benchmarks.bench_archive [FOLDER]

The sessions are made of tables, not by analysis: 50 swimmers, 400 sessions each, three conditions
with every figure, written into an archive on SQLite as one bulk. Prints the median of several
calls after a first one, in milliseconds, beside the bars (150 and 500): by the clock, and of this
process alone, which is what counts where other work shares the machine.
"""

from __future__ import annotations

import statistics
import sys
import time
from collections.abc import Callable
from datetime import timedelta
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any, Final

import numpy as np

from sensorswim.archive import Who, find_swimmer, open_archive
from sensorswim.archive.read import visits_of
from sensorswim.archive.schema import ANALYSIS, FIGURE, SESSION, SWIMMER
from sensorswim.archive.squad import squad_view
from sensorswim.archive.store import Store
from sensorswim.metrics.season import FIGURES
from sensorswim.metrics.trend import conditions, trends_of
from tests.archive.made import FIRST

SWIMMERS: Final = 50
EACH: Final = 400
CONDITIONS: Final = (
    "check set · front crawl · 25 m pool",
    "8 x 25 alternating · front crawl · 25 m pool",
    "8 x 25 alternating · drill · single-arm · 25 m pool",
)


def fill(store: Store) -> None:
    """Write the swimmers, their sessions and their figures."""
    rng = np.random.default_rng(0)
    with store.write() as connection:
        for swimmer in range(1, SWIMMERS + 1):
            connection.execute(
                SWIMMER.insert().values(
                    id=swimmer,
                    key=f"name:s{swimmer}",
                    name=f"S{swimmer}",
                    pseudonym=f"p{swimmer}",
                    squad=f"squad {swimmer % 2}",
                )
            )
            ids = range((swimmer - 1) * EACH + 1, swimmer * EACH + 1)
            connection.execute(SESSION.insert(), [_session(i, swimmer, ids[0]) for i in ids])
            connection.execute(ANALYSIS.insert(), [_analysis(i) for i in ids])
            connection.execute(FIGURE.insert(), [row for i in ids for row in _figures(i, rng)])


def _session(number: int, swimmer: int, first: int) -> dict[str, Any]:
    started = FIRST + timedelta(days=2 * (number - first))
    return {
        "id": number,
        "key": f"key-{number}",
        "swimmer_id": swimmer,
        "started_at": started.isoformat(),
        "pool_length_m": 25.0,
        "kit": "left_wrist right_wrist left_ankle right_ankle",
        "folder": "",
        "invented": 1,
        "added_at": started.isoformat(),
    }


def _analysis(number: int) -> dict[str, Any]:
    told = dict.fromkeys(("settings_hash", "input_hash", "result_hash"), str(number))
    return told | {
        "id": number,
        "session_id": number,
        "version": "0.1.0",
        "made_at": FIRST.isoformat(),
        "is_current": 1,
        "summary": '{"findings": [], "quality": []}',
    }


def _figures(number: int, rng: np.random.Generator) -> list[dict[str, Any]]:
    return [
        {
            "analysis_id": number,
            "condition": condition,
            "name": figure.name,
            "source": "ankles" if figure.source else "",
            "n": 6,
            "mean": 30.0 + float(rng.normal(0, figure.between_sd)),
            "sd": figure.between_sd,
        }
        for condition in CONDITIONS
        for figure in FIGURES.values()
    ]


def timed(work: Callable[[], object], *, times: int = 7) -> str:
    """Return the median time of a call after a first one, by the clock and of this process."""
    work()
    by_clock, own = [], []
    for _ in range(times):
        clock, used = time.perf_counter(), time.process_time()
        work()
        by_clock.append(time.perf_counter() - clock)
        own.append(time.process_time() - used)
    parts = (1000.0 * statistics.median(took) for took in (by_clock, own))
    return "{:.0f} ms by the clock, {:.0f} ms of this process".format(*parts)


def main(folder: Path) -> None:
    store = open_archive(str(folder / "bench.sqlite"))
    fill(store)
    swimmer = find_swimmer(store, "s7")

    def page() -> None:
        visits = visits_of(store, swimmer, condition=CONDITIONS[0])
        trends_of(visits, conditions(visits)[0])

    def half() -> None:
        squad_view(store, Who(squad="squad 1"))

    one = timed(lambda: visits_of(store, swimmer, name="stroke_rate_cycles_min"))
    print(f"{SWIMMERS * EACH} sessions, {len(FIGURES) * len(CONDITIONS)} figures each")
    print(f"one figure over {EACH} visits: {one} (bar: 150)")
    print(f"every figure of a condition, judged: {timed(page)}")
    print(f"squad of {SWIMMERS // 2}: {timed(half)}")
    print(f"squad of {SWIMMERS}: {timed(lambda: squad_view(store))} (bar: 500)")
    store.close()


if __name__ == "__main__":
    if len(sys.argv) > 1:
        main(Path(sys.argv[1]))
    else:
        with TemporaryDirectory() as name:
            main(Path(name))
