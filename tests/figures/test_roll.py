"""The roll of one length and of the typical cycle: what was swum, and what could be told of it."""

from __future__ import annotations

import pandas as pd
import pytest

from sensorswim import figures
from tests.plausible import plausible_tables

TABLES = plausible_tables()
UNTOLD = TABLES["lengths"].assign(breaths_left=pd.NA, breaths_right=pd.NA)
NO_BREATHS = TABLES["breaths"].iloc[:0]


def test_the_push_off_and_the_flip_turn_are_left_out_of_the_roll_of_a_length() -> None:
    length = TABLES["lengths"].set_index("length_no").loc[2]
    roll = TABLES["roll"].copy()
    turn = roll["time_s"].between(length["end_s"] - 0.6, length["end_s"])
    roll.loc[turn, "roll_deg"] = 179.0
    roll.loc[roll["time_s"].between(length["start_s"], length["start_s"] + 1.0), "roll_deg"] = -80.0
    fig = figures.draw_roll_of_length(roll, TABLES["breaths"], TABLES["lengths"], length_no=2)
    line = fig.data[0]
    assert min(line.x) == pytest.approx(4.0, abs=0.05)
    assert 19.0 < max(line.x) < length["end_s"] - length["start_s"] - 0.6
    assert -45.0 < min(line.y) < max(line.y) < 55.0
    assert "between -41 and 52 degrees" in figures.alt_of(fig)


def test_a_lone_wild_roll_does_not_end_the_length() -> None:
    length = TABLES["lengths"].set_index("length_no").loc[2]
    roll = TABLES["roll"].copy()
    roll.loc[roll["time_s"].between(length["start_s"] + 8.0, length["start_s"] + 8.1),
             "roll_deg"] = 95.0  # fmt: skip
    fig = figures.draw_roll_of_length(roll, TABLES["breaths"], TABLES["lengths"], length_no=2)
    assert max(fig.data[0].x) == pytest.approx(length["end_s"] - length["start_s"], abs=0.1)


def test_breaths_after_the_drawn_roll_are_not_marked() -> None:
    length = TABLES["lengths"].set_index("length_no").loc[2]
    late = TABLES["breaths"].query("length_no == 2").iloc[:1].assign(peak_s=length["end_s"] - 0.1)
    roll = TABLES["roll"].copy()
    roll.loc[roll["time_s"].between(length["end_s"] - 0.6, length["end_s"]), "roll_deg"] = 179.0
    fig = figures.draw_roll_of_length(roll, late, TABLES["lengths"], length_no=2)
    assert len(fig.data) == 1


def test_breaths_that_could_not_be_told_are_not_called_none() -> None:
    fig = figures.draw_roll_of_length(TABLES["roll"], NO_BREATHS, UNTOLD, length_no=2)
    assert figures.alt_of(fig).endswith(", breaths not known.")
    told = figures.draw_roll_of_length(TABLES["roll"], NO_BREATHS, TABLES["lengths"], length_no=2)
    assert figures.alt_of(told).endswith(", with 0 breaths marked.")


def test_cycles_whose_breaths_could_not_be_told_are_a_group_of_their_own() -> None:
    cycles = TABLES["arm_cycles"].assign(breath_side=pd.NA)
    names = [t.name for t in figures.draw_typical_roll(TABLES["roll"], cycles, UNTOLD).data]
    assert [name for name in names if name] == ["cycles, breaths not known (72)"]
    names = [t.name for t in figures.draw_typical_roll(TABLES["roll"], cycles,
                                                       TABLES["lengths"]).data]  # fmt: skip
    assert [name for name in names if name] == ["cycles without a breath (72)"]


@pytest.mark.parametrize("hand", ["left", "right"])
def test_the_axis_over_the_arm_cycle_names_the_hand_that_begins_it(hand: str) -> None:
    cycles = TABLES["arm_cycles"].assign(cycle_side=hand)
    fig = figures.draw_typical_roll(TABLES["roll"], cycles, TABLES["lengths"])
    assert fig.layout.xaxis.title.text == f"arm cycle (0 = {hand} hand enters)"
