"""What was measured on video reaches the tables, and only where it belongs."""

from __future__ import annotations

from typing import Any

import numpy as np
import pandas as pd
import pytest

from sensorswim.metrics.video_marks import PICTURE_SD_DEG, breath_steps, with_video_elbows
from sensorswim.model.tables import frame


def strokes() -> pd.DataFrame:
    rows = [
        {"length_no": 1, "side": side, "mid_pull_s": time_s, "elbow_angle_deg": 140.0,
         "elbow_sd_deg": 9.0, "elbow_source": "wrist_model", "elbow_front_deg": 144.0,
         "elbow_side_deg": 168.0, "elbow_below_deg": 20.0}
        for side, time_s in (("left", 10.0), ("right", 11.0), ("left", 12.0))
    ]  # fmt: skip
    return frame("arm_strokes", rows)


def mark(
    kind: str, session_s: float | None, value: float | None = None, view: str = "front"
) -> dict[str, Any]:
    return {"kind": kind, "session_s": session_s, "value": value, "unit": "deg", "view": view}


def marked(*rows: dict[str, Any], table: pd.DataFrame | None = None) -> pd.DataFrame:
    return with_video_elbows(strokes() if table is None else table, frame("marks", list(rows)))


@pytest.mark.parametrize("view", ["front", "rear"])
@pytest.mark.parametrize("kind", ["left_elbow_angle", "elbow_angle"])
def test_a_picture_that_shows_the_bend_nearly_whole_gives_the_angle_in_space(
    kind: str, view: str
) -> None:
    table = marked(mark(kind, 12.1, 118.0, view))
    assert list(table["elbow_angle_deg"]) == [140.0, 140.0, 114.0]
    assert list(table["elbow_source"]) == ["wrist_model", "wrist_model", "video"]
    assert table["elbow_sd_deg"].iloc[2] == pytest.approx(np.hypot(PICTURE_SD_DEG, 2.0))
    assert table["picture_angle_deg"].iloc[2] == 118.0
    assert table["picture_view"].iloc[2] == view


@pytest.mark.parametrize("view", ["side", "below", "above", "", "from the moon"])
def test_a_picture_that_doesnt_is_kept_apart(view: str) -> None:
    table = marked(mark("left_elbow_angle", 12.1, 160.0, view))
    assert list(table["elbow_angle_deg"]) == [140.0] * 3
    assert set(table["elbow_source"]) == {"wrist_model"}
    assert table["picture_angle_deg"].iloc[2] == 160.0


def test_an_upper_arm_sensor_outranks_a_picture() -> None:
    table = marked(
        mark("left_elbow_angle", 12.1, 118.0), table=strokes().assign(elbow_source="upper_arm")
    )
    assert list(table["elbow_angle_deg"]) == [140.0] * 3
    assert table["picture_angle_deg"].iloc[2] == 118.0


def test_without_a_modelled_arm_a_picture_stays_a_picture() -> None:
    table = marked(mark("left_elbow_angle", 12.1, 118.0),
                   table=strokes().assign(elbow_angle_deg=np.nan))  # fmt: skip
    assert table["elbow_angle_deg"].isna().all()
    assert table["picture_angle_deg"].iloc[2] == 118.0


@pytest.mark.parametrize(
    "row",
    [
        mark("left_elbow_angle", 11.0, 118.0),
        mark("left_elbow_angle", None, 118.0),
        mark("left_elbow_angle", 12.0),
        mark("knee_gap", 12.0, 0.3),
    ],
)
def test_other_marks_change_no_stroke(row: dict[str, Any]) -> None:
    table = marked(row)
    pd.testing.assert_frame_equal(table, strokes())


def test_times_between_the_steps_of_a_breath() -> None:
    marks = [
        mark("face_back", 20.9), mark("exhale_start", 19.0), mark("mouth_clear", 20.2),
        mark("breath_in", 20.3), mark("exhale_start", 23.0), mark("mouth_clear", 24.4),
    ]  # fmt: skip
    breaths = frame("breaths", [{"length_no": 1, "side": "left", "peak_s": 20.5, "hold_s": 0.8}])
    table = breath_steps(frame("marks", marks), breaths)
    assert len(table) == 2
    first = table.iloc[0]
    assert first["exhale_s"] == pytest.approx(1.2)
    assert first["mouth_out_s"] == pytest.approx(0.7)
    assert first["inhale_s"] == pytest.approx(0.6)
    assert first["sensor_peak_s"] == 20.5
    assert first["peak_minus_breath_in_s"] == pytest.approx(0.2)
    assert table["inhale_s"].isna().iloc[1]
    assert table["sensor_peak_s"].isna().iloc[1]


def test_no_marks_give_an_empty_table() -> None:
    assert breath_steps(frame("marks", []), frame("breaths", [])).empty
