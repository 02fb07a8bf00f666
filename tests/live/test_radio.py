"""The recorder's radio link through bleak, bumble's controllers and water, in one process."""

from __future__ import annotations

import asyncio
import subprocess
import sys
from collections import Counter
from collections.abc import AsyncIterator, Awaitable, Callable
from contextlib import asynccontextmanager
from pathlib import Path

import numpy as np
import pytest
from bleak import BleakClient, BleakScanner
from bleak.backends.device import BLEDevice
from bleak.backends.scanner import AdvertisementData
from bleak.exc import BleakError
from bumble.device import Device

from sensorswim import __version__
from sensorswim.formats.radio_control import SERVICE_UUID, decode_state
from sensorswim.live.bleak_link import Adapter, BleakFinder
from sensorswim.live.emulated import radio as radio_module
from sensorswim.live.emulated.pool import Pool
from sensorswim.live.emulated.radio import Radio
from sensorswim.live.emulated.worn import DRY, Water, Worn
from sensorswim.live.link import UUIDS, Channel
from sensorswim.live.recorder import Recorder, Wearer
from sensorswim.live.sensor import SensorTask
from tests.live.chain import Chain
from tests.live.test_bluez import streaming, until

BATTERY = "00002a19-0000-1000-8000-00805f9b34fb"
FIRMWARE = "00002a26-0000-1000-8000-00805f9b34fb"
SERIAL_NUMBER = "00002a25-0000-1000-8000-00805f9b34fb"
DEEP = Water(time_s=np.zeros(1), depth_m=np.ones(1))


class Tap:
    """Water that a test lets in and out."""

    def __init__(self) -> None:
        self.water = DRY

    def lets_through(self, time_s: float) -> bool:
        return self.water.lets_through(time_s)


@asynccontextmanager
async def on_the_air(worn: list[Worn], chain: Chain) -> AsyncIterator[tuple[Radio, Adapter]]:
    """Switch sensors on and open an adapter."""
    pool = Pool(worn, chain.clock)
    server = await pool.start(0)
    radio = Radio(server.sockets[0].getsockname()[1])
    living = asyncio.ensure_future(pool.live())
    try:
        yield radio, radio.adapter("virtual")
    finally:
        living.cancel()
        await radio.close()
        server.close()
        await server.wait_closed()


async def scanned(adapter: Adapter) -> dict[str, tuple[BLEDevice, AdvertisementData]]:
    async with BleakScanner(service_uuids=[SERVICE_UUID], backend=adapter.scanner) as scanner:
        await asyncio.sleep(0.3)
    heard = scanner.discovered_devices_and_advertisement_data
    return {told.local_name or "": (device, told) for device, told in heard.values()}


def tapped(chain: Chain) -> tuple[list[Worn], Tap]:
    """Return a chain's first sensor behind a tap, the others dry."""
    tap = Tap()
    first, *others = chain.worn
    return [Worn(device=first.device, water=tap), *others], tap  # type: ignore[arg-type]


def test_only_a_live_rehearsal_imports_bumble() -> None:
    code = (
        "import sys; import sensorswim.live.bleak_link, sensorswim.live.recorder; "
        "import sensorswim.cli.live_commands, sensorswim.cli.session_commands; "
        "import sensorswim.dashboards.poolside, sensorswim.analyse; "
        "assert 'bumble' not in sys.modules; "
        "import sensorswim.live.rehearse; assert 'bumble' in sys.modules"
    )
    subprocess.run([sys.executable, "-c", code], check=True)


def test_a_sensor_says_what_the_notes_ask_for(tmp_path: Path) -> None:
    async def look() -> None:
        async with on_the_air(chain.worn, chain) as (_, adapter):
            heard = await scanned(adapter)
            assert sorted(heard) == [item.device.name for item in chain.worn]
            device, told = heard["SSW-0C42"]
            assert told.service_uuids == [SERVICE_UUID]
            assert len(told.platform_data[0].data_bytes) <= 31
            async with BleakClient(device, backend=adapter.client) as client:
                assert client.mtu_size == 247
                assert await client.read_gatt_char(BATTERY) == bytes([90])
                assert await client.read_gatt_char(SERIAL_NUMBER) == b"5357000000000C42"
                assert await client.read_gatt_char(FIRMWARE) == __version__.encode()
                state = await client.read_gatt_char(UUIDS[Channel.STATE])
                assert decode_state(bytes(state)).serial == chain.worn[0].device.serial

    chain = Chain(tmp_path / "swim", dry=True, speed=1.0)
    asyncio.run(look())


def test_water_silences_a_sensor_and_cuts_its_link(tmp_path: Path) -> None:
    async def look() -> None:
        async with on_the_air(worn, chain) as (_, adapter):
            device, _ = (await scanned(adapter))["SSW-0C42"]
            gone = asyncio.Event()
            client = BleakClient(device, lambda _client: gone.set(), backend=adapter.client)
            await client.connect()
            tap.water = DEEP
            with pytest.raises(BleakError):
                await client.read_gatt_char(UUIDS[Channel.STATE])
            await asyncio.wait_for(gone.wait(), 1.0)
            assert not client.is_connected
            assert "SSW-0C42" not in await scanned(adapter)
            tap.water = DRY
            await client.connect()
            assert await client.read_gatt_char(BATTERY)

    chain = Chain(tmp_path / "swim", dry=True, speed=1.0)
    worn, tap = tapped(chain)
    asyncio.run(look())


