"""The synthetic swimmer obeys physics, and its truth is what its geometry shows."""

from __future__ import annotations

import tomllib
from dataclasses import replace
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from sensorswim.errors import OutputError
from sensorswim.model import Placement, Side
from sensorswim.model.tables import SCHEMAS, to_arrow
from sensorswim.rehearsal import (
    BlockStart,
    Kit,
    Knocks,
    Length,
    Plan,
    Rehearsal,
    Rest,
    Stand,
    Swimmer,
    draw_swim,
    rehearse,
)
from sensorswim.rehearsal import rotations as rot
from sensorswim.rehearsal.body import Body, specific_force
from sensorswim.rehearsal.director import direct
from sensorswim.rehearsal.simulate import embody
from sensorswim.rehearsal.timeline import RATE_HZ

G = 9.80665
PLAN = Plan(
    segments=(
        Knocks(), Stand(duration_s=4.0), Length(turn="flip"), Length(turn="open"),
        Length(turn="stop"), Rest(duration_s=6.0), Length(turn="stop"), Knocks(),
    )
)  # fmt: skip


@pytest.fixture(scope="module")
def swim() -> Rehearsal:
    return rehearse(PLAN, kit=Kit.ideal(), seed=3)


@pytest.fixture(scope="module")
def body() -> Body:
    rng = np.random.default_rng(5)
    plan = Plan(segments=(Stand(duration_s=3.0), Length(turn="flip"), Length(turn="stop")))
    return embody(direct(plan, Swimmer(), rng), rng)


def test_gyro_integrates_to_the_orientation(body: Body) -> None:
    pose = dict(body.poses())[Placement.LEFT_WRIST]
    turned = pose.rotation[9000]
    for step in rot.body_rate(pose.rotation, RATE_HZ)[9000:19000] / RATE_HZ:
        turned = turned @ rot.rotation_vector_matrix(step)
    assert np.allclose(turned, pose.rotation[19000], atol=1e-6)


def test_specific_force_integrates_to_the_position(body: Body) -> None:
    pose = dict(body.poses())[Placement.LEFT_WRIST]
    first, last = 9000, 12000
    world = rot.apply(pose.rotation, specific_force(pose)) - np.array([0, 0, G])
    start = (pose.position_m[first + 1] - pose.position_m[first - 1]) * RATE_HZ / 2
    speed = start + np.cumsum(world[first:last], axis=0) / RATE_HZ
    way = np.cumsum(speed, axis=0) / RATE_HZ
    assert np.allclose(pose.position_m[first] + way[-1], pose.position_m[last], atol=0.01)


@pytest.mark.parametrize("push_m_s", [1.8, 2.4, 2.9])
def test_feet_stay_on_the_wall_until_the_legs_are_stretched(push_m_s: float) -> None:
    """They come no nearer to the wall, and leave it as fast as the body, not faster."""
    rng = np.random.default_rng(5)
    plan = Plan(segments=(Stand(duration_s=3.0), Length(turn="flip"), Length(turn="stop")))
    stage = direct(plan, Swimmer(push_speed_m_s=push_m_s, dolphin_kicks=0), rng)
    pushed = embody(stage, rng)
    ankle_m = pushed.leg(Side.LEFT).ankle_m[:, 0]
    for length in stage.score.lengths:
        first = int(length.start_s * RATE_HZ)
        way = 1.0 if pushed.pelvis_m[first + 600, 0] > pushed.pelvis_m[first, 0] else -1.0
        body_m_s, foot_m_s = (
            way * np.gradient(x)[first : first + 600] * RATE_HZ
            for x in (pushed.pelvis_m[:, 0], ankle_m)
        )
        fastest = int(body_m_s.argmax())
        on_wall = way * (ankle_m[first : first + fastest - 150] - ankle_m[first])
        assert np.abs(on_wall).max() < 0.04
        assert foot_m_s[:fastest].min() > -0.25
        assert foot_m_s[: fastest + 20].max() < 1.05 * push_m_s


def test_limbs_keep_their_lengths(body: Body) -> None:
    for side in Side:
        path = body.arm(side)[0]
        upper = np.linalg.norm(path.elbow_m - path.shoulder_m, axis=1)
        fore = np.linalg.norm(path.wrist_m - path.elbow_m, axis=1)
        assert np.ptp(upper) < 1e-9
        assert np.ptp(fore) < 1e-9
        assert upper[0] == pytest.approx(0.186 * 1.75)
        assert fore[0] == pytest.approx(0.146 * 1.75)


