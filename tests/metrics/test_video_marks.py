"""What was measured on video reaches the tables, and only where it belongs."""

from __future__ import annotations

from typing import Any

import pandas as pd
import pytest

from sensorswim.metrics.video_marks import breath_steps, with_video_elbows
from sensorswim.model.tables import frame


def strokes() -> pd.DataFrame:
    rows = [
        {"length_no": 1, "side": side, "mid_pull_s": time_s, "elbow_angle_deg": 140.0,
         "elbow_sd_deg": 9.0, "elbow_source": "wrist_model"}
        for side, time_s in (("left", 10.0), ("right", 11.0), ("left", 12.0))
    ]  # fmt: skip
    return frame("arm_strokes", rows)


def mark(kind: str, session_s: float | None, value: float | None = None) -> dict[str, Any]:
    return {"kind": kind, "session_s": session_s, "value": value, "unit": "deg"}


def test_an_elbow_on_video_takes_the_place_of_the_estimate_of_its_own_stroke() -> None:
    table = with_video_elbows(strokes(), frame("marks", [mark("left_elbow_angle", 12.1, 118.0)]))
    assert list(table["elbow_angle_deg"]) == [140.0, 140.0, 118.0]
    assert list(table["elbow_source"]) == ["wrist_model", "wrist_model", "video"]
    assert pd.isna(table["elbow_sd_deg"].iloc[2])


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
    table = with_video_elbows(strokes(), frame("marks", [row]))
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
