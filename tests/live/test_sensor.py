"""One sensor's side of the recorder, on a link made for the purpose."""

from __future__ import annotations

import asyncio
from collections.abc import Callable
from pathlib import Path

from sensorswim.formats.radio_packets import decode_samples
from sensorswim.live.book import SensorBook
from sensorswim.live.build import Built
from sensorswim.live.clock import HostClock
from sensorswim.live.emulated.device import EmulatedDevice
from sensorswim.live.link import Channel, LinkLostError, Notified
from sensorswim.live.sensor import SensorTask, StartOrder
from tests.live.chain import Chain


class EagerLink:
    """A sensor that sends a packet before it can be asked anything."""

    name = "eager"

    def __init__(self, device: EmulatedDevice, data: bytes) -> None:
        self._device, self._data = device, data

    async def connect(self, notified: Notified, dropped: Callable[[], None]) -> None:
        notified(Channel.STREAM, self._data)

    async def read_state(self) -> bytes:
        return self._device.state()

    async def write(self, data: bytes) -> None:
        raise LinkLostError("it hears nothing")

    async def close(self) -> None:
        pass


def test_what_comes_before_the_state_is_read_is_kept(
    recorded: tuple[Chain, Built], tmp_path: Path
) -> None:
    device = recorded[0].worn[0].device
    data = device.log[5]
    log = decode_samples(data).log
    book = SensorBook(tmp_path, device.serial, log)
    order = StartOrder(log=log, rate_hz=104)
    task = SensorTask(EagerLink(device, data), HostClock(), lambda _state: book, order)

    async def run_a_while() -> None:
        running = asyncio.ensure_future(task.run())
        await asyncio.sleep(0.1)
        running.cancel()

    asyncio.run(run_a_while())
    assert book.counts["packets"] == 1
    assert book.writer.waiting == 0
