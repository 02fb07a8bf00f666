"""What a coach measured on video, beside what the sensors say."""

from __future__ import annotations

from typing import Any, Final

import numpy as np
import pandas as pd

from sensorswim.model.tables import VIEWS, frame

ELBOW_KINDS: Final = {
    "left_elbow_angle": ("left",),
    "right_elbow_angle": ("right",),
    "elbow_angle": ("left", "right"),
}
"""Kinds of marks that are elbow angles, and the arms that they may belong to."""

PICTURE_SD_DEG: Final = 5.0
"""Of an angle picked in a picture: three points, and a camera not quite square (our choice)."""

_SAME_AS: Final = {"rear": "front", "above": "below"}
_NEARLY_WHOLE_DEG: Final = 15.0
BREATH_STEPS: Final = ("exhale_start", "mouth_clear", "breath_in", "face_back")
_NEAR_MID_PULL_S: Final = 0.15
_ONE_BREATH_S: Final = 4.0


def seen_from(view: str) -> str:
    """Return the view of `VIEWS` that shows the same projection, "" for a view that isn't known."""
    view = _SAME_AS.get(view, view)
    return view if view in VIEWS else ""


def with_video_elbows(arm_strokes: pd.DataFrame, marks: pd.DataFrame) -> pd.DataFrame:
    """Return the strokes with the elbow angles that were measured in pictures at mid-pull.

    A mark of kind ``left_elbow_angle``, ``right_elbow_angle`` or ``elbow_angle`` (either arm)
    belongs to the nearest mid-pull within 0.15 s. A picture sees a projection, so its angle is
    kept apart (`picture_angle_deg`, `picture_view`).

    Where the modelled arm shows its bend nearly whole in that view (within 15 degrees), the
    picture also gives the angle in space: plus what the modelled arm loses in the projection, half
    of which counts as uncertain. Then `elbow_source` is ``video``, unless an upper-arm sensor
    gave the angle.
    """
    angles = marks[marks["kind"].isin(list(ELBOW_KINDS)).fillna(value=False)]
    angles = angles.dropna(subset=["session_s", "value"])
    if angles.empty or arm_strokes.empty:
        return arm_strokes
    strokes = arm_strokes.copy()
    for mark in angles.to_dict("records"):
        own = strokes["side"].isin(ELBOW_KINDS[mark["kind"]]).fillna(value=False)
        away = (strokes["mid_pull_s"] - mark["session_s"]).abs().where(own)
        if not (away <= _NEAR_MID_PULL_S).any():
            continue
        row = away.idxmin()
        view = "" if pd.isna(mark["view"]) else str(mark["view"])
        strokes.loc[row, "picture_angle_deg"] = mark["value"]
        strokes.loc[row, "picture_view"] = view
        lost = _lost_deg(arm_strokes.loc[row], seen_from(view))
        if abs(lost) <= _NEARLY_WHOLE_DEG and arm_strokes.loc[row, "elbow_source"] != "upper_arm":
            strokes.loc[row, "elbow_angle_deg"] = min(mark["value"] + lost, 180.0)
            strokes.loc[row, "elbow_sd_deg"] = float(np.hypot(PICTURE_SD_DEG, 0.5 * lost))
            strokes.loc[row, "elbow_source"] = "video"
    return frame("arm_strokes", strokes)


def _lost_deg(stroke: pd.Series[Any], view: str) -> float:
    """Return how much less of its angle the modelled arm shows in a view, NaN if not known."""
    if not view or pd.isna(stroke["elbow_angle_deg"]) or pd.isna(stroke[f"elbow_{view}_deg"]):
        return float("nan")
    return float(stroke["elbow_angle_deg"] - stroke[f"elbow_{view}_deg"])


def breath_steps(marks: pd.DataFrame, breaths: pd.DataFrame) -> pd.DataFrame:
    """Return one row for each breath that was marked on video.

    A breath's marks are those of the kinds in `BREATH_STEPS` that lie within 4 s of its first.

    Returns
    -------
    DataFrame
        The moments of `BREATH_STEPS` (suffix ``_s``); exhale_s (start of the exhale to the
        mouth clear), mouth_out_s (mouth clear to face back), inhale_s (breath in to face back);
        sensor_peak_s, sensor_hold_s and peak_minus_breath_in_s of the nearest breath that the
        sensors found within 1.5 s.
    """
    own = marks[marks["kind"].isin(list(BREATH_STEPS)).fillna(value=False)]
    own = own.dropna(subset=["session_s"]).sort_values("session_s")
    groups: list[dict[str, float]] = []
    for mark in own.to_dict("records"):
        late = groups and mark["session_s"] - min(groups[-1].values()) < _ONE_BREATH_S
        if not late or f"{mark['kind']}_s" in groups[-1]:
            groups.append({})
        groups[-1][f"{mark['kind']}_s"] = float(mark["session_s"])
    columns = [f"{step}_s" for step in BREATH_STEPS]
    table = pd.DataFrame(groups, columns=columns, dtype=float)
    table["exhale_s"] = table["mouth_clear_s"] - table["exhale_start_s"]
    table["mouth_out_s"] = table["face_back_s"] - table["mouth_clear_s"]
    table["inhale_s"] = table["face_back_s"] - table["breath_in_s"]
    return table.join(_sensed(table[columns], breaths))


def _sensed(moments: pd.DataFrame, breaths: pd.DataFrame) -> pd.DataFrame:
    known = breaths.dropna(subset=["peak_s"])
    middle = moments[["mouth_clear_s", "breath_in_s", "face_back_s"]].mean(axis=1)
    rows = []
    for moment, breath_in in zip(middle.fillna(moments.min(axis=1)), moments["breath_in_s"],
                                 strict=True):  # fmt: skip
        away = (known["peak_s"] - moment).abs()
        if not (away < 1.5).any():
            rows.append((np.nan, np.nan, np.nan))
            continue
        near = known.loc[away.idxmin()]
        rows.append((near["peak_s"], near["hold_s"], near["peak_s"] - breath_in))
    names = ["sensor_peak_s", "sensor_hold_s", "peak_minus_breath_in_s"]
    return pd.DataFrame(rows, columns=names, index=moments.index, dtype=float)
