"""The third swimmer's own physics: its logs and its truth must follow from one movement."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
from scipy.integrate import cumulative_trapezoid
from scipy.spatial.transform import Rotation

from sensorswim.analyse import analyse
from tests.validation.scoring import score_kicks, told_of
from tests.validation.third_swimmer import session, swim
from tests.validation.third_swimmer.body import move_body, sensor_pose
from tests.validation.third_swimmer.choreography import write_session
from tests.validation.third_swimmer.curves import RATE_HZ
from tests.validation.third_swimmer.rotations import angular_rate, roll_deg
from tests.validation.third_swimmer.traits import (
    FULL,
    Kit,
    SessionPlan,
    draw_plan,
    draw_swimmer,
)
from tests.validation.third_swimmer.truth_strokes import arm_strokes, find_bounds, kicks

SEED = 101


def short(rng: np.random.Generator, kit: Kit, seed: int) -> SessionPlan:
    """Return the first lengths only of a session that is drawn."""
    plan = draw_plan(rng, kit, seed)
    return replace(plan, lengths=plan.lengths[:3])


@pytest.fixture(scope="module")
def moved():
    rng = np.random.default_rng([SEED, 7])
    swimmer, plan = draw_swimmer(rng, SEED), short(rng, "full", SEED)
    script = write_session(swimmer, plan, rng)
    motion = move_body(script, swimmer)
    return swimmer, motion, find_bounds(motion, script.lengths, swimmer, plan.pool_length_m)


@pytest.mark.parametrize("placement", FULL)
def test_the_turning_rate_adds_up_to_the_orientation(moved, placement):
    _, motion, bounds = moved
    part = motion.span(bounds[0].start_s, bounds[0].start_s + 4.0)
    axes = sensor_pose(motion, placement)[0][part]
    rate = angular_rate(axes)
    now = Rotation.from_matrix(axes[0])
    for step in Rotation.from_rotvec(0.5 * (rate[1:] + rate[:-1]) / RATE_HZ):
        now = now * step
    off = now.inv() * Rotation.from_matrix(axes[-1])
    assert np.degrees(off.magnitude()) < 0.2


def test_the_upper_back_turns_by_the_roll_that_the_truth_tells(moved):
    """Roll from the axes against the turn about the long axis, summed up over one length."""
    _, motion, bounds = moved
    axes = motion.axes["upper_back"]
    part = motion.span(bounds[0].start_s + 3.0, bounds[0].start_s + 9.0)
    told = np.radians(roll_deg(axes[part]))
    turned = cumulative_trapezoid(angular_rate(axes)[part][:, 0], dx=1.0 / RATE_HZ, initial=0.0)
    assert np.corrcoef(told, turned)[0, 1] > 0.99


def test_feet_stay_on_the_wall_and_speed_peaks_as_they_leave(moved):
    swimmer, motion, bounds = moved
    for bound in bounds:
        part = motion.span(bound.record.push_s, bound.record.push_s + 0.18)
        for side in ("left", "right"):
            ankle = motion.points[f"{side}_ankle"][part]
            assert np.ptp(ankle, axis=0).max() < 0.01
        after = motion.span(bound.start_s, bound.start_s + 1.0)
        speed = np.abs(np.gradient(motion.points["hip"][after][:, 0], 1.0 / RATE_HZ))
        assert speed.max() == pytest.approx(swimmer.push_speed_m_s, rel=0.1)


def test_phases_follow_each_other(moved):
    _, motion, bounds = moved
    strokes = arm_strokes(motion, bounds).dropna()
    order = strokes[["entry_s", "catch_s", "mid_pull_s", "exit_s", "next_entry_s"]].to_numpy()
    assert len(order) > 20
    assert (np.diff(order, axis=1) > 0.0).all()


def test_legs_beat_in_turn(moved):
    _, motion, bounds = moved
    beats = kicks(motion, bounds, arm_strokes(motion, bounds))
    own = beats[beats["length_no"] == 1]
    assert len(own) > 10
    assert (own["side"].to_numpy()[1:] != own["side"].to_numpy()[:-1]).mean() > 0.8


def test_the_same_seed_writes_the_same_session_and_a_wrist_at_rest_weighs_itself(
    tmp_path, monkeypatch
):
    """Standing before the swim the least shaken second reads gravity to within bias and scale."""
    monkeypatch.setattr(session, "draw_plan", short)
    truth, again = (swim(SEED, tmp_path / name) for name in ("one", "two"))
    pd.testing.assert_frame_equal(truth["arm_strokes"], again["arm_strokes"])
    toml = [(tmp_path / name / "session.toml").read_bytes() for name in ("one", "two")]
    assert toml[0] == toml[1]
    path = next((tmp_path / "one").glob("left_wrist.*"))
    log = pd.read_parquet(path) if path.suffix == ".parquet" else pd.read_csv(path)
    accel = log.filter(like="accel_")
    size = np.linalg.norm(accel * (9.80665 if "accel_x_g" in accel else 1.0), axis=1)
    early = pd.Series(size[log["time_s"] < truth["lengths"]["start_s"].min() - 5.0])
    still = early.rolling(50).std().idxmin()
    assert early[still - 49 : still + 1].mean() == pytest.approx(9.8, abs=0.35)


def test_a_kicked_length_is_no_swum_one_when_clocks_are_set(tmp_path):
    """Of four lengths the last is kicked, and the legs' two strong ones look like the arms' last.

    Without knocks the push-offs alone tell which length is which.
    """
    truth = swim(91008, tmp_path)
    found = analyse(tmp_path)
    assert list(found.lengths["activity"]) == list(truth["lengths"]["activity"])
    beats = told_of(found.kicks, "downbeat_s", truth["lengths"], ("front_crawl", "drill", "kick"))
    assert score_kicks(beats, truth["kicks"]).f1 > 0.98
