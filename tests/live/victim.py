"""Kills recorder, page or sensors at random moments of live rehearsals, and looks what is left.

Run: python -m tests.live.victim TIMES

Each is a process of its own, killed by SIGKILL and started again in turn, at random moments of a
swim with water over the sensors, once data came through it since its last start. After each kill of
the recorder the folder has to open, and all that had come in more than a second earlier has to be
in it (a witness beside the recorder notes what comes in). At the end of each swim every packet that
the sensors took has to be there, byte for byte, and the page shows the lengths that one run over
all of it tells, also after it is killed once more. Stops with an error at the first that isn't so.
A process killed is not a machine without power, and what a sensor hadn't written to its own memory
yet is not looked at.
"""

from __future__ import annotations

import asyncio
import contextlib
import json
import math
import multiprocessing
import os
import random
import sys
import threading
import time
from collections import Counter
from collections.abc import Callable
from multiprocessing.process import BaseProcess
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

import uvicorn
from websockets.asyncio.client import connect
from websockets.exceptions import ConnectionClosed

from sensorswim.dashboards.components import free_port
from sensorswim.dashboards.poolside import poolside_app
from sensorswim.formats.radio_log import read_radio
from sensorswim.formats.session_toml import read_session
from sensorswim.live.bleak_link import BleakFinder, BleakLink
from sensorswim.live.build import build_session
from sensorswim.live.card import card
from sensorswim.live.clock import HostClock
from sensorswim.live.emulated.apart import SensorsApart, serials
from sensorswim.live.emulated.device import name_of
from sensorswim.live.emulated.radio import Radio
from sensorswim.live.emulated.worn import out_s
from sensorswim.live.job import end_with_parent
from sensorswim.live.link import Channel, Found, Link, Notified
from sensorswim.live.recorder import Recorder, Wearer
from sensorswim.live.sensor import StartOrder
from sensorswim.live.watch import LiveHub, LiveSwimmer
from sensorswim.model import Placement, Quality
from tests.live.chain import swim

PARTS = ("recorder", "page", "sensors")
SPEED = 2.0
PAUSE_S = (0.3, 6.0)
KEPT_AFTER_S = 1.0
PATIENCE_S = 120.0
ALIKE = 0.02
SEED = 5

_SPAWN = multiprocessing.get_context("spawn")


class WitnessedLink(BleakLink):
    """Has each packet of samples noted as it comes in, before the recorder sees it."""

    notes = -1

    async def connect(self, notified: Notified, dropped: Callable[[], None]) -> None:
        def seen(channel: Channel, data: bytes) -> None:
            if channel is Channel.STREAM:
                os.write(self.notes, f"{time.time_ns()} {data.hex()}\n".encode())
            notified(channel, data)

        await super().connect(seen, dropped)


class WitnessedFinder(BleakFinder):
    """Finds sensors whose links are witnessed."""

    def link(self, found: Found) -> Link:
        return self.link_of(found, WitnessedLink)


def record(folder: Path, port: int, clock: HostClock, sensors: dict[str, Placement | None]) -> None:
    """Be the recorder until a file says that the swim is over and all is fetched."""
    WitnessedLink.notes = os.open(witness_of(folder), os.O_CREAT | os.O_APPEND | os.O_WRONLY)
    wearer = Wearer(folder=folder, swimmer="Invented", height_m=1.75, sensors=sensors)

    async def run() -> None:
        radio = Radio(port)
        finder = WitnessedFinder([radio.adapter("virtual")], clock=clock)
        recorder = Recorder([wearer], finder, clock, order=StartOrder(log=0, rate_hz=104))
        running = asyncio.ensure_future(recorder.run(give_up_s=clock.speed * PATIENCE_S))
        while not (folder.parent / "over").exists() and not running.done():
            await asyncio.sleep(0.05)
        recorder.finish()
        await running
        await radio.close()

    asyncio.run(run())