def test_standing_reads_gravity_along_the_contracts_axes(swim: Rehearsal) -> None:
    first = swim.truth["lengths"]["start_s"].iloc[0]
    for placement, stream in swim.streams.items():
        still = (stream.accel.time_s > 5.0) & (stream.accel.time_s < first - 6.0)
        mean = stream.accel.values[still].mean(axis=0)  # noqa: PD011
        along = -1 if placement.limb in ("wrist", "ankle", "upper_arm") else 1
        assert mean[0] == pytest.approx(along * G, abs=0.9), placement


def test_prone_trunk_reads_gravity_out_of_the_back_and_roll_is_left_side_up(
    swim: Rehearsal,
) -> None:
    stream = swim.streams[Placement.UPPER_BACK]
    roll = swim.truth["roll"].query("source == 'upper_back'")
    length = swim.truth["lengths"].iloc[0]
    inside = (stream.accel.time_s > length["swim_start_s"] + 1) & (
        stream.accel.time_s < length["end_s"] - 2
    )
    at = np.radians(np.interp(stream.accel.time_s[inside], roll["time_s"], roll["roll_deg"]))
    accel = stream.accel.values[inside]  # noqa: PD011
    # left side up: gravity's reaction, "up", leans to the body's left (+y)
    assert np.corrcoef(np.sin(at), accel[:, 1])[0, 1] > 0.9
    assert accel[:, 2].mean() > 0.6 * G


def test_the_way_swum_is_the_pool(swim: Rehearsal) -> None:
    speed = swim.truth_extra["body_speed"]
    turns = {1: (0.62, 24.38), 2: (24.38, 1.278), 3: (0.62, 23.722), 4: (24.38, 1.278)}
    for row in swim.truth["lengths"].itertuples():
        x = np.interp([row.start_s, row.end_s], speed["time_s"], speed["x_m"])
        assert x == pytest.approx(turns[row.length_no], abs=0.06)


def test_tables_follow_the_schemas(swim: Rehearsal) -> None:
    for name in SCHEMAS:
        assert to_arrow(name, swim.truth[name]).schema.equals(SCHEMAS[name])


def test_stroke_events_are_where_the_hand_is(swim: Rehearsal) -> None:
    path = swim.truth_extra["hand_path"]
    strokes = swim.truth["arm_strokes"].dropna(subset=["mid_pull_s"])
    for side, own in strokes.groupby("side"):
        hand = path[path["side"] == side]
        depth = np.interp(own["entry_s"].dropna(), hand["time_s"], hand["depth_m"])
        assert np.abs(depth).max() < 0.02
        assert np.abs(np.interp(own["mid_pull_s"], hand["time_s"], hand["x_m"])).max() < 0.03
        before = np.interp(own["mid_pull_s"] - 0.1, hand["time_s"], hand["depth_m"])
        assert (before > 0.2).all()
    whole = strokes.dropna(subset=["entry_s", "exit_s"])
    assert (whole["entry_s"] < whole["catch_s"]).all()
    assert (whole["catch_s"] < whole["mid_pull_s"]).all()
    assert (whole["mid_pull_s"] < whole["exit_s"]).all()
    assert len(whole) > 0.75 * len(strokes)


def test_the_first_pull_of_each_arm_leaves_the_streamline_without_entry(swim: Rehearsal) -> None:
    for _, own in swim.truth["arm_strokes"].groupby("length_no"):
        assert own.head(2)["entry_s"].isna().all()
        assert own["entry_s"].notna().sum() > 8


def test_a_hand_that_comes_up_in_the_streamline_has_not_entered() -> None:
    swim = draw_swim(1007, crawl_only=True)
    for _, own in swim.truth["arm_strokes"].groupby("length_no"):
        assert own.head(2)["entry_s"].isna().all()
    glide_s = swim.truth["lengths"]["swim_start_s"] - swim.truth["lengths"]["start_s"]
    assert np.ptp(glide_s) < 1.0


def test_signals_are_plausible_and_without_jumps(swim: Rehearsal) -> None:
    lengths = swim.truth["lengths"]
    for placement, stream in swim.streams.items():
        time = stream.accel.time_s
        inside = np.zeros(len(time), dtype=bool)
        for row in lengths.itertuples():
            inside |= (time > row.swim_start_s) & (time < row.end_s - 2.5)
        force = np.linalg.norm(stream.accel.values[inside], axis=1)  # noqa: PD011
        rate = np.degrees(np.linalg.norm(stream.gyro.values[inside], axis=1))  # noqa: PD011
        assert np.percentile(force, 99.5) < 60, placement
        assert rate.max() < 1300, placement


