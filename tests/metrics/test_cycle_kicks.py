"""Downbeats that fall right on an entry, and cycles that are none."""

from __future__ import annotations

import numpy as np
import pytest

from sensorswim.metrics.cycle_kicks import count_kicks

SPANS_S = np.stack([2.0 * np.arange(8), 2.0 * np.arange(1, 9)], axis=1)


def _beats(beat: int, *, error_s: float) -> np.ndarray:
    """Return downbeats of which one is meant for every entry, found early and late by turns."""
    at = np.arange(8 * beat) * (2.0 / beat)
    at[::beat] += error_s * (-1.0) ** np.arange(8)
    return np.sort(at)


@pytest.mark.parametrize("beat", [2, 4, 6])
def test_a_timing_error_at_the_entry_makes_no_uneven_beat(beat: int) -> None:
    downbeat_s = _beats(beat, error_s=0.003)
    assert set(count_kicks(downbeat_s, SPANS_S, 0.0)) == {beat - 1, beat + 1}
    assert set(count_kicks(downbeat_s, SPANS_S)[1:-1]) == {beat}


def test_kicks_clear_of_the_entry_stay_where_they_are() -> None:
    downbeat_s = _beats(4, error_s=0.02)
    by_clock = count_kicks(downbeat_s, SPANS_S, 0.0)
    assert set(by_clock) == {3, 5}
    assert np.array_equal(count_kicks(downbeat_s, SPANS_S), by_clock)


def test_none_is_lost_or_made_up_within_the_length() -> None:
    downbeat_s = np.sort(np.random.default_rng(4).uniform(0.1, 15.9, 37))
    assert count_kicks(downbeat_s, SPANS_S).sum() == 37


def test_cycles_with_a_hole_between_them_share_nothing() -> None:
    apart_s = SPANS_S[[0, 1, 4, 5]]
    downbeat_s = _beats(4, error_s=-0.003)
    evened, by_clock = (count_kicks(downbeat_s, apart_s, t) for t in (0.005, 0.0))
    assert evened[:2].sum() == by_clock[:2].sum()
    assert evened[2:].sum() == by_clock[2:].sum()


def test_no_cycles_have_no_kicks() -> None:
    assert len(count_kicks(np.array([1.0]), np.zeros((0, 2)))) == 0