def show(folder: Path, port: int) -> None:
    """Be the page; not a daemon, since those have no children, so it has to end by itself."""
    end_with_parent()
    app = poolside_app(LiveHub([folder]), place="the rehearsal")
    uvicorn.run(app.server, port=port, log_level="error")


class Viewer(threading.Thread):
    """Looks at the page as a browser does, and comes back whenever the connection is lost."""

    def __init__(self, port: int) -> None:
        super().__init__(daemon=True)
        self._port, self._over = port, False
        self.lengths: dict[str, Any] = {}
        """The newest lengths on the page, empty since the connection was lost."""

    def run(self) -> None:
        while not self._over:
            with contextlib.suppress(OSError, ConnectionClosed):
                asyncio.run(self._look())
            self.lengths = {}
            time.sleep(0.1)

    async def _look(self) -> None:
        address = f"127.0.0.1:{self._port}"
        async with connect(f"ws://{address}/ws/live", origin=f"http://{address}") as page:
            while not self._over:
                message = json.loads(await page.recv())
                self.lengths = (message.get("figures") or {}).get("lengths", self.lengths)

    def wait_for(self, lengths: dict[str, Any]) -> None:
        """Wait until the page shows these lengths."""
        until_s = time.monotonic() + PATIENCE_S
        while not alike(self.lengths, lengths):
            assert time.monotonic() < until_s, f"{self.lengths} instead of {lengths}"
            time.sleep(0.1)

    def end(self) -> None:
        self._over = True


class Ground:
    """One swim: its processes, and what has to be true of its folder."""

    def __init__(self, place: Path, speed: float) -> None:
        self.folder, self.flash = place / "swim", place / "flash"
        for path in (self.folder, self.flash):
            path.mkdir()
        self.clock = HostClock(speed=speed)
        self.sensors = SensorsApart([swim()], self.flash)
        self.sensors.start(self.clock)
        self.end_s = out_s(swim())
        self.page_port = free_port()
        self.viewer = Viewer(self.page_port)
        self.viewer.start()
        self.running: dict[str, BaseProcess] = {}
        self.passed_before = dict.fromkeys(PARTS, 0)
        for part in ("recorder", "page"):
            self.start(part)

    @property
    def over(self) -> bool:
        return self.clock.now_s() >= self.end_s

    def start(self, part: str) -> None:
        if part == "sensors":
            self.sensors.start(self.clock, begin=False)
            return
        worn = {name_of(serial): place for serial, place in serials(swim(), 0).items()}
        target, given = {
            "recorder": (record, (self.folder, self.sensors.port, self.clock, worn)),
            "page": (show, (self.folder, self.page_port)),
        }[part]
        self.running[part] = _SPAWN.Process(target=target, args=given, daemon=part != "page")
        self.running[part].start()

    def kill(self, part: str) -> str:
        """Kill a part and look what is there; return in words what was found."""
        self.passed_before[part] = self.passed(part)
        if part == "sensors":
            self.sensors.kill()
            return f"{len(kept_in(self.flash))} packets in their memory"
        self.running[part].kill()
        self.running[part].join()
        if part == "recorder":
            return folder_opens(self.folder, time.time_ns())
        while self.viewer.lengths:
            time.sleep(0.01)
        return f"{self.passed_before[part]} lengths were on it"

    def wait_for_data(self, part: str) -> None:
        """Wait until data came through a part since it was started, or the swim is over.

        A page has to show as many lengths as before it was killed.
        """
        until_s = time.monotonic() + PATIENCE_S
        before = self.passed_before[part]
        while not self.over:
            passed = self.passed(part)
            if passed > before or (part == "page" and self.viewer.lengths and passed == before):
                return
            assert time.monotonic() < until_s, f"nothing comes through the {part}"
            time.sleep(0.05)

    def passed(self, part: str) -> int:
        """Return how much came through a part so far: bytes, or lengths on the page."""
        if part == "page":
            return int(self.viewer.lengths.get("count", 0))
        files = self.flash.rglob("*") if part == "sensors" else [witness_of(self.folder)]
        return sum(file.stat().st_size for file in files if file.is_file())

    def finish(self) -> int:
        """Let the recorder fetch the rest; return how many packets the sensors had taken."""
        (self.folder.parent / "over").touch()
        self.running["recorder"].join(PATIENCE_S)
        taken = kept_in(self.flash)
        assert self.running["recorder"].exitcode == 0
        assert taken
        assert taken == kept_in(self.folder)
        lengths = lengths_of(self.folder)
        self.viewer.wait_for(lengths)
        self.kill("page")
        self.start("page")
        self.viewer.wait_for(lengths)
        return len(taken)

    def close(self) -> None:
        self.viewer.end()
        self.sensors.kill()
        for process in self.running.values():
            process.kill()


