"""How a wrist sensor sits on the forearm: its long axis from standing, the rest from the reach."""

from __future__ import annotations

import numpy as np
import pandas as pd

from sensorswim.model import Limb, Placement, Quality, Recording, Severity, Side, Track
from sensorswim.model.streams import BoolArray, FloatArray
from sensorswim.signal.regular import during
from sensorswim.signal.rotations import up_in_sensor
from sensorswim.signal.standing import Upright, stand

_STILL_RAD_S = 0.35
_STILL_S = 3.0


def align_wrist(
    recording: Recording,
    track: Track,
    lengths: pd.DataFrame,
    standing: Upright,
    quality: Quality,
) -> FloatArray:
    """Return limb_from_sensor (3, 3) of a wrist: rows are the limb's axes in the sensor frame.

    Standing with the arm hanging gives the long axis (up is towards the elbow). Without it the
    sensor's own x axis is taken, or its opposite, as the arm is swung. In the slow level part of
    the reach the back of the hand is up.

    Parameters
    ----------
    track : Track
        Oriented.
    lengths : DataFrame
        With start_s and end_s.
    standing : Upright
        Of all sensors.
    quality : Quality
        Gets ``strap_wrong_way_up`` and ``strap_not_checked``.
    """
    assert track.q_world_from_sensor is not None
    up = up_in_sensor(track.q_world_from_sensor)
    spans_s = (lengths[name].to_numpy(dtype=float) for name in ("start_s", "end_s"))
    swimming = during(recording.time_s, *spans_s) & track.valid
    along = standing_axis(recording, track, up, lengths, standing)
    if along is None:
        along = np.array([standing.down[track.placement] or 1.0, 0.0, 0.0])
        quality.add(
            "strap_not_checked",
            Severity.DEGRADED,
            f"Nobody stood still before the swim, so the strap of the {track.placement.label} "
            "sensor was taken as exact.",
            placement=track.placement,
        )
    if along[0] < 0:
        quality.add(
            "strap_wrong_way_up",
            Severity.NOTE,
            f"The {track.placement.label} sensor was strapped the wrong way up; this was mended.",
            placement=track.placement,
        )
    return _complete(along, _reach_up(track, up, along, swimming))


def standing_axis(
    recording: Recording, track: Track, up: FloatArray, lengths: pd.DataFrame, standing: Upright
) -> FloatArray | None:
    """Return the direction towards the fingers while the arm hung still before the first length.

    Taken as standing when the sensor's x axis is within 40 degrees of the vertical.
    """
    before_s = float(lengths["start_s"].min()) if len(lengths) else np.inf
    still = standing.still(recording, track, most_rad_s=_STILL_RAD_S)
    still &= (recording.time_s < before_s) & (np.abs(up[:, 0]) > np.cos(np.radians(40.0)))
    stood = stand(still, standing.share, _STILL_S * recording.rate_hz)
    if stood is None:
        return None
    mean = -np.median(up[stood], axis=0)
    return np.asarray(mean / np.linalg.norm(mean))


def _reach_up(track: Track, up: FloatArray, along: FloatArray, swimming: BoolArray) -> FloatArray:
    """Return the mean up direction while the forearm is level and slow, sensor frame."""
    rate = np.linalg.norm(track.gyro_rad_s, axis=1)
    calm = swimming & (np.abs(up @ along) < 0.4) & (rate < 1.5)
    return up[calm].mean(axis=0) if calm.sum() > 20 else np.array([0.0, 0.0, 1.0])


def _complete(along: FloatArray, out_of_skin: FloatArray) -> FloatArray:
    z = out_of_skin - along * (out_of_skin @ along)
    z /= np.linalg.norm(z)
    return np.stack([along, np.cross(z, along), z])


def unsure_arms(quality: Quality) -> frozenset[Side]:
    """Return the arms whose strap was taken as exact, as `align_wrist` noted."""
    rows = [row for row in quality.rows if row.code == "strap_not_checked" and row.placement]
    places = [Placement(str(row.placement)) for row in rows]
    return frozenset(p.side for p in places if p.side and p.limb is Limb.WRIST)
