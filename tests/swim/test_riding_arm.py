"""In one-arm crawl the other arm lies ahead and only rolls with the body."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from sensorswim.swim.strokes import follow_wrists
from tests.swim.swum import P, swim

WRISTS = (P.LEFT_WRIST, P.RIGHT_WRIST)


@pytest.mark.parametrize("roll_deg", [40.0, 50.0])
def test_an_arm_that_rolls_with_the_body_swims_no_strokes(roll_deg: float) -> None:
    rehearsal, recording = swim(seed=31, lengths=1, kit={"placements": WRISTS})
    lengths = rehearsal.truth["lengths"]
    strokes = rehearsal.truth["arm_strokes"]
    left = strokes[strokes["side"] == "left"]
    own = recording.tracks[P.RIGHT_WRIST]
    in_step = 2.0 * np.pi * recording.time_s / float(np.nanmedian(np.diff(left["entry_s"])))
    along = np.outer(np.radians(roll_deg) * np.sin(in_step), [1.0, 0.4, 0.0])
    ahead = replace(own, q_world_from_sensor=Rotation.from_rotvec(along).as_quat(scalar_first=True))
    rolling = replace(recording, tracks=recording.tracks | {P.RIGHT_WRIST: ahead})
    straps = dict.fromkeys(WRISTS, np.eye(3))
    both = {side.value for _, side in follow_wrists(recording, lengths, straps)}
    assert both == {"left", "right"}
    assert {side.value for _, side in follow_wrists(rolling, lengths, straps)} == {"left"}
