"""Recording from emulated sensors: nothing lost, nothing twice, whatever the water does."""

from __future__ import annotations

import asyncio
from pathlib import Path

import numpy as np
import pytest

from sensorswim.analyse import analyse
from sensorswim.errors import SensorswimError, SessionError
from sensorswim.formats.radio_log import RADIO_FOLDER, SUFFIX
from sensorswim.formats.session_toml import read_session
from sensorswim.live.build import Built, build_session
from sensorswim.live.recorder import Recorder, Wearer
from sensorswim.model import Placement, Quality
from tests.live.chain import Chain


def test_every_sample_lands_bit_for_bit_though_water_cuts_the_links(
    recorded: tuple[Chain, Built],
) -> None:
    chain, built = recorded
    chain.assert_all_there()
    assert built.missing_packets == dict.fromkeys(built.samples, 0)
    assert min(built.samples.values()) > 70 * 100
    assert sum("link closed" in line for line in chain.told) > 8
    found = analyse(chain.folder)
    assert list(found.lengths["activity"]) == ["front_crawl", "front_crawl"]
    assert found.session.swimmer == "Invented"


def test_the_smallest_packets_carry_everything_too(tmp_path: Path) -> None:
    chain = Chain(tmp_path / "swim", dry=True, mtu=23, speed=8.0)
    asyncio.run(chain.record(until_s=12.0))
    chain.assert_all_there()


def test_a_recorder_that_died_goes_on_and_fetches_what_it_missed(tmp_path: Path) -> None:
    chain = Chain(tmp_path / "swim")

    async def run() -> None:
        await chain.killed(at_s=20.0)
        segments = sorted((chain.folder / RADIO_FOLDER).glob(f"*{SUFFIX}"))
        assert len(segments) == 4
        segments[0].write_bytes(segments[0].read_bytes()[:-7])
        await chain.clock.sleep(8.0)
        built = await chain.record(until_s=75.0)
        assert built.missing_packets == dict.fromkeys(built.samples, 0)

    asyncio.run(run())
    chain.assert_all_there()
    assert len(list((chain.folder / RADIO_FOLDER).glob(f"*{SUFFIX}"))) == 8


def test_a_folder_opens_after_a_crash_with_what_had_arrived(tmp_path: Path) -> None:
    chain = Chain(tmp_path / "swim", dry=True)
    asyncio.run(chain.killed(at_s=20.0))
    built = build_session(chain.folder)
    assert min(built.samples.values()) > 12 * 104
    session = read_session(chain.folder, Quality())
    assert [s.placement for s in session.sensors][1:] and session.pool_length_m == 25.0


def test_building_again_keeps_what_the_coach_wrote(tmp_path: Path) -> None:
    chain = Chain(tmp_path / "swim", dry=True)
    asyncio.run(chain.record(until_s=12.0))
    path = chain.folder / "session.toml"
    block = '\n[[block]]\nstart_s = 1.0\nend_s = 5.0\nlabel = "easy"\n'
    path.write_text(path.read_text("utf-8") + block, encoding="utf-8")
    build_session(chain.folder)
    assert [b.label for b in read_session(chain.folder, Quality()).blocks] == ["easy"]


def test_a_sensor_with_another_sessions_data_is_left_alone(tmp_path: Path) -> None:
    chain = Chain(tmp_path / "one", dry=True)
    asyncio.run(chain.record(until_s=8.0))
    kept = [list(item.device.log) for item in chain.worn]
    chain.folder = tmp_path / "two"
    with pytest.raises(SensorswimError, match=r"another session .* --erase"):
        asyncio.run(chain.record(until_s=chain.clock.now_s() + 5.0))
    assert [item.device.log for item in chain.worn] == kept


def test_a_sensor_without_a_label_is_told_and_left_out(tmp_path: Path) -> None:
    chain = Chain(tmp_path / "swim", dry=True)
    chain.worn[0].device.label = None
    built = asyncio.run(chain.record(until_s=10.0))
    assert Placement.LEFT_WRIST not in built.samples
    assert built.unplaced == (chain.worn[0].device.serial,)


def test_several_swimmers_need_their_sensors_listed(tmp_path: Path) -> None:
    chain = Chain(tmp_path)
    wearers = [Wearer(folder=tmp_path / name, swimmer=name) for name in ("a", "b")]
    with pytest.raises(SensorswimError, match="each needs its sensors"):
        Recorder(wearers, chain.recorder()._finder, chain.clock)


def test_a_session_from_elsewhere_is_not_recorded_into(tmp_path: Path) -> None:
    (tmp_path / "session.toml").write_text("format = 1\n", encoding="utf-8")
    with pytest.raises(SessionError, match="wasn't recorded live"):
        Chain(tmp_path).recorder()


def test_session_time_follows_the_first_sensors_own_clock(tmp_path: Path) -> None:
    chain = Chain(tmp_path / "swim", dry=True)

    async def run() -> tuple[float, float]:
        recorder = chain.recorder()
        running = asyncio.ensure_future(recorder.run())
        await chain.clock.sleep(15.0)
        told = recorder.swimmers[0].session_s()
        recorder.finish()
        await running
        reference = recorder.swimmers[0].facts.reference
        device = next(w.device for w in chain.worn if w.device.serial == reference)
        assert told is not None
        return told, len(device.log) * 13 / 104.0

    told_s, taken_s = asyncio.run(run())
    assert np.isclose(told_s, taken_s, atol=2.5)


def test_a_recorder_told_to_finish_at_once_still_fetches_what_an_earlier_run_missed(
    tmp_path: Path,
) -> None:
    chain = Chain(tmp_path / "swim")

    async def run() -> None:
        await chain.killed(at_s=20.0)
        await chain.clock.sleep(chain.end_s - chain.clock.now_s())
        recorder = chain.recorder()
        recorder.finish()
        await recorder.run()

    asyncio.run(run())
    chain.assert_all_there()
