"""An axis over the lengths counts in whole numbers, each once, with room for every one of them."""

from __future__ import annotations

from collections.abc import Callable

import pandas as pd
import plotly.graph_objects as go
import pytest

from sensorswim import figures
from tests.plausible import plausible_tables

TABLES = plausible_tables()
DRAWN: dict[str, Callable[[pd.DataFrame], go.Figure]] = {
    "pace": figures.draw_pace,
    "coordination": lambda lengths: figures.draw_coordination(lengths, TABLES["arm_cycles"]),
    "elbows": lambda lengths: figures.draw_elbows(TABLES["arm_strokes"], lengths, 100.0, 120.0),
}


@pytest.mark.parametrize("name", DRAWN)
@pytest.mark.parametrize(("count", "step"), [(1, 1), (5, 1), (12, 1), (24, 2), (40, 5), (200, 20)])
def test_lengths_are_numbered_whole_once_and_not_too_many(name: str, count: int, step: int) -> None:
    whole = pd.concat([TABLES["lengths"]] * -(-count // 8), ignore_index=True).iloc[:count]
    fig = DRAWN[name](whole.assign(length_no=range(1, count + 1)))
    axes = list(fig.select_xaxes())
    assert axes
    for axis in axes:
        assert (axis.tick0, axis.dtick) == (0, step)
        assert axis.range == pytest.approx((0.4, count + 0.6))
