"""The film of the invented swimmer shows its own geometry, at its own times."""

from __future__ import annotations

import numpy as np
import pytest

from sensorswim.errors import InputError
from sensorswim.rehearsal import Kit, Knocks, Length, Plan, Rehearsal, Swimmer, rehearse
from sensorswim.rehearsal.film import HEIGHT_PX, WIDTH_PX, Camera, clicks, frames


@pytest.fixture(scope="module")
def swum() -> Rehearsal:
    plan = Plan(segments=(Knocks(), Length(turn="stop")))
    return rehearse(plan, swimmer=Swimmer(height_m=1.8), kit=Kit(clock_offset_s=50.0), seed=2)


def test_the_limbs_keep_their_lengths(swum: Rehearsal) -> None:
    joints = swum.truth_extra["skeleton"].joints_m
    pairs = {("shoulder", "elbow"): 0.186, ("elbow", "wrist"): 0.146, ("knee", "ankle"): 0.246}
    for (a, b), share in pairs.items():
        size = np.linalg.norm(joints[f"left_{a}"] - joints[f"left_{b}"], axis=1)
        assert size == pytest.approx(share * 1.8, rel=1e-3)


def test_the_joints_are_in_session_time(swum: Rehearsal) -> None:
    skeleton = swum.truth_extra["skeleton"]
    strokes = swum.truth["arm_strokes"].dropna(subset=["mid_pull_s"])
    for row in strokes.head(6).to_dict("records"):
        joints = skeleton.at(row["mid_pull_s"])
        ahead = joints[f"{row['side']}_wrist"][0] - joints[f"{row['side']}_shoulder"][0]
        assert abs(ahead) < 0.06


def test_near_limbs_are_drawn_where_the_camera_sees_them(swum: Rehearsal) -> None:
    start = float(swum.truth["lengths"]["start_s"].iloc[0]) + 6.0
    image = next(frames(swum.truth_extra["skeleton"], start_s=start, count=1, rate_hz=25))
    assert image.shape == (HEIGHT_PX, WIDTH_PX, 3)
    joints = swum.truth_extra["skeleton"].at(start)
    hip, knee = (
        Camera().project(joints[f"right_{name}"], joints["pelvis"]) for name in ("hip", "knee")
    )
    x, y = np.round(0.5 * (hip + knee)).astype(int)
    assert tuple(image[y, x]) == (181, 105, 10)


def test_each_knock_is_a_click_at_its_time(swum: Rehearsal) -> None:
    knocks = swum.truth_extra["knocks_s"]
    sound = clicks(knocks, start_s=knocks[0] - 1.0, duration_s=4.0)
    loud = np.flatnonzero(np.abs(sound) > 0.3) / 48000
    heard = loud[np.r_[True, np.diff(loud) > 0.1]]
    assert heard == pytest.approx(np.array(knocks[:3]) - knocks[0] + 1.0, abs=0.001)


def test_another_view_is_refused() -> None:
    with pytest.raises(InputError, match="no view 'above'"):
        Camera(view="above")
