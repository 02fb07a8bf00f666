"""The synthetic swimmer obeys physics, and its truth is what its geometry shows."""

from __future__ import annotations

import tomllib
from dataclasses import replace
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from sensorswim.errors import InputError, OutputError
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
    swimmers,
)
from sensorswim.rehearsal import rotations as rot
from sensorswim.rehearsal.body import Body, specific_force
from sensorswim.rehearsal.director import direct
from sensorswim.rehearsal.draw import (
    KITS,
    Drawn,
    draw,
    draw_kit,
    draw_plan,
    draw_swimmer,
)
from sensorswim.rehearsal.named import rehearse_named
from sensorswim.rehearsal.sets import KINDS, draw_set
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


def test_a_hand_that_waits_for_a_long_breath_keeps_its_entry() -> None:
    swimmer = Swimmer(
        stroke_rate_cycles_min=31.0,
        breath_every=2,
        breath_hold_s=0.75,
        hold_delays_cycle=1.0,
        coordination_left_pct=-18.0,
    )
    plan = Plan(segments=(Length(turn="stop"),))
    strokes = rehearse(plan, swimmer=swimmer, kit=Kit.ideal(), seed=1).truth["arm_strokes"]
    for _, own in strokes.groupby("side"):
        assert own["entry_s"].iloc[1:].notna().all()
        before = own["next_entry_s"].to_numpy()[:-1]
        assert np.allclose(own["entry_s"].to_numpy()[1:], before, equal_nan=False)


@pytest.mark.parametrize("seed", [0, 11, 12])
def test_the_arms_stay_ahead_in_the_glide_after_a_rest(seed: int) -> None:
    segments = (Stand(), Length(turn="stop"), Rest(duration_s=9.0), Length(turn="stop"))
    swim = rehearse(Plan(segments=segments), seed=seed)
    path = swim.truth_extra["hand_path"]
    push_s = swim.truth["lengths"]["start_s"].iloc[1]
    glide = path.loc[path["time_s"].between(push_s + 0.2, push_s + 1.0)]
    assert glide["x_m"].min() > 0.4


def _lengths(drawn: Drawn) -> list[Length]:
    return [s for s in drawn.plan.segments if isinstance(s, Length)]


def _is_crawl(drawn: Drawn) -> bool:
    return all(s == Length(turn=s.turn) for s in _lengths(drawn))


@pytest.fixture(scope="module")
def drawn() -> list[Drawn]:
    return [draw(seed) for seed in range(200)]


def test_drawn_swims_are_told_with_all_activities_and_aids(drawn: list[Drawn]) -> None:
    lengths = [s for one in drawn for s in _lengths(one)]
    assert {(s.activity, s.set_as) for s in lengths} == {
        ("front_crawl", "swim"), ("front_crawl", "pull"), ("kick", "kick"), ("kick", "swim"),
        ("single_arm", "drill"), ("single_arm", "swim"), ("catch_up", "drill"),
        ("catch_up", "swim"), ("backstroke", "swim"), ("breaststroke", "swim"),
        ("butterfly", "swim"),
    }  # fmt: skip
    blocks = [s for one in drawn for s in one.plan.segments if isinstance(s, BlockStart)]
    told = {str(value) for block in blocks for value in block.keys.values()}
    assert told == {"['board']", "['buoy']", "single-arm", "catch-up"}
    assert 0.3 < np.mean([not _is_crawl(one) for one in drawn]) < 0.5
    other = [sum(s != Length(turn=s.turn) for s in _lengths(one)) for one in drawn]
    assert set(other) == {0, 1, 2, 3}


