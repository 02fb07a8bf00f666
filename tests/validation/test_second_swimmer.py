"""The second swimmer's own physics: its logs and its truth must follow from one movement."""

from __future__ import annotations

import tomllib
from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
from scipy.integrate import cumulative_trapezoid
from scipy.spatial.transform import Rotation

from tests.validation import second_swimmer
from tests.validation.second_swimmer import swim
from tests.validation.second_swimmer.arms import settled, trial
from tests.validation.second_swimmer.body import CORE, FULL, SIDES, Skeleton
from tests.validation.second_swimmer.crossing import FEET_STRETCH_S
from tests.validation.second_swimmer.maths import GRAVITY_M_S2, RATE_HZ, acceleration, roll_of
from tests.validation.second_swimmer.outing import go_swimming
from tests.validation.second_swimmer.sensors import Clock, ideal
from tests.validation.second_swimmer.swimmer import Plan, draw_plan, draw_swimmer
from tests.validation.second_swimmer.truth import observe

pytestmark = pytest.mark.long

SEED = 18
TRUE_TIME = Clock(1.0, 0.0)


def short(rng: np.random.Generator, lengths: int = 2) -> Plan:
    """Return the first lengths only of a session that is drawn."""
    plan = draw_plan(rng)
    return replace(plan, lengths=plan.lengths[:lengths])


@pytest.fixture(scope="module")
def moved():
    rng = np.random.default_rng(SEED)
    plan = short(rng, lengths=3)
    outing = go_swimming(plan, rng)
    return outing, Skeleton(outing.motion, plan.swimmer.build)


@pytest.fixture(scope="module")
def truth(moved):
    return observe(*moved, ("upper_back", "lower_back", "ankles"), TRUE_TIME).tables


@pytest.fixture(scope="module")
def written(tmp_path_factory):
    folder = tmp_path_factory.mktemp("second") / "session"
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(second_swimmer, "draw_plan", short)
        return folder, swim(SEED, folder), swim(SEED, folder.with_name("again"))


def first_length(outing):
    swum = outing.swum[0]
    return slice(swum.start, swum.start + swum.crossing.motion["x"].size)


@pytest.mark.parametrize("placement", FULL)
def test_the_turning_rate_adds_up_to_the_orientation(moved, placement):
    outing, skeleton = moved
    begin = first_length(outing).start
    segment = skeleton.sensor(placement).during(slice(begin, begin + 4000))
    rate = ideal(segment).rate
    steps = Rotation.from_rotvec(0.5 * (rate[1:] + rate[:-1]) / RATE_HZ)
    now = Rotation.from_matrix(segment.axes[0])
    for step in steps:
        now = now * step
    off = now.inv() * Rotation.from_matrix(segment.axes[-1])
    assert np.degrees(off.magnitude()) < 0.1


@pytest.mark.parametrize("placement", FULL)
def test_the_force_integrated_twice_gives_the_path(moved, placement):
    outing, skeleton = moved
    part = first_length(outing)
    segment = skeleton.sensor(placement).during(slice(part.start - 1, part.stop + 1))
    felt = np.einsum("nij,nj->ni", segment.axes, ideal(segment).force)[1:-1]
    moving = felt - [0.0, 0.0, GRAVITY_M_S2]
    path = segment.place[1:-1]
    speed = cumulative_trapezoid(moving, dx=1.0 / RATE_HZ, axis=0, initial=0.0)
    speed += (path[1] - path[0]) * RATE_HZ - 0.5 * moving[0] / RATE_HZ
    again = path[0] + cumulative_trapezoid(speed, dx=1.0 / RATE_HZ, axis=0, initial=0.0)
    np.testing.assert_allclose(again, path, atol=0.01)


