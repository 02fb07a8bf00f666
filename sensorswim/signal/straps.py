"""How ankle, trunk and head sensors sit on the body, worked out from standing and swimming.

Standing upright gives a limb's long axis; the kicks' rotation gives the shank's lateral axis, to
half a degree; the trunk's zero of roll comes from the glides after the push-off, where the body
lies flat, or else from the middle of the roll peaks of both sides.
"""

from __future__ import annotations

from dataclasses import replace
from typing import Final

import numpy as np
import pandas as pd
from scipy.ndimage import label, uniform_filter1d
from scipy.signal import butter, find_peaks, sosfiltfilt

from sensorswim.model import Limb, Placement, Quality, Recording, Severity, Side, Track
from sensorswim.model.streams import BoolArray, FloatArray
from sensorswim.signal.regular import during
from sensorswim.signal.rotations import up_in_sensor

_STILL_RAD_S: Final = 0.5
_STILL_S: Final = 1.5
_MIN_SAMPLES: Final = 200
_KICK_HZ: Final = 1.2
_GLIDE_SPREAD_DEG: Final = 6.0
_GLIDE_DOUBT_DEG: Final = 8.0
_GLIDE_S: Final = 0.4
_RIDING_RAD_S: Final = 0.25
TRUNK: Final = (Placement.LOWER_BACK, Placement.UPPER_BACK, Placement.HEAD)
ANKLES: Final = (Placement.LEFT_ANKLE, Placement.RIGHT_ANKLE)


def align(
    recording: Recording, lengths: pd.DataFrame, quality: Quality
) -> dict[Placement, FloatArray]:
    """Return limb_from_sensor of ankles, trunk and head; rows are limb axes in the sensor frame.

    An ankle's matrix speaks of the side that its placement names. A swapped pair shows by outer
    axes that both point to the sensor's inside (`swapped`); `exchanged` puts it right.

    Parameters
    ----------
    recording : Recording
        Oriented.
    lengths : DataFrame
        start_s, swim_start_s and end_s are used; prone swimming should prevail.
    quality : Quality
        Gets ``strap_wrong_way_up``, ``strap_not_checked`` and ``left_right_swapped``.

    Returns
    -------
    dict
        Placement -> (3, 3) rotation. Sensors without swimming keep the identity.
    """
    straps: dict[Placement, FloatArray] = {}
    for place in (*ANKLES, *TRUNK):
        track = recording.tracks.get(place)
        if track is None or track.q_world_from_sensor is None:
            continue
        swimming = _during(recording.time_s, lengths, "swim_start_s") & track.valid
        if swimming.sum() < _MIN_SAMPLES:
            straps[place] = np.eye(3)
            continue
        shank = place.limb is Limb.ANKLE
        upright = _upright(recording, track, lengths, -1.0 if shank else 1.0)
        if shank:
            straps[place] = _shank(track, recording, lengths, swimming, upright)
        else:
            straps[place] = _trunk(track, recording, lengths, swimming, upright)
        _report(place, straps[place], upright is not None, quality)
    if swapped(straps):
        quality.add(
            "left_right_swapped",
            Severity.NOTE,
            "The two ankle sensors were on the wrong sides; left and right were exchanged.",
        )
    return straps


def swapped(limb_from_sensor: dict[Placement, FloatArray]) -> bool:
    """Return whether both ankles' outer axes point to the sensors' inside."""
    return all(p in limb_from_sensor and limb_from_sensor[p][2, 2] < 0 for p in ANKLES)


def exchanged(recording: Recording, limb: Limb) -> Recording:
    """Return the recording with the left and right tracks of a limb exchanged."""
    left, right = (Placement.of(limb, side) for side in Side)
    tracks = dict(recording.tracks)
    tracks[left] = replace(recording.tracks[right], placement=left)
    tracks[right] = replace(recording.tracks[left], placement=right)
    return replace(recording, tracks=tracks)


