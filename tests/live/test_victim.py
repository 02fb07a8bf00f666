"""Recorder, page and sensors killed once each; `python -m tests.live.victim 100` does more."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.live.victim import PARTS, alike, folder_opens, main, witness_of

pytestmark = pytest.mark.long


def test_what_is_killed_comes_back_and_nothing_is_lost() -> None:
    assert main(len(PARTS)) == dict.fromkeys(PARTS, 1)


def test_a_recorder_that_keeps_nothing_is_caught(tmp_path: Path) -> None:
    folder = tmp_path / "swim"
    folder.mkdir()
    witness_of(folder).write_text("5000000000 0a0b\n", "ascii")
    assert folder_opens(folder, 5_900_000_000) == "0 of 1 packets kept"
    with pytest.raises(AssertionError):
        folder_opens(folder, 6_100_000_000)


def test_a_page_that_shows_other_lengths_is_caught() -> None:
    shown = {"count": 2, "last": {"kicks_per_cycle": 6.0, "seconds": None}}
    assert alike(shown, {"count": 2, "last": {"kicks_per_cycle": 6.1, "seconds": None}})
    assert not alike(shown, {"count": 2, "last": {"kicks_per_cycle": 4.0, "seconds": None}})
    assert not alike(shown, {"count": 3, "last": shown["last"]})
    assert not alike(shown, {"count": 2, "last": None})
