"""Emulated sensors as Bluetooth LE devices of bumble, with water between them and the recorder.

Each sensor is a device with a virtual controller of its own, and all controllers share one link. A
recorder gets a controller on it, too, with which it talks HCI over TCP on this machine. Only for
rehearsals.
"""

from __future__ import annotations

import asyncio
import itertools
import logging
from collections import deque
from collections.abc import Callable
from functools import partial
from typing import Any, Final

from bumble import hci, ll
from bumble.controller import Controller
from bumble.core import UUID, AdvertisingData, PhysicalTransport
from bumble.data_types import CompleteListOf128BitServiceUUIDs, CompleteLocalName, Flags
from bumble.device import Connection, Device, DeviceConfiguration
from bumble.gatt import Characteristic, CharacteristicValue, Service
from bumble.host import Host
from bumble.link import LocalLink
from bumble.profiles.battery_service import BatteryService
from bumble.profiles.device_information_service import DeviceInformationService
from bumble.transport.common import AsyncPipeSink, StreamPacketSink, StreamPacketSource

from sensorswim import __version__
from sensorswim.formats.radio_control import SERVICE_UUID
from sensorswim.live.clock import HostClock
from sensorswim.live.emulated.air import INTERVAL_S, PACKETS_AN_INTERVAL, SUPERVISION_S
from sensorswim.live.emulated.worn import Worn
from sensorswim.live.link import UUIDS, Channel

HERE: Final = "127.0.0.1"
TICK_S: Final = 0.1
ADVERTISING_MS: Final = 31.25
"""Makes 50 ms, since bumble's virtual controllers take units of 0.625 ms for whole ones."""
LEAST_ADVERTISING_MS: Final = 20.0
DATA_LENGTH: Final = 251
_STATIC: Final = 0xC000_0000_0000
_NOTIFY: Final = Characteristic.Properties.NOTIFY
_PROPERTIES: Final = {
    Channel.STREAM: _NOTIFY,
    Channel.CONTROL: _NOTIFY | Characteristic.Properties.WRITE,
    Channel.STATE: _NOTIFY | Characteristic.Properties.READ,
    Channel.TRANSFER: _NOTIFY,
}


class PoolController(Controller):
    """A virtual controller with long packets, which tells of a device once a scan.

    Real ones filter duplicates like that, and end an attempt to connect that is called off.
    """

    le_acl_data_packet_length = DATA_LENGTH

    def __init__(self, *args: Any, **options: Any) -> None:
        super().__init__(*args, **options)
        self._told: set[hci.Address] = set()
        self._handles = itertools.cycle(range(1, 0xF00))

    def allocate_connection_handle(self) -> int:
        """Return the next handle, so that what is on its way for an old link meets no new one."""
        return next(self._handles)

    def on_hci_le_set_scan_enable_command(
        self, command: hci.HCI_LE_Set_Scan_Enable_Command
    ) -> hci.HCI_StatusReturnParameters:
        """Begin or end a scan."""
        self._told.clear()
        return super().on_hci_le_set_scan_enable_command(command)

    def on_advertising_pdu(self, pdu: ll.AdvInd | ll.AdvExtInd) -> None:
        """Tell of a device that wasn't heard in this scan yet, or connect to it."""
        if self.pending_le_connection or pdu.advertiser_address not in self._told:
            super().on_advertising_pdu(pdu)
        if self.le_scan_enable:
            self._told.add(pdu.advertiser_address)

    def on_hci_le_create_connection_cancel_command(
        self, _command: hci.HCI_LE_Create_Connection_Cancel_Command
    ) -> hci.HCI_StatusReturnParameters:
        """End the attempt as a real controller does, with a failed connection."""
        pending, self.pending_le_connection = self.pending_le_connection, None
        if pending is None:
            return hci.HCI_StatusReturnParameters(hci.HCI_ErrorCode.COMMAND_DISALLOWED_ERROR)
        self.send_hci_packet(
            hci.HCI_LE_Connection_Complete_Event(
                status=hci.HCI_ErrorCode.UNKNOWN_CONNECTION_IDENTIFIER_ERROR,
                connection_handle=0,
                role=hci.Role.CENTRAL,
                peer_address_type=pending.peer_address.address_type,
                peer_address=pending.peer_address,
                connection_interval=0,
                peripheral_latency=0,
                supervision_timeout=0,
                central_clock_accuracy=0,
            )
        )
        return hci.HCI_StatusReturnParameters(hci.HCI_ErrorCode.SUCCESS)