def witness_of(folder: Path) -> Path:
    """Return where it is noted what came in for a folder."""
    return folder.parent / "witness"


def folder_opens(folder: Path, killed_ns: int) -> str:
    """Open a folder whose recorder was killed; return in words what was found.

    Raises
    ------
    AssertionError
        Something that had come in a second before isn't in it.
    """
    kept = kept_in(folder)
    lines = [line.split() for line in witness_of(folder).read_text("ascii").splitlines()]
    told = [(int(at_ns), bytes.fromhex(data)) for at_ns, data in lines]
    lost = [(at_ns, data) for at_ns, data in told if data not in kept]
    oldest_s = max((1e-9 * (killed_ns - at_ns) for at_ns, _ in lost), default=0.0)
    assert oldest_s <= KEPT_AFTER_S, f"{len(lost)} packets lost, the oldest after {oldest_s:.1f} s"
    if kept:
        build_session(folder)
        assert read_session(folder, Quality()).sensors
    return f"{len(told) - len(lost)} of {len(told)} packets kept"


def lengths_of(folder: Path) -> dict[str, Any]:
    """Return the lengths that a card has to show of a finished folder, from one run over it all."""
    swimmer = LiveSwimmer(folder)
    swimmer.poll()
    assert swimmer.rolling is not None
    return dict(card(swimmer.rolling.run_whole().tables, ())["lengths"])


def alike(one: Any, other: Any) -> bool:
    """Return whether figures are the same within `ALIKE`, and all else is equal."""
    if isinstance(one, dict) and isinstance(other, dict):
        return one.keys() == other.keys() and all(alike(one[key], other[key]) for key in one)
    if isinstance(one, float) and isinstance(other, float):
        return math.isclose(one, other, rel_tol=ALIKE, abs_tol=ALIKE)
    return bool(one == other)


def kept_in(folder: Path) -> set[bytes]:
    """Return all packets of samples that a folder holds."""
    return {data for log in read_radio(folder) for data in log.packets.values()}


def swum(
    ground: Ground, speed: float, parts: list[str], rng: random.Random, found: Counter[str]
) -> None:
    """Swim once and kill these parts, one after the other, as far as the swim is long enough."""
    try:
        while parts and not ground.over:
            ground.wait_for_data(parts[0])
            time.sleep(rng.uniform(*PAUSE_S) * SPEED / speed)
            if ground.over:
                break
            at_s, part = ground.clock.now_s(), parts.pop(0)
            what = ground.kill(part)
            ground.start(part)
            found[part] += 1
            print(f"{part} killed at {at_s:.1f} s of the swim: {what}", flush=True)
        while not ground.over:
            time.sleep(0.1)
        print(f"all {ground.finish()} packets are there, the page shows what they tell", flush=True)
    finally:
        ground.close()


def main(times: int, speed: float = SPEED) -> Counter[str]:
    """Kill so many times; return how often each part was killed."""
    print(f"seed {SEED}, {speed:g} times as fast as a pool", flush=True)
    rng, found = random.Random(SEED), Counter[str]()
    parts = [PARTS[n % len(PARTS)] for n in range(times)]
    while parts:
        with TemporaryDirectory(prefix="victim-") as place:
            swum(Ground(Path(place), speed), speed, parts, rng, found)
    return found


if __name__ == "__main__":
    print(dict(main(int(sys.argv[1]))))
