"""What the body alone says of what was swum: whether it rolls, and whether the legs alternate.

In crawl and backstroke the trunk rolls from side to side once an arm cycle, and the shanks follow
it; in butterfly, breaststroke and kicking on a board they stay level. A flutter kick moves one
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
_TOLD_BY = (Limb.LOWER_BACK, Limb.UPPER_BACK, Limb.ANKLE)
_LEAST_KNOWN = 0.5
"""Share of a length that a sensor must have data of; in the rest its posture is held."""


@dataclass(frozen=True, kw_only=True)
class BodySigns:
    """The body of one length.

    Parameters
    ----------
    roll_deg : float
        Standard deviation of the roll at the pace of arm cycles: the mean of what is worn on the
        trunk, else of the shanks.
    alternation : float or None
        Correlation of the two shanks' pitch: negative = one against the other; None without both.
    """

    roll_deg: float
    alternation: float | None


def read_body(
    recording: Recording,
    limb_from_sensor: dict[Placement, FloatArray],
    start_s: float,
    end_s: float,
) -> BodySigns | None:
    """Return what trunk and ankles say of a length, None without them or where it is too short.

    An ankle's x axis points to the toes and its z axis out of the outer side; a trunk's y axis to
    the left (file contract).
    """
    first, last = np.searchsorted(recording.time_s, [start_s + _EDGES_S[0], end_s - _EDGES_S[1]])
    if last - first < _LEAST_S * recording.rate_hz:
        return None
    trunk, shanks, pitches = [], [], []
    for placement, axes in limb_from_sensor.items():
        track = recording.tracks.get(placement)
        if placement.limb not in _TOLD_BY or track is None:
            continue
        if track.valid[first:last].mean() < _LEAST_KNOWN:
            continue
        assert track.q_world_from_sensor is not None
        up = up_in_sensor(track.q_world_from_sensor[first:last]) @ axes.T
        if placement.side is None:
            trunk.append(np.arcsin(np.clip(up[:, 1], -1.0, 1.0)))
        else:
            shanks.append(np.arcsin(np.clip(placement.side.sign * up[:, 2], -1.0, 1.0)))
            pitches.append(up[:, 0])
    rolls = trunk or shanks
    if not rolls:
        return None
    sos = butter(2, _ROLL_BAND_HZ, "bandpass", fs=recording.rate_hz, output="sos")
    roll = sosfiltfilt(sos, np.mean(rolls, axis=0))
    alternation = float(np.asarray(np.corrcoef(pitches))[0, 1]) if len(pitches) == 2 else None
    return BodySigns(roll_deg=float(np.degrees(roll.std())), alternation=alternation)
