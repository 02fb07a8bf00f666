"""How fast figures follow the data, and whether a long live rehearsal loses anything.

    python -m tests.benchmarks.bench_live --swimmers 1 --minutes 10

The rehearsal runs in a process of its own at a pool's speed; this process follows its folders as
the page does. Printed: the time from data on disk to figures made of it, the load, what was kept.
"""

from __future__ import annotations

import argparse
import asyncio
import json
import multiprocessing
import os
import tempfile
import time
from multiprocessing.connection import Connection
from pathlib import Path

import numpy as np

from sensorswim.analyse import analyse
from sensorswim.live.clock import HostClock
from sensorswim.live.rehearse import LiveRehearsal
from sensorswim.live.rolling import TIMES
from sensorswim.live.watch import LiveHub
from sensorswim.rehearsal import Kit, Knocks, Length, Plan, Rest, Stand, rehearse, swimmers
from sensorswim.rehearsal.settings import Segment

COMPARED = ("stroke_rate_cycles_min", "kicks_per_cycle", "roll_onto_left_deg", "clean_speed_m_s")


def plan(minutes: float) -> Plan:
    """Return lengths with short rests; one and the rest take about 37 s."""
    segments: list[Segment] = [Stand(), Knocks()]
    for _ in range(max(1, round(60.0 * minutes / 37.0))):
        segments += [Length(turn="stop"), Rest(duration_s=12.0)]
    return Plan(segments=(*segments, Knocks()))


def swim(folders: list[Path], minutes: float, out: Connection) -> None:
    """Run the rehearsal in real time and send what became of it."""
    names = [name for name in swimmers if name != "straight-puller"]
    swims = {
        folder: rehearse(
            plan(minutes), swimmer=swimmers[names[n % len(names)]], kit=Kit(rate_hz=104.0), seed=n
        )
        for n, folder in enumerate(folders)
    }
    live = LiveRehearsal(swims, HostClock())
    out.send("swimming")
    rehearsed = asyncio.run(live.run())
    out.send([(r.packets_kept, r.packets_taken, r.links_lost) for r in rehearsed])


async def follow(hub: LiveHub, ends: Connection) -> tuple[list, float, float]:
    task = asyncio.ensure_future(hub.run())
    cpu_s, wall_s = time.process_time(), time.monotonic()
    while not ends.poll():
        await asyncio.sleep(0.2)
        if task.done():
            task.result()
    load = (time.process_time() - cpu_s) / (time.monotonic() - wall_s)
    await asyncio.sleep(15.0)
    task.cancel()
    return ends.recv(), load, time.monotonic() - wall_s


def main() -> None:
    parser = argparse.ArgumentParser()
    parser.add_argument("--swimmers", type=int, default=1)
    parser.add_argument("--minutes", type=float, default=10.0)
    given = parser.parse_args()
    place = Path(tempfile.mkdtemp(prefix="bench-live-"))
    folders = [place / f"swimmer{n}" for n in range(given.swimmers)]
    mine, theirs = multiprocessing.Pipe()
    spawn = multiprocessing.get_context("spawn")
    child = spawn.Process(target=swim, args=(folders, given.minutes, theirs))
    child.start()
    assert mine.recv() == "swimming"
    hub = LiveHub(folders)
    kept, load, wall_s = asyncio.run(follow(hub, mine))
    child.join()
    waits = np.array(hub.latencies_s)
    print(f"{given.swimmers} swimmers, {wall_s:.0f} s, load {os.getloadavg()[0]:.1f}")
    print(f"kept/taken/links lost: {kept}")
    print(
        f"data to figures: p50 {1e3 * np.median(waits):.0f} ms, "
        f"p95 {1e3 * np.percentile(waits, 95):.0f} ms over {len(waits)} runs; "
        f"following and analysing took {100 * load:.0f} % of a core"
    )
    for folder in folders:
        compare(hub, folder)


def compare(hub: LiveHub, folder: Path) -> None:
    """Print how far the live figures were from those of the finished session."""
    rolling = hub.swimmers[folder.name].rolling
    assert rolling is not None
    live, final = rolling.state.tables, analyse(folder).tables
    counts = {name: (len(live[name]), len(final[name])) for name in TIMES}
    print(f"{folder.name}: rows live/final {json.dumps(counts)}")
    both = live["lengths"].merge(final["lengths"], on="length_no", suffixes=("", "_final"))
    for column in COMPARED:
        gap = (both[column] - both[f"{column}_final"]).abs()
        print(f"  {column}: largest gap {gap.max():.3f}, median {gap.median():.3f}")


if __name__ == "__main__":
    main()
