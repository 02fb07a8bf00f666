"""A virtual Bluetooth adapter for bleak: bumble's own stack, over HCI to the emulated sensors.

It stands where BlueZ stands with a real adapter, so that the recorder's own radio link runs on it
unchanged: scans, connections, GATT, notifications.
"""

from __future__ import annotations

import asyncio
import contextlib
import logging
from collections.abc import Coroutine
from typing import Any, Final, TypeVar

from bleak.args import SizedBuffer
from bleak.backends.characteristic import BleakGATTCharacteristic
from bleak.backends.client import BaseBleakClient, NotifyCallback
from bleak.backends.descriptor import BleakGATTDescriptor
from bleak.backends.device import BLEDevice
from bleak.backends.scanner import (
    AdvertisementData,
    AdvertisementDataCallback,
    BaseBleakScanner,
)
from bleak.backends.service import BleakGATTService, BleakGATTServiceCollection
from bleak.exc import BleakError
from bleak.uuids import normalize_uuid_str
from bumble import gatt, hci
from bumble.core import UUID, AdvertisingData, BaseBumbleError, PhysicalTransport
from bumble.device import Advertisement, Connection, Device, Peer
from bumble.gatt_client import CharacteristicProxy, Client, ServiceProxy
from bumble.transport.common import Transport
from bumble.transport.tcp_client import open_tcp_client_transport

from sensorswim.live.bleak_link import Adapter
from sensorswim.live.emulated.pool import HERE

Answer = TypeVar("Answer")
MTU: Final = 247
ATT_HEAD: Final = 3
NOTIFY_ON: Final = b"\x01\x00"
NOTIFY_OFF: Final = b"\x00\x00"


async def asked(
    wanted: Coroutine[Any, Any, Answer], end: asyncio.Future[None] | None = None
) -> Answer:
    """Return an answer of bumble's; `end` of a link ends the waiting.

    Raises
    ------
    BleakError
        It was refused, or the link ended.
    """
    return await answered(asyncio.ensure_future(wanted), end)


async def answered(task: asyncio.Task[Answer], end: asyncio.Future[None] | None = None) -> Answer:
    """Return what bumble answers to a task of its own, as `asked`.

    The task in between tells a link that ended, when bumble cancels whatever waits, from a caller
    who no longer wants the answer. In that case it goes on: bumble would take the answer that is on
    its way for one to the next command.
    """
    task.add_done_callback(lambda done: done.cancelled() or done.exception())
    waits: set[asyncio.Future[Any]] = {task} if end is None else {task, end}
    await asyncio.wait(waits, return_when="FIRST_COMPLETED")
    if not task.done() or task.cancelled():
        raise BleakError("the link ended")
    try:
        return task.result()
    except BaseBumbleError as failure:
        raise BleakError(str(failure) or type(failure).__name__) from failure


def end_of(link: Connection) -> asyncio.Future[None]:
    """Return what is done once a link has ended, which may be already."""
    end: asyncio.Future[None] = asyncio.get_running_loop().create_future()
    link.once(Connection.EVENT_DISCONNECTION, lambda _reason: end.set_result(None))
    if link.device.connections.get(link.handle) is not link:
        end.set_result(None)
    return end


class Radio:
    """The adapter, opened when it is needed, and again after the sensors' process was away.

    Parameters
    ----------
    port : int
        Where the sensors' process offers HCI on this machine.
    """

    def __init__(self, port: int) -> None:
        self._port = port
        self._opening = asyncio.Lock()
        self._transport: Transport | None = None
        self._device: Device | None = None
        self.services: dict[str, BleakGATTServiceCollection] = {}
        """By address, what was discovered since the adapter was opened; BlueZ keeps it as well."""

    def adapter(self, name: str) -> Adapter:
        """Return what the recorder's finder needs of it."""

        class Scanner(RadioScanner):
            radio = self

        class GattClient(RadioClient):
            radio = self

        return Adapter(name=name, scanner=Scanner, client=GattClient)

    async def device(self) -> Device:
        """Return the device that is the central; `OSError` where nobody offers HCI."""
        async with self._opening:
            if self._device is None:
                self._device = await self._open()
            return self._device

    async def close(self) -> None:
        """Let go of the adapter."""
        transport = self._transport
        if transport is not None:
            await transport.close()
            await transport.source.terminated

    def holds(self, device: Device) -> bool:
        """Return whether the adapter is still the one that this device was opened on."""
        return self._device is device

    async def _open(self) -> Device:
        logging.getLogger("bumble").setLevel(logging.CRITICAL)
        self._transport = await open_tcp_client_transport(f"{HERE}:{self._port}")
        self.services.clear()
        device = Device.with_hci(
            "recorder",
            hci.Address.generate_static_address(),
            self._transport.source,
            self._transport.sink,
        )
        await asked(device.power_on())
        device.once(Device.EVENT_FLUSH, self._lost)
        return device

    def _lost(self) -> None:
        self._device = self._transport = None


