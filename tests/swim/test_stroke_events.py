"""Events of an arm stroke, on a hand that goes round a circle beside its shoulder."""

from __future__ import annotations

from types import SimpleNamespace

import numpy as np
import pytest

from sensorswim.swim.cycle_path import CyclePath
from sensorswim.swim.stroke_events import _catches_s, _chain, _entries_s, _Events, _events

_PERIOD_S, _RADIUS_M = 1.2, 0.6
_SHOULDER = SimpleNamespace(path_at=lambda phase: np.zeros((len(phase), 3)), surface_m=0.0)


def _round(first_s: float) -> CyclePath:
    """Return one turn; at 0 s the hand goes under in front, a quarter later it is below."""
    time_s = first_s + np.arange(0.0, _PERIOD_S, 0.01)
    way = 2.0 * np.pi * time_s / _PERIOD_S
    zero = 0.0 * way
    speed = _RADIUS_M * 2.0 * np.pi / _PERIOD_S
    return CyclePath(
        time_s=time_s,
        position_m=_RADIUS_M * np.stack([np.cos(way), zero, -np.sin(way)], axis=1),
        velocity_m_s=-speed * np.stack([np.sin(way), zero, np.cos(way)], axis=1),
        forearm=np.stack([np.cos(way), zero, -np.sin(way)], axis=1),
        skin=np.stack([zero, zero, zero + 1.0], axis=1),
    )


@pytest.mark.parametrize("first_s", [-0.3, -0.01, 0.09, 0.2])
def test_the_catch_is_found_wherever_the_window_of_a_cycle_begins(first_s: float) -> None:
    """The hand moves backwards in the pool once its own speed is more than the body's."""
    speed_m_s = 0.8
    catch_s = np.arcsin(speed_m_s * _PERIOD_S / (2.0 * np.pi * _RADIUS_M)) * _PERIOD_S / 2 / np.pi
    events = [_events(_round(first_s + k * _PERIOD_S), _SHOULDER, speed_m_s) for k in range(3)]
    found_s = _catches_s(events, _PERIOD_S)
    np.testing.assert_allclose(found_s[1:], catch_s + _PERIOD_S * np.array([1, 2]), atol=0.005)
    np.testing.assert_allclose([e.mid_pull_s for e in events[1:]],
                               _PERIOD_S * np.array([1.25, 2.25]), atol=0.005)  # fmt: skip


def test_a_pull_whose_window_before_was_lost_keeps_no_catch() -> None:
    events = [_events(_round(0.2 + k * _PERIOD_S), _SHOULDER, 0.8) for k in (0, 2)]
    assert np.isnan(_catches_s(events, _PERIOD_S)).all()


def _motion(cycles: float, after_s: float) -> SimpleNamespace:
    """Return what `_chain` asks for: recoveries so long after each turn, no pull without a path."""
    return SimpleNamespace(
        period=SimpleNamespace(period_s=_PERIOD_S),
        recoveries_s=_PERIOD_S * np.arange(1.0, np.ceil(cycles)) + after_s,
        time_s=np.arange(0.0, cycles * _PERIOD_S, 0.01),
        valid=np.ones(len(np.arange(0.0, cycles * _PERIOD_S, 0.01)), dtype=bool),
        falls_s=np.empty(0),
    )


@pytest.mark.parametrize("first_s", [-0.3, -0.05, 0.2])
def test_an_entry_counts_whichever_window_it_lies_in(first_s: float) -> None:
    """A window may end in the reach just before the hand goes under; the next one shows it."""
    events = [_events(_round(first_s + k * _PERIOD_S), _SHOULDER, 0.8) for k in range(4)]
    strokes = _chain(_motion(4.0, -0.25 * _PERIOD_S), events, None, flips=True)
    entries_s = [s.entry_s for s in strokes if np.isfinite(s.entry_s)]
    np.testing.assert_allclose(entries_s[:3], _PERIOD_S * np.arange(1, 4), atol=0.005)


@pytest.mark.parametrize(
    ("seen", "told"), [((0.2,), 0.2), ((0.45,), 0.45), ((0.1, 0.28), 0.1), ((0.2, 0.45), 0.2)]
)
def test_of_two_entries_after_a_recovery_the_sooner_counts(
    seen: tuple[float, ...], told: float
) -> None:
    """In cycles; a hand may rise again in a held breath, and straight arms are late."""
    motion = _motion(5.0, 0.0)
    nan = float("nan")
    events = [
        _Events(catch_s=nan, mid_pull_s=nan, exit_s=nan, next_catch_s=nan,
                entries_s=recovery_s + _PERIOD_S * np.array(seen))
        for recovery_s in motion.recoveries_s
    ]  # fmt: skip
    entries_s, usual_s = _entries_s(motion, events)
    assert usual_s == pytest.approx(told * _PERIOD_S)
    np.testing.assert_allclose(entries_s, motion.recoveries_s + told * _PERIOD_S)


def test_a_stroke_before_a_gap_has_no_next_entry_if_others_may_lie_in_it() -> None:
    """Of six turns the third and fourth are lost: whoever took the fifth for the next was wrong."""
    events = [_events(_round(0.2 + k * _PERIOD_S), _SHOULDER, 0.8) for k in (0, 1, 4, 5)]
    motion = _motion(7.5, -0.1)
    motion.recoveries_s = np.delete(motion.recoveries_s, [2, 3])
    motion.valid[(motion.time_s > 2.5 * _PERIOD_S) & (motion.time_s < 4.5 * _PERIOD_S)] = False
    nexts_s = {
        round(s.entry_s / _PERIOD_S): s.next_entry_s
        for s in _chain(motion, events, None, flips=True)
        if np.isfinite(s.entry_s)
    }
    assert nexts_s[1] == pytest.approx(2 * _PERIOD_S, abs=0.01)
    assert np.isnan(nexts_s[2])
    assert nexts_s[5] == pytest.approx(6 * _PERIOD_S, abs=0.01)


def test_arms_that_come_overhead_in_a_flip_turn_reach_for_no_wall() -> None:
    """The last recovery is half a cycle before the end, with no pull after it."""
    events = [_events(_round(0.2 + k * _PERIOD_S), _SHOULDER, 0.8) for k in range(3)]
    motion = _motion(4.4, -0.1)
    touched, flipped = (_chain(motion, events, None, flips=flips) for flips in (False, True))
    assert len(touched) == len(flipped) + 1
    assert np.isnan(touched[-1].mid_pull_s)
    assert np.isnan(flipped[-1].next_entry_s)
    assert touched[-2].entry_s == flipped[-1].entry_s


@pytest.mark.parametrize("flips", [False, True])
def test_the_last_pull_counts_though_the_arm_stays_at_the_hip_after_it(flips: bool) -> None:
    """Three whole turns, a last recovery, and a pull whose forearm passes the vertical early."""
    events = [_events(_round(0.2 + k * _PERIOD_S), _SHOULDER, 0.8) for k in range(3)]
    mids_s = _PERIOD_S * np.array([1.25, 2.25, 3.25, 4.25])
    motion = _motion(4.5, -0.1)
    motion.falls_s = mids_s - 0.06
    strokes = _chain(motion, events, None, flips=flips)
    found_s = [s.mid_pull_s for s in strokes if np.isfinite(s.mid_pull_s)]
    np.testing.assert_allclose(found_s[-3:], mids_s[1:], atol=0.005)
    assert strokes[-1].entry_s < mids_s[3]
    assert np.isnan(strokes[-1].exit_s)
