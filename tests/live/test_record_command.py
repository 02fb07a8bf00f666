"""The command `record` as a program of its own: killed, put to sleep, ended politely."""

from __future__ import annotations

import asyncio
import os
import random
import signal
import sys
from pathlib import Path

import pytest

from sensorswim import cli
from sensorswim.formats.radio_log import RADIO_FOLDER
from sensorswim.live.mqtt import Broker, Copier
from tests.live.chain import Chain
from tests.live.emulated_bluez import EmulatedBluez, private_bus
from tests.live.test_mqtt import Mosquitto

RECORD = (sys.executable, "-m", "sensorswim", "record")
ROOT = Path(__file__).resolve().parents[2]


async def start(chain: Chain, address: str, broker: str) -> asyncio.subprocess.Process:
    return await asyncio.create_subprocess_exec(
        *RECORD, str(chain.folder), "--swimmer", "Invented", "--publish", broker,
        cwd=ROOT, stdout=asyncio.subprocess.PIPE, stderr=asyncio.subprocess.STDOUT,
        env=os.environ | {"DBUS_SYSTEM_BUS_ADDRESS": address, "PYTHONUNBUFFERED": "1"},
    )  # fmt: skip


async def all_connected(bluez: EmulatedBluez) -> None:
    for _ in range(600):
        if all(device.connected for device in bluez.devices):
            return
        await asyncio.sleep(0.05)
    raise AssertionError("the recorder didn't connect")


async def ended(process: asyncio.subprocess.Process) -> tuple[int, str]:
    out, _ = await process.communicate()
    return process.returncode or 0, out.decode()


def test_kill_9_and_sleep_cost_nothing_and_the_folder_always_opens(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    chain = Chain(tmp_path / "swim", dry=True, speed=1.0)

    mosquitto = Mosquitto(tmp_path)
    broker = f"mqtt://127.0.0.1:{mosquitto.port}"

    async def run(address: str) -> tuple[int, str]:
        copying = asyncio.ensure_future(Copier(tmp_path / "desk", Broker.of(broker)).run())
        bluez = EmulatedBluez(chain.worn, chain.clock)
        await bluez.start(address)
        try:
            for _ in range(2):
                process = await start(chain, address, broker)
                await all_connected(bluez)
                await asyncio.sleep(random.uniform(0.2, 1.5))
                process.send_signal(signal.SIGKILL)
                await process.communicate()
                for device in bluez.devices:
                    device.drop()
                assert cli.main(["recover", str(chain.folder)]) in (0, 2)
            process = await start(chain, address, broker)
            await all_connected(bluez)
            process.send_signal(signal.SIGSTOP)
            await asyncio.sleep(1.5)
            for device in bluez.devices:
                device.drop()
            await asyncio.sleep(0.5)
            process.send_signal(signal.SIGCONT)
            await all_connected(bluez)
            process.send_signal(signal.SIGINT)
            return await ended(process)
        finally:
            copying.cancel()
            await bluez.stop()

    with private_bus(monkeypatch) as address:
        code, said = asyncio.run(run(address))
    mosquitto.stop()
    assert code == 0, said
    assert "left wrist: " in said
    assert "still on the sensor" not in said
    chain.assert_all_there()
    copy = next((tmp_path / "desk").iterdir())
    for path in (chain.folder / RADIO_FOLDER).glob("*.seg"):
        assert (copy / RADIO_FOLDER / path.name).read_bytes() == path.read_bytes()
    capsys.readouterr()


def test_a_name_that_is_no_place_is_told_in_one_line(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    swimmer = "Invented=SSW-0C42:left_knee"
    assert cli.main(["record", str(tmp_path / "x"), "--swimmer", swimmer]) == 2
    assert "use one of left_wrist" in capsys.readouterr().err


def test_recover_where_nothing_was_recorded_says_so(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert cli.main(["recover", str(tmp_path)]) == 2
    assert "nothing was recorded here" in capsys.readouterr().err
