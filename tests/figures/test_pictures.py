"""Every picture draws what its table holds, says why when it can't, and has words for it."""

from __future__ import annotations

from collections.abc import Callable

import pandas as pd
import plotly.graph_objects as go
import pytest

from sensorswim import figures
from sensorswim.figures import style
from sensorswim.model import Block
from sensorswim.model.tables import SCHEMAS, empty
from tests.plausible import plausible_session, plausible_tables

TABLES = plausible_tables()
NOTHING = {name: empty(name) for name in SCHEMAS}
BLOCKS = plausible_session().blocks

PICTURES: dict[str, Callable[..., go.Figure]] = {
    "swum": lambda t: figures.draw_swum(t["lengths"], BLOCKS),
    "kicks": lambda t: figures.draw_kick_rhythm(t["kicks"], t["arm_cycles"]),
    "roll_of_length": lambda t: figures.draw_roll_of_length(
        t["roll"], t["breaths"], t["lengths"], length_no=2
    ),
    "typical_roll": lambda t: figures.draw_typical_roll(t["roll"], t["arm_cycles"], t["lengths"]),
    "roll_peaks": lambda t: figures.draw_roll_peaks(t["rolls"]),
    "side_time": lambda t: figures.draw_side_time(t["breaths"], t["rolls"]),
    "arm_phases": lambda t: figures.draw_arm_phases(t["arm_strokes"]),
    "coordination": lambda t: figures.draw_coordination(t["lengths"], t["arm_cycles"]),
    "hand_paths": lambda t: figures.draw_hand_paths(t["hand_paths"]),
    "elbows": lambda t: figures.draw_elbows(t["arm_strokes"], t["lengths"], 100.0, 120.0),
    "pace": lambda t: figures.draw_pace(t["lengths"]),
    "felt": lambda t: figures.draw_felt(BLOCKS, t["lengths"]),
}


@pytest.mark.parametrize("name", PICTURES)
def test_a_picture_of_data_has_marks_and_a_sentence(name: str) -> None:
    fig = PICTURES[name](TABLES)
    assert not figures.is_blank(fig)
    assert len(fig.data) > 0
    assert figures.alt_of(fig).endswith(".")
    assert "nan" not in figures.alt_of(fig)


@pytest.mark.parametrize("name", PICTURES)
def test_an_empty_table_says_why_there_is_nothing(name: str) -> None:
    fig = PICTURES[name](NOTHING)
    assert figures.is_blank(fig)
    assert figures.alt_of(fig).startswith("Nothing to draw: ")


@pytest.mark.parametrize("name", PICTURES)
def test_the_dark_look_keeps_the_data_and_swaps_every_colour(name: str) -> None:
    fig = PICTURES[name](TABLES)
    dark = figures.recolour(fig, "dark").to_json()
    assert len(figures.recolour(fig, "dark").data) == len(fig.data)
    assert not [colour for colour in style.DARK_OF if colour in dark]


def test_kick_rows_and_counts_show_the_missing_kicks() -> None:
    fig = figures.draw_kick_rhythm(TABLES["kicks"], TABLES["arm_cycles"])
    counts = next(t for t in fig.data if getattr(t, "mode", None) == "lines+markers")
    assert sorted(set(counts.x)) == [5, 6]
    assert list(counts.x).count(5) == 2
    assert "2 cycles hold fewer" in figures.alt_of(fig)


def test_one_kick_and_one_cycle_are_told_as_one() -> None:
    own = TABLES["arm_cycles"].query("length_no == 3")
    kicks = pd.DataFrame(
        [
            {"length_no": 3, "side": "left", "downbeat_s": start + 0.5, "cycle_phase": 0.25}
            for start in own["start_s"].iloc[1:]
        ]
    )
    told = figures.alt_of(figures.draw_kick_rhythm(kicks, own))
    assert "1 kick a cycle is the most frequent, 1 cycle holds fewer" in told


def test_left_and_right_kicks_differ_by_shape_and_colour() -> None:
    fig = figures.draw_kick_rhythm(TABLES["kicks"], TABLES["arm_cycles"])
    marks = {t.name: t.marker for t in fig.data if getattr(t, "mode", None) == "markers"}
    assert marks["left leg"].symbol != marks["right leg"].symbol
    assert marks["left leg"].color != marks["right leg"].color