def test_drawn_swims_cover_the_range_of_technique_and_sensors(drawn: list[Drawn]) -> None:
    swimmers, kits = [one.swimmer for one in drawn], [one.kit for one in drawn]
    for name, low, high in (
        ("stroke_rate_cycles_min", 26, 59), ("coordination_left_pct", -17, 10),
        ("elbow_left_deg", 100, 160), ("breath_hold_s", 0.01, 0.6), ("variation", 0.02, 0.047),
        ("roll_onto_left_deg", 32, 65), ("hip_roll_share", 0.55, 0.8),
    ):  # fmt: skip
        values = [getattr(one, name) for one in swimmers]
        assert min(values) < low, name
        assert max(values) > high, name
    assert {one.breath_every for one in swimmers} == {2, 3, 4, -1, 0}
    assert len({one.kick for one in swimmers}) == 8
    assert {one.dolphin_kicks for one in swimmers} == {0, 1, 2}
    assert {one.rate_hz for one in kits} == {25.0, 50.0, 52.0, 100.0, 104.0, 200.0, 400.0}
    assert {one.accel_range_g for one in kits} == {4.0, 8.0, 16.0}
    assert {one.gyro_range_deg_s for one in kits} == {500.0, 1000.0, 2000.0}
    damaged = [one.damaged_rows for one in kits if one.damaged_rows]
    assert 0.1 < len(damaged) / len(kits) < 0.4
    assert max(damaged) <= 0.01
    segments = [s for one in drawn for s in one.plan.segments]
    assert {s.walking for s in segments if isinstance(s, Rest)} == {True, False}
    assert {s.turn for s in segments if isinstance(s, Length)} == {"flip", "open", "stop"}
    assert {one.plan.pool_length_m for one in drawn} == {22.86, 25.0, 50.0}


def test_crawl_is_drawn_from_a_random_stream_of_its_own(drawn: list[Drawn]) -> None:
    for one in drawn:
        rng = np.random.default_rng([one.seed, 20_260_314])
        swimmer, kit, plan = draw_swimmer(rng), draw_kit(rng, KITS["core"]), draw_plan(rng)
        plain = draw(one.seed, crawl_only=True)
        assert (plain.swimmer, plain.kit, plain.plan) == (swimmer, kit, plan)
        assert one.swimmer == swimmer
        some = {"rate_hz", "accel_range_g", "gyro_range_deg_s", "damaged_rows"}
        assert replace(one.kit, **{name: getattr(kit, name) for name in some}) == kit
        if _is_crawl(one):
            still = [replace(s, walking=False) if isinstance(s, Rest) else s
                     for s in one.plan.segments]  # fmt: skip
            assert tuple(still) == plan.segments


def test_a_seed_draws_the_same_again_and_a_rate_can_be_chosen() -> None:
    assert draw(7) == draw(7)
    assert draw(7) != draw(8)
    assert draw(7, rate_hz=25.0).kit == replace(draw(7).kit, rate_hz=25.0)
    assert draw(7, kit="back_head").kit.placements[4:] == (Placement.LOWER_BACK, Placement.HEAD)
    with pytest.raises(InputError, match="no kit"):
        draw(7, kit="none of these")


def test_walking_in_a_rest_changes_nothing_that_is_swum() -> None:
    kit = Kit.ideal((Placement.LEFT_WRIST,))
    still, walked = (
        rehearse(
            Plan(segments=(Rest(duration_s=9.0, walking=walking), Length(turn="stop"))), kit=kit
        ).truth
        for walking in (False, True)
    )
    for name in ("lengths", "arm_strokes", "kicks"):
        pd.testing.assert_frame_equal(still[name], walked[name])


def _set(kind: str) -> Rehearsal:
    """Swim one set of a kind in a block of its own after a length of crawl."""
    swimmer = Swimmer(dolphin_kicks=2)
    own = draw_set(KINDS[kind], swimmer, np.random.default_rng(1))[:1]
    own = [replace(s, turn="stop") for s in own if isinstance(s, Length)]
    block = BlockStart(label=kind, keys=KINDS[kind].keys)
    plan = Plan(segments=(Stand(), Length(turn="stop"), Rest(duration_s=6.0), block, *own))
    return rehearse(plan, swimmer=swimmer, kit=Kit.ideal(), seed=4)


def test_hands_lie_on_the_board_while_the_legs_kick() -> None:
    swim = _set("kick")
    block = tomllib.loads(swim.session_toml)["block"][0]
    assert (block["aids"], block["lengths"]) == (["board"], ["kick"])
    crawl, kick = (row for row in swim.truth["lengths"].itertuples())
    assert (kick.activity, kick.arm_strokes) == ("kick", 0)
    assert kick.kicks > 30
    assert kick.speed_m_s < 0.75 * crawl.speed_m_s
    depth, hands = (
        table.loc[table["time_s"].between(kick.start_s + 4.0, kick.end_s - 2.0)]
        for table in (swim.truth_extra["depth"], swim.truth_extra["hand_path"])
    )
    for side in Side:
        assert depth[f"{side}_wrist"].between(-0.05, 0.05).all()
    assert hands["x_m"].min() > 0.4


