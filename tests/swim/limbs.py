"""Limbs whose movement is laid down by hand, as an oriented recording."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from scipy.spatial.transform import Rotation

from sensorswim.model import Placement, Recording, Track
from sensorswim.model.streams import FloatArray

RATE_HZ = 100.0
G = np.array([0.0, 0.0, 9.80665])


def limb(placement: Placement, tilt_rad: FloatArray, ahead_m_s2: FloatArray) -> Track:
    """Return a sensor whose long axis tilts up from the world's x, accelerated along x."""
    q = Rotation.from_rotvec(np.outer(-tilt_rad, [0.0, 1.0, 0.0])).as_quat(scalar_first=True)
    world = G + np.outer(ahead_m_s2, [1.0, 0.0, 0.0])
    return Track(
        placement=placement,
        accel_m_s2=Rotation.from_quat(q, scalar_first=True).inv().apply(world),
        gyro_rad_s=np.outer(np.gradient(-tilt_rad, 1.0 / RATE_HZ), [0.0, 1.0, 0.0]),
        valid=np.ones(len(tilt_rad), dtype=bool),
        source_rate_hz=RATE_HZ,
        q_world_from_sensor=q,
    )


def askew(track: Track, over_rad: FloatArray) -> Track:
    """Return a sensor on a limb that turns about its long axis, its strap 20 degrees askew."""
    turn = Rotation.from_rotvec(np.outer(over_rad, [1.0, 0.0, 0.0]))
    strap = Rotation.from_euler("z", 20.0, degrees=True)
    about = np.outer(np.gradient(over_rad, 1.0 / RATE_HZ), [1.0, 0.0, 0.0])
    q = Rotation.from_quat(track.q_world_from_sensor, scalar_first=True) * turn * strap
    return replace(
        track,
        accel_m_s2=strap.inv().apply(turn.inv().apply(track.accel_m_s2)),
        gyro_rad_s=strap.inv().apply(turn.inv().apply(track.gyro_rad_s) + about),
        q_world_from_sensor=q.as_quat(scalar_first=True),
    )


def recording_of(time_s: FloatArray, *tracks: Track) -> Recording:
    return Recording(rate_hz=RATE_HZ, time_s=time_s, tracks={t.placement: t for t in tracks})
