"""bleak's own BlueZ backend against an emulated org.bluez: scan, connect, stream, drop, again."""

from __future__ import annotations

import asyncio
import gc
from collections import Counter
from collections.abc import Awaitable, Callable, Iterator
from pathlib import Path

import pytest

from sensorswim.live import bleak_link
from sensorswim.live.link import Channel
from sensorswim.live.recorder import Recorder, Wearer
from sensorswim.live.sensor import SensorTask
from tests.live.chain import Chain
from tests.live.emulated_bluez import EmulatedBluez, private_bus

pytestmark = [
    pytest.mark.filterwarnings("ignore::ResourceWarning"),
    pytest.mark.filterwarnings("ignore::pytest.PytestUnraisableExceptionWarning"),
]
"""bleak keeps its D-Bus connection for the whole process; here each test ends its bus."""


@pytest.fixture
def bus(monkeypatch: pytest.MonkeyPatch) -> Iterator[str]:
    monkeypatch.setattr(bleak_link, "SCAN_S", 0.4)
    monkeypatch.setattr(bleak_link, "PAUSES_S", (0.3, 1.0))
    with private_bus(monkeypatch) as address:
        yield address
    gc.collect()


async def record(
    address: str,
    chain: Chain,
    meanwhile: Callable[[EmulatedBluez, Recorder], Awaitable[None]],
) -> Recorder:
    """Record over the emulated BlueZ while something happens, then fetch the rest."""
    bluez = EmulatedBluez(chain.worn, chain.clock)
    await bluez.start(address)
    wearer = Wearer(folder=chain.folder, swimmer="Invented")
    finder = bleak_link.BleakFinder([], chain.told.append)
    recorder = Recorder([wearer], finder, chain.clock, tell=chain.told.append)
    running = asyncio.ensure_future(recorder.run())
    try:
        happening = asyncio.ensure_future(meanwhile(bluez, recorder))
        await asyncio.wait({running, happening}, return_when="FIRST_COMPLETED")
        if running.done():
            running.result()
        await happening
        recorder.finish()
        await running
    finally:
        running.cancel()
        await asyncio.gather(running, return_exceptions=True)
        await bluez.stop()
    return recorder


async def until(condition: Callable[[], bool], seconds: float = 20.0) -> None:
    for _ in range(int(seconds / 0.05)):
        if condition():
            return
        await asyncio.sleep(0.05)
    raise AssertionError("it didn't happen in time")


def streaming(recorder: Recorder, count: int) -> Callable[[], bool]:
    return lambda: (
        len(recorder.tasks) == count
        and all(t.connected and t.book and len(t.book.ledger) > 4 for t in recorder.tasks)
    )


async def drop_and_come_back(bluez: EmulatedBluez, recorder: Recorder) -> None:
    await until(streaming(recorder, 4))
    for device in bluez.devices:
        device.drop()
    await until(lambda: all(t.connections >= 2 and t.connected for t in recorder.tasks))
    books = [t.book for t in recorder.tasks if t.book]
    before = [len(book.ledger) for book in books]
    await until(lambda: all(len(b.ledger) > n + 12 for b, n in zip(books, before, strict=True)))


def test_scan_connect_stream_drop_and_reconnect_lose_nothing(bus: str, tmp_path: Path) -> None:
    chain = Chain(tmp_path / "swim", dry=True, speed=3.0)
    recorder = asyncio.run(record(bus, chain, drop_and_come_back))
    chain.assert_all_there()
    assert all(t.connections >= 2 for t in recorder.tasks)


@pytest.mark.parametrize("guarded", [True, False], ids=["guarded", "unguarded"])
def test_no_packet_comes_twice_after_a_reconnect_unless_the_guard_is_taken_out(
    guarded: bool, bus: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Without disconnecting the old client BlueZ sends everything twice; the ledger drops it."""
    if not guarded:

        async def forget(link: bleak_link.BleakLink) -> None:
            if link._client is not None and link._client.is_connected:
                await link._client.disconnect()
            leaked.append(link._client)

        leaked: list[object] = []
        monkeypatch.setattr(bleak_link.BleakLink, "close", forget)
    streamed: Counter[bytes] = Counter()
    heard = SensorTask._notified

    def listen(task: SensorTask, channel: Channel, data: bytes) -> None:
        streamed.update([task.link.name.encode() + data] * (channel is Channel.STREAM))
        heard(task, channel, data)

    monkeypatch.setattr(SensorTask, "_notified", listen)
    chain = Chain(tmp_path / "swim", dry=True, speed=3.0)
    recorder = asyncio.run(record(bus, chain, drop_and_come_back))
    chain.assert_all_there()
    kept = sum(len(t.book.ledger) for t in recorder.tasks if t.book)
    assert kept == sum(len(item.device.log) for item in chain.worn)
    twice = sum(times - 1 for times in streamed.values())
    assert (twice == 0) if guarded else (twice > 40)


def test_an_adapter_pulled_and_put_back_costs_nothing(bus: str, tmp_path: Path) -> None:
    async def pull_and_plug(bluez: EmulatedBluez, recorder: Recorder) -> None:
        await until(streaming(recorder, 4))
        bluez.pull()
        await asyncio.sleep(1.0)
        assert not any(t.connected for t in recorder.tasks)
        bluez.plug()
        await until(lambda: all(t.connected for t in recorder.tasks))

    chain = Chain(tmp_path / "swim", dry=True, speed=3.0)
    asyncio.run(record(bus, chain, pull_and_plug))
    chain.assert_all_there()


def test_refused_connections_are_tried_again(bus: str, tmp_path: Path) -> None:
    async def wait(_bluez: EmulatedBluez, recorder: Recorder) -> None:
        _bluez.refuse_connections = 3
        await until(streaming(recorder, 4))

    chain = Chain(tmp_path / "swim", dry=True, speed=3.0)
    asyncio.run(record(bus, chain, wait))
    chain.assert_all_there()
