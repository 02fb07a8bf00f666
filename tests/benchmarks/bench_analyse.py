"""How long an hour of five sensors takes, as a multiple of reading the same logs as CSV.

Run: python -m tests.benchmarks.bench_analyse

The hour is the invented sample swim, repeated; both times are taken in one run, the imports of
both sides before. Prints the parts, so that it shows where the time goes.
"""

from __future__ import annotations

import resource
import time
from pathlib import Path
from tempfile import TemporaryDirectory

import pandas as pd
import pyarrow as pa
import pyarrow.csv
import pyarrow.parquet as pq

from sensorswim.analyse import analyse
from sensorswim.model import Placement
from sensorswim.rehearsal import CORE, Kit, Knocks, Length, Plan, Rest, Stand, rehearse

_HOUR_S = 3600.0


def write_hour(folder: Path) -> None:
    """Write a session folder with an hour of five sensors at 104 Hz, as Parquet and CSV."""
    lengths = [Length(turn="flip" if k % 4 != 3 else "stop") for k in range(8)]
    plan = Plan(segments=(Stand(), Knocks(), *lengths, Rest(duration_s=30.0)))
    kit = Kit(placements=(*CORE, Placement.LOWER_BACK), rate_hz=104.0, drift_ppm=0.0)
    rehearse(plan, kit=kit).write(folder)
    for file in folder.glob("*.parquet"):
        once = pq.read_table(file).to_pandas()
        span_s = once["time_s"].iloc[-1] - once["time_s"].iloc[0] + 1.0 / 104.0
        times = int(_HOUR_S / span_s) + 1
        parts = [once.assign(time_s=once["time_s"] + k * span_s) for k in range(times)]
        whole = pa.Table.from_pandas(pd.concat(parts), preserve_index=False)
        pq.write_table(whole, file)
        pyarrow.csv.write_csv(whole, file.with_suffix(".csv"))


def main() -> None:
    """Print both times and their ratio."""
    with TemporaryDirectory() as place:
        folder = Path(place) / "hour"
        write_hour(folder)
        began = time.perf_counter()
        for file in folder.glob("*.csv"):
            pd.read_csv(file)
        reading_s = time.perf_counter() - began
        steps: list[tuple[str, float]] = []
        began = time.perf_counter()
        analyse(folder, progress=lambda step: steps.append((step, time.perf_counter())))
        ended = time.perf_counter()
    print(f"pandas reads the CSV in {reading_s:.2f} s; the analysis takes {ended - began:.2f} s")
    print(f"ratio {(ended - began) / reading_s:.1f} (bar: 8)")
    for (step, from_s), (_, to_s) in zip(steps, [*steps[1:], ("", ended)], strict=True):
        print(f"  {step}: {to_s - from_s:.2f} s")
    peak_mb = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024.0
    print(f"peak memory {peak_mb:.0f} MB, the making of the hour included (bar: 700)")


if __name__ == "__main__":
    main()
