"""Rules by which cycles and kicks become the figures of a length."""

from itertools import pairwise

import numpy as np
import pandas as pd
import pytest

from sensorswim.metrics.lengths import arm_cycles, fill_lengths, kick_beat
from sensorswim.model.tables import frame
from tests.invented import invented_session


@pytest.mark.parametrize(
    ("counts", "beat"),
    [
        ([2, 2, 2], 2),
        ([1, 2, 1], 2),
        ([4, 4, 4], 4),
        ([6, 7, 6], 6),
        ([6, 6, 6, 4, 4], 6),
        ([6, 6, 4, 4], 0),
        ([6, 6, 6, 4, 2, 4], 0),
        ([6, np.nan, np.nan], 6),
    ],
)
def test_kick_beat_needs_six_tenths_of_the_cycles(counts, beat):
    assert kick_beat(np.array(counts, dtype=float)) == beat


@pytest.mark.parametrize("count", [0, 3, 5, 8, 12])
def test_counts_between_the_beats_agree_with_none(count):
    assert kick_beat(pd.Series([count] * 5)) == 0
    assert kick_beat(np.array([6, 6, count, count], dtype=float)) == 0
    assert kick_beat(np.array([6, 6, 6, count, count], dtype=float)) == 6


@pytest.mark.parametrize("counts", [[], [np.nan, np.nan]])
def test_no_cycles_give_no_beat(counts):
    assert kick_beat(np.array(counts, dtype=float)) is None


def one_length(*sides, activity="front_crawl", **given):
    """Return the cycles of three strokes a side, 2 s each, and a downbeat every half second."""
    rows = [
        {
            "side": side,
            "length_no": 1,
            "entry_s": 2.0 * k + (side == "right"),
            "mid_pull_s": 2.0 * k + (side == "right") + 0.8,
            "next_entry_s": 2.0 * (k + 1) + (side == "right") if k < 2 else np.nan,
        }
        for side in sides
        for k in range(3)
    ]
    lengths = pd.DataFrame([{"length_no": 1, "activity": activity}])
    kicks = frame("kicks", [{"length_no": 1, "downbeat_s": t} for t in np.arange(0.1, 8.0, 0.5)])
    return arm_cycles(
        lengths,
        frame("arm_strokes", rows),
        kicks,
        frame("rolls", []),
        frame("breaths", []),
        **given,
    )


def test_cycles_run_from_left_entry_to_left_entry_where_both_are_worn():
    cycles = one_length("left", "right")
    assert list(cycles["cycle_side"]) == ["left", "left"]
    assert list(cycles["start_s"]) == [0.0, 2.0]


def test_right_wrist_only_gives_cycles_of_the_right_hand():
    cycles = one_length("right")
    assert list(cycles["cycle_side"]) == ["right", "right"]
    assert list(cycles["start_s"]) == [1.0, 3.0]
    assert cycles["index_of_coordination_pct"].isna().all()


def test_kicks_of_a_cycle_with_a_gap_or_without_ankles_stay_empty():
    gap = one_length("left", legs_unseen_s=np.array([[2.5, 2.6]]))
    assert gap["kicks"].fillna(-1).tolist() == [4, -1]
    assert one_length("left", legs_unseen_s=None)["kicks"].isna().all()


def test_legs_that_were_seen_but_never_kicked_count_nought():
    seen = arm_cycles(
        pd.DataFrame([{"length_no": 1, "activity": "front_crawl"}]),
        frame(
            "arm_strokes", [{"length_no": 1, "side": "left", "entry_s": 0.0, "next_entry_s": 2.0}]
        ),
        *(frame(name, []) for name in ("kicks", "rolls", "breaths")),
    )
    assert list(seen["kicks"]) == [0]


def test_a_cycle_counts_its_own_downbeats_and_its_rate():
    cycles = one_length("left")
    assert list(cycles["kicks"]) == [4, 4]
    assert list(cycles["stroke_rate_cycles_min"]) == [30.0, 30.0]


