"""How much faster two workers analyse an archive again than one does.

Run: python -m tests.benchmarks.bench_reanalyse [SESSIONS]

The sessions are copies of the sample with a start of their own, their logs kept in the archive.
Prints both times and their ratio, beside the bar (1.5), with the workers' start included.
"""

from __future__ import annotations

import shutil
import sys
import time
from pathlib import Path
from tempfile import TemporaryDirectory

from sensorswim.analyse import analyse
from sensorswim.archive import Store, open_archive
from sensorswim.archive.add import put
from sensorswim.archive.pack import Packed, pack, read_files
from sensorswim.archive.reanalyse import reanalyse, to_do
from sensorswim.archive.schema import ANALYSIS
from sensorswim.formats.session_toml import read_session
from sensorswim.model import Quality

SAMPLE = Path(__file__).resolve().parents[2] / "sample_logs" / "mira"


def fill(store: Store, sessions: int, folder: Path) -> None:
    """Put the copies in, as an older version would have left them."""
    for number in range(sessions):
        place = folder / f"s{number}"
        shutil.copytree(SAMPLE, place)
        toml = place / "session.toml"
        start = f"T{number // 3600:02d}:{number // 60 % 60:02d}:{number % 60:02d}"
        toml.write_text(toml.read_text().replace("T06:30:00", start))
        put(store, packed(place))
        shutil.rmtree(place)


def packed(place: Path) -> Packed:
    """Return the copy with its logs kept."""
    files = read_files(read_session(place, Quality()), keep_raw=True)
    return pack(analyse(place), files)


def run(store: Store, sessions: int, workers: int) -> float:
    """Return how long all sessions take, in s."""
    with store.write() as connection:
        connection.execute(ANALYSIS.delete().where(ANALYSIS.c.is_current == 0))
        connection.execute(ANALYSIS.update().values(version="0.0.1"))
    jobs = to_do(store)
    assert len(jobs) == sessions
    started = time.perf_counter()
    problems = [one.problem for one in reanalyse(store, jobs, workers=workers) if one.problem]
    assert problems == []
    return time.perf_counter() - started


def main(sessions: int) -> None:
    with TemporaryDirectory() as name:
        store = open_archive(str(Path(name) / "a.sqlite"))
        fill(store, sessions, Path(name))
        one, two = run(store, sessions, 1), run(store, sessions, 2)
        print(f"{sessions} sessions: {one:.1f} s on one worker, {two:.1f} s on two")
        print(f"{one / two:.2f} times as fast (bar: 1.5)")
        store.close()


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 200)
