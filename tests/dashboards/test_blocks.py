"""Blocks by their lengths, in session time: apart, in order, with what was felt kept."""

from __future__ import annotations

from itertools import pairwise

import pandas as pd
import pytest

from sensorswim.dashboards.review.blocks_page import Row, blocks_from, proposed, rows_of
from sensorswim.errors import SessionError
from sensorswim.model import Block
from sensorswim.model.tables import frame


def lengths() -> pd.DataFrame:
    starts = [10.0, 36.0, 100.0, 126.0]
    rows = [
        {"length_no": i + 1, "start_s": s, "end_s": s + 25.0, "activity": "front_crawl"}
        for i, s in enumerate(starts)
    ]
    return frame("lengths", rows)


def row(first: int, last: int, **more: object) -> Row:
    base = {"first": first, "last": last, "label": "", "lengths": "swim", "drill": None,
            "aids": [], "breathing": ""}  # fmt: skip
    return base | more


def test_a_long_rest_parts_two_blocks() -> None:
    assert [(r["first"], r["last"]) for r in proposed(lengths())] == [(1, 2), (3, 4)]
    assert proposed(lengths().iloc[:0]) == []


def test_blocks_hold_the_midpoints_of_their_lengths_and_never_touch() -> None:
    rows = [row(2, 2, lengths="drill, swim"), row(1, 1), row(3, 4, aids=["fins"])]
    blocks = blocks_from(rows, lengths(), ())
    for before, after in pairwise(blocks):
        assert before.end_s < after.start_s
    middles = {1: 22.5, 2: 48.5, 3: 112.5, 4: 138.5}
    held = [[n for n, m in middles.items() if b.start_s <= m < b.end_s] for b in blocks]
    assert held == [[1], [2], [3, 4]]
    assert blocks[1].lengths == ("drill", "swim")
    assert blocks[2].aids == ("fins",)


def test_what_was_felt_beyond_the_page_is_kept() -> None:
    old = (Block(start_s=9.0, end_s=62.0, felt={"kicks": 30.0, "kick_beat": 4.0}),)
    block = blocks_from([row(1, 2, felt_kick_beat=2)], lengths(), old)[0]
    assert block.felt == {"kicks": 30.0, "kick_beat": 2.0}


@pytest.mark.parametrize(
    ("rows", "line"),
    [
        ([row(1, 2), row(2, 3)], "block 2: overlaps"),
        ([row(3, 1)], "block 1: its lengths aren't right"),
        ([row(1, 9)], "block 1: its lengths aren't right"),
        ([row(1, 2, lengths="float")], "'float' is no kind of length"),
    ],
)
def test_what_can_not_be_is_told_in_one_line(rows: list[Row], line: str) -> None:
    with pytest.raises(SessionError, match=line):
        blocks_from(rows, lengths(), ())


@pytest.mark.parametrize(
    ("kinds", "shown"),
    [("swim swim", "swim"), ("drill swim drill swim", "drill swim"),
     ("drill swim drill", "drill swim"), ("kick swim swim", "kick swim swim")],
)  # fmt: skip
def test_a_pattern_is_shown_once(kinds: str, shown: str) -> None:
    block = Block(start_s=9.0, end_s=62.0, lengths=tuple(kinds.split()))
    table = lengths()
    table["block_no"] = [1, 1, None, None]
    row_ = rows_of((block,), table)[0]
    assert (row_["first"], row_["last"], row_["lengths"]) == (1, 2, shown)
