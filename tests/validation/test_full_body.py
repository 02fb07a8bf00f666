"""The elbow of two sensors on a real arm; the recording isn't kept here.

Body segments at 100 Hz, the example data of qmt (github.com/dlaidig/qmt, examples/, MIT, (c) 2021
Bo Yang). Its orientations are another filter's, with magnetometers and aligned with the segments
(y along them), not optical: this shows agreement, not accuracy. No swimming in it.
"""

from __future__ import annotations

import os
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pytest
from scipy.io import loadmat
from scipy.spatial.transform import Rotation

from sensorswim.model import Limb, Placement, Recording, Settings, Side, Track
from sensorswim.model.streams import FloatArray
from sensorswim.signal import orient
from sensorswim.swim.upper_arm import joint_accel, lag, turn_between, turned
from sensorswim.units import STANDARD_GRAVITY_M_S2

FOLDER = Path(os.environ.get("SENSORSWIM_OPEN_DATA", "../shared/open_data")) / "full_body"
FILE = FOLDER / "full_body_example_data.mat"
RATE_HZ = 100.0
LEVER_M = (0.12, -0.16)
"""From the middle of the forearm and of the upper arm to the elbow, along the segment, for a body
of usual size; where the sensors sat is not told."""
WINDOW = 500
MOVES_M_S2 = 1.5

pytestmark = pytest.mark.skipif(
    not FILE.exists(), reason=f"needs {FILE}: qmt's example data, see the docstring"
)


@dataclass(frozen=True, kw_only=True)
class Segment:
    """A segment by our orientation and by theirs.

    Parameters
    ----------
    along : (N, 3)
        Its axis towards the body in our world, whose heading is the sensor's own.
    their_along : (N, 3)
    accel : (N, 3)
        In our world, without gravity.
    """

    along: FloatArray
    their_along: FloatArray
    accel: FloatArray


def segment(name: str, place: Placement) -> Segment:
    data = loadmat(FILE, squeeze_me=True, struct_as_record=False)[name]
    track = Track(
        placement=place, accel_m_s2=data.acc, gyro_rad_s=data.gyr,
        valid=np.ones(len(data.acc), dtype=bool), source_rate_hz=RATE_HZ,
    )  # fmt: skip
    time_s = np.arange(len(data.acc)) / RATE_HZ
    recording = Recording(rate_hz=RATE_HZ, time_s=time_s, tracks={place: track})
    ours = Rotation.from_quat(
        orient(recording, Settings()).tracks[place].q_world_from_sensor, scalar_first=True
    )
    theirs = Rotation.from_quat(data.quat, scalar_first=True)
    up = np.array([0.0, 0.0, 1.0])
    segment_from_sensor, _ = Rotation.align_vectors(theirs.inv().apply(up), ours.inv().apply(up))
    y = np.array([0.0, 1.0, 0.0])
    return Segment(
        along=ours.apply(segment_from_sensor.inv().apply(y)),
        their_along=theirs.apply(y),
        accel=ours.apply(data.acc) - STANDARD_GRAVITY_M_S2 * up,
    )


def elbow_deg(forearm: FloatArray, upper: FloatArray) -> FloatArray:
    return 180.0 - np.degrees(np.arccos((forearm * upper).sum(axis=1).clip(-1.0, 1.0)))


def windows(
    forearm: Segment, upper: Segment, *, sign: float = 1.0
) -> tuple[list[float], list[float]]:
    """Return likeness of the elbow's rise and fall, and RMS difference of the angle in degrees."""
    ours, theirs = (
        joint_accel(one.accel, sign * lever * one.along, RATE_HZ)
        for one, lever in zip((forearm, upper), LEVER_M, strict=True)
    )
    alike, apart = [], []
    for first in range(0, len(ours), WINDOW):
        rows = slice(first, first + WINDOW)
        if np.sqrt(np.mean(ours[rows] ** 2)) < MOVES_M_S2:
            continue
        alike.append(lag(ours[rows, 2], theirs[rows, 2], 5)[1])
        turn = np.angle(turn_between(ours[rows], theirs[rows]))
        found = elbow_deg(forearm.along[rows], turned(upper.along[rows], np.full(WINDOW, turn)))
        wanted = elbow_deg(forearm.their_along[rows], upper.their_along[rows])
        apart.append(float(np.sqrt(np.mean((found - wanted) ** 2))))
    return alike, apart


@pytest.mark.parametrize("side", list(Side))
def test_two_sensors_agree_with_another_system_about_a_real_elbow(side: Side) -> None:
    forearm = segment(f"forearm_{side}", Placement.of(Limb.WRIST, side))
    upper = segment(f"upper_arm_{side}", Placement.of(Limb.UPPER_ARM, side))
    alike, apart = windows(forearm, upper)
    print(f"{side}: elbow alike {np.median(alike):.2f}, angle apart {np.median(apart):.1f} deg RMS "
          f"(worst {max(apart):.1f}) over {len(apart)} stretches of 5 s")  # fmt: skip
    assert len(apart) >= 8
    assert np.median(alike) > 0.85
    assert np.median(apart) < 8.0


def test_a_joint_on_the_wrong_end_of_the_segments_is_seen() -> None:
    forearm = segment("forearm_right", Placement.RIGHT_WRIST)
    upper = segment("upper_arm_right", Placement.of(Limb.UPPER_ARM, Side.RIGHT))
    right, wrong = (np.median(windows(forearm, upper, sign=s)[0]) for s in (1.0, -1.0))
    assert wrong < right - 0.15
