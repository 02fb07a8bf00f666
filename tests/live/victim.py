"""Kills recorder, page or sensors at random moments of live rehearsals, and looks what is left.

Run: python -m tests.live.victim TIMES

Each is a process of its own, killed by SIGKILL and started again in turn, at random moments of a
swim with water over the sensors. After each kill of the recorder the folder has to open, and all
that had come in more than a second earlier has to be in it (a witness beside the recorder notes
what comes in). A page that was killed shows the figures again. At the end of each swim every packet
that the sensors took has to be there, byte for byte. Stops with an error at the first that isn't
so.
"""

from __future__ import annotations

import asyncio
import json
import multiprocessing
import os
import random
import sys
import time
from collections import Counter
from collections.abc import Callable
from multiprocessing.process import BaseProcess
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

import uvicorn
from websockets.asyncio.client import connect

from sensorswim.dashboards.components import free_port
from sensorswim.dashboards.poolside import poolside_app
from sensorswim.formats.radio_log import read_radio
from sensorswim.formats.session_toml import read_session
from sensorswim.live.build import build_session
from sensorswim.live.clock import HostClock
from sensorswim.live.emulated.apart import SensorsApart, serials
from sensorswim.live.emulated.device import name_of
from sensorswim.live.emulated.tcp import TcpAir, TcpLink
from sensorswim.live.emulated.worn import out_s
from sensorswim.live.link import Channel, Found, Link, Notified
from sensorswim.live.recorder import Recorder, Wearer
from sensorswim.live.sensor import StartOrder
from sensorswim.live.watch import LiveHub
from sensorswim.model import Placement, Quality
from tests.live.chain import swim

PARTS = ("recorder", "page", "sensors")
SPEED = 2.0
PAUSE_S = (0.3, 6.0)
KEPT_AFTER_S = 1.0
PATIENCE_S = 120.0

_SPAWN = multiprocessing.get_context("spawn")


class WitnessedLink(TcpLink):
    """Has each packet of samples noted as it comes in, before the recorder sees it."""

    notes = -1

    async def connect(self, notified: Notified, dropped: Callable[[], None]) -> None:
        def seen(channel: Channel, data: bytes) -> None:
            if channel is Channel.STREAM:
                os.write(self.notes, f"{time.time_ns()} {data.hex()}\n".encode())
            notified(channel, data)

        await super().connect(seen, dropped)


class WitnessedAir(TcpAir):
    """Finds sensors whose links are witnessed."""

    def link(self, found: Found) -> Link:
        return WitnessedLink(found.name, self._port, self._clock)


def record(folder: Path, port: int, clock: HostClock, sensors: dict[str, Placement | None]) -> None:
    """Be the recorder until a file says that the swim is over and all is fetched."""
    WitnessedLink.notes = os.open(folder.parent / "witness", os.O_CREAT | os.O_APPEND | os.O_WRONLY)
    wearer = Wearer(folder=folder, swimmer="Invented", height_m=1.75, sensors=sensors)
    recorder = Recorder(
        [wearer], WitnessedAir(port, clock), clock, order=StartOrder(log=0, rate_hz=104)
    )

    async def run() -> None:
        running = asyncio.ensure_future(recorder.run(give_up_s=clock.speed * PATIENCE_S))
        while not (folder.parent / "over").exists() and not running.done():
            await asyncio.sleep(0.05)
        recorder.finish()
        await running

    asyncio.run(run())


