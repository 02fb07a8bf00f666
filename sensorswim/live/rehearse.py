"""A live rehearsal: emulated sensors on invented swimmers, recorded as real ones would be."""

from __future__ import annotations

import asyncio
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

from sensorswim.formats.radio_log import read_radio
from sensorswim.live.build import Built
from sensorswim.live.clock import HostClock
from sensorswim.live.emulated.air import EmulatedAir
from sensorswim.live.emulated.worn import Worn, wear
from sensorswim.live.recorder import Recorder, Wearer
from sensorswim.live.sensor import StartOrder
from sensorswim.rehearsal import Rehearsal

FIRST_SERIAL = 0x5357_0000_0000_0C42
"""Serial numbers of emulated sensors begin here; no real one has them."""


@dataclass(frozen=True, kw_only=True)
class Rehearsed:
    """What became of a live rehearsal of one swimmer.

    Parameters
    ----------
    packets_taken, packets_kept : int
        What the sensors took, and how many of these lie in the folder byte for byte.
    links_lost : int
        How often water cut a link.
    """

    folder: Path
    built: Built
    packets_taken: int
    packets_kept: int
    links_lost: int


class LiveRehearsal:
    """Invented swimmers with emulated sensors, and the recorder that hears them.

    Parameters
    ----------
    rehearsals : dict
        Session folder -> what is swum; kits at 52, 100, 104 or 208 Hz, all alike.
    clock : HostClock
        At a speed above 1 time runs faster than at a pool.
    tell : callable
        Called with lines for people.
    """

    def __init__(
        self,
        rehearsals: dict[Path, Rehearsal],
        clock: HostClock,
        *,
        tell: Callable[[str], None] = lambda _line: None,
    ) -> None:
        self._clock, self._tell = clock, tell
        self.worn: dict[Path, list[Worn]] = {}
        for number, (folder, rehearsal) in enumerate(rehearsals.items()):
            serial = FIRST_SERIAL + 16 * number
            self.worn[folder] = wear(rehearsal, clock.now_s, first_serial=serial)
        rate_hz = round(next(iter(rehearsals.values())).kit.rate_hz)
        every = [item for worn in self.worn.values() for item in worn]
        self.recorder = Recorder(
            [_wearer(folder, r, self.worn[folder]) for folder, r in rehearsals.items()],
            EmulatedAir(every, clock),
            clock,
            order=StartOrder(log=0, rate_hz=rate_hz),
            tell=tell,
        )
        self.end_s = max(float(item.water.time_s[-1]) for item in every)

    async def run(self) -> list[Rehearsed]:
        """Swim to the end, climb out, fetch the rest, and compare with what was taken."""
        self._clock.begin()
        running = asyncio.ensure_future(self.recorder.run())
        try:
            while self._clock.now_s() < self.end_s and not running.done():
                await self._clock.sleep(0.5)
            self.recorder.finish()
            built = await running
        finally:
            running.cancel()
            await asyncio.gather(running, return_exceptions=True)
        return [self._compared(*pair) for pair in zip(self.worn, built, strict=True)]

    def _compared(self, folder: Path, built: Built) -> Rehearsed:
        kept = {log.serial: list(log.packets.values()) for log in read_radio(folder)}
        devices = [item.device for item in self.worn[folder]]
        same = [len(set(device.log) & set(kept.get(device.serial, []))) for device in devices]
        names = {device.name for device in devices}
        tasks = [task for task in self.recorder.tasks if task.link.name in names]
        return Rehearsed(
            folder=folder,
            built=built,
            packets_taken=sum(len(device.log) for device in devices),
            packets_kept=sum(same),
            links_lost=sum(task.connections - 1 for task in tasks),
        )


def _wearer(folder: Path, rehearsal: Rehearsal, worn: list[Worn]) -> Wearer:
    return Wearer(
        folder=folder,
        swimmer=rehearsal.swimmer.name,
        pool_length_m=rehearsal.plan.pool_length_m,
        height_m=round(rehearsal.swimmer.height_m, 3),
        sensors={item.device.name: item.device.label for item in worn},
        extra={"invented": True},
    )
