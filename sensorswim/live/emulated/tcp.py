"""Emulated sensors over TCP: a server beside the sensors, a finder and links for the recorder.

A connection is either a look-out, on which the names of the sensors that are heard come over and
over, or one link. A frame is its kind (1 byte), its length (2 bytes, little-endian) and as many
bytes. Only for rehearsals, on this machine.
"""

from __future__ import annotations

import asyncio
import contextlib
import struct
from collections.abc import AsyncIterator, Callable
from enum import IntEnum
from typing import Final

from sensorswim.live.clock import HostClock
from sensorswim.live.emulated.air import CONNECT_WAIT_S, EmulatedAir
from sensorswim.live.emulated.worn import Worn
from sensorswim.live.link import Channel, Found, Link, LinkLostError, Notified

HERE: Final = "127.0.0.1"
ALIVE_S: Final = 0.5
SILENT_S: Final = 2.0
"""A link on which nothing was heard for so long is lost: the timeout that sensors ask for."""
TICK_S: Final = 0.1
_HEAD: Final = struct.Struct("<BH")
_CHANNELS: Final = list(Channel)
_GONE: Final = (OSError, EOFError)


class _Kind(IntEnum):
    LOOK = 1
    FOUND = 2
    LINK = 3
    WRITE = 4
    READ = 5
    ALIVE = 6
    DONE = 7
    NOTIFIED = 8
    LOST = 9


def _send(writer: asyncio.StreamWriter, kind: _Kind, payload: bytes = b"") -> None:
    if not writer.is_closing():
        writer.write(_HEAD.pack(kind, len(payload)) + payload)


async def _receive(reader: asyncio.StreamReader) -> tuple[_Kind, bytes]:
    kind, length = _HEAD.unpack(await reader.readexactly(_HEAD.size))
    return _Kind(kind), await reader.readexactly(length)


