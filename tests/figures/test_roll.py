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
