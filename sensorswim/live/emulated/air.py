"""An emulated radio in this process: links to emulated sensors that water cuts."""

from __future__ import annotations

import asyncio
from collections.abc import AsyncIterator, Callable
from typing import Final

from sensorswim.live.clock import HostClock
from sensorswim.live.emulated.worn import Worn
from sensorswim.live.link import Channel, Found, Link, LinkLostError, Notified

INTERVAL_S: Final = 0.03
PACKETS_AN_INTERVAL: Final = 4
SUPERVISION_S: Final = 0.42
"""As short as Linux is reported to use by itself."""
CONNECT_S: Final = 0.1
CONNECT_WAIT_S: Final = 10.0


class EmulatedAir:
    """Finds the emulated sensors that are above water and links to them."""

    def __init__(self, worn: list[Worn], clock: HostClock) -> None:
        self.worn = {item.device.name: item for item in worn}
        self._clock = clock

    async def found(self) -> AsyncIterator[Found]:
        """Yield each sensor that is heard, over and over."""
        while True:
            for name, item in self.worn.items():
                if item.water.lets_through(self._clock.now_s()):
                    yield Found(name=name, address=name)
            await self._clock.sleep(0.2)

    def link(self, found: Found) -> Link:
        """Return an unconnected link."""
        return EmulatedLink(self.worn[found.name], self._clock)


class EmulatedLink:
    """A link to one emulated sensor; lost when the water has been in between for too long."""

    def __init__(self, worn: Worn, clock: HostClock) -> None:
        self._device, self._water, self._clock = worn.device, worn.water, clock
        self._notified: Notified = lambda _channel, _data: None
        self._dropped: Callable[[], None] = lambda: None
        self._pump: asyncio.Task[None] | None = None

    @property
    def name(self) -> str:
        """The sensor's name."""
        return self._device.name

    async def connect(self, notified: Notified, dropped: Callable[[], None]) -> None:
        """Wait until the sensor is heard, then connect."""
        await self._clear(CONNECT_WAIT_S)
        await self._clock.sleep(CONNECT_S)
        await self._clear(SUPERVISION_S)
        self._notified, self._dropped = notified, dropped
        self._device.connected()
        self._pump = asyncio.get_running_loop().create_task(self._run())

    async def write(self, data: bytes) -> None:
        """Write a command as soon as the water allows."""
        await self._clear(SUPERVISION_S)
        self._device.command(data)

    async def read_state(self) -> bytes:
        """Read the state as soon as the water allows."""
        await self._clear(SUPERVISION_S)
        return self._device.state()

    async def close(self) -> None:
        """Let go of the connection."""
        if self._pump is not None:
            self._pump.cancel()
            self._pump = None
            self._device.disconnected()

    def cut(self) -> None:
        """Drop the link, as a test may want."""
        self._device.disconnected()
        self._dropped()

    def _through(self) -> bool:
        return self._water.lets_through(self._clock.now_s())

    async def _clear(self, within_s: float) -> None:
        until_s = self._clock.now_s() + within_s
        while not self._through():
            if self._clock.now_s() > until_s:
                raise LinkLostError("under water")
            await self._clock.sleep(INTERVAL_S)

    async def _run(self) -> None:
        heard_s = self._clock.now_s()
        while True:
            await self._clock.sleep(INTERVAL_S)
            self._device.advance()
            if self._through():
                heard_s = self._clock.now_s()
                self._send()
            elif self._clock.now_s() - heard_s > SUPERVISION_S:
                self.cut()
                return

    def _send(self) -> None:
        for _ in range(PACKETS_AN_INTERVAL):
            following = self._device.next_notification()
            if following is None:
                return
            self._notified(Channel(following[0]), following[1])