def test_a_body_standing_still_feels_gravity_upwards(moved):
    outing, skeleton = moved
    at = round((outing.worn_from + 8.0) * RATE_HZ)
    for placement, axis, sign in (("lower_back", 0, 1.0), ("left_ankle", 0, -1.0)):
        still = skeleton.sensor(placement).during(slice(at - 1, at + 2001))
        force = ideal(still).force[1:-1].mean(axis=0)
        assert np.linalg.norm(force) == pytest.approx(GRAVITY_M_S2, abs=0.1)
        assert sign * force[axis] > 0.95 * GRAVITY_M_S2
    for placement in ("left_wrist", "right_wrist"):
        still = skeleton.sensor(placement).during(slice(at - 1, at + 2))
        assert ideal(still).force[1, 0] < -0.8 * GRAVITY_M_S2


def test_every_joint_moves_without_a_jerk_that_no_body_makes(moved):
    _, skeleton = moved
    for placement in FULL:
        force = ideal(skeleton.sensor(placement)).force[5:-5]
        assert np.linalg.norm(force, axis=1).max() < 40.0 * GRAVITY_M_S2
        assert np.abs(np.diff(force, axis=0)).max() < 30.0


def test_feet_stay_on_the_wall_until_they_stretch_and_speed_peaks_at_take_off(moved):
    outing, skeleton = moved
    stretch = round(FEET_STRETCH_S * RATE_HZ)
    for swum in outing.swum:
        leaves = swum.start + swum.crossing.take_off
        for side in SIDES:
            ankle = skeleton.ankle_joint(side, slice(swum.start, leaves + 1))
            rest = ankle[: -stretch - 1]
            assert np.ptp(rest, axis=0).max() < 0.002
            assert 0.05 < np.linalg.norm(ankle[-1] - rest[-1]) < 0.2
        part = slice(swum.start, leaves + 1200)
        speed = np.abs(np.gradient(skeleton.root[part, 0])) * RATE_HZ
        assert abs(int(np.argmax(speed)) - swum.crossing.take_off) <= 15
        assert 1.9 < speed.max() < 3.6


@pytest.mark.parametrize("seed", [1002, 1004])
def test_the_body_leaves_the_wall_without_a_jump(seed):
    rng = np.random.default_rng(seed)
    outing = go_swimming(draw_plan(rng), rng)
    for swum in outing.swum:
        leaves = swum.start + swum.crossing.take_off
        path = outing.motion["x"][leaves - 100 : leaves + 100]
        assert np.abs(np.diff(path, n=2)).max() * RATE_HZ**2 < 60.0


def test_one_length_takes_the_time_its_speed_says(moved, truth):
    outing, skeleton = moved
    for row in truth["lengths"].itertuples():
        mean = outing.plan.pool / (row.end_s - row.start_s)
        assert 0.5 < mean < 2.4
        at = (np.array([row.start_s, row.end_s]) * RATE_HZ).astype(int)
        came = abs(float(np.diff(skeleton.root[at, 0])[0]))
        assert outing.plan.pool - 2.6 < came < outing.plan.pool


def test_phases_follow_each_other_and_add_up_to_the_cycle(truth):
    edges = truth["arm_strokes"][["entry_s", "catch_s", "mid_pull_s", "exit_s", "next_entry_s"]]
    whole = edges.dropna().to_numpy()
    assert len(whole) > 20
    shares = np.diff(whole, axis=1) / (whole[:, -1:] - whole[:, :1])
    assert (shares > 0.0).all()
    np.testing.assert_allclose(shares.sum(axis=1), 1.0)
    middle = np.median(shares, axis=0)
    assert (np.array([0.18, 0.10, 0.10, 0.22]) < middle).all()
    assert (middle < np.array([0.50, 0.28, 0.32, 0.34])).all()


@pytest.mark.parametrize("seed", [3, 8, 31])
def test_the_geometry_shows_the_phases_aimed_at(seed):
    swimmer, cycles = settled(draw_swimmer(np.random.default_rng(seed)))
    period = 60.0 / swimmer.cycles_min
    for side, stroke in trial(swimmer, cycles).items():
        edges = [stroke.entry, stroke.catch, stroke.mid_pull, stroke.exit, stroke.next_entry]
        np.testing.assert_allclose(np.diff(edges) / period, swimmer.arms[side].shares, atol=0.01)