def test_kicks_of_a_six_beat_are_six(swim: Rehearsal) -> None:
    assert (swim.truth["lengths"]["kick_beat"] == 6).all()
    assert swim.truth["lengths"]["kicks_per_cycle"].between(5.5, 6.5).all()


def test_the_same_seed_gives_the_same_swim() -> None:
    plan = Plan(segments=(Length(turn="stop"),))
    one, two = (rehearse(plan, seed=8) for _ in range(2))
    other = rehearse(plan, seed=9)
    left = Placement.LEFT_WRIST
    assert np.array_equal(one.streams[left].accel.values, two.streams[left].accel.values)
    assert len(one.streams[left].accel) != len(other.streams[left].accel) or not np.allclose(
        one.streams[left].accel.values, other.streams[left].accel.values
    )


def test_clocks_of_the_truth_map_device_time_to_session_time() -> None:
    kit = Kit(placements=(Placement.LEFT_WRIST, Placement.RIGHT_ANKLE))
    swim = rehearse(Plan(segments=(Knocks(strength_m_s2=90.0), Length(turn="stop"))), kit=kit)
    for placement, stream in swim.streams.items():
        session = swim.truth_extra["clocks"][placement].to_session(stream.accel.time_s)
        for knock in swim.truth_extra["knocks_s"]:
            near = np.abs(session - knock) < 0.1
            size = np.linalg.norm(stream.accel.values[near], axis=1)  # noqa: PD011
            assert abs(session[near][np.argmax(np.abs(size - G))] - knock) < 0.03


def test_changes_of_the_swimmer_show_in_the_truth() -> None:
    plan = Plan(segments=(Length(turn="stop"),))
    straight = replace(Swimmer(), elbow_left_deg=160.0, kick="2", breath_every=0)
    swim = rehearse(plan, swimmer=straight, kit=Kit.ideal(), seed=2)
    left = swim.truth["arm_strokes"].query("side == 'left'")
    assert left["elbow_angle_deg"].median() == pytest.approx(160, abs=6)
    assert swim.truth["lengths"]["kick_beat"].iloc[0] == 2
    assert len(swim.truth["breaths"]) == 0


@pytest.mark.parametrize("seed", [0, 4])
def test_drawn_swims_have_all_their_events(seed: int) -> None:
    swim = draw_swim(seed, kit="left_wrist", crawl_only=True)
    for _, own in swim.truth["arm_strokes"].dropna(subset=["mid_pull_s"]).groupby("length_no"):
        inner = own.iloc[2:-2]
        assert inner[["entry_s", "catch_s", "exit_s", "next_entry_s"]].notna().all(axis=None)
        assert (inner["entry_s"] < inner["catch_s"]).all()
        assert (inner["catch_s"] < inner["mid_pull_s"]).all()
    lengths = swim.truth["lengths"]
    assert (lengths["start_s"].iloc[1:].to_numpy() > lengths["end_s"].iloc[:-1].to_numpy()).all()
    rate = lengths["stroke_rate_cycles_min"].mean()
    assert 0.75 < rate / swim.swimmer.stroke_rate_cycles_min < 1.06


def test_a_written_session_names_its_files_and_keeps_its_samples(tmp_path: Path) -> None:
    kit = Kit(placements=(Placement.LEFT_WRIST,), rate_hz=50.0)
    swim = rehearse(Plan(segments=(Length(turn="stop"),)), kit=kit, seed=4)
    swim.write(tmp_path, file_format="csv.gz")
    description = tomllib.loads((tmp_path / "session.toml").read_text(encoding="utf-8"))
    log = pd.read_csv(tmp_path / description["sensor"][0]["file"])
    stream = swim.streams[Placement.LEFT_WRIST]
    assert np.allclose(log["time_s"], stream.accel.time_s, atol=1e-6)
    assert np.allclose(np.radians(log["gyro_y_deg_s"]), stream.gyro.values[:, 1], atol=1e-6)  # noqa: PD011
    assert description["started_at"].tzinfo is not None
    assert (tmp_path / "truth" / "arm_strokes.parquet").exists()
    with pytest.raises(OutputError, match="session already"):
        swim.write(tmp_path)


