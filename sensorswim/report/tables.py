"""The report's tables as HTML."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import Any, Final

import numpy as np
import pandas as pd

from sensorswim.figures.elbows import standing
from sensorswim.figures.felt import row_name
from sensorswim.figures.style import ACTIVITY_WORDS, number
from sensorswim.metrics.carry_over import carry_over
from sensorswim.metrics.felt import (
    ankle_roll,
    felt_against_measured,
    figure_words,
    measured_words,
)
from sensorswim.metrics.video_marks import PICTURE_SD_DEG, seen_from
from sensorswim.model.analysis import Analysis
from sensorswim.model.settings import Settings
from sensorswim.report.headline import clock, kicks_a_minute
from sensorswim.report.markup import Html, join, tag
from sensorswim.report.words import SEVERITY_WORDS

_Column = tuple[str, str, int]
_COLUMNS: Final[tuple[_Column, ...]] = (
    ("speed_m_s", "speed m/s", 2),
    ("arm_strokes", "arm strokes", 0),
    ("stroke_rate_cycles_min", "cycles a min", 1),
    ("stroke_length_m", "m a cycle", 2),
    ("index_of_coordination_pct", "coordi­nation %", 1),
    ("kicks_per_cycle", "kicks a cycle", 1),
    ("kick_beat", "beat", 0),
    ("roll_onto_left_deg", "roll left °", 0),
    ("roll_onto_right_deg", "roll right °", 0),
    ("breaths_left", "breaths left", 0),
    ("breaths_right", "breaths right", 0),
    ("side_hold_s", "on the side s", 2),
    ("side_hold_excess_s", "longer by s", 2),
)

_KICKS_ALONE: Final[tuple[_Column, ...]] = (
    ("kicks", "kicks in the length", 0),
    ("kicks_a_minute", "kicks a min", 0),
)
"""What stands for kicks a cycle and beat where there are no arm cycles."""


_BOTH: Final = ("left", "right")


def sheet(caption: str, heads: Sequence[object], rows: Iterable[Sequence[object]]) -> Html:
    """Return a table that scrolls within itself on a narrow screen."""
    head = tag("tr", *(tag("th", h, scope="col") for h in heads))
    body = [
        tag("tr", tag("th", first, scope="row"), *(tag("td", cell) for cell in rest))
        for first, *rest in rows
    ]
    table = tag("table", tag("caption", caption), tag("thead", head), tag("tbody", *body))
    return tag("div", table, class_="sheet", role="region", aria_label=caption, tabindex="0")


def lengths_sheet(
    lengths: pd.DataFrame, wrists: Sequence[str] = _BOTH, ankles: Sequence[str] = _BOTH
) -> Html:
    """Return the table of lengths; an empty cell is a figure that can't be had.

    Parameters
    ----------
    lengths : DataFrame
        The contract's `lengths`.
    wrists, ankles : sequence of str
        Sides on which they carried a sensor: of one alone strokes or kicks are that limb's only.
    """
    columns = _columns(lengths, wrists, ankles)
    heads = ["no.", "what", "time", *(head for _, head, _ in columns)]
    told = lengths.assign(kicks_a_minute=kicks_a_minute(lengths))
    rows = [_length_row(row, columns) for row in told.to_dict("records")]
    return sheet("All lengths (a dash: can't be had)", heads, rows)


def _columns(lengths: pd.DataFrame, wrists: Sequence[str], ankles: Sequence[str]) -> list[_Column]:
    """Return the columns that these lengths can fill."""
    no_cycles = lengths["kicks_per_cycle"].isna().all() and lengths["kicks"].notna().any()
    columns: list[_Column] = []
    for column, head, digits in _COLUMNS:
        if column == "kicks_per_cycle" and no_cycles:
            columns += [(c, f"{h}{_only(ankles)}", digits) for c, h, digits in _KICKS_ALONE]
        elif column == "arm_strokes":
            columns.append((column, f"{head}{_only(wrists)}", digits))
        elif ankle_roll(column, lengths):
            columns.append((column, f"{head} (estimate, ankles)", digits))
        elif column != "kick_beat" or not no_cycles:
            columns.append((column, head, digits))
    return columns


def _only(sides: Sequence[str]) -> str:
    """Return that a head speaks of one side alone, "" of both."""
    return f" ({sides[0]} only)" if len(sides) == 1 else ""


def _length_row(row: dict[Any, Any], columns: Iterable[_Column]) -> list[object]:
    kind = "other" if pd.isna(row["activity"]) else str(row["activity"])
    took = row["end_s"] - row["start_s"]
    cells = [_cell(column, row[column], digits) for column, _, digits in columns]
    what = ACTIVITY_WORDS.get(kind, kind)
    return [row["length_no"], what, "–" if pd.isna(took) else clock(took), *cells]


def _cell(column: str, value: Any, digits: int) -> str:
    if pd.isna(value):
        return "–"
    return "none" if column == "kick_beat" and value == 0 else number(value, digits)


def felt_sheet(analysis: Analysis) -> Html:
    """Return what was felt beside what was measured, "" where nothing was felt."""
    table = felt_against_measured(analysis.session.blocks, analysis.lengths)
    if table.empty:
        return Html("")
    rows = [
        [
            row_name(row["block_label"], row["block_no"], row["activity"]),
            figure_words(row["column"], analysis.lengths),
            f"{row['felt']:g}",
            measured_words(row),
            row["lengths"],
        ]
        for row in table.to_dict("records")
    ]
    heads = ["block", "what", "felt", "measured", "lengths measured"]
    return sheet("Felt and measured", heads, rows)


def elbow_pictures_sheet(analysis: Analysis) -> Html:
    """Return the elbow angles measured in pictures beside the modelled arm, "" without any."""
    table = analysis.arm_strokes.dropna(subset=["picture_angle_deg"])
    if table.empty:
        return Html("")
    heads = [
        "stroke",
        "view",
        "in the picture",
        "modelled arm in that view",
        "band there",
        "stands",
    ]
    rows = [_elbow_row(row, analysis.settings) for row in table.to_dict("records")]
    caption = (
        "Elbow angles measured in pictures: a picture sees a projection, so each view has a band "
        "of its own (settings)"
    )
    return sheet(caption, heads, rows)


def _elbow_row(stroke: dict[Any, Any], settings: Settings) -> list[object]:
    view = seen_from(stroke["picture_view"])
    modelled = stroke[f"elbow_{view}_deg"] if view else np.nan
    band = {
        "front": (settings.elbow_front_low_deg, settings.elbow_front_high_deg),
        "side": (settings.elbow_side_low_deg, settings.elbow_side_high_deg),
    }.get(view)
    angle = float(stroke["picture_angle_deg"])
    return [
        f"{stroke['side']}, length {stroke['length_no']}, {clock(stroke['mid_pull_s'])}",
        stroke["picture_view"] or "not told",
        number(angle, 0),
        _cell("", modelled, 0),
        "none" if band is None else f"{band[0]:g} to {band[1]:g}",
        "–" if band is None else standing(angle, PICTURE_SD_DEG, *band),
    ]


def quality_sheet(analysis: Analysis) -> Html:
    """Return the quality rows in plain words."""
    if not len(analysis.quality):
        return tag("p", "Nothing was degraded or missing in this session's data.")
    rows = [
        [SEVERITY_WORDS[str(row.severity)], _where(row.placement, row.length_no), row.text]
        for row in analysis.quality
    ]
    return sheet("Notes on the data", ["how much", "where", "what"], rows)


def _where(placement: str | None, length_no: int | None) -> str:
    parts = [
        placement.replace("_", " ") if placement else "",
        f"length {length_no}" if length_no is not None else "",
    ]
    return ", ".join(part for part in parts if part) or "whole session"


def definition_list(entries: Iterable[tuple[object, object, object]]) -> Html:
    """Return terms, how each is had, and their meaning."""
    return tag(
        "dl",
        join(
            join([tag("dt", term, " ", tag("span", how, class_="how")), tag("dd", meaning)])
            for term, how, meaning in entries
        ),
    )


def carry_over_sheet(analysis: Analysis) -> Html:
    """Return how the swum lengths of drill/swim sets moved, and a sentence where there are none."""
    table = carry_over(analysis.lengths)
    if table.empty:
        return tag("p", "No block of this session mixes drill and swum lengths.", class_="nothing")
    rows = [
        [
            row["block_label"] if pd.notna(row["block_label"]) else f"block {row['block_no']}",
            figure_words(row["column"], analysis.lengths),
            *(_short(row[key]) for key in ("drill_value", "swim_first", "swim_last")),
            row["verdict"],
        ]
        for row in table.to_dict("records")
    ]
    heads = [
        "set",
        "what",
        "drill",
        "swum, first half",
        "swum, last half",
        "the swum lengths moved",
    ]
    note = tag(
        "p",
        "The last half of a set's swum lengths against the first, on the way to its drill lengths. "
        "A move counts when it is larger than twice its standard error.",
        class_="reading",
    )
    return join([note, sheet("From drill to swum lengths", heads, rows)])


def _short(value: float) -> str:
    return "–" if pd.isna(value) else f"{value:.3g}".replace("-", "−")
