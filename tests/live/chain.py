"""Emulated sensors on synthetic swimmers, recorded: the whole chain in one process."""

from __future__ import annotations

import asyncio
from dataclasses import dataclass, field
from functools import cache
from pathlib import Path

import numpy as np
import pyarrow.parquet as pq

from sensorswim.formats.radio_log import stack
from sensorswim.formats.radio_packets import TICK_HZ, decode_samples
from sensorswim.live.build import Built
from sensorswim.live.clock import HostClock
from sensorswim.live.emulated.air import EmulatedAir
from sensorswim.live.emulated.worn import DRY, Worn, wear
from sensorswim.live.recorder import Recorder, Wearer
from sensorswim.rehearsal import Kit, Knocks, Length, Plan, Rehearsal, Rest, Stand, rehearse

FIRST_SERIAL = 0x5357000000000C42


@cache
def swim() -> Rehearsal:
    """Return a minute and a half: two lengths with a rest between, four sensors at 104 Hz."""
    plan = Plan(
        segments=(
            Stand(duration_s=8.0), Knocks(), Length(turn="stop"),
            Rest(duration_s=10.0), Length(turn="stop"), Rest(duration_s=6.0), Knocks(),
        )
    )  # fmt: skip
    return rehearse(plan, kit=Kit(rate_hz=104.0), seed=4)


@dataclass
class Chain:
    """Sensors in emulated water and a recorder that can be run, killed and run again."""

    folder: Path
    speed: float = 20.0
    dry: bool = False
    mtu: int = 247
    clock: HostClock = field(init=False)
    worn: list[Worn] = field(init=False)
    told: list[str] = field(default_factory=list)

    def __post_init__(self) -> None:
        self.clock = HostClock(speed=self.speed)
        self.worn = wear(swim(), self.clock.now_s, first_serial=FIRST_SERIAL)
        if self.dry:
            self.worn = [Worn(device=item.device, water=DRY) for item in self.worn]
        for item in self.worn:
            item.device.mtu = self.mtu
        self.clock.begin()

    @property
    def end_s(self) -> float:
        """When the swimmer's last sample is taken."""
        return max(w.water.time_s[-2] for w in self.worn)

    def recorder(self) -> Recorder:
        wearer = Wearer(folder=self.folder, swimmer="Invented", height_m=1.75)
        air = EmulatedAir(self.worn, self.clock)
        return Recorder([wearer], air, self.clock, tell=self.told.append)

    async def record(self, until_s: float) -> Built:
        """Record up to a moment of the emulation and fetch the rest."""
        recorder = self.recorder()

        async def finish_later() -> None:
            await self.clock.sleep(until_s - self.clock.now_s())
            recorder.finish()

        finisher = asyncio.ensure_future(finish_later())
        built = await recorder.run()
        await finisher
        return built[0]

    async def killed(self, at_s: float) -> None:
        """Record up to a moment and stop at once, without a last word to disk or sensors."""
        running = asyncio.ensure_future(self.recorder().run())
        await self.clock.sleep(at_s - self.clock.now_s())
        running.cancel()
        await asyncio.gather(running, return_exceptions=True)

    def assert_all_there(self) -> None:
        """Compare the folder's logs with what the sensors took, bit for bit."""
        for item in self.worn:
            table = pq.read_table(self.folder / f"{item.device.label}.parquet").to_pandas()
            ticks, counts = stack(decode_samples(data) for data in item.device.log)
            accel = table[[f"accel_{a}_g" for a in "xyz"]].to_numpy() * 2048.0
            gyro = table[[f"gyro_{a}_deg_s" for a in "xyz"]].to_numpy() * 32768.0 / 2000.0
            assert np.array_equal(np.hstack([accel, gyro]), counts)
            offsets = table["time_s"].to_numpy() * TICK_HZ - ticks
            assert np.abs(offsets - offsets[0]).max() < 1e-6
