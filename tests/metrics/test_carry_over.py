"""Swum lengths of a drill/swim set: towards the drill, away from it, or neither."""

from __future__ import annotations

import pandas as pd
import pytest

from sensorswim.metrics.carry_over import carry_over
from sensorswim.model.tables import frame


def block_of(swum: list[float], drill: float = 0.1) -> pd.DataFrame:
    rows = []
    for at, value in enumerate(swum):
        common = {"block_no": 1, "block_label": "set", "finished": True}
        rows.append(
            common
            | {"set_as": "drill", "activity": "drill", "drill": "half-goggle"}
            | {"start_s": 60.0 * at, "side_hold_excess_s": drill}
        )
        rows.append(
            common
            | {"set_as": "swim", "activity": "front_crawl"}
            | {"start_s": 60.0 * at + 30.0, "side_hold_excess_s": value}
        )
    return frame("lengths", rows)


def verdict(swum: list[float], drill: float = 0.1) -> tuple[str, float]:
    table = carry_over(block_of(swum, drill))
    row = table.loc[table["column"] == "side_hold_excess_s"].iloc[0]
    return row["verdict"], row["moved_share"]


def test_half_of_the_way_to_the_drill_is_told() -> None:
    word, share = verdict([0.40, 0.41, 0.39, 0.25, 0.26, 0.24])
    assert word == "towards the drill"
    assert share == pytest.approx(0.5)


def test_away_from_the_drill_is_told() -> None:
    assert verdict([0.30, 0.31, 0.29, 0.45, 0.46, 0.44])[0] == "away from the drill"


def test_scatter_is_no_change() -> None:
    assert verdict([0.45, 0.30, 0.40, 0.32, 0.44, 0.35])[0] == "no clear change"


def test_swum_like_the_drill_from_the_start() -> None:
    assert verdict([0.11, 0.09, 0.10, 0.10, 0.11, 0.09])[0] == "swum like the drill"


def test_two_lengths_are_too_few() -> None:
    assert verdict([0.4, 0.2])[0] == "too few lengths to tell"


def test_a_block_without_drills_has_no_row() -> None:
    table = block_of([0.4, 0.3, 0.2, 0.1])
    assert carry_over(table.loc[table["set_as"] == "swim"]).empty
    assert list(carry_over(table.iloc[:0]).columns)[:3] == ["block_no", "block_label", "drill"]