def test_kicks_of_one_length_only() -> None:
    fig = figures.draw_kick_rhythm(TABLES["kicks"], TABLES["arm_cycles"], length_no=3)
    assert "within 9 arm cycles" in figures.alt_of(fig)


def test_phases_of_an_arm_add_up_to_its_cycle() -> None:
    shares = figures.phase_shares(TABLES["arm_strokes"])
    phases = [name for name in shares if " to " in name]
    assert shares[phases].sum(axis=1).round(6).eq(100.0).all()


def test_felt_stands_beside_what_its_block_measured() -> None:
    table = figures.felt_against_measured(BLOCKS, TABLES["lengths"])
    first = table.iloc[0]
    assert (first["column"], first["felt"], first["measured"]) == ("kick_beat", 4.0, 6.0)
    assert table["activity"].tolist() == ["drill", "front_crawl"] * 3
    assert table["lengths"].tolist() == [1, 3, 1, 3, 1, 3]


def test_an_irregular_kick_has_no_beat_to_draw_beside_the_felt_one() -> None:
    lengths = TABLES["lengths"].assign(kick_beat=0)
    table = figures.felt_against_measured(BLOCKS[1:], lengths.assign(block_no=1))
    assert table["measured"].eq(0).all()
    assert figures.is_blank(figures.draw_felt(BLOCKS[1:], lengths.assign(block_no=1)))


def test_roll_onto_a_side_is_named_by_the_side_that_is_down() -> None:
    fig = figures.draw_roll_peaks(TABLES["rolls"])
    named = {t.name: sum(t.y) / len(t.y) for t in fig.data}
    assert named["onto the right side"] > named["onto the left side"]


def test_roll_from_the_ankles_is_called_an_estimate() -> None:
    for name in ("roll_of_length", "typical_roll", "roll_peaks"):
        assert "estimate from the ankles" in figures.alt_of(PICTURES[name](TABLES))


def test_a_label_can_not_bring_markup_into_a_picture() -> None:
    block = Block(start_s=0.0, end_s=300.0, label="<b onload=x>fast</b> & <a href='x'>y</a>")
    fig = figures.draw_swum(TABLES["lengths"], (block,))
    texts = " ".join(note.text for note in fig.layout.annotations)
    assert "<b " not in texts.replace("<br>", " ")
    assert "<a " not in texts.replace("<br>", " ")


def contrast(one: str, other: str) -> float:
    """WCAG 2.2 contrast ratio, https://www.w3.org/TR/WCAG22/#dfn-contrast-ratio."""

    def luminance(colour: str) -> float:
        parts = [int(colour[i : i + 2], 16) / 255 for i in (1, 3, 5)]
        linear = [p / 12.92 if p <= 0.04045 else ((p + 0.055) / 1.055) ** 2.4 for p in parts]
        return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]

    light, dark = sorted((luminance(one), luminance(other)), reverse=True)
    return (light + 0.05) / (dark + 0.05)


@pytest.mark.parametrize("theme", ["light", "dark"])
def test_words_and_marks_stand_out_from_the_paper(theme: str) -> None:
    look = {c: (c if theme == "light" else d) for c, d in style.DARK_OF.items()}
    for colour in (style.INK, style.SOFT):
        assert contrast(look[colour], look[style.PAPER]) >= 4.5
    for colour in (style.LEFT, style.RIGHT, style.THIRD, style.FOURTH):
        assert contrast(look[colour], look[style.PAPER]) >= 3.0


def test_bars_of_many_lengths_are_not_hidden_by_their_own_rims() -> None:
    few = TABLES["lengths"]
    many = pd.concat([few.assign(start_s=few["start_s"] + 900 * n, end_s=few["end_s"] + 900 * n)
                      for n in range(30)], ignore_index=True)  # fmt: skip
    rims = [
        {bar.marker.line.width for bar in figures.draw_swum(lengths).data if bar.name != "rest"}
        for lengths in (few, many)
    ]
    assert rims == [{1.5}, {0}]
