"""Sensors over Bluetooth LE with bleak, on Linux through BlueZ.

One scan or connection attempt at a time on each adapter: BlueZ refuses or delays the others.
"""

from __future__ import annotations

import asyncio
import contextlib
from collections.abc import AsyncIterator, Callable
from dataclasses import dataclass, field
from typing import Final

from bleak import BleakClient, BleakScanner
from bleak.backends.client import BaseBleakClient
from bleak.backends.device import BLEDevice
from bleak.backends.scanner import BaseBleakScanner
from bleak.exc import BleakDeviceNotFoundError, BleakError

from sensorswim.formats.radio_control import CONTROL_UUID, SERVICE_UUID, STATE_UUID
from sensorswim.live.clock import HostClock
from sensorswim.live.link import UUIDS, Channel, Found, Link, LinkLostError, Notified

SCAN_S: Final = 3.0
QUIET_S: Final = 0.6
"""A scan that found something ends once nothing new was heard for so long."""
PAUSES_S: Final = (2.0, 60.0)
"""Between scans: the first, doubled up to the second while nothing new is heard."""
CONNECT_S: Final = 5.0
"""Longer than an arm cycle, in which a wrist comes up once; then others get their turn."""
LEAST_CONNECT_S: Final = 1.0
"""Real seconds that an attempt gets where a rehearsal's time runs fast: the computer's own work."""
NAME_BEGINS: Final = "SSW-"
_FAILURES: Final = (BleakError, TimeoutError, OSError, EOFError)


@dataclass(eq=False)
class Adapter:
    """One Bluetooth adapter.

    Parameters
    ----------
    name : str, optional
        Such as ``hci0``; without, the computer's usual one.
    scanner, client : type, optional
        What bleak is to use in place of the computer's own Bluetooth.
    """

    name: str | None = None
    scanner: type[BaseBleakScanner] | None = None
    client: type[BaseBleakClient] | None = None
    turn: asyncio.Lock = field(default_factory=asyncio.Lock)
    devices: dict[str, BLEDevice] = field(default_factory=dict)
    look_again: asyncio.Event = field(default_factory=asyncio.Event)
    problem: str = ""

    async def scan(self, clock: HostClock) -> None:
        """Listen for sensors for up to `SCAN_S` and remember them by name."""
        options = {"adapter": self.name} if self.name else {}
        async with self.turn:
            scanner = BleakScanner(
                self._heard,
                service_uuids=[SERVICE_UUID],
                bluez=options,  # type: ignore[arg-type]
                backend=self.scanner,
            )
            async with scanner:
                await self._until_quiet(clock)

    async def _until_quiet(self, clock: HostClock) -> None:
        before = known = len(self.devices)
        began_s = news_s = clock.now_s()
        while clock.now_s() - began_s < SCAN_S:
            await clock.sleep(0.1)
            if len(self.devices) > known:
                known, news_s = len(self.devices), clock.now_s()
            if known > before and clock.now_s() - news_s > QUIET_S:
                return

    def _heard(self, device: BLEDevice, advertised: object) -> None:
        name = getattr(advertised, "local_name", None) or device.name
        if name and name.startswith(NAME_BEGINS):
            self.devices[name] = device