class SensorServer:
    """Lets programs of this machine find and link to emulated sensors.

    Parameters
    ----------
    worn : list of Worn
    clock : HostClock
    """

    def __init__(self, worn: list[Worn], clock: HostClock) -> None:
        self._worn, self._clock = worn, clock
        self._air = EmulatedAir(worn, clock)
        self._linked: set[str] = set()

    async def start(self, port: int) -> asyncio.Server:
        """Listen on this machine; port 0 takes a free one."""
        return await asyncio.start_server(self._serve, HERE, port)

    async def live(self) -> None:
        """Let the sensors take samples, heard or not."""
        while True:
            for item in self._worn:
                item.device.advance()
            await self._clock.sleep(TICK_S)

    async def _serve(self, reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        try:
            kind, payload = await _receive(reader)
            if kind is _Kind.LOOK:
                await self._look_out(writer)
            elif kind is _Kind.LINK:
                await self._hold(payload.decode(), reader, writer)
        except _GONE:
            pass
        finally:
            writer.close()

    async def _look_out(self, writer: asyncio.StreamWriter) -> None:
        async for found in self._air.found():
            _send(writer, _Kind.FOUND, found.name.encode())
            await writer.drain()

    async def _hold(
        self, name: str, reader: asyncio.StreamReader, writer: asyncio.StreamWriter
    ) -> None:
        """Hold a link, one central at a time."""
        if name in self._linked:
            return
        self._linked.add(name)
        link = self._air.link(Found(name=name, address=name))
        try:
            await link.connect(
                lambda channel, data: _send(
                    writer, _Kind.NOTIFIED, bytes([_CHANNELS.index(channel)]) + data
                ),
                writer.close,
            )
            _send(writer, _Kind.DONE)
            while True:
                await self._carry_out(
                    link, writer, *await asyncio.wait_for(_receive(reader), SILENT_S)
                )
        except (LinkLostError, TimeoutError):
            _send(writer, _Kind.LOST)
        finally:
            await link.close()
            self._linked.discard(name)

    @staticmethod
    async def _carry_out(
        link: Link, writer: asyncio.StreamWriter, kind: _Kind, payload: bytes
    ) -> None:
        if kind is _Kind.WRITE:
            await link.write(payload)
            _send(writer, _Kind.DONE)
        elif kind is _Kind.READ:
            _send(writer, _Kind.DONE, await link.read_state())


class TcpAir:
    """Finds the sensors of a `SensorServer`, also after it was away.

    Parameters
    ----------
    port : int
    clock : HostClock
    """

    def __init__(self, port: int, clock: HostClock) -> None:
        self._port, self._clock = port, clock

    async def found(self) -> AsyncIterator[Found]:
        """Yield each sensor that is heard, over and over."""
        while True:
            with contextlib.suppress(*_GONE):
                reader, writer = await asyncio.open_connection(HERE, self._port)
                try:
                    _send(writer, _Kind.LOOK)
                    while True:
                        name = (await _receive(reader))[1].decode()
                        yield Found(name=name, address=name)
                finally:
                    writer.close()
            await self._clock.sleep(ALIVE_S)

    def link(self, found: Found) -> Link:
        """Return an unconnected link."""
        return TcpLink(found.name, self._port, self._clock)


class TcpLink:
    """A link to one sensor of a `SensorServer`."""

    def __init__(self, name: str, port: int, clock: HostClock) -> None:
        self.name = name
        self._port, self._clock = port, clock
        self._writer: asyncio.StreamWriter | None = None
        self._asked: asyncio.Future[bytes] | None = None
        self._turn = asyncio.Lock()
        self._helpers: list[asyncio.Task[None]] = []

    async def connect(self, notified: Notified, dropped: Callable[[], None]) -> None:
        """Wait until the sensor is heard, then connect."""
        try:
            reader, self._writer = await asyncio.open_connection(HERE, self._port)
        except OSError as failure:
            raise LinkLostError("nobody listens") from failure
        begin = asyncio.get_running_loop().create_task
        self._helpers = [begin(self._listen(reader, notified, dropped)), begin(self._say_alive())]
        await self._ask(_Kind.LINK, self.name.encode(), CONNECT_WAIT_S / self._clock.speed + 1.0)

    async def write(self, data: bytes) -> None:
        """Write a command with response."""
        await self._ask(_Kind.WRITE, data)

    async def read_state(self) -> bytes:
        """Read the state."""
        return await self._ask(_Kind.READ)

    async def close(self) -> None:
        """Let go of the connection."""
        for helper in self._helpers:
            helper.cancel()
        self._helpers = []
        if self._writer is not None:
            self._writer.close()
            self._writer = None

    async def _ask(self, kind: _Kind, payload: bytes = b"", within_s: float = SILENT_S) -> bytes:
        async with self._turn:
            if self._writer is None:
                raise LinkLostError("not connected")
            self._asked = asyncio.get_running_loop().create_future()
            _send(self._writer, kind, payload)
            try:
                return await asyncio.wait_for(self._asked, within_s)
            except TimeoutError as late:
                raise LinkLostError("no answer") from late
            finally:
                self._asked = None

    async def _listen(
        self, reader: asyncio.StreamReader, notified: Notified, dropped: Callable[[], None]
    ) -> None:
        try:
            while True:
                kind, payload = await _receive(reader)
                if kind is _Kind.NOTIFIED:
                    notified(_CHANNELS[payload[0]], payload[1:])
                elif kind is _Kind.LOST:
                    return
                elif self._asked is not None and not self._asked.done():
                    self._asked.set_result(payload)
        except _GONE:
            pass
        finally:
            if self._asked is not None and not self._asked.done():
                self._asked.set_exception(LinkLostError("the link ended"))
            dropped()

    async def _say_alive(self) -> None:
        while True:
            await asyncio.sleep(ALIVE_S)
            if self._writer is not None:
                _send(self._writer, _Kind.ALIVE)