def test_the_legs_rest_at_the_surface_while_the_arms_pull_with_a_buoy() -> None:
    swim = _set("pull")
    block = tomllib.loads(swim.session_toml)["block"][0]
    assert (block["aids"], block["lengths"]) == (["buoy"], ["pull"])
    _, pull = (row for row in swim.truth["lengths"].itertuples())
    assert (pull.activity, pull.set_as, pull.kicks) == ("front_crawl", "pull", 0)
    assert pull.arm_strokes > 10
    stream = swim.streams[Placement.LEFT_ANKLE].gyro
    lying = (stream.time_s > pull.start_s + 1.0) & (stream.time_s < pull.end_s - 2.0)
    bending = np.degrees(stream.values[lying, 2])  # noqa: PD011
    assert np.abs(bending).max() < 40.0
    depth = swim.truth_extra["depth"]
    ankle = depth.loc[depth["time_s"].between(pull.swim_start_s, pull.end_s - 2.0), "left_ankle"]
    assert abs(ankle.mean()) < 0.15


def test_a_set_is_swum_no_faster_than_arms_can_go() -> None:
    swimmer = Swimmer(stroke_rate_cycles_min=60.0, speed_m_s=1.6)
    for kind in KINDS.values():
        own = draw_set(kind, swimmer, np.random.default_rng(2))
        for length in own:
            if isinstance(length, Length) and length.changes:
                rate = length.changes["stroke_rate_cycles_min"]
                assert rate <= kind.fastest_cycles_min
                assert 0.5 <= length.changes["speed_m_s"] <= kind.pace * 1.6


def test_rolls_and_breaths_are_told_of_crawl_and_drills_only() -> None:
    """As the file contract counts them: one-arm crawl that no block names is `other`."""
    segments = (Length(activity="single_arm", turn="stop"), Rest(), Length(turn="stop"))
    swim = rehearse(Plan(segments=segments), kit=Kit.ideal(), seed=4)
    assert swim.truth["lengths"]["activity"].tolist() == ["other", "front_crawl"]
    assert set(swim.truth["rolls"]["length_no"]) == {2}
    assert set(swim.truth["breaths"]["length_no"]) == {2}
    assert swim.truth["lengths"]["breaths_left"].isna().tolist() == [True, False]


def test_damaged_rows_are_doubled_or_hold_no_acceleration(tmp_path: Path) -> None:
    kit = Kit(placements=(Placement.LEFT_WRIST,), rate_hz=50.0, damaged_rows=0.02)
    swim = rehearse(Plan(segments=(Length(turn="stop"),)), kit=kit, seed=4)
    table = pd.read_parquet(swim.write(tmp_path) / "left_wrist.parquet")
    assert 0.003 < table["accel_x_m_s2"].isna().mean() < 0.03
    assert 0.003 < table["time_s"].duplicated().mean() < 0.03


def test_a_small_range_cuts_the_peaks_off() -> None:
    kit = Kit(placements=(Placement.LEFT_WRIST,), accel_range_g=4.0, gyro_range_deg_s=500.0)
    plan = Plan(segments=(Knocks(strength_m_s2=90.0), Length(turn="stop")))
    stream = rehearse(plan, swimmer=swimmers["sprinter"], kit=kit).streams[Placement.LEFT_WRIST]
    for samples, full in ((stream.accel, 4 * G), (stream.gyro, np.radians(500.0))):
        assert np.abs(samples.values).max() == pytest.approx(full)


def test_a_drawn_session_is_rehearsed_by_its_name() -> None:
    named = rehearse_named("drawn", kit="left_wrist", seed=25)
    assert named.session_toml == draw_swim(25, kit="left_wrist").session_toml
    assert named.kit == draw(25, kit="left_wrist").kit
    assert "board" in named.session_toml
    with pytest.raises(InputError) as raised:
        rehearse_named("nobody")
    assert "drawn" in str(raised.value)
