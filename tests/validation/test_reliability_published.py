"""Reliability statistics against published worked examples.

Data and results: Shrout & Fleiss 1979 (table 2 and 4), Weir 2005 (data set A; B recalled),
Bland & Altman 1986 (peak flow, 17 people). The printed results are the papers'; further digits
were calculated from the same data by hand formulas.
"""

from __future__ import annotations

import math

import numpy as np
import pytest

from sensorswim.metrics.reliability import (
    agreement,
    concordance,
    icc,
    mean_squares,
    repeatability,
    smallest_detectable_change,
    standard_error_of_measurement,
)

SHROUT_FLEISS = [
    [9, 2, 5, 8],
    [6, 1, 3, 2],
    [8, 4, 6, 8],
    [7, 1, 2, 6],
    [10, 5, 6, 9],
    [6, 2, 4, 7],
]
WEIR_A = np.transpose(
    [[146, 148, 170, 90, 157, 156, 176, 205], [140, 152, 152, 99, 145, 153, 167, 218]]
)
WEIR_B = np.transpose(
    [[166, 168, 160, 150, 147, 146, 156, 155], [160, 172, 142, 159, 135, 143, 147, 168]]
)
WRIGHT = np.array(
    [
        [494, 395, 516, 434, 476, 557, 413, 442, 650, 433, 417, 656, 267, 478, 178, 423, 427],
        [490, 397, 512, 401, 470, 611, 415, 431, 638, 429, 420, 633, 275, 492, 165, 372, 421],
    ]
)
MINI = np.array(
    [
        [512, 430, 520, 428, 500, 600, 364, 380, 658, 445, 432, 626, 260, 477, 259, 350, 451],
        [525, 415, 508, 444, 500, 625, 460, 390, 642, 432, 420, 605, 227, 467, 268, 370, 443],
    ]
)


def test_the_six_correlations_of_shrout_and_fleiss_1979() -> None:
    m = mean_squares(SHROUT_FLEISS)
    assert (m.subjects, m.within, m.trials, m.error) == pytest.approx(
        (11.2417, 6.2639, 32.4861, 1.0194), abs=5e-5
    )
    found = icc(SHROUT_FLEISS)
    printed = {"1,1": 0.17, "2,1": 0.29, "3,1": 0.71, "1,k": 0.44, "2,k": 0.62, "3,k": 0.91}
    assert {form: round(value, 2) for form, value in found.items()} == printed
    assert found["2,1"] == pytest.approx(0.28976, abs=5e-6)


def test_weir_2005_standard_error_and_minimal_difference() -> None:
    m = mean_squares(WEIR_A)
    assert (m.subjects, m.within, m.trials, m.error) == pytest.approx(
        (2098.536, 53.75, 30.25, 57.107), abs=5e-4
    )
    assert (m.f_subjects, m.f_trials) == pytest.approx((36.75, 0.530), abs=5e-3)
    assert [icc(WEIR_A)[f] for f in ("1,1", "2,1", "3,1", "1,k", "2,k", "3,k")] == pytest.approx(
        [0.9501, 0.9500, 0.9470, 0.9744, 0.9743, 0.9728], abs=5e-5
    )
    assert standard_error_of_measurement(WEIR_A) == pytest.approx(7.557, abs=5e-4)
    assert standard_error_of_measurement(WEIR_A, absolute=True) == pytest.approx(7.331, abs=5e-4)
    assert smallest_detectable_change(7.557) == pytest.approx(20.947, abs=1e-3)


def test_weir_2005_a_low_correlation_with_the_same_error() -> None:
    assert icc(WEIR_B)["2,1"] == pytest.approx(0.5527, abs=5e-5)
    assert standard_error_of_measurement(WEIR_B) == pytest.approx(
        standard_error_of_measurement(WEIR_A)
    )


def test_bland_and_altman_1986_limits_of_agreement() -> None:
    found = agreement(WRIGHT[0], MINI[0], width=2.0)
    assert (found.bias, found.sd) == pytest.approx((-2.1176, 38.7651), abs=5e-5)
    assert (found.low, found.high) == pytest.approx((-79.7, 75.5), abs=0.1)
    assert found.bias_ci == pytest.approx((-22.05, 17.81), abs=0.01)
    assert found.low_ci == pytest.approx((-114.2, -45.1), abs=0.15)
    assert found.high_ci == pytest.approx((40.9, 109.9), abs=0.15)
    exact = agreement(WRIGHT[0], MINI[0])
    assert (exact.low, exact.high) == pytest.approx((-78.10, 73.86), abs=0.005)


def test_bland_and_altman_1986_repeatability() -> None:
    for device, printed in ((WRIGHT, 21.65), (MINI, 28.16)):
        about_zero, within = repeatability(*device)
        assert about_zero == pytest.approx(printed, abs=0.005)
        assert within == pytest.approx(printed / math.sqrt(2), abs=0.005)


def test_lin_concordance_of_the_same_data() -> None:
    assert concordance(*(d[0].astype(float) for d in (WRIGHT, MINI))) == pytest.approx(
        0.942742, abs=5e-6
    )


def test_a_group_of_sixteen_shows_a_quarter_of_the_change() -> None:
    assert smallest_detectable_change(1.0, group=16) == pytest.approx(2.7719 / 4, abs=5e-5)
    assert smallest_detectable_change(1.0, level=0.9) == pytest.approx(2.3262, abs=5e-4)


@pytest.mark.parametrize("table", [[[1, 2]], [[1], [2]], [[1, 2], [3, math.nan]]])
def test_a_table_that_can_not_be_analysed_is_refused(table: list[list[float]]) -> None:
    with pytest.raises(ValueError, match="complete table"):
        icc(table)


def test_two_pairs_have_a_bias_and_no_limits() -> None:
    found = agreement([1.0, 2.0, math.nan], [0.5, 1.0, 4.0])
    assert (found.n, found.bias) == (2, 0.75)
    assert math.isnan(found.high)
