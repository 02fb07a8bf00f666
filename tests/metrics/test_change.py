"""Changes between visits: false alarms, power, small numbers, and libraries as a cross-check."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
import statsmodels.formula.api as smf
from statsmodels.stats.multitest import multipletests

from sensorswim.metrics.change import (
    FEWEST_REPEATS,
    Change,
    Verdict,
    Visit,
    block_bootstrap,
    judge,
    judge_together,
    repeats,
    repeats_of,
    sense_of,
    spread_of,
    typical_error,
    visit_of,
)
from sensorswim.metrics.reliability import smallest_worthwhile_change

RUNS = 2000
BETWEEN, WITHIN, LENGTHS = 1.0, 1.5, 8
ALARM_LIMIT = 0.05 + 2.33 * math.sqrt(0.05 * 0.95 / RUNS)
"""5 %, and what RUNS draws scatter about it (one-sided 1 %)."""


def visit(rng: np.random.Generator, *, day: float, state: float = 0.0, n: int = LENGTHS) -> Visit:
    level = state + rng.normal(0, BETWEEN)
    return visit_of(level + rng.normal(0, WITHIN, n), day=day)


def share_clear(draw: Callable[[np.random.Generator], Change]) -> float:
    rng = np.random.default_rng(6)
    return float(np.mean([draw(rng).verdict is Verdict.CLEAR for _ in range(RUNS)]))


def known_spread(rng: np.random.Generator, shift: float) -> Change:
    before, after = visit(rng, day=0), visit(rng, day=30, state=shift)
    return judge(before, after, spread_of([before, after], default_sd=BETWEEN))


def measured_spread(rng: np.random.Generator, shift: float) -> Change:
    visits = [visit(rng, day=10 * week + day) for week in range(8) for day in (0, 2)]
    after = visit(rng, day=200, state=shift)
    return judge(visits[0], after, spread_of([*visits, after], default_sd=99.0))


@pytest.mark.parametrize("draw", [known_spread, measured_spread])
def test_no_change_raises_at_most_five_alarms_in_a_hundred(
    draw: Callable[[np.random.Generator, float], Change],
) -> None:
    assert share_clear(lambda rng: draw(rng, 0.0)) <= ALARM_LIMIT


@pytest.mark.parametrize("draw", [known_spread, measured_spread])
def test_twice_the_detectable_change_is_found_in_eighty_of_a_hundred(
    draw: Callable[[np.random.Generator, float], Change],
) -> None:
    rng = np.random.default_rng(60)
    detectable = float(np.median([draw(rng, 0.0).detectable for _ in range(200)]))
    assert share_clear(lambda rng: draw(rng, 2 * detectable)) >= 0.8


def test_the_spread_between_lengths_alone_would_raise_false_alarms() -> None:
    def draw(rng: np.random.Generator) -> Change:
        before, after = visit(rng, day=0), visit(rng, day=30)
        return judge(before, after, spread_of([before, after], default_sd=0.0))

    assert share_clear(draw) > 0.2


def test_ten_figures_looked_at_together_raise_no_more_alarms_than_one() -> None:
    rng = np.random.default_rng(7)
    runs = 400
    alarms = 0
    for _ in range(runs):
        looked = {str(k): known_spread(rng, 0.0) for k in range(10)}
        alarms += any(c.verdict is Verdict.CLEAR for c in judge_together(looked).values())
    assert alarms / runs <= 0.05 + 2.33 * math.sqrt(0.05 * 0.95 / runs)


def test_the_bootstrap_keeps_its_promise_with_lengths_that_drift_and_are_skewed() -> None:
    rng = np.random.default_rng(8)
    runs, missed = 400, 0

    def lengths() -> np.ndarray:
        steps = rng.gamma(2.0, 1.0, 16) - 2.0
        drifting = [steps[0]]
        for step in steps[1:]:
            drifting.append(0.3 * drifting[-1] + step)
        return rng.normal(0, BETWEEN) + np.array(drifting)

    for run in range(runs):
        low, high = block_bootstrap(
            lengths(), lengths(), between_sd=BETWEEN, block=4, draws=400, seed=run
        )
        missed += not low <= 0.0 <= high
    assert missed / runs <= 0.05 + 2.33 * math.sqrt(0.05 * 0.95 / runs)


def test_spread_agrees_with_a_mixed_model_on_balanced_repeats() -> None:
    rng = np.random.default_rng(9)
    rows, visits = [], []
    for number in range(40):
        values = rng.normal(0, BETWEEN) + rng.normal(0, WITHIN, LENGTHS)
        visits.append(visit_of(values, day=number / 20))
        rows += [{"visit": number, "value": v} for v in values]
    found = spread_of(visits, default_sd=99.0)
    fit = smf.mixedlm("value ~ 1", pd.DataFrame(rows), groups="visit").fit(reml=True)
    assert found.between_sd**2 == pytest.approx(float(fit.cov_re.iloc[0, 0]), rel=1e-3)
    assert found.within_sd**2 == pytest.approx(float(fit.scale), rel=1e-3)


@pytest.mark.parametrize("p", [[0.03, 0.001, 0.2, 0.012, 0.9], [0.02, 0.03, 0.04], [0.01, 0.04]])
def test_judging_together_agrees_with_a_library(p: list[float]) -> None:
    any_change = known_spread(np.random.default_rng(1), 0.0)
    judged = judge_together({str(k): replace(any_change, p=one) for k, one in enumerate(p)})
    clear = [judged[str(k)].verdict is Verdict.CLEAR for k in range(len(p))]
    assert clear == multipletests(p, method="holm")[0].tolist()


def test_what_is_clear_is_larger_than_what_is_detectable_also_among_many() -> None:
    rng = np.random.default_rng(21)
    for _ in range(40):
        looked = {str(k): known_spread(rng, 2.5 * (k % 3)) for k in range(6)}
        for change in judge_together(looked).values():
            clear = abs(change.difference) > change.detectable
            assert clear is (change.verdict is Verdict.CLEAR)


def test_too_few_lengths_are_said_and_never_judged() -> None:
    before, after = visit_of([30.0, 31.0], day=0), visit_of([60.0, 61.0, 59.0, 60.0], day=30)
    found = judge(before, after, spread_of([before, after], default_sd=1.0))
    assert found.verdict is Verdict.TOO_FEW
    assert found.difference == pytest.approx(29.5)
    assert math.isnan(found.detectable)


def test_a_figure_with_too_few_lengths_costs_the_others_nothing() -> None:
    few = visit_of([1.0], day=0)
    spread = spread_of([few], default_sd=1.0)
    known = known_spread(np.random.default_rng(1), 9.0)
    together = judge_together({"few": judge(few, few, spread), "known": known})
    assert together["known"].alpha == known.alpha
    assert together["few"].verdict is Verdict.TOO_FEW


def test_figures_that_never_vary_show_any_change_and_only_a_change() -> None:
    one, two = visit_of([2.0] * 4, day=0), visit_of([3.0] * 4, day=30)
    still = spread_of([one, two], default_sd=0.0)
    assert judge(one, two, still).verdict is Verdict.CLEAR
    assert judge(one, one, still).verdict is Verdict.NOT_CLEAR


def test_the_default_stands_until_there_are_enough_repeats_and_is_said() -> None:
    rng = np.random.default_rng(11)
    visits = [visit(rng, day=k / 3) for k in range(FEWEST_REPEATS)]
    early = spread_of(visits, default_sd=5.0)
    assert (early.between_sd, early.from_repeats) == (5.0, False)
    later = spread_of([*visits, visit(rng, day=2)], default_sd=5.0)
    assert later.from_repeats
    assert later.between_sd < 5.0


def test_a_few_repeats_that_differ_widely_outvote_the_default() -> None:
    visits = [visit_of([m - 0.1, m, m + 0.1], day=d) for d, m in enumerate((10.0, 20.0))]
    assert spread_of(visits, default_sd=1.0).between_sd > 6.0


def test_repeats_of_other_swimmers_count() -> None:
    rng = np.random.default_rng(12)
    others = [[visit(rng, day=k) for k in (0, 3)] for _ in range(FEWEST_REPEATS)]
    own = [visit(rng, day=0)]
    pooled = sum((repeats_of(visits) for visits in others), repeats_of(own))
    assert not spread_of(own, default_sd=1.0).from_repeats
    assert spread_of(own, default_sd=1.0, pooled=pooled).from_repeats


def test_visits_weeks_apart_are_no_repeats() -> None:
    rng = np.random.default_rng(13)
    visits = [visit(rng, day=d) for d in (0, 30, 33, 90)]
    assert [[v.day for v in group] for group in repeats(visits)] == [[30, 33]]


def test_empty_values_are_left_out_of_a_visit() -> None:
    found = visit_of([1.0, math.nan, 3.0], day=0)
    assert (found.n, found.mean) == (2, 2.0)
    assert visit_of([], day=0).n == 0


def test_small_numbers_have_no_bootstrap_typical_error_or_worthwhile_change() -> None:
    assert math.isnan(block_bootstrap([1.0, 2.0], [3.0, 4.0, 5.0], between_sd=1.0)[0])
    assert math.isnan(typical_error([(1.0, 2.0), (2.0, 3.0)]))
    assert math.isnan(smallest_worthwhile_change([1.0, 2.0]))
    assert smallest_worthwhile_change([1.0, 2.0, 3.0]) == pytest.approx(0.2)


def test_a_sense_that_gets_better_moves_below_zero() -> None:
    days = [0, 7, 14, 21, 28]
    assert sense_of([10, 9, 8, 7, 6.5], [6] * 5, days) == pytest.approx(-1.0)
    assert math.isnan(sense_of([1, 2, 3], [1, 1, 1], [0, 1, 2]))
