"""How fast figures follow the data, and whether a long live rehearsal loses anything.

    python -m tests.benchmarks.bench_live --swimmers 1 --minutes 10

The rehearsal runs in a process of its own at a pool's speed, the poolside page is served by
another, and this one listens to it as a browser does. Printed: the time from a packet's arrival at
the recorder to the WebSocket message with the figures that rest on it (the browser's own drawing
isn't in it), the load of the serving process with its children, and what was kept.
"""

from __future__ import annotations

import argparse
import asyncio
import contextlib
import json
import multiprocessing
import os
import tempfile
import time
from dataclasses import dataclass
from itertools import chain
from multiprocessing.connection import Connection
from pathlib import Path

import numpy as np
import psutil
import uvicorn
from websockets.asyncio.client import connect

from sensorswim.analyse import analyse
from sensorswim.dashboards.components import free_port
from sensorswim.dashboards.poolside import poolside_app
from sensorswim.live.clock import HostClock
from sensorswim.live.folding import TIMES
from sensorswim.live.rehearse import LiveRehearsal
from sensorswim.live.rolling import RollingState
from sensorswim.live.watch import LiveHub
from sensorswim.rehearsal import Kit, Knocks, Length, Plan, Rest, Stand, rehearse, swimmers
from sensorswim.rehearsal.settings import Segment

COMPARED = ("stroke_rate_cycles_min", "kicks_per_cycle", "roll_onto_left_deg", "clean_speed_m_s")

LAST_DATA_S = 15.0
"""How long the page goes on after the swim before its tables are compared."""


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


def watch(folders: list[Path], port: int, ends: Connection) -> None:
    """Serve the page until told to end; send the processor time used and the last tables."""
    asyncio.run(serve(folders, port, ends))


async def serve(folders: list[Path], port: int, ends: Connection) -> None:
    hub = LiveHub(folders)
    app = poolside_app(hub, place="the benchmark")
    server = uvicorn.Server(uvicorn.Config(app.server, port=port, log_level="error"))
    serving = asyncio.ensure_future(server.serve())
    while not server.started:
        await asyncio.sleep(0.05)
    began_s = processor_s()
    ends.send("serving")
    while not ends.poll():
        await asyncio.sleep(0.2)
    ends.send(processor_s() - began_s)
    ends.recv()
    while not ends.poll():
        await asyncio.sleep(0.2)
    rollings = {name: swimmer.rolling for name, swimmer in hub.swimmers.items()}
    ends.send({name: rolling.state for name, rolling in rollings.items() if rolling})
    server.should_exit = True
    await serving


def processor_s() -> float:
    """Return the processor time of this process and its children that still run."""
    mine = psutil.Process()
    times = [process.cpu_times() for process in (mine, *mine.children(recursive=True))]
    return sum(used.user + used.system for used in times)


@dataclass(frozen=True, kw_only=True)
class Heard:
    """What a page heard: how long the swim took, and how long each message with new figures had.

    Parameters
    ----------
    waits_s : dict
        What told the figures -> seconds from the data's arrival to each message.
    processor_s : float
        What serving, following and analysing took.
    """

    span_s: float
    waits_s: dict[str, list[float]]
    processor_s: float


async def listen(port: int, swum: Connection, served: Connection) -> Heard:
    """Look on until the swim is over and the figures have come to rest."""
    waits: dict[str, list[float]] = {}
    began_s = time.monotonic()
    async with connect(f"ws://127.0.0.1:{port}/ws/live", origin=f"http://127.0.0.1:{port}") as page:
        while not swum.poll():
            try:
                message = json.loads(await asyncio.wait_for(page.recv(), 5.0))
            except TimeoutError:
                continue
            if message.get("arrived_us"):
                wait_s = 1e-6 * (time.time_ns() // 1000 - message["arrived_us"])
                waits.setdefault(message["told_by"], []).append(wait_s)
        span_s = time.monotonic() - began_s
        served.send("swum")
        processor_s = await asyncio.to_thread(served.recv)
        with contextlib.suppress(TimeoutError):
            async with asyncio.timeout(LAST_DATA_S):
                while True:
                    await page.recv()
    return Heard(span_s=span_s, waits_s=waits, processor_s=processor_s)


def main() -> None:
    parser = argparse.ArgumentParser()
    parser.add_argument("--swimmers", type=int, default=1)
    parser.add_argument("--minutes", type=float, default=10.0)
    given = parser.parse_args()
    place = Path(tempfile.mkdtemp(prefix="bench-live-"))
    folders = [place / f"swimmer{n}" for n in range(given.swimmers)]
    swum, tells_swum = multiprocessing.Pipe()
    served, tells_served = multiprocessing.Pipe()
    spawn, port = multiprocessing.get_context("spawn"), free_port()
    swimming = spawn.Process(target=swim, args=(folders, given.minutes, tells_swum))
    serving = spawn.Process(target=watch, args=(folders, port, tells_served))
    swimming.start()
    assert swum.recv() == "swimming"
    serving.start()
    assert served.recv() == "serving"
    heard = asyncio.run(listen(port, swum, served))
    waits, load = heard.waits_s, heard.processor_s / heard.span_s
    print(f"{given.swimmers} swimmers, {heard.span_s:.0f} s, load {os.getloadavg()[0]:.1f}")
    print(f"kept/taken/links lost: {swum.recv()}")
    for told_by, some in [("all", [*chain(*waits.values())]), *sorted(waits.items())]:
        print(
            f"arrival to WebSocket message, {told_by}: p50 {1e3 * np.median(some):.0f} ms, "
            f"p95 {1e3 * np.percentile(some, 95):.0f} ms over {len(some)} messages"
        )
    print(f"serving, following and analysing took {100 * load:.0f} % of a core")
    served.send("rested")
    states = served.recv()
    for folder in folders:
        compare(states[folder.name], folder)
    swimming.join()
    serving.join()


def compare(state: RollingState, folder: Path) -> None:
    """Print how far the live figures were from those of the finished session."""
    live, final = state.tables, analyse(folder).tables
    counts = {name: (len(live[name]), len(final[name])) for name in TIMES}
    print(f"{folder.name}: rows live/final {json.dumps(counts)}; {state.corrected} taken back")
    both = live["lengths"].merge(final["lengths"], on="length_no", suffixes=("", "_final"))
    for column in COMPARED:
        gap = (both[column] - both[f"{column}_final"]).abs()
        print(f"  {column}: largest gap {gap.max():.3f}, median {gap.median():.3f}")


if __name__ == "__main__":
    main()
