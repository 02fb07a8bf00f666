"""What the legs alone say of what was swum: whether the body rolls, and whether they alternate.

In crawl and backstroke the hips roll from side to side once an arm cycle, and the shanks follow
them; in butterfly, breaststroke and kicking on a board they stay level. A flutter kick moves one
leg against the other.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.signal import butter, sosfiltfilt

from sensorswim.model import Limb, Placement, Recording
from sensorswim.model.streams import FloatArray
from sensorswim.signal.rotations import up_in_sensor

_ROLL_BAND_HZ = (0.25, 1.3)
"""Arm cycles of 15 to 78 a minute."""

_EDGES_S = (2.5, 1.5)
_LEAST_S = 3.0
_LEAST_KNOWN = 0.5
"""Share of a length that an ankle must have data of; in the rest its posture is held."""


@dataclass(frozen=True, kw_only=True)
class LegSigns:
    """The legs of one length.

    Parameters
    ----------
    roll_deg : float
        Standard deviation of the shanks' mean roll at the pace of arm cycles.
    alternation : float or None
        Correlation of the two shanks' pitch: negative = one against the other; None with one.
    """

    roll_deg: float
    alternation: float | None


def read_legs(
    recording: Recording,
    limb_from_sensor: dict[Placement, FloatArray],
    start_s: float,
    end_s: float,
) -> LegSigns | None:
    """Return what the ankles say of a length, None without them or where it is too short.

    An ankle's x axis points to the toes and its z axis out of the outer side (file contract).
    """
    first, last = np.searchsorted(recording.time_s, [start_s + _EDGES_S[0], end_s - _EDGES_S[1]])
    if last - first < _LEAST_S * recording.rate_hz:
        return None
    rolls, pitches = [], []
    for placement, axes in limb_from_sensor.items():
        track = recording.tracks.get(placement)
        if placement.limb is not Limb.ANKLE or track is None or placement.side is None:
            continue
        if track.valid[first:last].mean() < _LEAST_KNOWN:
            continue
        assert track.q_world_from_sensor is not None
        up = up_in_sensor(track.q_world_from_sensor[first:last]) @ axes.T
        rolls.append(np.arcsin(np.clip(placement.side.sign * up[:, 2], -1.0, 1.0)))
        pitches.append(up[:, 0])
    if not rolls:
        return None
    sos = butter(2, _ROLL_BAND_HZ, "bandpass", fs=recording.rate_hz, output="sos")
    roll = sosfiltfilt(sos, np.mean(rolls, axis=0))
    alternation = float(np.asarray(np.corrcoef(pitches))[0, 1]) if len(pitches) == 2 else None
    return LegSigns(roll_deg=float(np.degrees(roll.std())), alternation=alternation)
