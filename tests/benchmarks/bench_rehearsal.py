"""What a live rehearsal costs: processor time of the sensors' process and of the recorder's.

    python -m tests.benchmarks.bench_rehearsal --swimmers 8

Invented swimmers with four sensors each swim at a pool's speed; after a while in which all links
are made, both processes are looked at for a minute. Also printed: how much of what the sensors had
taken was at the recorder by then (water keeps the rest back), and how often links were lost.
"""

from __future__ import annotations

import argparse
import asyncio
import os
import tempfile
import time
from pathlib import Path

import numpy as np
import psutil

from sensorswim.formats.radio_log import RADIO_FOLDER, SUFFIX, RecordKind, read_radio, read_segment
from sensorswim.formats.radio_packets import TICK_HZ, decode_samples
from sensorswim.live.clock import HostClock
from sensorswim.live.rehearse import LiveRehearsal
from sensorswim.rehearsal import Kit, rehearse, swimmers
from tests.benchmarks.bench_live import plan

RATE_HZ = 104.0
SAMPLES_A_PACKET = 13
FIRST_S = 15.0
SPAN_S = 60.0


def used_s(process: psutil.Process) -> float:
    """Return the processor time that a process has used."""
    used = process.cpu_times()
    return float(used.user + used.system)


def waits_s(folder: Path) -> list[float]:
    """Return how long after its last sample each packet of a folder arrived."""
    began_us = {log.serial: log.facts["began_us"] for log in read_radio(folder)}
    waits = []
    for path in (folder / RADIO_FOLDER).glob(f"*{SUFFIX}"):
        serial = int(path.name.split("-")[0], 16)
        for record in read_segment(path).records:
            if record.kind is RecordKind.PACKET:
                packet = decode_samples(record.payload)
                taken_us = 1e6 * (packet.first_ticks + packet.span_ticks) / TICK_HZ
                waits.append(1e-6 * (record.arrived_us - began_us[serial] - taken_us))
    return waits


async def measure(live: LiveRehearsal, clock: HostClock, told: list[str]) -> None:
    running = asyncio.ensure_future(live.run())
    while clock.now_s() < FIRST_S or not any(line.endswith(": recording") for line in told):
        await asyncio.sleep(0.1)
    recorder = psutil.Process()
    sensors = max(recorder.children(recursive=True), key=used_s)
    before_s, began_s = (used_s(sensors), used_s(recorder)), time.monotonic()
    lost = sum(line.endswith(": link closed") for line in told)
    await asyncio.sleep(SPAN_S)
    span_s = time.monotonic() - began_s
    after_s = used_s(sensors), used_s(recorder)
    shares = [100.0 * (b - a) / span_s for a, b in zip(before_s, after_s, strict=True)]
    taken = sum(map(len, live.worn.values())) * clock.now_s() * RATE_HZ / SAMPLES_A_PACKET
    lost = sum(line.endswith(": link closed") for line in told) - lost
    running.cancel()
    await asyncio.gather(running, return_exceptions=True)
    kept = sum(len(log.packets) for folder in live.worn for log in read_radio(folder))
    print(f"{len(live.worn)} swimmers, {span_s:.0f} s, load {os.getloadavg()[0]:.1f}")
    print(f"sensors {shares[0]:.1f} %, recorder {shares[1]:.1f} % of a core")
    print(f"{100.0 * kept / taken:.0f} % of the packets had come; {lost} links lost in this time")
    waits = [wait for folder in live.worn for wait in waits_s(folder)]
    late = ", ".join(f"p{q} {np.percentile(waits, q):.1f} s" for q in (50, 75, 90))
    print(f"a packet came after {late}")


def main() -> None:
    parser = argparse.ArgumentParser()
    parser.add_argument("--swimmers", type=int, default=1)
    given = parser.parse_args()
    names = [name for name in swimmers if name != "straight-puller"]
    clock, told = HostClock(), list[str]()
    with tempfile.TemporaryDirectory(prefix="bench-rehearsal-") as place:
        swims = {
            Path(place) / f"swimmer{n}": rehearse(
                plan(3.0), swimmer=swimmers[names[n % len(names)]], kit=Kit(rate_hz=RATE_HZ), seed=n
            )
            for n in range(given.swimmers)
        }
        for folder in swims:
            folder.mkdir()
        asyncio.run(measure(LiveRehearsal(swims, clock, tell=told.append), clock, told))


if __name__ == "__main__":
    main()
