"""Lags between the arms at the edges: one arm, incomplete strokes, no strokes."""

import math

import numpy as np
import pytest

from sensorswim.model.tables import frame
from sensorswim.swim.coordination import (
    StrokeTimes,
    coordination_lags,
    index_of_coordination_pct,
    mean_cycle_s,
    phase_shares,
)


def stroke(side, entry_s, **change):
    marks = {"entry_s": 0.0, "catch_s": 0.45, "mid_pull_s": 0.8, "exit_s": 1.1, "next_entry_s": 1.5}
    return {"side": side, "length_no": 1} | {k: entry_s + v for k, v in marks.items()} | change


def both_arms(cycles=4):
    pairs = [(stroke("left", 1.5 * k), stroke("right", 1.5 * k + 0.75)) for k in range(cycles)]
    return [row for pair in pairs for row in pair]


def table(rows):
    return frame("arm_strokes", rows)


def test_no_strokes_give_no_lag_and_no_index():
    assert len(coordination_lags(table([]))) == 0
    assert math.isnan(mean_cycle_s(table([])))
    assert math.isnan(index_of_coordination_pct(table([])))


@pytest.mark.parametrize("side", ["left", "right"])
def test_one_arm_gives_a_cycle_time_but_no_index(side):
    one = table([row for row in both_arms() if row["side"] == side])
    assert mean_cycle_s(one) == pytest.approx(1.5)
    assert len(coordination_lags(one)) == 0
    assert math.isnan(index_of_coordination_pct(one))


def test_each_exit_is_paired_with_the_next_catch_of_the_other_hand():
    lags = coordination_lags(table(both_arms(4)))
    assert list(lags.left) == [True] * 4 + [False] * 3
    np.testing.assert_allclose(lags.lag_s, 1.1 - 1.2)


def test_a_stroke_without_exit_or_catch_costs_its_own_pair_only():
    whole = table(both_arms())
    for column, side in (("exit_s", "left"), ("catch_s", "right")):
        holed = whole.copy()
        holed.loc[2 if side == "left" else 3, column] = np.nan
        assert index_of_coordination_pct(holed) == pytest.approx(index_of_coordination_pct(whole))
        assert len(coordination_lags(holed)) == len(coordination_lags(whole)) - 1


def test_a_pair_more_than_six_tenths_of_a_cycle_apart_is_no_pair():
    apart = table([stroke("left", 0.0), stroke("right", 9.0)])
    assert len(coordination_lags(apart)) == 0
    assert math.isnan(index_of_coordination_pct(apart))


def test_phases_add_up_to_the_cycle_and_an_incomplete_stroke_gives_none():
    shares = phase_shares(table([stroke("left", 0.0), stroke("left", 1.5, next_entry_s=np.nan)]))
    assert shares.iloc[0].sum() == pytest.approx(100.0)
    assert shares.iloc[1].isna().all()
    assert phase_shares(table([stroke("left", 0.0, next_entry_s=0.0)])).isna().to_numpy().all()


def test_a_stop_on_the_way_is_no_cycle():
    rows = [stroke("left", 1.5 * k) for k in range(4)]
    rows.append(stroke("left", 6.0, next_entry_s=13.0))
    assert mean_cycle_s(table(rows)) == pytest.approx(1.5)
    assert mean_cycle_s(table(rows[-2:])) == pytest.approx(1.5)
    assert StrokeTimes.of_length(table(rows)).stops
    assert not StrokeTimes.of_length(table(rows[:-1])).stops
    assert not StrokeTimes.of_length(table([])).stops
