"""The score itself: what it holds against an analysis, and what it leaves out."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from tests.validation.scoreboard import BARS, table
from tests.validation.scoring import (
    Tally,
    score_breaths,
    score_lengths,
    score_strokes,
    told_of,
)

_LENGTHS = pd.DataFrame(
    {
        "length_no": [1, 2],
        "start_s": [0.0, 30.0],
        "end_s": [20.0, 50.0],
        "activity": ["front_crawl", "backstroke"],
        "stroke_rate_cycles_min": [30.0, 30.0],
        "index_of_coordination_pct": [-8.0, np.nan],
        "kicks_per_cycle": [6.0, 6.0],
        "kick_beat": [6, 6],
    }
)


def test_an_empty_value_is_no_error_but_shows_as_not_told() -> None:
    tally = Tally()
    for found, true in ((1.5, 1.0), (np.nan, 1.0), (pd.NA, 1.0), (1.0, np.nan), (2.0, 1.0)):
        tally.tell("catch_s", found, true)
    assert tally.errors["catch_s"] == [0.5, 1.0]
    assert np.mean(tally.errors["catch_s_told"]) == 0.5


def test_strokes_lengths_and_breaths_tell_what_stays_empty() -> None:
    true = pd.DataFrame({"side": "left", "entry_s": np.arange(4.0)})
    true = true.assign(catch_s=true["entry_s"] + 0.3, mid_pull_s=np.nan, exit_s=np.nan)
    found = true.assign(catch_s=[0.3, np.nan, 2.3, 3.3])
    tally = score_strokes(found, true)
    assert np.mean(tally.errors["catch_s_told"]) == 0.75
    assert tally.f1 == 1.0
    assert "exit_s_told" not in tally.errors
    empty = _LENGTHS.assign(index_of_coordination_pct=np.nan)
    told = score_lengths(empty, _LENGTHS).errors["index_of_coordination_pct_told"]
    assert told == [0.0]
    breaths = pd.DataFrame({"side": "left", "peak_s": [1.0, 4.0], "hold_s": [0.4, 0.5]})
    lost = breaths.assign(hold_s=[np.nan, 0.5])
    assert score_breaths(lost, breaths).errors["hold_s_told"] == [0.0, 1.0]


def test_kicks_and_rates_of_another_stroke_are_not_held_against_it() -> None:
    wrong = _LENGTHS.assign(
        kick_beat=[6, 2], kicks_per_cycle=[6.0, 1.0], stroke_rate_cycles_min=[31.0, 60.0]
    )
    tally = score_lengths(wrong, _LENGTHS)
    assert tally.f1 == 1.0
    assert tally.errors["kick_beat_wrong"] == [0.0]
    assert tally.errors["stroke_rate_cycles_min"] == [1.0]
    assert tally.errors["kicks_per_cycle"] == [0.0]


def test_activity_is_asked_on_every_length() -> None:
    wrong = _LENGTHS.assign(activity=["front_crawl", "front_crawl"])
    assert score_lengths(wrong, _LENGTHS).f1 == 0.5


def test_true_strokes_of_another_stroke_are_left_out_as_the_found_ones_are() -> None:
    strokes = pd.DataFrame({"side": "left", "entry_s": [5.0, 35.0]})
    strokes = strokes.assign(catch_s=np.nan, mid_pull_s=np.nan, exit_s=np.nan)
    own = [told_of(t, "entry_s", _LENGTHS, ("front_crawl",)) for t in (strokes, strokes.iloc[:1])]
    assert score_strokes(*own).f1 == 1.0


def test_a_row_without_a_bar_is_shown_and_never_missed() -> None:
    catch = next(bar for bar in BARS if bar.name.startswith("catch told"))
    assert not catch.missed(0.0, "core")
    strokes = Tally()
    strokes.tell("catch_s", np.nan, 1.0)
    sets = [{bar.tally: Tally() for bar in BARS} | {"strokes": strokes}]
    rows = [row for row in table(sets, "core").splitlines() if row.startswith("| catch told")]
    assert rows == ["| catch told, % (no bar) |  | 0 |  |"]


@pytest.mark.parametrize(("kit", "limit"), [("core", 5.0), ("back_head", 3.0), ("full", 3.0)])
def test_a_kit_with_a_sensor_on_the_back_has_bars_of_its_own(kit: str, limit: float) -> None:
    roll = next(bar for bar in BARS if bar.name.startswith("roll"))
    assert roll.limit(kit) == limit
    assert roll.missed(limit + 0.1, kit)
    assert not roll.missed(limit, kit)
