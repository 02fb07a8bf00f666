"""Published definitions and worked examples, computed by the functions that make the report.

Each group carries planted errors: the same check must fail on values that are wrong on purpose.
"""

from __future__ import annotations

import ahrs
import numpy as np
import pandas as pd
import pytest
from scipy.spatial.transform import Rotation

from sensorswim import analyse
from sensorswim.metrics.lengths import arm_cycles, fill_lengths
from sensorswim.model import Placement, Side
from sensorswim.model.tables import frame
from sensorswim.rehearsal import CORE, Kit, Knocks, Length, Plan, Rest, Stand, Swimmer, rehearse
from sensorswim.signal import rotations
from sensorswim.swim.coordination import index_of_coordination_pct, phase_shares
from tests.invented import invented_session

EDGES = ["entry_s", "catch_s", "mid_pull_s", "exit_s", "next_entry_s"]


def strokes(rows):
    """Return `arm_strokes` from (side, entry, catch, mid-pull, exit, next entry)."""
    named = [
        {"length_no": 1, "side": side, **dict(zip(EDGES, t, strict=True))} for side, *t in rows
    ]
    return frame("arm_strokes", named)


def symmetric(shares_pct, cycle_s=1.6, cycles=8):
    """Return equal arms half a cycle apart with the given phases in % of the cycle."""
    marks = np.concatenate([[0.0], np.cumsum(shares_pct)]) / np.sum(shares_pct) * cycle_s
    starts = [
        (s, (k + h) * cycle_s) for k in range(cycles) for s, h in (("left", 0), ("right", 0.5))
    ]
    return strokes([(side, *(start + marks)) for side, start in starts])


# --- index of coordination: Chollet, Chalies & Chatard, Int J Sports Med 21 (2000) 54-59 ---------
# The definition is theirs (recalled with high confidence); the numbers follow from it by hand.

WORKED = [
    ("left", 0.00, 0.45, 0.80, 1.14, 1.50),
    ("right", 0.78, 1.20, 1.56, 1.92, 2.28),
    ("left", 1.50, 1.95, 2.30, 2.64, 3.00),
]


def assert_index(table, expected_pct):
    assert index_of_coordination_pct(table) == pytest.approx(expected_pct, abs=0.01)


def test_worked_example_of_the_index_of_coordination():
    # 100 (1.14 - 1.20) / 1.5 = -4 and 100 (1.92 - 1.95) / 1.5 = -2; their mean is -3: catch-up
    assert_index(strokes(WORKED), -3.0)


@pytest.mark.parametrize("column", ["catch_s", "exit_s"])
def test_worked_example_fails_where_one_arm_is_30_ms_late(column):
    table = strokes(WORKED)
    table.loc[table["side"] == "right", column] += 0.03
    with pytest.raises(AssertionError):
        assert_index(table, -3.0)


SYMMETRIC = [
    ((30, 24, 22, 24), -4.0),
    ((26, 24, 26, 24), 0.0),
    ((24, 25, 27, 24), 2.0),
    ((40, 20, 20, 20), -10.0),
]


@pytest.mark.parametrize(("shares_pct", "expected_pct"), SYMMETRIC)
def test_equal_arms_give_pull_plus_push_minus_half_a_cycle(shares_pct, expected_pct):
    assert_index(symmetric(shares_pct), expected_pct)
    shares = phase_shares(symmetric(shares_pct)).to_numpy(dtype=float)
    np.testing.assert_allclose(shares, np.tile(np.array(shares_pct, float), (16, 1)), atol=1e-9)


def test_symmetric_sets_fail_where_the_sign_is_turned_round():
    with pytest.raises(AssertionError):
        assert_index(symmetric((30, 24, 22, 24)), 4.0)


# Cortesi et al., J Sports Sci Med 18 (2019) 438-447: 14 national men, 75-100 % of top speed.
CORTESI_PCT = (34.7, 22.4, 14.2, 28.4)