class RadioScanner(BaseBleakScanner):
    """Hears who advertises."""

    radio: Radio

    def __init__(
        self,
        detection_callback: AdvertisementDataCallback | None,
        service_uuids: list[str] | None,
        _scanning_mode: str,
        **_options: object,
    ) -> None:
        super().__init__(detection_callback, service_uuids)
        self._device: Device | None = None

    async def start(self) -> None:
        """Begin to scan."""
        self.seen_devices = {}
        self._device = await self.radio.device()
        self._device.on(Device.EVENT_ADVERTISEMENT, self._heard)
        await asked(self._device.start_scanning(active=False))

    async def stop(self) -> None:
        """End the scan."""
        device, self._device = self._device, None
        if device is not None:
            device.remove_listener(Device.EVENT_ADVERTISEMENT, self._heard)
            if self.radio.holds(device):
                await asked(device.stop_scanning())

    def _heard(self, heard: Advertisement) -> None:
        kinds = AdvertisingData.Type
        name = heard.data.get(kinds.COMPLETE_LOCAL_NAME)
        services = heard.data.get(kinds.COMPLETE_LIST_OF_128_BIT_SERVICE_CLASS_UUIDS) or []
        told = AdvertisementData(
            local_name=name,
            manufacturer_data={},
            service_data={},
            service_uuids=[_text(uuid) for uuid in services],
            tx_power=None,
            rssi=heard.rssi,
            platform_data=(heard,),
        )
        if self.is_allowed_uuid(told.service_uuids):
            address = heard.address.to_string(with_type_qualifier=False)
            self.call_detection_callbacks(
                self.create_or_update_device(address, address, name, heard, told), told
            )


