"""Lengths by wrists alone, where neither legs nor trunk tell: on movements laid down by hand."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from sensorswim.model import Placement, Recording, Track
from sensorswim.model.streams import FloatArray
from sensorswim.swim.lengths import (
    LengthFinder,
    _bridge_weak_stretches,
    _reach_to_cycles,
    _turns_between_s,
)
from sensorswim.swim.spans import LengthSpan
from sensorswim.swim.walls import WallFinder

RATE_HZ = 100.0
_WRIST = Placement.LEFT_WRIST


def _wrist(
    pitch_rad: FloatArray,
    yaw_rad: FloatArray | float = 0.0,
    roll_rad: FloatArray | float = 0.0,
) -> Recording:
    """Return a lone wrist that turns about a level axis, its heading another one by `yaw_rad`."""
    roll = np.broadcast_to(roll_rad, pitch_rad.shape)
    turn = Rotation.from_rotvec(np.outer(pitch_rad, [0.0, 1.0, 0.0]))
    turn = turn * Rotation.from_rotvec(np.outer(roll, [1.0, 0.0, 0.0]))
    yaw = np.broadcast_to(yaw_rad, pitch_rad.shape)
    q = Rotation.from_rotvec(np.outer(yaw, [0.0, 0.0, 1.0])) * turn
    track = Track(
        placement=_WRIST,
        accel_m_s2=q.inv().apply([0.0, 0.0, 9.80665]),
        gyro_rad_s=np.outer(np.gradient(pitch_rad, 1.0 / RATE_HZ), [0.0, 1.0, 0.0]),
        valid=np.ones(len(pitch_rad), dtype=bool),
        source_rate_hz=RATE_HZ,
        q_world_from_sensor=q.as_quat(scalar_first=True),
    )
    time_s = np.arange(len(pitch_rad)) / RATE_HZ
    return Recording(rate_hz=RATE_HZ, time_s=time_s, tracks={_WRIST: track})


def _time_s(until_s: float) -> FloatArray:
    return np.arange(0.0, until_s, 1.0 / RATE_HZ)


def _during(time_s: FloatArray, *spans_s: tuple[float, float]) -> FloatArray:
    return np.any([(a <= time_s) & (time_s < b) for a, b in spans_s], axis=0).astype(float)


def _found(recording: Recording) -> tuple[LengthSpan, ...]:
    return LengthFinder().find(recording).spans


@pytest.mark.parametrize(("uneven_s", "lengths"), [(0.0, 1), (0.35, 0)])
def test_a_small_swing_is_a_length_where_it_repeats_nearly_exactly(
    uneven_s: float, lengths: int
) -> None:
    """Breaststroke that never goes far from the glide, and hands that swing as far, unevenly."""
    time_s = _time_s(60.0)
    late_s = uneven_s * np.sin(2.0 * np.pi * time_s / 3.1)
    swing = 0.65 * np.sin(2.0 * np.pi * (time_s + late_s) / 1.2)
    assert len(_found(_wrist(swing * _during(time_s, (15.0, 45.0))))) == lengths


@pytest.mark.parametrize("cycle_s", [1.0, 1.1, 1.2])
def test_a_walkers_arm_that_swings_evenly_is_no_length(cycle_s: float) -> None:
    time_s = _time_s(60.0)
    swing = 0.65 * np.sin(2.0 * np.pi * time_s / cycle_s) * _during(time_s, (15.0, 45.0))
    assert not _found(_wrist(0.5 * np.pi + swing))


def test_a_gap_does_not_hide_that_an_arm_goes_on_in_its_direction() -> None:
    time_s = _time_s(85.0)
    pitch = 1.2 * np.sin(2.0 * np.pi * time_s / 2.0) * _during(time_s, (10.0, 75.0))
    recording = _wrist(pitch)
    recording.tracks[_WRIST].valid[(time_s > 40.0) & (time_s < 45.0)] = False
    assert len(_found(recording)) == 1


def test_a_straight_arm_that_goes_round_evenly_swims_one_length_a_bout() -> None:
    """It turns over and back besides, so that its mean orientation has no heading to change."""
    time_s = _time_s(100.0)
    swims = _during(time_s, (10.0, 45.0), (48.0, 83.0))
    round_rad = 1.5 + 2.0 * np.pi * np.cumsum(swims) / RATE_HZ / 1.7
    over_rad = 2.4 * np.sin(2.0 * round_rad)
    found = _found(_wrist(round_rad, np.pi * (time_s > 46.5), over_rad))
    assert len(found) == 2
    np.testing.assert_allclose([s.start_s for s in found], [10.0, 48.0], atol=2.5)


@pytest.mark.parametrize(("yaw_rad", "lengths"), [(0.0, 1), (np.pi, 2)])
def test_an_arm_that_rests_for_some_strokes_goes_on_in_the_same_length(
    yaw_rad: float, lengths: int
) -> None:
    """Unless it comes back the other way."""
    time_s = _time_s(80.0)
    swims = _during(time_s, (10.0, 34.0), (38.5, 66.0))
    pitch = 1.2 * np.sin(2.0 * np.pi * time_s / 2.0) * swims
    assert len(_found(_wrist(pitch, yaw_rad * (time_s > 36.0)))) == lengths


@pytest.mark.parametrize(
    ("hole_s", "period_s", "change_deg", "joined"),
    [
        (5.0, np.nan, 10.0, True),
        (7.5, np.nan, 10.0, False),
        (7.5, 2.0, 10.0, True),
        (9.0, 2.0, 10.0, False),
        (5.0, 2.0, 100.0, False),
        (5.0, 2.0, np.nan, False),
    ],
)
def test_a_hole_in_the_rhythm_is_bridged_where_it_is_short_and_the_arm_goes_on(
    hole_s: float, period_s: float, change_deg: float, joined: bool
) -> None:
    time_s = np.arange(0.0, 60.0, 0.1)
    hole = (time_s > 20.0) & (time_s < 20.0 + hole_s)
    found = _bridge_weak_stretches(
        ~hole, np.where(hole, change_deg, 0.0), np.where(hole, period_s, 2.0), 10.0
    )
    assert bool(found.all()) is joined


def test_bouts_whose_cycles_run_into_each_other_do_not_overlap() -> None:
    """What lies between goes to the one before: a touch is looked for there, then a push-off."""
    time_s = np.arange(0.0, 60.0, 0.08)
    turn = 1.2 * np.sin(2.0 * np.pi * time_s / 1.5)
    flat = Rotation.from_rotvec(np.outer(turn, [0.0, 1.0, 0.0])).as_matrix().reshape(-1, 9)
    every = np.ones(len(time_s), dtype=bool)
    periods_s = np.full(len(time_s), 1.5)
    first, second = _reach_to_cycles(
        [(100, 300), (330, 600)], {_WRIST: flat}, time_s, periods_s, every, every
    )
    assert first[1] == second[0] == 330


def test_a_turn_lies_where_cycles_go_on_soon() -> None:
    rough_s = [(0.0, 20.0), (20.4, 40.0), (41.6, 60.0), (63.0, 80.0)]
    assert _turns_between_s(rough_s, 2.0) == [None, 20.4, pytest.approx(40.8), None]
    assert _turns_between_s(rough_s, 1.0) == [None, 20.4, None, None]
    assert _turns_between_s([], 2.0) == []


@pytest.mark.parametrize(
    ("slope_rad", "since_s", "sways_rad", "begin_s"),
    [
        (0.1, 7.0, 0.0, 7.0),
        (0.1, 3.0, 0.03, 3.0),
        (0.1, 3.0, 0.0, 10.0),
        (0.9, 7.0, 0.0, 10.0),
        (0.1, 1.0, 0.03, 10.0),
    ],
    ids=["glides", "kicks on", "holds on", "hangs", "too long"],
)
def test_a_glide_whose_push_off_is_not_seen_belongs_to_the_length(
    slope_rad: float, since_s: float, sways_rad: float, begin_s: float
) -> None:
    """The arm lies stretched and level, and sways in who kicks on under water."""
    time_s = _time_s(12.0)
    up = np.clip((time_s - since_s) / 0.5 + 1.0, 0.0, 1.0)
    sways = sways_rad * np.sin(2.0 * np.pi * 2.0 * time_s)
    recording = _wrist(1.5 - (1.5 - slope_rad) * up + sways)
    assert WallFinder().glides_from_s(recording, 10.0) == pytest.approx(begin_s, abs=0.3)


def test_an_arm_that_lies_stretched_for_longer_than_a_glide_rests() -> None:
    time_s = _time_s(14.0)
    up = np.clip((time_s - 3.0) / 0.5 + 1.0, 0.0, 1.0)
    assert WallFinder().glides_from_s(_wrist(1.5 - 1.4 * up), 12.0) == 12.0


def test_the_first_cycle_may_have_begun_when_the_glide_is_over() -> None:
    """The arm is already on its way for half a second where the cycles are said to begin."""
    time_s = _time_s(12.0)
    up = np.clip((time_s - 5.0) / 0.5 + 1.0, 0.0, 1.0)
    pulls = np.clip(time_s - 9.6, 0.0, None)
    recording = _wrist(1.5 - 1.4 * up + 4.0 * pulls)
    assert WallFinder().glides_from_s(recording, 10.0) == pytest.approx(5.0, abs=0.3)


@pytest.mark.parametrize(
    ("swims_s", "every_s", "pool_length_m", "lengths"),
    [
        (10.0, 1.2, 25.0, 0),
        (24.0, 1.2, 25.0, 1),
        (10.0, 1.7, 25.0, 1),
        (24.0, 1.2, 50.0, 1),
        (10.0, 1.2, 12.5, 1),
    ],
    ids=["treads", "swims", "slower", "part of a long pool", "short pool"],
)
def test_an_arm_that_keeps_on_for_less_than_a_length_treads_water(
    swims_s: float, every_s: float, pool_length_m: float, lengths: int
) -> None:
    """Small quick swings, over before a breaststroker could be at the other end."""
    recording = _treading(_time_s(20.0 + swims_s), (10.0, 10.0 + swims_s), every_s=every_s)
    spans = LengthFinder().find(recording, pool_length_m=pool_length_m).spans
    assert len(spans) == lengths


def test_a_gap_or_a_stop_makes_no_treading_of_a_length() -> None:
    time_s = _time_s(60.0)
    recording = _treading(time_s, (10.0, 35.0))
    track = recording.tracks[_WRIST]
    holed = replace(track, valid=~_during(time_s, (18.0, 27.0)).astype(bool))
    assert _found(replace(recording, tracks={_WRIST: holed}))
    (whole,) = _found(_treading(time_s, (10.0, 21.0), (31.0, 43.0)))
    np.testing.assert_allclose([whole.start_s, whole.end_s], [10.0, 43.0], atol=1.5)


def test_a_gentle_scull_and_a_hanging_arm_that_is_lifted_are_no_lengths() -> None:
    time_s = _time_s(60.0)
    scull = 0.8 * _during(time_s, (20.0, 30.0)) * np.sin(2.0 * np.pi * time_s / 2.2)
    assert not len(_found(_wrist(scull)))
    lifts = 0.5 - 0.5 * np.cos(2.0 * np.pi * np.clip(time_s % 2.0, 0.0, 1.0))
    assert not len(_found(_wrist(1.5 - 1.8 * _during(time_s, (12.0, 48.0)) * lifts)))


def _treading(time_s: FloatArray, *spans_s: tuple[float, float], every_s: float = 1.2) -> Recording:
    return _wrist(0.78 * _during(time_s, *spans_s) * np.sin(2.0 * np.pi * time_s / every_s))


def test_long_glides_in_every_stroke_are_swum_where_they_come_back_alike() -> None:
    """Hands part for two seconds in every three and a half: they turn as idle ones may."""
    time_s = _time_s(70.0)
    phase_s = time_s % 3.5
    moves = 0.5 - 0.5 * np.cos(2.0 * np.pi * np.clip(phase_s / 1.8, 0.0, 1.0))
    pulls = _during(time_s, (15.0, 50.0)) * 2.0 * moves
    (length,) = _found(_wrist(pulls))
    assert length.start_s < 17.0
    assert length.end_s > 47.0


@pytest.mark.parametrize(("treads", "ends_s"), [(0.3, 40.0), (0.8, 52.0)])
def test_an_arm_that_treads_water_after_its_strokes_swims_no_longer(
    treads: float, ends_s: float
) -> None:
    """It goes on as steadily, a third as far; four fifths as far it swims on."""
    time_s = _time_s(70.0)
    strokes = _during(time_s, (12.0, 40.0)) * 1.6 * np.sin(2.0 * np.pi * time_s / 2.0)
    after = _during(time_s, (40.0, 52.0)) * 1.6 * treads * np.sin(2.0 * np.pi * time_s / 1.0)
    found = _found(_wrist(strokes + after))
    assert found[0].end_s == pytest.approx(ends_s, abs=4.0)
    assert len(found) == 1