class Pool(LocalLink):
    """The link of all controllers: what is sent to or from a sensor has to get through its water.

    Parameters
    ----------
    worn : list of Worn
    clock : HostClock
    """

    def __init__(self, worn: list[Worn], clock: HostClock) -> None:
        super().__init__()
        logging.getLogger("bumble").setLevel(logging.ERROR)
        self._clock = clock
        self._recorders: set[Controller] = set()
        self._sensors = {
            sensor.address: sensor for sensor in (Peripheral(item, clock, self) for item in worn)
        }

    async def start(self, port: int) -> asyncio.Server:
        """Switch the sensors on and offer HCI on this machine; port 0 takes a free one."""
        for sensor in self._sensors.values():
            await sensor.start()
        loop = asyncio.get_running_loop()
        return await loop.create_server(lambda: RecorderEnd(self), HERE, port)

    async def live(self) -> None:
        """Let the sensors take samples, heard or not."""
        while True:
            for sensor in self._sensors.values():
                sensor.worn.device.advance()
            await self._clock.sleep(TICK_S)

    def enter(self, recorder: Controller) -> None:
        """Let a recorder's controller hear sensors."""
        self._recorders.add(recorder)

    def leave(self, recorder: Controller) -> None:
        """Take a recorder's controller away; its sensors lose their links."""
        self._recorders.discard(recorder)
        self.remove_controller(recorder)
        for address in list(recorder.le_connections):
            self.cut(self._sensors[address])

    def cut(self, sensor: Peripheral) -> None:
        """End a sensor's link at both ends."""
        sensor.waiting.clear()
        for connection in list(sensor.controller.le_connections.values()):
            recorder = self.find_le_controller(connection.peer_address)
            sensor.controller.on_le_disconnected(connection, hci.HCI_CONNECTION_TIMEOUT_ERROR)
            if recorder is not None and (there := recorder.le_connections.get(sensor.address)):
                recorder.on_le_disconnected(there, hci.HCI_CONNECTION_TIMEOUT_ERROR)

    def send_advertising_pdu(
        self, sender_controller: Controller, packet: ll.AdvertisingPdu
    ) -> None:
        """Let recorders hear sensors above water, and a sensor hear who connects to it."""
        soon = asyncio.get_running_loop().call_soon
        if isinstance(packet, ll.ConnectInd):
            soon(self._sensors[packet.advertiser_address].controller.on_le_connect_ind, packet)
        elif self._sensors[sender_controller.random_address].is_heard():
            for recorder in self._recorders:
                soon(recorder.on_ll_advertising_pdu, packet)

    def send_acl_data(
        self,
        sender_controller: Controller,
        destination_address: hci.Address,
        transport: PhysicalTransport,
        data: bytes,
    ) -> None:
        """Deliver data at once, or when the water lets it through."""
        deliver = partial(
            super().send_acl_data, sender_controller, destination_address, transport, data
        )
        sensor = self._sensors.get(destination_address) or self._sensors.get(
            sender_controller.random_address
        )
        if sensor is None:
            return
        if sensor.waiting or not sensor.is_heard():
            sensor.waiting.append(deliver)
        else:
            deliver()