def test_published_mean_phases_give_the_index_that_follows_from_them():
    # 22.4 + 14.2 - 50 = -13.4; their rounded shares add up to 99.7, hence the tolerance
    index = index_of_coordination_pct(symmetric(CORTESI_PCT))
    assert index == pytest.approx(-13.4, abs=0.15)


def test_published_mean_phases_fail_where_pull_and_recovery_change_places():
    entry, pull, push, recovery = CORTESI_PCT
    with pytest.raises(AssertionError):
        assert_index(symmetric((entry, recovery, push, pull)), -13.4)


# --- speed, rate, length: Craig & Pendergast, Med Sci Sports 11 (1979) 278-283; beats: textbook ---


def filled(*, cycle_s=2.0, clean_speed_m_s=1.2, beat=6, cycles=9):
    """Return the figures of one length swum evenly; kicks as many per cycle as `beat` says."""
    table = symmetric((30, 24, 22, 24), cycle_s=cycle_s, cycles=cycles)
    downbeats = (np.arange(beat * cycles) + 0.25) * cycle_s / beat
    kicks = frame(
        "kicks",
        [
            {"length_no": 1, "side": ("left", "right")[n % 2], "downbeat_s": at}
            for n, at in enumerate(downbeats)
        ],
    )
    start = {"length_no": 1, "start_s": 0.0, "end_s": cycle_s * cycles}
    lengths = pd.DataFrame([start | {"activity": "front_crawl", "finished": True}])
    rolls, breaths = frame("rolls", []), frame("breaths", [])
    cut = arm_cycles(lengths, table, kicks, rolls, breaths)
    return fill_lengths(
        invented_session(),
        lengths,
        strokes=table,
        kicks=kicks,
        cycles=cut,
        rolls=rolls,
        breaths=breaths,
        clean_speed_m_s={1: clean_speed_m_s},
        ankles=2,
        wrists=2,
        roll_source=None,
    ).iloc[0]


def assert_speed_is_rate_times_length(row):
    product = row["stroke_rate_cycles_min"] / 60.0 * row["stroke_length_m"]
    assert product == pytest.approx(row["clean_speed_m_s"], rel=1e-9)


@pytest.mark.parametrize(("cycle_s", "speed_m_s"), [(2.0, 1.2), (1.1, 1.9), (2.6, 0.8)])
def test_speed_is_stroke_rate_times_stroke_length(cycle_s, speed_m_s):
    assert_speed_is_rate_times_length(filled(cycle_s=cycle_s, clean_speed_m_s=speed_m_s))


def test_thirty_cycles_a_minute_at_1_2_m_s_are_2_40_m_a_cycle():
    row = filled(cycle_s=2.0, clean_speed_m_s=1.2)
    assert row["stroke_rate_cycles_min"] == pytest.approx(30.0)
    assert row["stroke_length_m"] == pytest.approx(2.40)


def stroke_index_m2_s(row):
    """Return speed times stroke length: Costill et al., Int J Sports Med 6 (1985) 266-270.

    The definition is as cited by others; 1.2 m/s and 30 cycles a minute give 2.88 by hand.
    """
    return row["clean_speed_m_s"] * row["stroke_length_m"]


def test_stroke_index_of_the_worked_example_follows_from_the_tables_columns():
    row = filled(cycle_s=2.0, clean_speed_m_s=1.2)
    assert stroke_index_m2_s(row) == pytest.approx(2.88)


def test_stroke_index_fails_where_single_strokes_are_taken_for_cycles():
    row = filled(cycle_s=2.0, clean_speed_m_s=1.2).copy()
    row["stroke_length_m"] /= 2
    with pytest.raises(AssertionError):
        assert stroke_index_m2_s(row) == pytest.approx(2.88)


def test_speed_check_fails_where_single_strokes_are_taken_for_cycles():
    row = filled().copy()
    row["stroke_rate_cycles_min"] *= 2
    with pytest.raises(AssertionError):
        assert_speed_is_rate_times_length(row)


