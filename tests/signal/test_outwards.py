"""Which way up a sensor sits, told from a pendulum and from a push, on frames made with scipy."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from scipy.spatial.transform import Rotation

from sensorswim.model import Placement, Recording, Track
from sensorswim.signal.outwards import crownwards, outwards
from sensorswim.signal.standing import stand, who_stands
from sensorswim.units import STANDARD_GRAVITY_M_S2

RATE_HZ = 50.0
TIME_S = np.arange(0.0, 40.0, 1.0 / RATE_HZ)
UP = np.array([0.0, 0.0, 1.0])
LENGTHS = pd.DataFrame({"start_s": [25.0], "end_s": [39.0]})


def _track(place: Placement, body: Rotation, accel_m_s2: np.ndarray, *, turned: bool) -> Track:
    """Return a sensor that feels this world acceleration; turned = the casing's x axis reversed."""
    q = body * Rotation.from_rotvec([0.0, 0.0, np.pi if turned else 0.0])
    return Track(
        placement=place,
        accel_m_s2=q.inv().apply(accel_m_s2 + STANDARD_GRAVITY_M_S2 * UP),
        gyro_rad_s=np.zeros((len(TIME_S), 3)),
        valid=np.ones(len(TIME_S), dtype=bool),
        source_rate_hz=RATE_HZ,
        q_world_from_sensor=q.as_quat(scalar_first=True),
    )


def _pitched(deg: np.ndarray) -> Rotation:
    return Rotation.from_rotvec(np.outer(-np.radians(deg), [0.0, 1.0, 0.0]))


@pytest.mark.parametrize("turned", [False, True])
@pytest.mark.parametrize("middle_deg", [-90.0, 0.0, 90.0])
def test_the_end_of_a_limb_that_swings_is_drawn_to_its_joint(
    middle_deg: float, turned: bool
) -> None:
    """A point 0.4 m from the joint, by second differences; hanging, level, upside down."""
    swing = _pitched(middle_deg + 60.0 * np.sin(2.0 * np.pi * TIME_S / 1.5))
    path_m = 0.4 * swing.apply([1.0, 0.0, 0.0])
    accel = np.gradient(np.gradient(path_m, 1.0 / RATE_HZ, axis=0), 1.0 / RATE_HZ, axis=0)
    track = _track(Placement.LEFT_ANKLE, swing, accel, turned=turned)
    assert outwards(track, TIME_S > 1.0) == (-1.0 if turned else 1.0)
    assert outwards(track, TIME_S < 0.0) == 0.0


def test_a_limb_that_rests_tells_nothing() -> None:
    still = _track(Placement.LEFT_ANKLE, _pitched(0.0 * TIME_S), np.zeros((len(TIME_S), 3)),
                   turned=False)  # fmt: skip
    assert outwards(still, TIME_S > 0.0) == 0.0


def _trunk(*, turned: bool) -> Recording:
    """Return a lower back: held head down for 12 s, stood on for 6 s, then pushed off level."""
    deg = np.select([TIME_S < 12.0, TIME_S < 18.0], [-85.0, 85.0], 0.0)
    pushed = 10.0 * ((TIME_S >= 25.0) & (TIME_S < 25.3))
    accel = np.outer(pushed, [1.0, 0.0, 0.0])
    track = _track(Placement.LOWER_BACK, _pitched(deg), accel, turned=turned)
    return Recording(rate_hz=RATE_HZ, time_s=TIME_S, tracks={track.placement: track})


@pytest.mark.parametrize("turned", [False, True])
def test_a_trunk_is_driven_to_the_crown_and_stands_that_way_up(turned: bool) -> None:
    """The longer rest was in a hand: a swimmer doesn't stand on the head."""
    recording = _trunk(turned=turned)
    track = recording.tracks[Placement.LOWER_BACK]
    sign = -1.0 if turned else 1.0
    assert crownwards(recording, track, np.array([25.0])) == sign
    assert crownwards(recording, track, np.empty(0)) == 0.0
    upright = who_stands(recording, LENGTHS)
    assert upright.down == {Placement.LOWER_BACK: -sign}
    stood = stand(upright.still(recording, track), upright.share, 3.0 * RATE_HZ)
    assert stood is not None
    np.testing.assert_allclose(TIME_S[stood][[0, -1]], [12.0, 18.0], atol=0.05)
