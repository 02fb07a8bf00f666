"""From acceleration and turn rate to orientation, per contiguous piece.

The world frame is right-handed with z up. Its heading is free: no magnetometer is used, because
the steel of pool walls and starting blocks bends the field by tens of degrees; behind a gap it goes
on as before it, as near as can be told.

Source: Laidig & Seel, VQF, Information Fusion 91 (2023), doi 10.1016/j.inffus.2022.10.014, offline
variant, default parameters, on exactly summed blocks of samples (`blocks`). Like every filter that
adds up rate times step it runs half a sample ahead (5 ms at 100 Hz); the low-pass inside real
sensors delays by a few milliseconds, and on the optical reference data of BROAD the two about
cancel, so nothing is shifted here. The filters of the package ``ahrs`` are there to choose and to
check.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import Final

import ahrs
import numpy as np
from scipy.spatial.transform import Rotation

from sensorswim.errors import SettingsError
from sensorswim.model import Limb, Recording, Settings, Track
from sensorswim.model.streams import FloatArray
from sensorswim.signal.blocks import vqf_offline
from sensorswim.signal.regular import valid_pieces
from sensorswim.signal.rotations import from_up, multiply, rotate
from sensorswim.units import STANDARD_GRAVITY_M_S2

Estimator = Callable[[FloatArray, FloatArray, float], FloatArray]

_TILT_WINDOW_S: Final = 0.1
_SHORT_PIECE: Final = 4
_ARMS: Final = (Limb.WRIST, Limb.UPPER_ARM)
_CYCLES_S: Final = 4.0


def orient(recording: Recording, settings: Settings) -> Recording:
    """Return the recording with `q_world_from_sensor` filled in every track.

    Parameters
    ----------
    recording : Recording
        On its regular grid.
    settings : Settings
        `orientation_filter` chooses the method, see `ESTIMATORS`.

    Returns
    -------
    Recording
        New; quaternions are (N, 4), scalar first, unit and finite everywhere. Inside gaps the
        last one is held: no event may rest there (`Track.valid`).

    Raises
    ------
    SettingsError
        The filter isn't known.
    """
    estimator = ESTIMATORS.get(settings.orientation_filter)
    if estimator is None:
        raise SettingsError(
            f"orientation_filter {settings.orientation_filter!r} isn't known",
            where="settings",
            mend=f"choose one of {', '.join(ESTIMATORS)}",
        )
    tracks = {
        place: replace(track, q_world_from_sensor=_oriented(track, recording.rate_hz, estimator))
        for place, track in recording.tracks.items()
    }
    return replace(recording, tracks=tracks)


def accel_world(track: Track) -> FloatArray:
    """Return the acceleration of an oriented track in the world frame, gravity taken off.

    Returns
    -------
    (N, 3)
        m/s^2, z up; meaningless inside gaps.

    Raises
    ------
    ValueError
        The track has no orientation yet: a defect of the caller.
    """
    if track.q_world_from_sensor is None:
        raise ValueError("the track has no orientation; call orient first")
    out = rotate(track.q_world_from_sensor, track.accel_m_s2)
    out[:, 2] -= STANDARD_GRAVITY_M_S2
    return out


def initial_tilt(accel_m_s2: FloatArray, rate_hz: float) -> FloatArray:
    """Return the start quaternion (4,) from the mean specific force of the first 0.1 s."""
    count = max(1, int(_TILT_WINDOW_S * rate_hz))
    return from_up(accel_m_s2[:count].mean(axis=0))


def _oriented(track: Track, rate_hz: float, estimator: Estimator) -> FloatArray:
    """Run the estimator over each contiguous piece and hold its last value over the gap after.

    Nothing tells where a piece heads but the one before: a limb goes on as it was. A wrist may be
    anywhere in its cycle before and behind the gap, so it is its mean over some cycles that does.
    """
    out = np.tile(np.array([1.0, 0.0, 0.0, 0.0]), (len(track.valid), 1))
    pieces = valid_pieces(track.valid)
    if not pieces:
        return out
    count = int(_CYCLES_S * rate_hz) if track.placement.limb in _ARMS else 1
    ends = [piece.start for piece in pieces[1:]] + [len(track.valid)]
    before = np.empty((0, 4))
    for piece, end in zip(pieces, ends, strict=True):
        accel, gyro = track.accel_m_s2[piece], track.gyro_rad_s[piece]
        short = len(accel) < _SHORT_PIECE
        q = from_up(accel) if short else estimator(gyro, accel, rate_hz)
        q = _heading_on(q, before, count) if len(before) else q
        out[piece], out[piece.stop : end] = q, q[-1]
        before = np.concatenate([before, q])[-count:]
    out[: pieces[0].start] = out[pieces[0].start]
    return out


def _heading_on(q: FloatArray, before: FloatArray, count: int) -> FloatArray:
    """Return orientations (N, 4) turned about the vertical so that the first go on from others.

    The means of the first `count` and of those before come as near each other as can be.
    """
    ours, theirs = (
        Rotation.from_quat(part, scalar_first=True).as_matrix().mean(axis=0)
        for part in (before, q[:count])
    )
    apart = ours @ theirs.T
    half = 0.5 * np.arctan2(apart[1, 0] - apart[0, 1], apart[0, 0] + apart[1, 1])
    return multiply(np.array([np.cos(half), 0.0, 0.0, np.sin(half)]), q)


def _madgwick(gyro_rad_s: FloatArray, accel_m_s2: FloatArray, rate_hz: float) -> FloatArray:
    """Gradient descent; its quaternion already turns sensor to a world with z up."""
    q0 = initial_tilt(accel_m_s2, rate_hz)
    return ahrs.filters.Madgwick(gyr=gyro_rad_s, acc=accel_m_s2, frequency=rate_hz, q0=q0).Q


def _mahony(gyro_rad_s: FloatArray, accel_m_s2: FloatArray, rate_hz: float) -> FloatArray:
    """Complementary on the rotation group; sensor to a world with z up."""
    q0 = initial_tilt(accel_m_s2, rate_hz)
    return ahrs.filters.Mahony(gyr=gyro_rad_s, acc=accel_m_s2, frequency=rate_hz, q0=q0).Q


def _ekf(gyro_rad_s: FloatArray, accel_m_s2: FloatArray, rate_hz: float) -> FloatArray:
    """Run the extended Kalman filter.

    Its "NED" reference expects the accelerometer to read +z at rest, which is specific force in
    a frame with z up; "ENU" expects -z and would turn everything upside down.
    """
    q0 = initial_tilt(accel_m_s2, rate_hz)
    return ahrs.filters.EKF(gyr=gyro_rad_s, acc=accel_m_s2, frequency=rate_hz, frame="NED", q0=q0).Q


def _complementary(gyro_rad_s: FloatArray, accel_m_s2: FloatArray, rate_hz: float) -> FloatArray:
    """Roll and pitch angles only: the heading stays zero, so horizontal directions are lost."""
    filtered = ahrs.filters.Complementary(gyr=gyro_rad_s, acc=accel_m_s2, frequency=rate_hz)
    return np.asarray(filtered.Q)


ESTIMATORS: Final[dict[str, Estimator]] = {
    "vqf": vqf_offline,
    "madgwick": _madgwick,
    "mahony": _mahony,
    "ekf": _ekf,
    "complementary": _complementary,
}
"""The values of the setting `orientation_filter`."""