@pytest.mark.parametrize("activity", ["kick", "breaststroke"])
def test_lengths_without_crawl_have_no_cycles(activity):
    assert one_length("left", "right", activity=activity).empty


def test_lengths_whose_breaths_cant_be_told_have_no_counts():
    """Told in the first length, not in the second; in a third nobody rolled."""
    start = {"start_s": 0.0, "end_s": 20.0, "activity": "front_crawl", "finished": True}
    lengths = pd.DataFrame([start | {"length_no": n} for n in (1, 2, 3)])
    row = {"side": "left", "peak_s": 1.0, "peak_roll_deg": 40.0}
    rolls = [row | {"length_no": 1, "is_breath": told} for told in (True, False)]
    rolls = frame("rolls", [*rolls, row | {"length_no": 2, "is_breath": None}])
    breaths = frame("breaths", [row | {"length_no": 1}])
    full = fill_lengths(
        invented_session(),
        lengths,
        strokes=frame("arm_strokes", []),
        kicks=frame("kicks", []),
        cycles=frame("arm_cycles", []),
        rolls=rolls,
        breaths=breaths,
        clean_speed_m_s={},
        ankles=2,
        wrists=1,
        roll_source="ankles",
    )
    assert full["breaths_left"].isna().tolist() == [False, True, False]
    assert full["breaths_left"].dropna().tolist() == [1, 0]


@pytest.mark.parametrize(("stopped_s", "long_m"), [(0.0, 2.0), (8.0, None)])
def test_a_length_with_a_stop_has_a_stroke_rate_but_no_clean_speed(stopped_s, long_m):
    """Clean speed from the first entry to the last exit would count the stop as swum."""
    entries_s = [2.0 + 2.0 * n + stopped_s * (n > 4) for n in range(9)]
    strokes = [
        {"length_no": 1, "side": "left", "entry_s": a, "next_entry_s": b}
        for a, b in pairwise(entries_s)
    ]
    row = {"length_no": 1, "start_s": 0.0, "end_s": 30.0, "activity": "front_crawl",
           "finished": True}  # fmt: skip
    full = fill_lengths(
        invented_session(),
        pd.DataFrame([row]),
        strokes=frame("arm_strokes", strokes),
        **{name: frame(name, []) for name in ("kicks", "rolls", "breaths")},
        cycles=frame("arm_cycles", []),
        clean_speed_m_s={1: 1.0},
        ankles=0,
        wrists=1,
        roll_source=None,
    ).iloc[0]
    assert full["stroke_rate_cycles_min"] == pytest.approx(30.0)
    told_m = full["stroke_length_m"]
    assert pd.isna(told_m) if long_m is None else told_m == pytest.approx(long_m)
    assert pd.isna(full["clean_speed_m_s"]) == (long_m is None)


@pytest.mark.parametrize(
    ("activity", "mid_pull_s", "count"),
    [
        ("breaststroke", np.nan, None),
        ("other", np.nan, None),
        ("front_crawl", np.nan, None),
        ("front_crawl", 0.5, 4),
        ("butterfly", 0.5, 4),
    ],
)
def test_strokes_whose_middle_nobody_tells_are_not_counted_as_none(activity, mid_pull_s, count):
    strokes = [
        {"length_no": 1, "side": "left", "entry_s": 2.0 * n, "next_entry_s": 2.0 * n + 2.0}
        | {"mid_pull_s": 2.0 * n + mid_pull_s}
        for n in range(4)
    ]
    row = {"length_no": 1, "start_s": 0.0, "end_s": 9.0, "activity": activity, "finished": True}
    full = fill_lengths(
        invented_session(),
        pd.DataFrame([row]),
        strokes=frame("arm_strokes", strokes),
        **{name: frame(name, []) for name in ("kicks", "rolls", "breaths")},
        cycles=frame("arm_cycles", []),
        clean_speed_m_s={},
        ankles=0,
        wrists=1,
        roll_source=None,
    ).iloc[0]
    assert pd.isna(full["arm_strokes"]) if count is None else full["arm_strokes"] == count
