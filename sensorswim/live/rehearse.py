"""A live rehearsal: emulated sensors on invented swimmers, recorded as real ones would be."""

from __future__ import annotations

import asyncio
import tempfile
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

from sensorswim.formats.radio_log import SensorLog, read_radio
from sensorswim.live.bleak_link import BleakFinder
from sensorswim.live.build import Built
from sensorswim.live.clock import HostClock
from sensorswim.live.emulated.apart import SensorsApart, serials
from sensorswim.live.emulated.device import name_of
from sensorswim.live.emulated.radio import Radio
from sensorswim.live.emulated.worn import out_s
from sensorswim.live.recorder import Recorder, Wearer
from sensorswim.live.sensor import StartOrder
from sensorswim.model import Placement
from sensorswim.rehearsal import Rehearsal


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

    The sensors run in a process of their own; the recorder reaches them with its own radio link. It
    has a virtual Bluetooth adapter for each swimmer, as about five sensors are what one carries.

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
        self._rehearsals, self._clock, self._tell = rehearsals, clock, tell
        self.worn = {
            folder: serials(rehearsal, number)
            for number, (folder, rehearsal) in enumerate(rehearsals.items())
        }
        """Which sensors each swimmer wears, and where."""
        self.end_s = max(out_s(rehearsal) for rehearsal in rehearsals.values())

    async def run(self) -> list[Rehearsed]:
        """Swim to the end, climb out, fetch the rest, and compare with what was taken."""
        with tempfile.TemporaryDirectory(prefix="sensors-") as place:
            flash = Path(place)
            sensors = SensorsApart(list(self._rehearsals.values()), flash)
            try:
                await asyncio.to_thread(sensors.start, self._clock)
                radios = [Radio(sensors.port) for _ in self._rehearsals]
                recorder = self._recorder(radios)
                try:
                    built = await self._record(recorder)
                finally:
                    for radio in radios:
                        await radio.close()
            finally:
                sensors.kill()
            taken = {log.serial: log for log in read_radio(flash)}
            return [
                self._compared(folder, what, taken, recorder)
                for folder, what in zip(self.worn, built, strict=True)
            ]

    def _recorder(self, radios: list[Radio]) -> Recorder:
        adapters = [radio.adapter(f"virtual{n}") for n, radio in enumerate(radios)]
        rate_hz = round(next(iter(self._rehearsals.values())).kit.rate_hz)
        return Recorder(
            [_wearer(folder, r, self.worn[folder]) for folder, r in self._rehearsals.items()],
            BleakFinder(adapters, self._tell, self._clock),
            self._clock,
            order=StartOrder(log=0, rate_hz=rate_hz),
            tell=self._tell,
        )

    async def _record(self, recorder: Recorder) -> list[Built]:
        running = asyncio.ensure_future(recorder.run())
        try:
            while self._clock.now_s() < self.end_s and not running.done():
                await self._clock.sleep(0.5)
            recorder.finish()
            return await running
        finally:
            running.cancel()
            await asyncio.gather(running, return_exceptions=True)

    def _compared(
        self, folder: Path, built: Built, taken: dict[int, SensorLog], recorder: Recorder
    ) -> Rehearsed:
        kept = {log.serial: set(log.packets.values()) for log in read_radio(folder)}
        own = [taken[serial] for serial in self.worn[folder] if serial in taken]
        same = [len(set(log.packets.values()) & kept.get(log.serial, set())) for log in own]
        names = {name_of(serial) for serial in self.worn[folder]}
        tasks = [task for task in recorder.tasks if task.link.name in names]
        return Rehearsed(
            folder=folder,
            built=built,
            packets_taken=sum(len(log.packets) for log in own),
            packets_kept=sum(same),
            links_lost=sum(task.connections - 1 for task in tasks),
        )


def _wearer(folder: Path, rehearsal: Rehearsal, worn: dict[int, Placement]) -> Wearer:
    return Wearer(
        folder=folder,
        swimmer=rehearsal.swimmer.name,
        pool_length_m=rehearsal.plan.pool_length_m,
        height_m=round(rehearsal.swimmer.height_m, 3),
        sensors={name_of(serial): placement for serial, placement in worn.items()},
        extra={"invented": True},
    )
