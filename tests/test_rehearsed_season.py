"""The invented season: the same check set at every visit, on its own days."""

from __future__ import annotations

import tomllib
from pathlib import Path

import pytest

from sensorswim.rehearsal.season import day_of, write_season


def test_visits_come_in_pairs_and_hold_the_check_set(tmp_path: Path) -> None:
    (place,) = write_season(tmp_path, 1)
    told = tomllib.loads((place / "session.toml").read_text())
    assert place.name == told["started_at"].date().isoformat()
    assert told["invented"] is True
    check, drill = told["block"]
    assert check["label"].startswith("check set")
    assert drill["lengths"] == ["drill", "swim"] * 3


@pytest.mark.parametrize(("number", "day"), [(0, 0), (1, 2), (2, 21), (5, 44)])
def test_a_pair_is_two_days_apart_and_pairs_are_three_weeks(number: int, day: int) -> None:
    assert day_of(number) == day