# The force a wrist feels in the swimming part of crawl (m/s^2) and its turning rate (deg/s), from
# and to: 95th and 99th percentile of each, at two stroke rates, with a tenth to spare.
# Source: range of real wrist recordings known to the authors; no published source.
WRIST_BANDS = {
    32.0: [(22.0, 33.0), (29.0, 41.0), (440.0, 650.0), (540.0, 800.0)],
    60.0: [(50.0, 60.0), (65.0, 75.0), (850.0, 1050.0), (1000.0, 1200.0)],
}


@pytest.mark.parametrize("seed", [3, 4])
def test_wrists_are_shaken_as_real_ones_are(seed):
    """One swims at 27, the other at 60 cycles a minute: nearly the ends of what is drawn."""
    rng = np.random.default_rng(seed)
    plan = short(rng)
    outing = go_swimming(plan, rng)
    skeleton = Skeleton(outing.motion, plan.swimmer.build)
    rows = observe(outing, skeleton, ("ankles",), TRUE_TIME).tables["lengths"]
    crawl = rows.query("activity == 'front_crawl'").dropna(subset=["swim_start_s"])
    swimming = np.zeros(outing.motion["x"].size, dtype=bool)
    for row in crawl.itertuples():
        swimming[round(row.swim_start_s * RATE_HZ) : round((row.end_s - 2.0) * RATE_HZ)] = True
    seen = []
    for perfect in [ideal(skeleton.sensor(f"{side}_wrist")) for side in SIDES]:
        force = np.linalg.norm(perfect.force[swimming], axis=1)
        turning = np.degrees(np.linalg.norm(perfect.rate[swimming], axis=1))
        assert force.max() < 12.0 * GRAVITY_M_S2
        seen.append([*np.percentile(force, [95, 99]), *np.percentile(turning, [95, 99])])
    rate = crawl["stroke_rate_cycles_min"].mean()
    share = np.clip((rate - 40.0) / 20.0, 0.0, 1.0)
    slow, fast = (np.array(WRIST_BANDS[key]) for key in (32.0, 60.0))
    least, most = ((1.0 - share) * slow + share * fast).T
    assert (0.9 * least < np.mean(seen, axis=0)).all()
    assert (np.mean(seen, axis=0) < 1.1 * most).all()


def test_positive_roll_is_the_left_side_up(moved, truth):
    outing, skeleton = moved
    part = slice(first_length(outing).start + 5000, first_length(outing).start + 9000)
    higher = skeleton.upper_arm("left").place[part, 2] - skeleton.upper_arm("right").place[part, 2]
    roll = np.degrees(roll_of(skeleton.thorax.axes[part]))
    assert np.corrcoef(higher, roll)[0, 1] > 0.95
    shown = truth["roll"].query("source == 'upper_back'")
    at = np.arange(part.start, part.stop) / RATE_HZ
    np.testing.assert_allclose(np.interp(at, shown["time_s"], shown["roll_deg"]), roll, atol=1.0)
    np.testing.assert_allclose(np.diff(shown["time_s"]), 0.02, atol=1e-6)


def test_a_breath_is_taken_with_its_own_side_up_and_the_face_out(moved, truth):
    _, skeleton = moved
    head = np.degrees(roll_of(skeleton.head.axes))
    breaths = truth["breaths"]
    assert len(breaths) > 3
    for row in breaths.itertuples():
        sign = 1.0 if row.side == "left" else -1.0
        at = round(row.peak_s * RATE_HZ)
        assert sign * row.peak_roll_deg > 0.0
        assert (sign * head[at - 600 : at + 600]).max() > 45.0