def assert_beats_a_second(row, beat):
    """Hold the kicks to N beats a cycle: N * cycles a minute / 60 a second, both legs."""
    a_second = row["kicks"] / (row["end_s"] - row["start_s"])
    assert a_second == pytest.approx(beat * row["stroke_rate_cycles_min"] / 60.0)
    assert row["kicks_per_cycle"] == pytest.approx(beat)
    assert row["kick_beat"] == beat


@pytest.mark.parametrize("beat", [2, 4, 6])
@pytest.mark.parametrize("cycle_s", [2.0, 60.0 / 54.0])
def test_two_four_and_six_beats(beat, cycle_s):
    assert_beats_a_second(filled(beat=beat, cycle_s=cycle_s), beat)


@pytest.mark.parametrize(("beat", "a_second"), [(2, 1.0), (4, 2.0), (6, 3.0)])
def test_beats_a_second_at_thirty_cycles_a_minute(beat, a_second):
    row = filled(beat=beat, cycle_s=2.0)
    assert row["kicks"] / (row["end_s"] - row["start_s"]) == pytest.approx(a_second)


def test_beat_check_fails_where_one_leg_is_taken_for_both():
    row = filled(beat=6).copy()
    row["kicks"] /= 2
    with pytest.raises(AssertionError):
        assert_beats_a_second(row, 6)


# --- roll of shoulders and hips: a rehearsed swimmer (synthetic) who rolls as published ones do ---
# Range over both sides, 200 m: Psycharakis & Sanders, Med Sci Sports Exerc 40 (2008) 2129-2136
# (from memory, medium confidence). Shoulders more than hips: the same, J Sports Sci 28 (2010)
# 229-236. A breath adds 7 to 12 degrees: Lopez-Contreras et al., Apunts 148 (2022) 34-41 (16
# trained swimmers).

ROLL_RANGE_DEG = {"upper_back": (106.6, 8.4), "lower_back": (50.4, 12.3)}
BREATH_ADDS_DEG = (7.0, 12.0)
BREATHES_TO = Side.RIGHT


@pytest.fixture(scope="module")
def rolled(tmp_path_factory):
    shoulders, hips = (ROLL_RANGE_DEG[source][0] for source in ("upper_back", "lower_back"))
    added = np.mean(BREATH_ADDS_DEG)
    a_side = 0.5 * shoulders - 0.25 * added  # every second roll to one side has a breath
    swimmer = Swimmer(
        roll_onto_left_deg=a_side,
        roll_onto_right_deg=a_side,
        hip_roll_share=hips / shoulders,
        breath_side=BREATHES_TO,
        breath_every=4,
        breath_hold_s=0.35,
        breath_roll_extra_deg=added,
    )
    lengths = (Length(), Length(), Length(turn="stop"))
    plan = Plan(segments=(Knocks(), Stand(), *lengths, Rest(duration_s=5.0), Knocks()))
    kit = Kit(placements=(*CORE[:2], Placement.UPPER_BACK, Placement.LOWER_BACK))
    swim = rehearse(plan, swimmer=swimmer, kit=kit, seed=4)
    return analyse(swim.write(tmp_path_factory.mktemp("rolled") / "swim"))


def range_deg(found, source, factor=1.0):
    """Return the mean range of one source's roll in an arm cycle."""
    roll = found.tables["roll"].query("source == @source")
    cycles = found.arm_strokes.query("side == 'left'").dropna(subset=["entry_s", "next_entry_s"])
    assert len(cycles) > 20
    spans = cycles[["entry_s", "next_entry_s"]].to_numpy(dtype=float)
    return np.mean(
        [np.ptp(factor * roll.loc[roll["time_s"].between(*span), "roll_deg"]) for span in spans]
    )


