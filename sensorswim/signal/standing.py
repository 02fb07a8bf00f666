"""When the swimmer stood still: what the straps are worked out from.

A sensor that lies about before the swim is as still as one that is worn, and may happen to be
upright. A stand is the stretch in which the most sensors are.
"""

from __future__ import annotations

from typing import Final

import numpy as np
from scipy.ndimage import label, uniform_filter1d

from sensorswim.model import Recording, Track
from sensorswim.model.streams import BoolArray, FloatArray
from sensorswim.signal.rotations import up_in_sensor

_STILL_RAD_S: Final = 0.5
_UPRIGHT: Final = 0.7
_NEARLY: Final = 0.8


def still_upright(
    recording: Recording, track: Track, *, most_rad_s: float = _STILL_RAD_S
) -> BoolArray:
    """Return when (N,) a sensor is still and its long axis within 45 degrees of the vertical."""
    assert track.q_world_from_sensor is not None
    up = up_in_sensor(track.q_world_from_sensor)
    rate = uniform_filter1d(np.linalg.norm(track.gyro_rad_s, axis=1), int(recording.rate_hz))
    return np.asarray((rate < most_rad_s) & track.valid & (np.abs(up[:, 0]) > _UPRIGHT))


def upright_share(recording: Recording) -> FloatArray:
    """Return which share (N,) of the oriented sensors is still and upright."""
    tracks = [t for t in recording.tracks.values() if t.q_world_from_sensor is not None]
    if not tracks:
        return np.zeros(len(recording.time_s))
    return np.asarray(np.mean([still_upright(recording, t) for t in tracks], axis=0))


def stand(still: BoolArray, share: FloatArray, least: float) -> BoolArray | None:
    """Return the stretch (N,) of `still` in which the most sensors stand, None without one.

    Of those with nearly as many sensors it is the longest.

    Parameters
    ----------
    still : (N,) bool
        When this sensor may stand.
    share : (N,)
        From `upright_share`.
    least : float
        Fewest samples that count.
    """
    runs, count = label(still)
    if not count:
        return None
    sizes = np.bincount(runs)[1:]
    shares = np.bincount(runs, weights=share)[1:] / sizes
    long = np.flatnonzero(sizes >= least)
    if not len(long):
        return None
    nearly = long[shares[long] >= _NEARLY * shares[long].max()]
    return np.asarray(runs == 1 + nearly[np.argmax(sizes[nearly])])