def test_an_attempt_that_is_called_off_leaves_the_adapter_to_the_others(tmp_path: Path) -> None:
    async def look() -> None:
        async with on_the_air(worn, chain) as (_, adapter):
            heard = await scanned(adapter)
            tap.water = DEEP
            for _ in range(2):
                deep = BleakClient(heard["SSW-0C42"][0], backend=adapter.client)
                with pytest.raises(TimeoutError):
                    await asyncio.wait_for(deep.connect(), 0.2)
            async with BleakClient(heard["SSW-0C43"][0], backend=adapter.client) as dry:
                assert await dry.read_gatt_char(BATTERY)

    chain = Chain(tmp_path / "swim", dry=True, speed=1.0)
    worn, tap = tapped(chain)
    asyncio.run(look())


def test_an_adapter_that_goes_while_it_scans_holds_nobody_up(tmp_path: Path) -> None:
    async def look() -> None:
        async with on_the_air(chain.worn, chain) as (radio, adapter):
            scanner = BleakScanner(service_uuids=[SERVICE_UUID], backend=adapter.scanner)
            await scanner.start()
            await radio.close()
            await asyncio.wait_for(scanner.stop(), 1.0)
            assert len(await scanned(adapter)) == len(chain.worn)

    chain = Chain(tmp_path / "swim", dry=True, speed=1.0)
    asyncio.run(look())


async def record(chain: Chain, meanwhile: Callable[[Recorder, Radio], Awaitable[None]]) -> Recorder:
    """Record while something happens, then fetch the rest."""
    async with on_the_air(chain.worn, chain) as (radio, adapter):
        finder = BleakFinder([adapter], clock=chain.clock)
        wearer = Wearer(folder=chain.folder, swimmer="Invented")
        recorder = Recorder([wearer], finder, chain.clock, tell=chain.told.append)
        running = asyncio.ensure_future(recorder.run())
        try:
            await meanwhile(recorder, radio)
            recorder.finish()
            await running
        finally:
            running.cancel()
            await asyncio.gather(running, return_exceptions=True)
    return recorder


def test_after_the_adapter_was_away_everything_comes_and_nothing_comes_twice(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    async def pull(recorder: Recorder, radio: Radio) -> None:
        await until(streaming(recorder, 4))
        await radio.close()
        await until(lambda: all(t.connections >= 2 and t.connected for t in recorder.tasks))
        await asyncio.sleep(1.0)

    def listen(task: SensorTask, channel: Channel, data: bytes) -> None:
        streamed[data] += channel is Channel.STREAM
        heard(task, channel, data)

    streamed: Counter[bytes] = Counter()
    heard = SensorTask._notified
    monkeypatch.setattr(SensorTask, "_notified", listen)
    chain = Chain(tmp_path / "swim", dry=True, speed=3.0)
    recorder = asyncio.run(record(chain, pull))
    chain.assert_all_there()
    kept = sum(len(task.book.ledger) for task in recorder.tasks if task.book)
    assert kept == sum(len(item.device.log) for item in chain.worn)
    assert max(streamed.values()) == 1


def test_sensors_of_an_adapter_that_is_gone_for_good_go_over_to_the_other(tmp_path: Path) -> None:
    async def nobody() -> Device:
        raise OSError("no such adapter")

    async def look() -> None:
        async with on_the_air(chain.worn, chain) as (radio, adapter):
            other = Radio(radio._port)
            adapters = [adapter, other.adapter("other")]
            finder = BleakFinder(adapters, tell=chain.told.append, clock=chain.clock)
            wearer = Wearer(folder=chain.folder, swimmer="Invented")
            recorder = Recorder([wearer], finder, chain.clock, tell=chain.told.append)
            running = asyncio.ensure_future(recorder.run())
            try:
                await until(streaming(recorder, 4))
                assert sorted(homes(finder)) == ["other", "other", "virtual", "virtual"]
                other._open = nobody
                await other.close()
                await until(lambda: not all(t.connected for t in recorder.tasks))
                await until(lambda: all(t.connected for t in recorder.tasks))
                assert homes(finder) == ["virtual"] * 4
                recorder.finish()
                await running
            finally:
                running.cancel()
                await asyncio.gather(running, return_exceptions=True)

    chain = Chain(tmp_path / "swim", dry=True, speed=3.0)
    asyncio.run(look())
    chain.assert_all_there()
    assert any("other" in line and "no such adapter" in line for line in chain.told)


def homes(finder: BleakFinder) -> list[str]:
    return [str(home.name) for home in finder._home.values()]


def test_a_small_mtu_has_packets_cut_and_joined(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    async def wait(recorder: Recorder, _radio: Radio) -> None:
        await until(streaming(recorder, 4))

    monkeypatch.setattr(radio_module, "MTU", 23)
    chain = Chain(tmp_path / "swim", dry=True, speed=2.0)
    asyncio.run(record(chain, wait))
    chain.assert_all_there()
    assert {item.device.mtu for item in chain.worn} == {23}