class Peripheral:
    """One sensor on the air: it advertises, serves its GATT service and sends while it is heard."""

    def __init__(self, worn: Worn, clock: HostClock, pool: Pool) -> None:
        self.worn, self._clock, self._pool = worn, clock, pool
        self.waiting: deque[Callable[[], None]] = deque()
        """What was sent under water, to be delivered in order."""
        self.address = hci.Address.from_string_for_transport(
            _address_text(worn.device.serial), PhysicalTransport.LE
        )
        self.controller = PoolController(worn.device.name, link=pool)
        self._device = Device(
            config=self._configuration(),
            host=Host(self.controller, AsyncPipeSink(self.controller)),
        )
        self._channels = {channel: self._characteristic(channel) for channel in Channel}
        self._sending: asyncio.Task[None] | None = None

    async def start(self) -> None:
        """Power on and advertise whenever there is no link."""
        self._device.add_service(Service(SERVICE_UUID, list(self._channels.values())))
        self._device.add_service(BatteryService(lambda _link: self.worn.device.battery_pct))
        self._device.add_service(
            DeviceInformationService(
                manufacturer_name="sensorswim",
                model_number="emulated",
                firmware_revision=__version__,
                serial_number=f"{self.worn.device.serial:016X}",
            )
        )
        self._device.on(Device.EVENT_CONNECTION, self._linked)
        await self._device.power_on()
        await self._device.start_advertising(auto_restart=True)

    def is_heard(self) -> bool:
        """Return whether radio gets through at this moment."""
        return self.worn.water.lets_through(self._clock.now_s())

    def _configuration(self) -> DeviceConfiguration:
        interval_ms = max(ADVERTISING_MS / self._clock.speed, LEAST_ADVERTISING_MS)
        advertised = [
            Flags(
                AdvertisingData.Flags.LE_GENERAL_DISCOVERABLE_MODE
                | AdvertisingData.Flags.BR_EDR_NOT_SUPPORTED
            ),
            CompleteListOf128BitServiceUUIDs([UUID(SERVICE_UUID)]),
            CompleteLocalName(self.worn.device.name),
        ]
        return DeviceConfiguration(
            name=self.worn.device.name,
            address=self.address,
            advertising_data=bytes(AdvertisingData(advertised)),
            advertising_interval_min=interval_ms,
            advertising_interval_max=interval_ms,
        )

    def _characteristic(self, channel: Channel) -> Characteristic[bytes]:
        device = self.worn.device
        made: Characteristic[bytes] = Characteristic(
            UUIDS[channel],
            _PROPERTIES[channel],
            Characteristic.READABLE | Characteristic.WRITEABLE,
            CharacteristicValue(
                read=lambda _link: device.state(),
                write=lambda _link, data: device.command(data),
            ),
        )
        if channel is Channel.STREAM:
            made.on(Characteristic.EVENT_SUBSCRIPTION, self._subscribed)
        return made

    def _linked(self, link: Connection) -> None:
        self._sending = asyncio.get_running_loop().create_task(self._send(link))
        link.on(Connection.EVENT_DISCONNECTION, self._unlinked)

    def _subscribed(self, link: Connection, notify: bool, _indicate: bool) -> None:
        self.worn.device.mtu = link.att_mtu
        if notify:
            self.worn.device.connected()

    def _unlinked(self, _reason: int) -> None:
        if self._sending is not None:
            self._sending.cancel()
            self._sending = None
        self.waiting.clear()
        self.worn.device.disconnected()

    async def _send(self, link: Connection) -> None:
        """Send what there is each interval, until the water has been in between for too long."""
        heard_s = self._clock.now_s()
        while True:
            await self._clock.sleep(INTERVAL_S)
            self.worn.device.advance()
            if self.is_heard():
                heard_s = self._clock.now_s()
                await self._notify(link)
            elif self._clock.now_s() - heard_s > SUPERVISION_S:
                self._pool.cut(self)

    async def _notify(self, link: Connection) -> None:
        while self.waiting:
            self.waiting.popleft()()
        for _ in range(PACKETS_AN_INTERVAL):
            following = self.worn.device.next_notification()
            if following is None:
                return
            channel, data = following
            await self._device.notify_subscriber(link, self._channels[channel], data)


class RecorderEnd(StreamPacketSource):
    """A recorder's HCI over TCP: it gets a controller, which goes when the connection goes."""

    def __init__(self, pool: Pool) -> None:
        super().__init__()
        self._pool = pool
        self._controller: Controller | None = None

    def connection_made(self, transport: asyncio.BaseTransport) -> None:
        """Make the controller."""
        assert isinstance(transport, asyncio.WriteTransport)
        self._controller = PoolController(
            "recorder", host_source=self, host_sink=StreamPacketSink(transport), link=self._pool
        )
        self._pool.enter(self._controller)

    def connection_lost(self, _failure: Exception | None) -> None:
        """Take the controller away."""
        if self._controller is not None:
            self._pool.leave(self._controller)


def _address_text(serial: int) -> str:
    """Return a static random address that a sensor of this serial number always has."""
    digits = f"{_STATIC | serial & 0xFFFF_FFFF:012X}"
    return ":".join(digits[at : at + 2] for at in range(0, 12, 2))
