"""When the swimmer stood still: what the straps are worked out from.

A sensor that lies about or is held before the swim is as still as one that is worn, and may happen
to be upright. Limbs hang, whichever way up their sensors sit (`outwards`), and a stand is the
stretch in which the most sensors are upright.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
import pandas as pd
from scipy.ndimage import label, uniform_filter1d

from sensorswim.model import Limb, Placement, Recording, Track
from sensorswim.model.streams import BoolArray, FloatArray
from sensorswim.signal.outwards import outwards
from sensorswim.signal.regular import during
from sensorswim.signal.rotations import up_in_sensor

_STILL_RAD_S: Final = 0.5
_UPRIGHT: Final = 0.7
_NEARLY: Final = 0.8
_SAME: Final = 0.05
_SOME: Final = 3
_TRUNK: Final = (Limb.LOWER_BACK, Limb.UPPER_BACK, Limb.HEAD)


@dataclass(frozen=True, kw_only=True)
class Upright:
    """Which share of the sensors is still and upright, and which of these the way up they are worn.

    Parameters
    ----------
    share, as_worn : (N,)
        Both of all sensors, 0..1.
    outwards : dict
        By limb, from `outwards`.
    """

    share: FloatArray
    as_worn: FloatArray
    outwards: dict[Placement, float]

    def still(
        self, recording: Recording, track: Track, *, most_rad_s: float = _STILL_RAD_S
    ) -> BoolArray:
        """Return when (N,) a sensor is still and its long axis within 45 degrees of the vertical.

        A limb's sensor hangs then, if it is known which way up it sits.
        """
        return _still_upright(recording, track, self.outwards.get(track.placement, 0.0), most_rad_s)


def _still_upright(
    recording: Recording, track: Track, outward: float, most_rad_s: float
) -> BoolArray:
    assert track.q_world_from_sensor is not None
    up = up_in_sensor(track.q_world_from_sensor)[:, 0]
    rate = uniform_filter1d(np.linalg.norm(track.gyro_rad_s, axis=1), int(recording.rate_hz))
    upright = -outward * up if outward else np.abs(up)
    return np.asarray((rate < most_rad_s) & track.valid & (upright > _UPRIGHT))


def who_stands(recording: Recording, lengths: pd.DataFrame) -> Upright:
    """Return how the oriented sensors stand.

    Of one sensor or two nobody can say whether it is them or the swimmer that is upside down.

    Parameters
    ----------
    recording : Recording
    lengths : DataFrame
        With start_s and end_s: when it was swum.
    """
    tracks = [t for t in recording.tracks.values() if t.q_world_from_sensor is not None]
    if not tracks:
        nothing = np.zeros(len(recording.time_s))
        return Upright(share=nothing, as_worn=nothing, outwards={})
    spans_s = (lengths[name].to_numpy(dtype=float) for name in ("start_s", "end_s"))
    swimming = during(recording.time_s, *spans_s)
    signs = {t.placement: outwards(t, swimming) for t in tracks if t.placement.limb not in _TRUNK}
    still = [
        _still_upright(recording, t, signs.get(t.placement, 0.0), _STILL_RAD_S) for t in tracks
    ]
    share = np.asarray(np.mean(still, axis=0))
    if len(tracks) < _SOME:
        return Upright(share=share, as_worn=share, outwards=signs)
    as_worn = [own & _hangs(t) for own, t in zip(still, tracks, strict=True)]
    return Upright(share=share, as_worn=np.asarray(np.mean(as_worn, axis=0)), outwards=signs)


def _hangs(track: Track) -> BoolArray:
    """Return when (N,) the long axis points down on a limb, up on trunk and head."""
    assert track.q_world_from_sensor is not None
    along = up_in_sensor(track.q_world_from_sensor)[:, 0]
    return np.asarray(along > 0.0 if track.placement.limb in _TRUNK else along < 0.0)


def stand(still: BoolArray, upright: Upright, least: float) -> BoolArray | None:
    """Return the stretch (N,) of `still` in which the most sensors stand, None without one.

    Of those with nearly as many sensors it is the longest; of those nearly as long the one in which
    the most are the way up they are worn, for sensors that lie about together lie anyhow.

    Parameters
    ----------
    still : (N,) bool
        When this sensor may stand.
    upright : Upright
        Of all sensors.
    least : float
        Fewest samples that count.
    """
    runs, count = label(still)
    if not count:
        return None
    sizes = np.bincount(runs)[1:]
    shares, as_worn = (
        np.bincount(runs, weights=part)[1:] / sizes for part in (upright.share, upright.as_worn)
    )
    long = np.flatnonzero(sizes >= least)
    if not len(long):
        return None
    nearly = long[shares[long] >= _NEARLY * shares[long].max()]
    longest = nearly[sizes[nearly] >= _NEARLY * sizes[nearly].max()]
    worn = as_worn[longest] / np.maximum(shares[longest], 1e-9)
    likely = longest[worn >= worn.max() - _SAME]
    return np.asarray(runs == 1 + likely[np.argmax(sizes[likely])])
