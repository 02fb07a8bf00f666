"""Where an elbow angle stands to the band, and that the picture says so."""

from __future__ import annotations

import numpy as np
import pytest

from sensorswim import figures
from sensorswim.figures.elbows import standing
from tests.plausible import plausible_tables


@pytest.mark.parametrize(
    ("angle", "sd", "word"),
    [
        (150.0, 8.0, "straighter than the band"),
        (130.0, 8.0, "undecided"),
        (110.0, 8.0, "undecided"),
        (110.0, 2.0, "within the band"),
        (75.0, 8.0, "more bent than the band"),
        (150.0, np.nan, "undecided"),
    ],
)
def test_the_band_decides_only_beyond_two_standard_deviations(
    angle: float, sd: float, word: str
) -> None:
    assert standing(angle, sd, 100.0, 120.0) == word


def test_undecided_strokes_are_drawn_open() -> None:
    tables = plausible_tables()
    fig = figures.draw_elbows(tables["arm_strokes"], tables["lengths"], 100.0, 120.0)
    open_ = [t for t in fig.data if t.name == "left stroke, undecided"]
    assert open_
    assert open_[0].marker.symbol.endswith("-open")
    assert "undecided" in figures.alt_of(fig)


def test_the_bar_of_a_length_is_called_its_uncertainty_not_the_scatter_of_its_strokes() -> None:
    tables = plausible_tables()
    fig = figures.draw_elbows(tables["arm_strokes"], tables["lengths"], 100.0, 120.0)
    assert {t.name for t in fig.data if t.error_y.array} == {"median ± twice its uncertainty"}


def test_the_axis_holds_every_stroke_each_bar_and_the_band() -> None:
    tables = plausible_tables()
    lengths = tables["lengths"].assign(elbow_angle_left_deg=130.0, elbow_sd_left_deg=20.0)
    fig = figures.draw_elbows(tables["arm_strokes"], lengths, 60.0, 120.0)
    for axis in fig.select_yaxes():
        low, high = axis.range
        assert low < 60.0
        assert high > 170.0
        assert low < min(tables["arm_strokes"]["elbow_angle_deg"].dropna())