def test_every_turn_of_the_head_is_a_breath_and_the_somersault_is_none():
    rng = np.random.default_rng(1)
    plan = short(rng)
    outing = go_swimming(plan, rng)
    skeleton = Skeleton(outing.motion, plan.swimmer.build)
    tables = observe(outing, skeleton, ("ankles",), TRUE_TIME).tables
    assert {swum.crossing.spec.ending for swum in outing.swum} >= {"flip"}
    head = np.degrees(outing.motion["head_roll"])
    for row in tables["lengths"].itertuples():
        rolls, breaths = (
            table.loc[table["length_no"] == row.length_no]
            for table in (tables["rolls"], tables["breaths"])
        )
        begin, end = int(row.swim_start_s * RATE_HZ), int(rolls["peak_s"].max() * RATE_HZ)
        out = np.abs(head[begin:end]) > 45.0
        assert len(breaths) == np.sum(np.diff(out.astype(int)) == 1)
        for breath in breaths.itertuples():
            at = int(breath.peak_s * RATE_HZ)
            sign = 1.0 if breath.side == "left" else -1.0
            assert (sign * head[at - 300 : at + 300]).max() > 45.0


def test_entries_go_under_in_front_of_the_shoulder(moved, truth):
    outing, skeleton = moved
    entries = truth["arm_strokes"].dropna(subset=["entry_s", "exit_s"])
    wrists = {side: skeleton.sensor(f"{side}_wrist").place for side in SIDES}
    for row in entries.itertuples():
        wrist = wrists[row.side]
        at = round(row.entry_s * RATE_HZ)
        direction = outing.swum[row.length_no - 1].crossing.direction
        shoulder = skeleton.upper_arm(row.side).place[at, 0]
        assert direction * (wrist[at, 0] - shoulder) > 0.2
        assert wrist[at - 40, 2] > wrist[at + 40, 2]
        middle = round(row.mid_pull_s * RATE_HZ)
        backward = direction * (wrist[middle + 5, 0] - wrist[middle - 5, 0])
        assert backward < 0.0


def test_kicks_are_where_the_shank_turns_fastest(moved, truth):
    kicks = truth["kicks"]
    assert (kicks["peak_rate_deg_s"] > 50.0).all()
    assert kicks["cycle_phase"].dropna().between(0.0, 1.0).all()
    assert set(kicks["side"]) == set(SIDES)


def test_the_folder_holds_what_the_contract_asks_for(written):
    folder, tables, _ = written
    said = tomllib.loads((folder / "session.toml").read_text(encoding="utf-8"))
    assert said["format"] == 1
    assert said["started_at"].utcoffset() is not None
    assert sorted(sensor["placement"] for sensor in said["sensor"]) == sorted(CORE)
    for sensor in said["sensor"]:
        path = folder / sensor["file"]
        log = pd.read_parquet(path) if path.suffix == ".parquet" else pd.read_csv(path)
        assert list(log.columns[:2]) == ["time_s", "accel_x_m_s2"]
        assert len(log.columns) == 7
        assert (log["time_s"].diff().dropna() >= 0.0).all()
        assert 49.0 < 1.0 / log["time_s"].diff().median() < 202.0
        resting = log.iloc[50:150]
        force = np.linalg.norm(resting.filter(like="accel"), axis=1)
        assert np.median(force) == pytest.approx(GRAVITY_M_S2, abs=0.5)
        ends = tables["lengths"]["end_s"].max()
        assert log["time_s"].iloc[0] < tables["lengths"]["start_s"].min() < ends
        assert ends < log["time_s"].iloc[-1] + 10.0
    lengths = tables["lengths"]
    assert (lengths["end_s"] > lengths["start_s"]).all()
    assert (lengths["start_s"].to_numpy()[1:] >= lengths["end_s"].to_numpy()[:-1]).all()


def test_the_same_seed_writes_the_same_files(written):
    folder, tables, again = written
    for path in folder.iterdir():
        assert path.read_bytes() == (folder.with_name("again") / path.name).read_bytes()
    for name, table in tables.items():
        pd.testing.assert_frame_equal(table, again[name])


def test_the_ideal_acceleration_of_a_circle_is_the_textbook_one():
    t = np.arange(2000) / RATE_HZ
    path = np.stack([np.cos(3.0 * t), np.sin(3.0 * t), 0.0 * t], axis=1)
    size = np.linalg.norm(acceleration(path)[5:-5], axis=1)
    np.testing.assert_allclose(size, 9.0, rtol=1e-4)
