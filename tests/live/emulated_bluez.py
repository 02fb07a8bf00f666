# ruff: noqa: F722, F821, N802 - D-Bus signatures stand where annotations do
"""org.bluez on a private D-Bus, with emulated sensors behind it: what bleak's own backend talks to.

It also copies a fault of the real one: a D-Bus client that stays on the bus after its sensor
dropped the link has its notifications armed again at the next connection: packets come twice.
"""

import asyncio
import contextlib
import os
import shutil
import subprocess
from collections.abc import Iterator
from dataclasses import dataclass, field

import pytest
from dbus_fast import DBusError, Message, MessageType, PropertyAccess, Variant
from dbus_fast.aio import MessageBus
from dbus_fast.service import ServiceInterface, dbus_method, dbus_property

from sensorswim.formats.radio_control import SERVICE_UUID
from sensorswim.live.clock import HostClock
from sensorswim.live.emulated.worn import Worn
from sensorswim.live.link import UUIDS, Channel

ADAPTER = "/org/bluez/hci0"
GATT = "org.bluez.GattCharacteristic1"
PUMP_S = 0.02
PACKETS_A_PUMP = 6


@contextlib.contextmanager
def private_bus(monkeypatch: pytest.MonkeyPatch) -> Iterator[str]:
    """Run a D-Bus daemon of our own and make it the system bus of this process."""
    program = shutil.which("dbus-daemon")
    if program is None:
        missing = "there is no dbus-daemon: apt-get install dbus"
        pytest.fail(missing) if os.environ.get("CI") == "true" else pytest.skip(missing)
    daemon = subprocess.Popen(
        [program, "--session", "--nofork", "--nopidfile", "--print-address=1"],
        stdout=subprocess.PIPE,
        text=True,
    )
    assert daemon.stdout is not None
    address = daemon.stdout.readline().strip()
    monkeypatch.setenv("DBUS_SYSTEM_BUS_ADDRESS", address)
    try:
        yield address
    finally:
        daemon.terminate()
        daemon.wait()
        daemon.stdout.close()


class AdapterObject(ServiceInterface):
    def __init__(self) -> None:
        super().__init__("org.bluez.Adapter1")

    @dbus_method()
    def SetDiscoveryFilter(self, _filter: "a{sv}") -> None:
        return

    @dbus_method()
    def StartDiscovery(self) -> None:
        return

    @dbus_method()
    def StopDiscovery(self) -> None:
        return

    @dbus_method()
    def RemoveDevice(self, _device: "o") -> None:
        return

    @dbus_property(access=PropertyAccess.READ)
    def Address(self) -> "s":
        return "C0:00:00:00:00:01"

    @dbus_property(access=PropertyAccess.READ)
    def Roles(self) -> "as":
        return ["central"]

    @dbus_property(access=PropertyAccess.READ)
    def Powered(self) -> "b":
        return True


class DeviceObject(ServiceInterface):
    """Device1 of one emulated sensor."""

    def __init__(self, bluez: "EmulatedBluez", worn: Worn, number: int) -> None:
        super().__init__("org.bluez.Device1")
        self.bluez, self.worn = bluez, worn
        self.address = f"C0:00:00:00:01:{number:02X}"
        self.path = f"{ADAPTER}/dev_{self.address.replace(':', '_')}"
        self.connected = self.resolved = False
        self.rssi = -60
        self.pump: asyncio.Task[None] | None = None

    @dbus_method()
    async def Connect(self) -> None:
        for _ in range(200):
            if self.bluez.reaches(self.worn):
                break
            await asyncio.sleep(PUMP_S)
        else:
            raise DBusError("org.bluez.Error.Failed", "le-connection-timeout")
        if self.bluez.refuse_connections > 0:
            self.bluez.refuse_connections -= 1
            raise DBusError("org.bluez.Error.Failed", "made for this test")
        self.connected = self.resolved = True
        self.worn.device.connected()
        self.pump = asyncio.get_running_loop().create_task(self.bluez.pump(self))
        self.tell()

    @dbus_method()
    def Disconnect(self) -> None:
        self.drop()

    def drop(self) -> None:
        """End the connection, whoever wants it."""
        if not self.connected:
            return
        self.connected = self.resolved = False
        self.worn.device.disconnected()
        if self.pump is not None:
            self.pump.cancel()
        self.tell()

    def tell(self) -> None:
        self.emit_properties_changed(
            {"Connected": self.connected, "ServicesResolved": self.resolved}
        )

    @dbus_property(access=PropertyAccess.READ)
    def Address(self) -> "s":
        return self.address

    @dbus_property(access=PropertyAccess.READ)
    def AddressType(self) -> "s":
        return "random"

    @dbus_property(access=PropertyAccess.READ)
    def Name(self) -> "s":
        return self.worn.device.name

    @dbus_property(access=PropertyAccess.READ)
    def Alias(self) -> "s":
        return self.worn.device.name

    @dbus_property(access=PropertyAccess.READ)
    def Adapter(self) -> "o":
        return ADAPTER

    @dbus_property(access=PropertyAccess.READ)
    def UUIDs(self) -> "as":
        return [SERVICE_UUID]

    @dbus_property(access=PropertyAccess.READ)
    def Paired(self) -> "b":
        return False

    @dbus_property(access=PropertyAccess.READ)
    def Connected(self) -> "b":
        return self.connected

    @dbus_property(access=PropertyAccess.READ)
    def ServicesResolved(self) -> "b":
        return self.resolved

    @dbus_property(access=PropertyAccess.READ)
    def RSSI(self) -> "n":
        return self.rssi