class BleakFinder:
    """Finds sensors on all given adapters.

    Parameters
    ----------
    adapters : list of Adapter
        Empty for the computer's usual one.
    tell : callable
        Called with a line when an adapter can't scan, and when it can again.
    clock : HostClock, optional
        A rehearsal's, by which scans, pauses and attempts to connect are timed.
    """

    def __init__(
        self,
        adapters: list[Adapter],
        tell: Callable[[str], None] = lambda _line: None,
        clock: HostClock | None = None,
    ) -> None:
        self.adapters = adapters or [Adapter()]
        self._tell, self._clock = tell, clock or HostClock()
        self._home: dict[str, Adapter] = {}

    async def found(self) -> AsyncIterator[Found]:
        """Yield sensors as they are heard; each belongs to the adapter with the fewest.

        Those of an adapter that fails go over to one that hears them.
        """
        pause_s = PAUSES_S[0]
        while True:
            before = len(self._home)
            await asyncio.gather(*(self._scan(adapter) for adapter in self.adapters))
            for name in sorted({name for a in self.adapters for name in a.devices}):
                home = self._home[name] = self._home_of(name)
                yield Found(name=name, address=home.devices[name].address, adapter=home.name)
            new = len(self._home) > before or not self._home
            pause_s = PAUSES_S[0] if new else min(2.0 * pause_s, PAUSES_S[1])
            await self._pause(pause_s)

    def link(self, found: Found) -> Link:
        """Return an unconnected link."""
        return self.link_of(found, BleakLink)

    def link_of(self, found: Found, kind: type[BleakLink]) -> BleakLink:
        """Return an unconnected link of some kind, by the adapter that the sensor has then."""
        return kind(found.name, lambda: self._home[found.name], self._clock)

    def _home_of(self, name: str) -> Adapter:
        """Return the adapter that a sensor has, or the least busy one where that has none."""
        hearing = [adapter for adapter in self.adapters if name in adapter.devices]
        well = [adapter for adapter in hearing if not adapter.problem]
        home = self._home.get(name)
        if home is not None and (home in well or not well):
            return home
        homes = list(self._home.values())
        return min(well or hearing, key=lambda one: sum(home is one for home in homes))

    async def _scan(self, adapter: Adapter) -> None:
        adapter.look_again.clear()
        try:
            await adapter.scan(self._clock)
        except FileNotFoundError:
            problem = "the system bus is not there; start dbus and bluetooth on this computer"
        except _FAILURES as failure:
            problem = str(failure) or type(failure).__name__
        else:
            problem = ""
        if problem != adapter.problem:
            who = adapter.name or "Bluetooth"
            self._tell(f"{who}: {problem or 'works again'}")
            adapter.problem = problem

    async def _pause(self, seconds: float) -> None:
        waits = [asyncio.ensure_future(a.look_again.wait()) for a in self.adapters]
        timeout_s = seconds / self._clock.speed
        await asyncio.wait(waits, timeout=timeout_s, return_when="FIRST_COMPLETED")
        for wait in waits:
            wait.cancel()


class BleakLink:
    """A link through bleak; a new client each time, and the old one always disconnected.

    BlueZ re-arms the notifications of a client that was dropped and not disconnected, and then
    delivers every packet twice (seen on real BlueZ).
    """

    def __init__(self, name: str, home: Callable[[], Adapter], clock: HostClock) -> None:
        self.name = name
        self._home, self._clock = home, clock
        self._client: BleakClient | None = None

    async def connect(self, notified: Notified, dropped: Callable[[], None]) -> None:
        """Connect within the adapter's turn and switch the notifications on, the stream's last."""
        adapter = self._home()
        device = adapter.devices.get(self.name)
        if device is None:
            adapter.look_again.set()
            raise LinkLostError("not heard yet")
        limit_s = max(CONNECT_S / self._clock.speed, LEAST_CONNECT_S)
        self._client = BleakClient(
            device, lambda _client: dropped(), timeout=limit_s, backend=adapter.client
        )
        try:
            async with adapter.turn:
                await asyncio.wait_for(self._client.connect(), limit_s)
            for channel in sorted(Channel, key=lambda channel: channel is Channel.STREAM):
                await self._listen(channel, notified)
        except BleakDeviceNotFoundError as failure:
            adapter.devices.pop(self.name, None)
            adapter.look_again.set()
            raise LinkLostError("gone from the adapter's list") from failure
        except _FAILURES as failure:
            if isinstance(failure, OSError | EOFError) and not isinstance(failure, TimeoutError):
                adapter.look_again.set()
            raise LinkLostError(str(failure)) from failure

    async def _listen(self, channel: Channel, notified: Notified) -> None:
        client = self._ready()
        await client.start_notify(
            UUIDS[channel],
            lambda _characteristic, data: notified(channel, bytes(data)),
            bluez={"use_start_notify": True},
        )

    async def write(self, data: bytes) -> None:
        """Write a command with response."""
        try:
            await self._ready().write_gatt_char(CONTROL_UUID, data, response=True)
        except _FAILURES as failure:
            raise LinkLostError(str(failure)) from failure

    async def read_state(self) -> bytes:
        """Read the state."""
        try:
            return bytes(await self._ready().read_gatt_char(STATE_UUID))
        except _FAILURES as failure:
            raise LinkLostError(str(failure)) from failure

    async def close(self) -> None:
        """Disconnect, also where the sensor was the one to go."""
        client, self._client = self._client, None
        if client is not None:
            with contextlib.suppress(*_FAILURES):
                await client.disconnect()

    def _ready(self) -> BleakClient:
        if self._client is None:
            raise LinkLostError("not connected")
        return self._client