class RadioClient(BaseBleakClient):
    """A GATT client of one sensor."""

    radio: Radio

    def __init__(self, address_or_ble_device: BLEDevice | str, **options: Any) -> None:
        super().__init__(address_or_ble_device, **options)
        self._link: Connection | None = None
        self._end: asyncio.Future[None] | None = None

    @property
    def name(self) -> str:
        """The sensor's address: its name was in what it advertised."""
        return self.address

    @property
    def mtu_size(self) -> int:
        """The MTU agreed on."""
        return MTU if self._link is None else self._link.att_mtu

    @property
    def is_connected(self) -> bool:
        """Whether the link is up."""
        return self._end is not None and not self._end.done()

    async def connect(self, pair: bool, **_options: Any) -> None:
        """Connect once the sensor is heard, agree on the MTU, learn its services."""
        self._link = await self._made(await self.radio.device())
        self._end = end_of(self._link)
        self._end.add_done_callback(self._ended)
        peer = Peer(self._link)
        await asked(peer.request_mtu(MTU), self._end)
        if self.address not in self.radio.services:
            await asked(peer.discover_all(), self._end)
            self.radio.services[self.address] = _collection(peer.services)
        self.services = self.radio.services[self.address]

    async def disconnect(self) -> None:
        """End the link, if it is still there."""
        if self._link is not None and self.is_connected:
            with contextlib.suppress(BleakError):
                await asked(self._link.disconnect(), self._end)

    async def pair(self, *_args: Any, **_options: Any) -> None:
        """Refuse: these sensors know no pairing."""
        raise NotImplementedError

    async def unpair(self) -> None:
        """Refuse: these sensors know no pairing."""
        raise NotImplementedError

    async def read_gatt_char(
        self, characteristic: BleakGATTCharacteristic, **_options: Any
    ) -> bytearray:
        """Read a value."""
        return await self._read(characteristic.handle)

    async def read_gatt_descriptor(
        self, descriptor: BleakGATTDescriptor, **_options: Any
    ) -> bytearray:
        """Read a descriptor."""
        return await self._read(descriptor.handle)

    async def write_gatt_char(
        self, characteristic: BleakGATTCharacteristic, data: SizedBuffer, response: bool
    ) -> None:
        """Write a value."""
        await self._write(characteristic.handle, bytes(data), response=response)

    async def write_gatt_descriptor(
        self, descriptor: BleakGATTDescriptor, data: SizedBuffer
    ) -> None:
        """Write a descriptor."""
        await self._write(descriptor.handle, bytes(data))

    async def start_notify(
        self, characteristic: BleakGATTCharacteristic, callback: NotifyCallback, **_options: Any
    ) -> None:
        """Have notifications sent."""
        listeners = self._gatt().notification_subscribers
        listeners[characteristic.handle] = {lambda value: callback(bytearray(value))}
        await self._write(characteristic.obj, NOTIFY_ON)

    async def stop_notify(self, characteristic: BleakGATTCharacteristic) -> None:
        """Have no more notifications sent."""
        await self._write(characteristic.obj, NOTIFY_OFF)
        self._gatt().notification_subscribers.pop(characteristic.handle, None)

    async def _made(self, device: Device) -> Connection:
        address = hci.Address.from_string_for_transport(self.address, PhysicalTransport.LE)
        attempt = asyncio.ensure_future(device.connect_le(address, timeout=None))
        try:
            return await answered(attempt)
        except asyncio.CancelledError:
            await self._call_off(device, attempt)
            raise

    @staticmethod
    async def _call_off(device: Device, attempt: asyncio.Task[Connection]) -> None:
        """End an attempt, also where it succeeds in the same moment."""
        with contextlib.suppress(BleakError):
            await asked(device.send_sync_command(hci.HCI_LE_Create_Connection_Cancel_Command()))
        with contextlib.suppress(BleakError):
            link = await answered(attempt)
            await asked(link.disconnect(), end_of(link))

    async def _read(self, handle: int) -> bytearray:
        return bytearray(await asked(self._gatt().read_value(handle), self._end))

    async def _write(self, handle: int, data: bytes, *, response: bool = True) -> None:
        await asked(self._gatt().write_value(handle, data, with_response=response), self._end)

    def _gatt(self) -> Client:
        if self._link is None or not self.is_connected:
            raise BleakError("not connected")
        return self._link.gatt_client

    def _ended(self, _end: asyncio.Future[None]) -> None:
        if self._disconnected_callback is not None:
            self._disconnected_callback()


def _text(uuid: UUID) -> str:
    return normalize_uuid_str(uuid.to_hex_str("-"))


def _collection(found: list[ServiceProxy]) -> BleakGATTServiceCollection:
    """Return discovered services as bleak has them; `obj` of a characteristic is its switch."""
    made = BleakGATTServiceCollection()
    for proxy in found:
        service = BleakGATTService(proxy, proxy.handle, _text(proxy.uuid))
        made.add_service(service)
        for characteristic in proxy.characteristics:
            made.add_characteristic(_characteristic(characteristic, service))
    return made


def _characteristic(
    proxy: CharacteristicProxy[bytes], service: BleakGATTService
) -> BleakGATTCharacteristic:
    switch = proxy.get_descriptor(gatt.GATT_CLIENT_CHARACTERISTIC_CONFIGURATION_DESCRIPTOR)
    return BleakGATTCharacteristic(
        None if switch is None else switch.handle,
        proxy.handle,
        _text(proxy.uuid),
        [flag.name.lower().replace("_", "-") for flag in proxy.properties if flag.name],  # type: ignore[misc]
        lambda: MTU - ATT_HEAD,
        service,
    )