class ServiceObject(ServiceInterface):
    def __init__(self, device: DeviceObject) -> None:
        super().__init__("org.bluez.GattService1")
        self.device = device

    @dbus_property(access=PropertyAccess.READ)
    def UUID(self) -> "s":
        return SERVICE_UUID

    @dbus_property(access=PropertyAccess.READ)
    def Primary(self) -> "b":
        return True

    @dbus_property(access=PropertyAccess.READ)
    def Device(self) -> "o":
        return self.device.path


class CharacteristicObject(ServiceInterface):
    """GattCharacteristic1; StartNotify and StopNotify are answered by `EmulatedBluez`."""

    def __init__(self, device: DeviceObject, service: str, channel: Channel) -> None:
        super().__init__(GATT)
        self.device, self.service, self.channel = device, service, channel

    @dbus_method()
    def ReadValue(self, _options: "a{sv}") -> "ay":
        return self.device.worn.device.state()

    @dbus_method()
    def WriteValue(self, value: "ay", _options: "a{sv}") -> None:
        if not self.device.connected:
            raise DBusError("org.bluez.Error.Failed", "Not connected")
        self.device.worn.device.command(bytes(value))

    @dbus_property(access=PropertyAccess.READ)
    def UUID(self) -> "s":
        return UUIDS[self.channel]

    @dbus_property(access=PropertyAccess.READ)
    def Service(self) -> "o":
        return self.service

    @dbus_property(access=PropertyAccess.READ)
    def Flags(self) -> "as":
        return {
            Channel.CONTROL: ["write", "notify"],
            Channel.STATE: ["read", "notify"],
        }.get(self.channel, ["notify"])

    @dbus_property(access=PropertyAccess.READ)
    def MTU(self) -> "q":
        return self.device.worn.device.mtu


@dataclass
class EmulatedBluez:
    """The daemon: one adapter, and a device for each worn sensor."""

    worn: list[Worn]
    clock: HostClock
    refuse_connections: int = 0
    devices: list[DeviceObject] = field(default_factory=list)
    armed: dict[str, list[str]] = field(default_factory=dict)
    """Characteristic's path -> the D-Bus clients that it notifies."""
    sent: int = 0

    async def start(self, address: str) -> None:
        self.bus = await MessageBus(bus_address=address).connect()
        self.bus.add_message_handler(self._message)
        rule = "type='signal',member='NameOwnerChanged',interface='org.freedesktop.DBus'"
        await self.bus.call(
            Message(
                destination="org.freedesktop.DBus", path="/org/freedesktop/DBus",
                interface="org.freedesktop.DBus", member="AddMatch", signature="s", body=[rule],
            )
        )  # fmt: skip
        self.plug()
        await self.bus.request_name("org.bluez")
        self._beacon = asyncio.get_running_loop().create_task(self._advertise())

    async def stop(self) -> None:
        self._beacon.cancel()
        for device in self.devices:
            device.drop()
        self.bus.disconnect()
        await self.bus.wait_for_disconnect()

    def plug(self) -> None:
        """Put the adapter in, with everything behind it."""
        self.bus.export(ADAPTER, AdapterObject())
        self.devices = [DeviceObject(self, item, n) for n, item in enumerate(self.worn)]
        for device in self.devices:
            self.bus.export(device.path, device)
            service = f"{device.path}/service0010"
            self.bus.export(service, ServiceObject(device))
            for number, channel in enumerate(Channel):
                path = f"{service}/char{number:04x}"
                self.bus.export(path, CharacteristicObject(device, service, channel))

    def pull(self) -> None:
        """Take the adapter out."""
        for device in self.devices:
            device.drop()
            service = f"{device.path}/service0010"
            for number in range(len(Channel)):
                self.bus.unexport(f"{service}/char{number:04x}")
            self.bus.unexport(service)
            self.bus.unexport(device.path)
        self.bus.unexport(ADAPTER)
        self.devices, self.armed = [], {}

    def reaches(self, worn: Worn) -> bool:
        return worn.water.lets_through(self.clock.now_s())

    async def pump(self, device: DeviceObject) -> None:
        """Let a connected sensor take samples and send."""
        heard_s = self.clock.now_s()
        while True:
            await asyncio.sleep(PUMP_S)
            device.worn.device.advance()
            if self.reaches(device.worn):
                heard_s = self.clock.now_s()
                self._send(device)
            elif self.clock.now_s() - heard_s > 0.42:
                device.drop()

    def _send(self, device: DeviceObject) -> None:
        for _ in range(PACKETS_A_PUMP):
            following = device.worn.device.next_notification()
            if following is None:
                return
            channel, data = following
            number = list(Channel).index(channel)
            path = f"{device.path}/service0010/char{number:04x}"
            for _client in self.armed.get(path, []):
                self.sent += 1
                self.bus.send(
                    Message(
                        path=path, interface="org.freedesktop.DBus.Properties",
                        member="PropertiesChanged", message_type=MessageType.SIGNAL,
                        signature="sa{sv}as", body=[GATT, {"Value": Variant("ay", data)}, []],
                    )
                )  # fmt: skip

    async def _advertise(self) -> None:
        while True:
            await asyncio.sleep(0.1)
            for device in self.devices:
                if not device.connected and self.reaches(device.worn):
                    device.rssi = -60 if device.rssi != -60 else -61
                    device.emit_properties_changed({"RSSI": device.rssi})

    def _message(self, message: Message) -> Message | None:
        if message.member == "NameOwnerChanged" and not message.body[2]:
            for clients in self.armed.values():
                while message.body[0] in clients:
                    clients.remove(message.body[0])
        if message.interface != GATT or message.member not in ("StartNotify", "StopNotify"):
            return None
        clients = self.armed.setdefault(message.path, [])
        if message.member == "StartNotify":
            clients.append(message.sender)
        elif message.sender in clients:
            clients.remove(message.sender)
        return Message.new_method_return(message)