def _report(place: Placement, strap: FloatArray, checked: bool, quality: Quality) -> None:
    if strap[0, 0] < 0:
        quality.add(
            "strap_wrong_way_up",
            Severity.NOTE,
            f"The {place.label} sensor was strapped the wrong way up; this was mended.",
            placement=place,
        )
    if not checked:
        quality.add(
            "strap_not_checked",
            Severity.DEGRADED,
            f"The swimmer was never seen standing, so which way up the {place.label} sensor "
            "sits was taken from its casing.",
            placement=place,
        )


def _during(time_s: FloatArray, lengths: pd.DataFrame, start: str) -> BoolArray:
    begins = lengths[start].fillna(lengths["start_s"])
    return during(time_s, begins.to_numpy(dtype=float), lengths["end_s"].to_numpy(dtype=float))


def _upright(
    recording: Recording, track: Track, lengths: pd.DataFrame, sign: float
) -> FloatArray | None:
    """Return the long axis from the longest still stand outside the lengths, None without one."""
    assert track.q_world_from_sensor is not None
    up = up_in_sensor(track.q_world_from_sensor)
    rate = uniform_filter1d(np.linalg.norm(track.gyro_rad_s, axis=1), int(recording.rate_hz))
    still = (rate < _STILL_RAD_S) & track.valid & (np.abs(up[:, 0]) > 0.7)
    still &= ~_during(recording.time_s, lengths, "start_s")
    runs, count = label(still)
    if not count:
        return None
    sizes = np.bincount(runs)[1:]
    if sizes.max() < _STILL_S * recording.rate_hz:
        return None
    return _unit(sign * np.median(up[runs == 1 + int(np.argmax(sizes))], axis=0))


def _shank(
    track: Track,
    recording: Recording,
    lengths: pd.DataFrame,
    swimming: BoolArray,
    toes: FloatArray | None,
) -> FloatArray:
    """Return the shank's frame: lateral axis from the kicks, the rest from standing."""
    assert track.q_world_from_sensor is not None and track.placement.side is not None
    sign = track.placement.side.sign
    lateral = _kick_axis(track.gyro_rad_s, recording.rate_hz, swimming)
    if lateral is None:
        return _riding_shank(track, recording, lengths, swimming, toes)
    mean_up = np.median(up_in_sensor(track.q_world_from_sensor)[swimming], axis=0)
    if toes is None:
        outer = lateral * (1.0 if lateral[2] >= 0 else -1.0)
        return _square(np.cross(sign * mean_up, outer), outer)
    outer = lateral * (1.0 if lateral @ np.cross(toes, sign * mean_up) >= 0 else -1.0)
    return _square(toes, outer)


def _riding_shank(
    track: Track,
    recording: Recording,
    lengths: pd.DataFrame,
    swimming: BoolArray,
    toes: FloatArray | None,
) -> FloatArray:
    """Return the frame of a leg that doesn't kick: its zero of roll as on the trunk."""
    assert track.placement.side is not None
    crown = _trunk(track, recording, lengths, swimming, None if toes is None else -toes)
    sign = track.placement.side.sign
    return np.stack([-crown[0], sign * crown[2], sign * crown[1]])


def _kick_axis(gyro_rad_s: FloatArray, rate_hz: float, swimming: BoolArray) -> FloatArray | None:
    """Return the principal axis of rotation above the frequency of body roll, None without kicks.

    None below a root mean square of 0.25 rad/s: the leg rides.
    """
    sos = butter(2, [_KICK_HZ, 8.0], "bandpass", fs=rate_hz, output="sos")
    fast = sosfiltfilt(sos, gyro_rad_s, axis=0)[swimming]
    size, axes = np.linalg.eigh(fast.T @ fast / len(fast))
    return np.asarray(axes[:, -1]) if size[-1] > _RIDING_RAD_S**2 else None