def assert_published_range(deg, source):
    mean_deg, sd_deg = ROLL_RANGE_DEG[source]
    assert deg == pytest.approx(mean_deg, abs=sd_deg)


def test_a_swimmer_who_rolls_as_published_ones_do_is_measured_so(rolled):
    ranges_deg = {source: range_deg(rolled, source) for source in ROLL_RANGE_DEG}
    for source, deg in ranges_deg.items():
        assert_published_range(deg, source)
    assert ranges_deg["lower_back"] < ranges_deg["upper_back"]


@pytest.mark.parametrize("source", list(ROLL_RANGE_DEG))
@pytest.mark.parametrize("factor", [2.0, 0.5])
def test_published_roll_fails_where_one_side_is_taken_for_both_or_counted_twice(
    rolled, source, factor
):
    with pytest.raises(AssertionError):
        assert_published_range(range_deg(rolled, source, factor), source)


def test_published_roll_fails_where_shoulders_and_hips_change_places(rolled):
    with pytest.raises(AssertionError):
        assert_published_range(range_deg(rolled, "lower_back"), "upper_back")


def assert_breaths_add_roll(rolls):
    """Hold what breaths add to the peak roll towards their own side to the published range.

    `peak_roll_deg` is a size; a side is the one the face can turn to.
    """
    own = rolls.loc[rolls["side"] == str(BREATHES_TO)].groupby("is_breath")["peak_roll_deg"]
    assert own.size().to_list() == pytest.approx([10, 10], abs=4)
    least, most = BREATH_ADDS_DEG
    assert least <= own.median()[True] - own.median()[False] <= most


def test_a_breath_adds_roll_to_its_own_side(rolled):
    assert_breaths_add_roll(rolled.tables["rolls"])


def test_breaths_fail_where_the_sign_of_roll_is_turned_round(rolled):
    rolls = rolled.tables["rolls"]
    turned = rolls.assign(side=rolls["side"].map({"left": "right", "right": "left"}))
    with pytest.raises(AssertionError):
        assert_breaths_add_roll(turned)


@pytest.mark.parametrize("factor", [2.0, 0.5])
def test_breaths_fail_where_roll_is_twice_or_half_of_it(rolled, factor):
    rolls = rolled.tables["rolls"]
    with pytest.raises(AssertionError):
        assert_breaths_add_roll(rolls.assign(peak_roll_deg=factor * rolls["peak_roll_deg"]))


# --- frames: the same rotations by two independent libraries; scipy also in tests/signal ----------


def assert_same_turn(q, matrices, vectors):
    turned = np.einsum("nij,nj->ni", matrices, vectors)
    np.testing.assert_allclose(rotations.rotate(q, vectors), turned, atol=1e-9)


@pytest.fixture
def turns():
    rng = np.random.default_rng(11)
    return Rotation.random(100, rng=rng), rng.normal(size=(100, 3))


def test_rotate_agrees_with_scipy_and_with_ahrs(turns):
    scipys, vectors = turns
    q = scipys.as_quat(scalar_first=True)
    assert_same_turn(q, scipys.as_matrix(), vectors)
    assert_same_turn(q, np.stack([ahrs.Quaternion(row).to_DCM() for row in q]), vectors)


def test_product_agrees_with_ahrs(turns):
    q = turns[0].as_quat(scalar_first=True)
    theirs = np.stack([ahrs.Quaternion(a).product(b) for a, b in zip(q, q[::-1], strict=True)])
    np.testing.assert_allclose(rotations.multiply(q, q[::-1]), theirs, atol=1e-9)


@pytest.mark.parametrize("wrong", ["scalar last", "inverse"])
def test_frame_check_fails_on_the_other_convention(turns, wrong):
    scipys, vectors = turns
    q = scipys.as_quat() if wrong == "scalar last" else scipys.inv().as_quat(scalar_first=True)
    with pytest.raises(AssertionError):
        assert_same_turn(q, scipys.as_matrix(), vectors)