def show(folder: Path, port: int) -> None:
    """Be the page."""
    app = poolside_app(LiveHub([folder]), place="the rehearsal")
    uvicorn.run(app.server, port=port, log_level="error")


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
        self.running: dict[str, BaseProcess] = {}
        for part in ("recorder", "page"):
            self.start(part)

    def start(self, part: str) -> None:
        if part == "sensors":
            self.sensors.start(self.clock, begin=False)
            return
        worn = {name_of(serial): place for serial, place in serials(swim(), 0).items()}
        target, given = {
            "recorder": (record, (self.folder, self.sensors.port, self.clock, worn)),
            "page": (show, (self.folder, self.page_port)),
        }[part]
        self.running[part] = _SPAWN.Process(target=target, args=given, daemon=True)
        self.running[part].start()

    def kill(self, part: str) -> None:
        if part == "sensors":
            self.sensors.kill()
            return
        self.running[part].kill()
        self.running[part].join()

    def after(self, part: str, killed_ns: int) -> str:
        """Look at what is there after a kill; return in a word what was found."""
        if part == "recorder":
            return self.folder_opens(killed_ns)
        return "came back"

    def folder_opens(self, killed_ns: int) -> str:
        kept = kept_in(self.folder)
        witness = self.folder.parent / "witness"
        lines = witness.read_text("ascii").splitlines() if witness.exists() else []
        told = [(int(line.split()[0]), bytes.fromhex(line.split()[1])) for line in lines]
        early_ns = killed_ns - int(1e9 * KEPT_AFTER_S)
        lost = [data for at_ns, data in told if data not in kept]
        assert not [d for at_ns, d in told if d not in kept and at_ns < early_ns]
        if not kept:
            return "nothing had come"
        build_session(self.folder)
        assert read_session(self.folder, Quality()).sensors
        return f"opened, {len(lost)} of {len(told)} packets not yet kept"

    def finish(self) -> int:
        """Let the recorder fetch the rest; return how many packets the sensors had taken.

        On a busy machine a swim may be over before a recorder that is killed time and again has
        started any sensor; it then says that nothing came.
        """
        (self.folder.parent / "over").touch()
        self.running["recorder"].join(PATIENCE_S)
        taken = kept_in(self.flash)
        if not taken:
            assert self.running["recorder"].exitcode == 1
            return 0
        assert self.running["recorder"].exitcode == 0
        assert taken == kept_in(self.folder)
        assert asyncio.run(figures_of(self.page_port))["lengths"]
        return len(taken)

    def close(self) -> None:
        self.sensors.kill()
        for process in self.running.values():
            process.kill()


def kept_in(folder: Path) -> set[bytes]:
    """Return all packets of samples that a folder holds."""
    return {data for log in read_radio(folder) for data in log.packets.values()}


async def figures_of(port: int) -> dict[str, Any]:
    """Return the figures that the page sends first, once it has some."""
    until_s = time.monotonic() + PATIENCE_S
    while time.monotonic() < until_s:
        try:
            async with connect(
                f"ws://127.0.0.1:{port}/ws/live", origin=f"http://127.0.0.1:{port}"
            ) as page:
                while time.monotonic() < until_s:
                    figures = json.loads(await page.recv()).get("figures")
                    if figures:
                        return dict(figures)
        except OSError:
            await asyncio.sleep(0.2)
    raise AssertionError("the page shows no figures")


def swum(ground: Ground, parts: list[str], rng: random.Random, found: Counter[str]) -> None:
    """Swim once and kill these parts, one after the other, as far as the swim is long enough."""
    try:
        while parts and ground.clock.now_s() < ground.end_s:
            time.sleep(rng.uniform(*PAUSE_S))
            part = parts.pop(0)
            ground.kill(part)
            killed_ns = time.time_ns()
            what = ground.after(part, killed_ns)
            ground.start(part)
            found[part] += 1
            print(f"{part} killed at {ground.clock.now_s():.1f} s of the swim: {what}", flush=True)
        while ground.clock.now_s() < ground.end_s:
            time.sleep(0.1)
        print(f"all {ground.finish()} packets are there", flush=True)
    finally:
        ground.close()


def main(times: int, speed: float = SPEED) -> Counter[str]:
    """Kill so many times; return how often each part was killed."""
    rng, found = random.Random(5), Counter[str]()
    parts = [PARTS[n % len(PARTS)] for n in range(times)]
    while parts:
        with TemporaryDirectory(prefix="victim-") as place:
            swum(Ground(Path(place), speed), parts, rng, found)
    return found


if __name__ == "__main__":
    print(dict(main(int(sys.argv[1]))))