def test_blocks_hold_their_lengths() -> None:
    plan = Plan(
        segments=(
            BlockStart(label="one", keys={"drill": "catch-up"}),
            Length(activity="catch_up", set_as="drill"),
            Length(turn="stop"),
        )
    )
    swim = rehearse(plan, kit=Kit(placements=(Placement.RIGHT_WRIST,)), seed=6)
    block = tomllib.loads(swim.session_toml)["block"][0]
    lengths = swim.truth["lengths"]
    assert block["lengths"] == ["drill", "swim"]
    middle = 0.5 * (lengths["start_s"] + lengths["end_s"])
    assert ((middle > block["start_s"]) & (middle < block["end_s"])).all()
    assert lengths["activity"].tolist() == ["drill", "front_crawl"]


@pytest.mark.parametrize(
    ("activity", "called", "arms"),
    [
        ("backstroke", "backstroke", 2),
        ("butterfly", "butterfly", 2),
        ("breaststroke", "breaststroke", 0),
        ("single_arm", "other", 1),
        ("kick", "kick", 0),
    ],
)
def test_other_strokes_move_their_own_way(activity: str, called: str, arms: int) -> None:
    kit = Kit.ideal((Placement.UPPER_BACK, Placement.LEFT_WRIST))
    swim = rehearse(Plan(segments=(Length(activity=activity, turn="stop"),)), kit=kit, seed=3)
    length = swim.truth["lengths"].iloc[0]
    assert length["activity"] == called
    strokes = swim.truth["arm_strokes"].dropna(subset=["mid_pull_s"])
    assert strokes["side"].nunique() == arms
    back = swim.streams[Placement.UPPER_BACK].accel
    inside = (back.time_s > length["start_s"] + 4) & (back.time_s < length["end_s"] - 2)
    out_of_the_back = back.values[inside, 2].mean()  # noqa: PD011
    assert out_of_the_back * (-1 if activity == "backstroke" else 1) > 0.7 * G
    whole = strokes.iloc[2:-2]
    assert (whole["catch_s"] < whole["mid_pull_s"] - 0.05).all()


def test_no_knot_shows_as_a_kink_in_the_signals(body: Body) -> None:
    for placement, pose in body.poses():
        force = specific_force(pose)[5000:-5000]
        jerk = np.linalg.norm(np.diff(force, axis=0), axis=1) * RATE_HZ
        assert np.isfinite(force).all()
        assert jerk.max() < 60 * np.percentile(jerk, 50) + 4000, placement


def test_a_swapped_pair_carries_the_other_sides_signals() -> None:
    plan = Plan(segments=(Length(turn="stop"),))
    pair = (Placement.LEFT_ANKLE, Placement.RIGHT_ANKLE)
    right = rehearse(plan, kit=Kit.ideal(pair), seed=7)
    wrong = rehearse(plan, kit=Kit.ideal(pair, swapped=("ankle",)), seed=7)
    one = right.streams[Placement.LEFT_ANKLE].gyro.values  # noqa: PD011
    other = wrong.streams[Placement.RIGHT_ANKLE].gyro.values  # noqa: PD011
    count = min(len(one), len(other)) - 5
    assert np.allclose(one[:count].std(axis=0), other[:count].std(axis=0), rtol=0.02)
    left = right.streams[Placement.RIGHT_ANKLE].gyro.values  # noqa: PD011
    assert not np.allclose(one[:count].std(axis=0), left[:count].std(axis=0), rtol=1e-4)


def test_a_breath_that_holds_is_held_longer_than_the_other_rolls() -> None:
    plan = Plan(segments=(Length(turn="open"), Length(turn="stop")))
    kit = Kit.ideal((Placement.UPPER_BACK,))
    long = rehearse(plan, swimmer=replace(Swimmer(), breath_hold_s=0.5), kit=kit, seed=1)
    none = rehearse(plan, swimmer=replace(Swimmer(), breath_hold_s=0.0), kit=kit, seed=1)
    excess = [swim.truth["breaths"]["excess_s"].median() for swim in (long, none)]
    assert excess[0] > 0.3
    assert abs(excess[1]) < 0.15
    assert len(long.truth["breaths"]) >= 4


@pytest.mark.parametrize("seed", [0, 11, 12])
def test_the_arms_stay_ahead_in_the_glide_after_a_rest(seed: int) -> None:
    segments = (Stand(), Length(turn="stop"), Rest(duration_s=9.0), Length(turn="stop"))
    swim = rehearse(Plan(segments=segments), seed=seed)
    path = swim.truth_extra["hand_path"]
    push_s = swim.truth["lengths"]["start_s"].iloc[1]
    glide = path.loc[path["time_s"].between(push_s + 0.2, push_s + 1.0)]
    assert glide["x_m"].min() > 0.4
