"""How long an hour of five sensors takes, as a multiple of reading the same logs as CSV.

Run: python -m tests.benchmarks.bench_analyse

The hour is an invented swim of eight lengths, repeated. Making it, reading it and analysing it
each have a process of their own, so that the peak memory is the analysis's alone; imports come
before the clock starts. Processor time stands beside the time on the clock, which other work on
the machine stretches.
"""

from __future__ import annotations

import resource
import time
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from itertools import pairwise
from multiprocessing import get_context
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

import pandas as pd
import pyarrow as pa
import pyarrow.csv
import pyarrow.parquet as pq

from sensorswim.analyse import analyse
from sensorswim.model import Placement
from sensorswim.rehearsal import CORE, Kit, Knocks, Length, Plan, Rest, Stand, rehearse, swimmers

RATE_HZ = 104.0
_HOUR_S = 3600.0
_OPENING_S, _CLOSING_S = 16.0, 12.0
"""Standing and knocks: once an hour at either end."""
_BAR_RATIO, _BAR_MB = 8.0, 700.0


@dataclass(frozen=True, kw_only=True)
class Moment:
    """Where a process stands: clock and processor time in s, largest memory so far in MB."""

    what: str
    clock_s: float
    processor_s: float
    peak_mb: float

    @classmethod
    def now(cls, what: str) -> Moment:
        """Return this process's own."""
        return cls(
            what=what,
            clock_s=time.perf_counter(),
            processor_s=time.process_time(),
            peak_mb=resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024.0,
        )


def write_hour(folder: Path) -> None:
    """Write a session folder with an hour of five sensors at 104 Hz, as Parquet and CSV."""
    lengths = [Length(turn="flip" if k % 4 != 3 else "stop") for k in range(8)]
    plan = Plan(segments=(Stand(), Knocks(), *lengths, Rest(duration_s=30.0), Knocks()))
    kit = Kit(placements=(*CORE, Placement.LOWER_BACK), rate_hz=RATE_HZ, drift_ppm=0.0)
    rehearse(plan, swimmer=swimmers["side-breather"], kit=kit).write(folder)
    logs = {file: pq.read_table(file).to_pandas() for file in folder.glob("*.parquet")}
    span_s = max(float(log["time_s"].iloc[-1] - log["time_s"].iloc[0]) for log in logs.values())
    swum_s = span_s + 1.0 / RATE_HZ - _OPENING_S - _CLOSING_S
    times = int(_HOUR_S / swum_s) + 1
    for file, once in logs.items():
        parts = [_repeated(once, k, k == times - 1, swum_s) for k in range(times)]
        whole = pa.Table.from_pandas(pd.concat(parts), preserve_index=False)
        pq.write_table(whole, file)
        pyarrow.csv.write_csv(whole, file.with_suffix(".csv"))


def _repeated(once: pd.DataFrame, number: int, last: bool, swum_s: float) -> pd.DataFrame:
    """Return a repetition, moved on in time; only the first has the opening, the last the end."""
    own_s = once["time_s"] - once["time_s"].iloc[0]
    begin_s = _OPENING_S if number else 0.0
    end_s = own_s.iloc[-1] + 1.0 if last else _OPENING_S + swum_s
    part = once.loc[(own_s >= begin_s) & (own_s < end_s)]
    return part.assign(time_s=part["time_s"] + number * swum_s)


def read(folder: Path) -> list[Moment]:
    """Read the CSV files three times; return the moments around the second-fastest."""
    runs = []
    for _ in range(3):
        began = Moment.now("reading the CSV files with pandas")
        for file in folder.glob("*.csv"):
            pd.read_csv(file)
        runs.append([began, Moment.now("")])
    return sorted(runs, key=lambda run: run[1].clock_s - run[0].clock_s)[1]


def analysed(folder: Path) -> list[Moment]:
    """Analyse the hour; return the moment at which each part began, and the end."""
    moments: list[Moment] = []
    analyse(folder, progress=lambda step: moments.append(Moment.now(step)))
    return [*moments, Moment.now("")]


def _alone(work: Any, folder: Path) -> Any:
    """Return what `work` says of the folder, from a fresh process."""
    with ProcessPoolExecutor(max_workers=1, mp_context=get_context("spawn")) as pool:
        return pool.submit(work, folder).result()


def _line(part: str, begin: Moment, end: Moment, unit: tuple[float, float]) -> str:
    clock, processor = end.clock_s - begin.clock_s, end.processor_s - begin.processor_s
    return (
        f"{part:36} {clock:6.2f} s {clock / unit[0]:6.2f}   {processor:6.2f} s "
        f"{processor / unit[1]:6.2f}   {end.peak_mb:5.0f} MB"
    )


def main() -> None:
    """Print every part's time, its multiple of the reading time, and the memory."""
    with TemporaryDirectory() as place:
        folder = Path(place) / "hour"
        _alone(write_hour, folder)
        first, last = _alone(read, folder)
        moments = _alone(analysed, folder)
    unit = (last.clock_s - first.clock_s, last.processor_s - first.processor_s)
    print(f"{'':36} {'clock':>8} {'ratio':>6}   {'processor':>8} {'ratio':>5}   {'peak':>5}")
    print(_line(first.what, first, last, unit))
    for begin, end in pairwise(moments):
        print(_line(begin.what, begin, end, unit))
    print(_line("the whole analysis", moments[0], moments[-1], unit))
    print(f"bars: ratio {_BAR_RATIO:.0f}, peak {_BAR_MB:.0f} MB")


if __name__ == "__main__":
    main()