def _trunk(
    track: Track,
    recording: Recording,
    lengths: pd.DataFrame,
    swimming: BoolArray,
    crown: FloatArray | None,
) -> FloatArray:
    """Return the frame of trunk or head: long axis from standing or roll, then the zero of roll."""
    assert track.q_world_from_sensor is not None
    up = up_in_sensor(track.q_world_from_sensor)
    if crown is None:
        rolling = track.gyro_rad_s[swimming]
        axis = np.linalg.eigh(rolling.T @ rolling)[1][:, -1]
        crown = axis * (1.0 if axis[0] >= 0 else -1.0)
    strap = _square_z(crown, np.median(up[swimming], axis=0))
    roll = np.degrees(np.arctan2(up @ strap[1], up @ strap[2]))
    if track.placement is Placement.HEAD:
        zero = float(np.median(roll[swimming]))
    else:
        glide = _glide_deg(recording, track, roll, lengths)
        middle = _middle_deg(roll, swimming, recording.rate_hz)
        believed = glide is not None and abs(glide - middle) < _GLIDE_DOUBT_DEG
        zero = glide if glide is not None and believed else middle
    turn = np.radians(zero)
    z = np.cos(turn) * strap[2] + np.sin(turn) * strap[1]
    return _square_z(crown, z)


def _glide_deg(
    recording: Recording, track: Track, roll_deg: FloatArray, lengths: pd.DataFrame
) -> float | None:
    """Return the median roll of the glides, None where too few or where they disagree."""
    middles = [
        float(np.median(roll_deg[part]))
        for part in _glides(recording, track, lengths)
        if track.valid[part].all()
    ]
    if len(middles) < 2:
        return None
    spread = float(np.median(np.abs(np.array(middles) - np.median(middles))))
    return float(np.median(middles)) if spread < _GLIDE_SPREAD_DEG else None


def _glides(recording: Recording, track: Track, lengths: pd.DataFrame) -> list[slice]:
    """Return the calmest stretch in the first half of the way from push-off to first entry."""
    width = int(_GLIDE_S * recording.rate_hz)
    rate = uniform_filter1d(np.linalg.norm(track.gyro_rad_s, axis=1), width)
    out = []
    for row in lengths.to_dict("records"):
        if not np.isfinite(row["swim_start_s"]):
            continue
        middle_s = 0.5 * (row["start_s"] + row["swim_start_s"])
        first, last = np.searchsorted(recording.time_s, [row["start_s"] + 0.3, middle_s])
        if last - first > width:
            calm = first + width // 2 + int(np.argmin(rate[first + width // 2 : last - width // 2]))
            out.append(slice(calm - width // 2, calm + width // 2))
    return out


def _middle_deg(roll_deg: FloatArray, swimming: BoolArray, rate_hz: float) -> float:
    """Return the middle between the lower quartiles of the peaks of either side."""
    sos = butter(2, 3.0, fs=rate_hz, output="sos")
    smooth = sosfiltfilt(sos, roll_deg)
    sizes = []
    for sign in (1.0, -1.0):
        peaks, _ = find_peaks(sign * smooth, prominence=15.0, distance=int(0.4 * rate_hz))
        peaks = peaks[swimming[peaks]]
        if not len(peaks):
            return 0.0
        sizes.append(float(np.quantile(sign * smooth[peaks], 0.35)))
    return 0.5 * (sizes[0] - sizes[1])


def _unit(vector: FloatArray) -> FloatArray:
    return np.asarray(vector / np.linalg.norm(vector))


def _square(x_axis: FloatArray, z_axis: FloatArray) -> FloatArray:
    """Return the frame that keeps z and turns x square to it."""
    z = _unit(z_axis)
    x = _unit(x_axis - z * (x_axis @ z))
    return np.stack([x, np.cross(z, x), z])


def _square_z(x_axis: FloatArray, z_axis: FloatArray) -> FloatArray:
    """Return the frame that keeps x and turns z square to it."""
    x = _unit(x_axis)
    z = _unit(z_axis - x * (z_axis @ x))
    return np.stack([x, np.cross(z, x), z])
