"""Which way up a wrist sensor sits, from the pull on it as the arm turns."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from scipy.spatial.transform import Rotation

from sensorswim.model import Quality, Recording, Track
from sensorswim.signal.standing import who_stands
from sensorswim.swim.wrist_strap import align_wrist
from sensorswim.units import STANDARD_GRAVITY_M_S2
from tests.swim.swum import P

RATE_HZ = 50.0
PHASES = np.array([0.0, 0.35, 0.45, 0.7, 0.75, 0.9, 1.0])
TILTS_DEG = {
    "low": np.array([5.0, 5.0, -75.0, -75.0, -40.0, 10.0, 5.0]),
    "straight": np.array([5.0, 5.0, -75.0, -60.0, 60.0, 75.0, 5.0]),
}
"""A reach ahead, a pull with the forearm hanging, a low recovery or that of a straight arm."""
FOREARM_M = 0.3


@pytest.mark.parametrize("askew_deg", [-25.0, 0.0, 25.0])
@pytest.mark.parametrize("turned", [False, True], ids=["right way up", "wrong way up"])
@pytest.mark.parametrize("recovery", ["low", "straight"])
def test_neither_strap_nor_recovery_hides_which_way_up_a_wrist_sensor_is(
    askew_deg: float, turned: bool, recovery: str
) -> None:
    """The wrist turns about the elbow: the centre draws it by the square of the turn rate."""
    time_s = np.arange(0.0, 60.0, 1.0 / RATE_HZ)
    tilt_deg = askew_deg + np.interp(time_s / 1.6 % 1.0, PHASES, TILTS_DEG[recovery])
    forearm = Rotation.from_rotvec(np.outer(-np.radians(tilt_deg), [0.0, 1.0, 0.0]))
    q = forearm * Rotation.from_rotvec([0.0, 0.0, np.pi if turned else 0.0])
    turn_rad_s = np.gradient(np.radians(tilt_deg), 1.0 / RATE_HZ)
    drawn, ahead = FOREARM_M * turn_rad_s**2, forearm.apply([1.0, 0.0, 0.0])
    track = Track(
        placement=P.LEFT_WRIST,
        accel_m_s2=q.inv().apply([0.0, 0.0, STANDARD_GRAVITY_M_S2] - drawn[:, None] * ahead),
        gyro_rad_s=np.outer(turn_rad_s, [0.0, 1.0, 0.0]),
        valid=np.ones(len(time_s), dtype=bool),
        source_rate_hz=RATE_HZ,
        q_world_from_sensor=q.as_quat(scalar_first=True),
    )
    recording = Recording(rate_hz=RATE_HZ, time_s=time_s, tracks={P.LEFT_WRIST: track})
    quality = Quality()
    lengths = pd.DataFrame({"start_s": [1.0], "end_s": [59.0]})
    align_wrist(recording, track, lengths, who_stands(recording, lengths), quality)
    assert ("strap_wrong_way_up" in quality.codes()) is turned
