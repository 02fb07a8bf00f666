"""When the swimmer stood still: what the straps are worked out from.

A sensor that lies about or is held before the swim is as still as one that is worn, and may happen
to be upright. But a swimmer stands the way up that the swim tells of each sensor, and a stand is
the stretch in which the most sensors do.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
import pandas as pd
from scipy.ndimage import label, uniform_filter1d

from sensorswim.model import Limb, Placement, Recording, Track
from sensorswim.model.streams import BoolArray, FloatArray
from sensorswim.signal.outwards import crownwards, outwards
from sensorswim.signal.regular import during
from sensorswim.signal.rotations import up_in_sensor

_STILL_RAD_S: Final = 0.5
_UPRIGHT: Final = 0.7
_NEARLY: Final = 0.8
_TRUNK: Final = (Limb.LOWER_BACK, Limb.UPPER_BACK, Limb.HEAD)


@dataclass(frozen=True, kw_only=True)
class Upright:
    """Which share of the sensors is still and upright, and which way up each of them sits.

    Parameters
    ----------
    share : (N,)
        Of all sensors, 0..1.
    down : dict
        1 where a sensor's x axis points down in a stand, -1 where up, 0 where that isn't known.
    """

    share: FloatArray
    down: dict[Placement, float]

    def still(
        self, recording: Recording, track: Track, *, most_rad_s: float = _STILL_RAD_S
    ) -> BoolArray:
        """Return when (N,) a sensor is still and its long axis within 45 degrees of the vertical.

        It is the way up then that it is in a stand, if that is known.
        """
        return _still_upright(recording, track, self.down.get(track.placement, 0.0), most_rad_s)


def _still_upright(recording: Recording, track: Track, down: float, most_rad_s: float) -> BoolArray:
    assert track.q_world_from_sensor is not None
    up = up_in_sensor(track.q_world_from_sensor)[:, 0]
    rate = uniform_filter1d(np.linalg.norm(track.gyro_rad_s, axis=1), int(recording.rate_hz))
    upright = -down * up if down else np.abs(up)
    return np.asarray((rate < most_rad_s) & track.valid & (upright > _UPRIGHT))


def who_stands(recording: Recording, lengths: pd.DataFrame) -> Upright:
    """Return how the oriented sensors stand.

    Parameters
    ----------
    recording : Recording
    lengths : DataFrame
        With start_s and end_s: when it was swum.
    """
    start_s, end_s = (lengths[name].to_numpy(dtype=float) for name in ("start_s", "end_s"))
    swimming = during(recording.time_s, start_s, end_s)
    tracks = [t for t in recording.tracks.values() if t.q_world_from_sensor is not None]
    down = {
        t.placement: -crownwards(recording, t, start_s)
        if t.placement.limb in _TRUNK
        else outwards(t, swimming)
        for t in tracks
    }
    still = [_still_upright(recording, t, down[t.placement], _STILL_RAD_S) for t in tracks]
    share = np.mean(still, axis=0) if still else np.zeros(len(recording.time_s))
    return Upright(share=np.asarray(share), down=down)


def stand(still: BoolArray, share: FloatArray, least: float) -> BoolArray | None:
    """Return the stretch (N,) of `still` in which the most sensors stand, None without one.

    Of those with nearly as many sensors it is the longest.

    Parameters
    ----------
    still : (N,) bool
        When this sensor may stand.
    share : (N,)
        Of all sensors, those that do.
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
