"""Pictures of a season: what they draw, what they say in words, and equal scales."""

from __future__ import annotations

import math

import numpy as np
import pandas as pd
import pytest

from sensorswim import figures
from sensorswim.figures import style
from sensorswim.metrics.trend import Series, trends_of
from tests.plausible import plausible_tables

WITHIN = np.array([-0.3, 0.0, 0.3, 0.1, -0.1, 0.0])


def season(means: dict[str, list[float]], *, source: str = "", n: int = 6) -> dict[str, Series]:
    rows = [
        {
            "session_id": number,
            "key": f"k{number}",
            "started_at": f"2026-0{number + 1}-14T06:30:00+00:00",
            "day": 20526.27 + 30 * number,
            "condition": "check set · front crawl · 25 m pool",
            "name": name,
            "source": source,
            "n": n,
            "mean": mean,
            "sd": float(WITHIN.std(ddof=1)) if n > 1 else math.nan,
        }
        for name, values in means.items()
        for number, mean in enumerate(values)
    ]
    return trends_of(pd.DataFrame(rows), "check set · front crawl · 25 m pool")


STEADY = season({"stroke_rate_cycles_min": [30.0, 30.4, 30.2], "speed_m_s": [1.0, 1.01, 1.02]})
RISEN = season({"stroke_rate_cycles_min": [30.0, 33.0, 36.0]})


def test_a_trend_says_in_words_whether_it_changed() -> None:
    for found, words in ((STEADY, "no clear change"), (RISEN, "clear change")):
        fig = figures.draw_trend(found["stroke_rate_cycles_min"])
        assert f"; {words}: " in figures.alt_of(fig)
    few = season({"stroke_rate_cycles_min": [30.0, 33.0]}, n=1)
    assert "too few lengths to tell" in figures.alt_of(
        figures.draw_trend(few["stroke_rate_cycles_min"])
    )


def test_visits_stand_on_an_axis_of_dates_in_their_order() -> None:
    fig = figures.draw_trend(RISEN["stroke_rate_cycles_min"])
    drawn = next(trace for trace in fig.data if trace.mode == "lines+markers")
    assert fig.layout.xaxis.type == "date"
    assert [day.month for day in drawn.x] == [3, 4, 5]


def test_the_field_of_changes_too_small_to_count_lies_around_the_first_visit() -> None:
    series = RISEN["stroke_rate_cycles_min"]
    field = figures.draw_trend(series).layout.shapes[0]
    assert (field.y0 + field.y1) / 2 == pytest.approx(30.0)
    assert (field.y1 - field.y0) / 2 == pytest.approx(series.since_first.detectable)


def test_the_wanted_band_is_drawn_with_words() -> None:
    fig = figures.draw_trend(RISEN["stroke_rate_cycles_min"], (29.0, None))
    assert [note.text for note in fig.layout.annotations] == ["lowest wanted"]


def test_a_figure_is_drawn_against_the_speed_of_the_same_visit() -> None:
    fig = figures.draw_against_speed(STEADY["stroke_rate_cycles_min"], STEADY["speed_m_s"])
    drawn = {trace.name: (trace.x[0], trace.y[0]) for trace in fig.data}
    assert drawn["first visit"] == (1.0, 30.0)
    assert drawn["last visit"] == (1.02, 30.2)
    other = season({"speed_m_s": [1.0, 1.1]})["speed_m_s"]
    alone = Series(**(vars(other) | {"sessions": ("x", "y")}))
    assert figures.is_blank(figures.draw_against_speed(STEADY["stroke_rate_cycles_min"], alone))


def test_sense_over_time_needs_two_visits() -> None:
    rows = pd.DataFrame(
        {
            "started_at": ["2026-03-14T06:30:00+00:00", "2026-04-14T06:30:00+00:00"],
            "activity": "front_crawl",
            "name": "kick_beat",
            "felt": [4.0, 5.0],
            "measured": [6.0, 6.0],
        }
    )
    assert "off by 2 at first and 1 at last" in figures.alt_of(figures.draw_sense(rows))
    assert figures.is_blank(figures.draw_sense(rows.iloc[:1]))


def test_carry_over_tells_how_far_drill_and_swim_are_apart() -> None:
    drill = season({"roll_onto_left_deg": [50.0, 50.0]}, source="ankles")["roll_onto_left_deg"]
    swim = season({"roll_onto_left_deg": [40.0, 48.0]}, source="ankles")["roll_onto_left_deg"]
    text = figures.alt_of(figures.draw_carry_over(drill, swim))
    assert "10 degrees apart at the first visit, 2 at the last" in text


def test_two_pictures_get_the_same_scales() -> None:
    tables = plausible_tables()
    more = tables["breaths"].assign(hold_s=tables["breaths"]["hold_s"] * 1.5)
    pair = [figures.draw_side_time(b, tables["rolls"]) for b in (tables["breaths"], more)]
    before, after = figures.same_scales(pair[0], pair[1])
    assert before.layout.yaxis.range == after.layout.yaxis.range
    assert before.layout.yaxis.range[1] >= more["hold_s"].max()
    assert before.layout.xaxis.range == after.layout.xaxis.range


def test_a_blank_picture_keeps_its_words_beside_another() -> None:
    drawn = figures.draw_trend(RISEN["stroke_rate_cycles_min"])
    before, after = figures.same_scales(style.blank("nothing."), drawn)
    assert figures.is_blank(before)
    assert not figures.is_blank(after)


def test_a_reversed_axis_stays_reversed() -> None:
    tables = plausible_tables()
    fig = figures.draw_kick_rhythm(tables["kicks"], tables["arm_cycles"])
    one = figures.draw_kick_rhythm(tables["kicks"], tables["arm_cycles"], length_no=2)
    for both in figures.same_scales(fig, one):
        for axis in (fig.layout.yaxis, fig.layout.yaxis2):
            if axis.autorange == "reversed":
                assert both.layout.yaxis.range[0] > both.layout.yaxis.range[1]
