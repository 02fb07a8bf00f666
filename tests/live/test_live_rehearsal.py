"""The live rehearsal as a whole, faster than a pool."""

from __future__ import annotations

import asyncio
from pathlib import Path

import pytest

from sensorswim import cli
from sensorswim.live.clock import HostClock
from sensorswim.live.rehearse import LiveRehearsal
from tests.live.chain import swim


def test_two_swimmers_at_once_keep_every_packet_of_their_own(tmp_path: Path) -> None:
    folders = [tmp_path / "one", tmp_path / "two"]
    rehearsal = LiveRehearsal(dict.fromkeys(folders, swim()), HostClock(speed=6.0))
    one, two = asyncio.run(rehearsal.run())
    for swimmer in (one, two):
        assert swimmer.packets_kept == swimmer.packets_taken > 2000
        assert swimmer.links_lost > 10
    serials = [set(worn) for worn in rehearsal.worn.values()]
    assert not serials[0] & serials[1]


def test_a_folder_in_use_is_refused(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (tmp_path / "there").write_text("mine", encoding="utf-8")
    assert cli.main(["rehearse", str(tmp_path), "--live", "--swimmer", "steady"]) == 2
    assert "choose another folder" in capsys.readouterr().err
