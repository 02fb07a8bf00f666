"""Recorder, page and sensors killed once each; `python -m tests.live.victim 100` does more."""

from __future__ import annotations

from tests.live.victim import PARTS, main


def test_what_is_killed_comes_back_and_nothing_is_lost() -> None:
    assert main(len(PARTS), speed=4.0) == dict.fromkeys(PARTS, 1)
