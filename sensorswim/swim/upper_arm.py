"""The elbow angle from two sensors, on the upper arm and on the wrist.

Each sensor knows its own tilt; their headings are brought together by the elbow itself, which
both carry: its acceleration worked out from the forearm and from the upper arm must be the same
vector (as in Kok, Hol & Schön, An optimization-based approach to human body motion capture using
inertial sensors, IFAC 2014, doi 10.3182/20140824-6-ZA-1003.02252). Standing with the arms hanging
gives the upper arm's long axis, with the usual lean of a relaxed arm taken off.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pandas as pd
from scipy.ndimage import gaussian_filter1d

from sensorswim.model import Limb, Placement, Recording, Side, Track
from sensorswim.model.streams import FloatArray
from sensorswim.signal.rotations import rotate, up_in_sensor
from sensorswim.signal.standing import who_stands
from sensorswim.swim.arm_model import ABOVE_WRIST_M, OVER_BONE_M, ArmSize, tilted_forearm
from sensorswim.swim.arms import WristMotion, angle_line
from sensorswim.swim.pull import Pulls
from sensorswim.swim.shoulder import Key, ShoulderFit
from sensorswim.swim.wrist_strap import standing_axis
from sensorswim.units import STANDARD_GRAVITY_M_S2

_OVER_HUMERUS_M = 0.045
_LEAN_RAD = 0.10
"""A sensor on the outer side lies some 4.5 cm over the upper arm's axis; a relaxed upper arm hangs
some 6 degrees behind the vertical (common practice, no source)."""

_SMOOTH_S = 0.04
_LONGEST_LAG_S = 0.4
_ALIKE = 0.6
_MODEL_SD_DEG = 4.0
_UNSURE_SD_DEG = 9.0
_STROKE_SD_DEG = 2.0
"""Standard deviations of the level where the swimmer stood still and where nobody did, and of one
stroke. Set on synthetic swimmers."""


def with_upper_arms(
    recording: Recording,
    lengths: pd.DataFrame,
    motions: dict[Key, WristMotion],
    fits: dict[Key, ShoulderFit],
    pulls: dict[Key, Pulls],
) -> dict[Key, Pulls]:
    """Return the pulls with the elbow angle from two sensors, where an upper arm wears one.

    Parameters
    ----------
    recording : Recording
        Oriented.
    lengths : DataFrame
        The standing is sought before the first one.
    motions, fits, pulls : dict
        By (length_no, side).
    """
    out = dict(pulls)
    for side, track in _worn(recording):
        axes, stood = _axes(recording, track, lengths, side)
        for key, own in pulls.items():
            if key[1] is side and own.solved:
                angle = _elbow_deg(recording, track, axes, motions[key], fits[key], own)
                out[key] = _with_angle(own, angle, stood=stood)
    return out


def upper_arm_straps(recording: Recording, lengths: pd.DataFrame) -> dict[Placement, FloatArray]:
    """Return limb_from_sensor (3, 3) of each upper arm worn: rows are the limb's axes.

    x points to the elbow, z out of the skin; as strapped where nobody stood still.

    Parameters
    ----------
    recording : Recording
        Oriented.
    lengths : DataFrame
        The standing is sought before the first one.
    """
    straps = {}
    for side, track in _worn(recording):
        (along, outer), _ = _axes(recording, track, lengths, side)
        straps[track.placement] = np.stack([along, np.cross(outer, along), outer])
    return straps


def _worn(recording: Recording) -> list[tuple[Side, Track]]:
    """Return the upper arms that wear an oriented sensor."""
    tracks = [(side, recording.tracks.get(Placement.of(Limb.UPPER_ARM, side))) for side in Side]
    return [(s, t) for s, t in tracks if t is not None and t.q_world_from_sensor is not None]


def _with_angle(pulls: Pulls, angle_deg: FloatArray, *, stood: bool) -> Pulls:
    if not np.isfinite(angle_deg).any():
        return pulls
    return replace(
        pulls,
        elbow_deg=angle_deg,
        model_sd_deg=_MODEL_SD_DEG if stood else _UNSURE_SD_DEG,
        stroke_sd_deg=_STROKE_SD_DEG,
        source="upper_arm",
    )


def _axes(
    recording: Recording, track: Track, lengths: pd.DataFrame, side: Side
) -> tuple[tuple[FloatArray, FloatArray], bool]:
    """Return the long axis towards the elbow and the outer axis, sensor frame; whether checked."""
    assert track.q_world_from_sensor is not None
    up = up_in_sensor(track.q_world_from_sensor)
    hanging = standing_axis(recording, track, up, lengths, who_stands(recording, lengths))
    outer = np.array([0.0, 0.0, 1.0])
    if hanging is None:
        return (np.array([1.0, 0.0, 0.0]), outer), False
    behind = side.sign * np.cross(outer, hanging)
    along = hanging + _LEAN_RAD * behind
    along /= np.linalg.norm(along)
    outer = outer - along * (outer @ along)
    return (along, outer / np.linalg.norm(outer)), True


def _elbow_deg(
    recording: Recording,
    track: Track,
    axes: tuple[FloatArray, FloatArray],
    motion: WristMotion,
    fit: ShoulderFit,
    pulls: Pulls,
) -> FloatArray:
    """Return the elbow angle (C,) at the mid-pull of each cycle.

    NaN in gaps, and everywhere where the two sensors don't share an elbow: clocks that are wrong
    by more than 0.4 s, left and right mixed up.
    """
    assert track.q_world_from_sensor is not None
    first = int(np.searchsorted(recording.time_s, motion.time_s[0]))
    rows = slice(first, first + len(motion.time_s))
    q = track.q_world_from_sensor[rows]
    upper, outer = (rotate(q, np.broadcast_to(axis, (len(q), 3))) for axis in axes)
    forearm = tilted_forearm(motion.forearm, motion.skin, fit.unknowns, fit.side)
    of_upper = rotate(q, track.accel_m_s2[rows]) - np.array([0.0, 0.0, STANDARD_GRAVITY_M_S2])
    lever = 0.5 * fit.size.upper_arm_m * upper - _OVER_HUMERUS_M * outer
    ours = _elbow_accel(motion, forearm, fit.size, recording.rate_hz)
    theirs = joint_accel(of_upper, lever, recording.rate_hz)
    late, likeness = lag(ours[:, 2], theirs[:, 2], int(_LONGEST_LAG_S * recording.rate_hz))
    if likeness < _ALIKE:
        return np.full(len(pulls.mid_phase), np.nan)
    upper, theirs = np.roll(upper, -late, axis=0), np.roll(theirs, -late, axis=0)
    turn = _turn(motion, pulls, ours, theirs)
    cosine = (turned(upper, turn) * forearm).sum(axis=1).clip(-1.0, 1.0)
    angle = 180.0 - np.degrees(np.arccos(cosine))
    angle[~(track.valid[rows] & motion.valid)] = np.nan
    mid_s = pulls.start_s + pulls.mid_phase * (pulls.end_s - pulls.start_s)
    return np.interp(mid_s, motion.time_s, angle, left=np.nan, right=np.nan)


def lag(ours: FloatArray, theirs: FloatArray, longest: int) -> tuple[int, float]:
    """Return how many samples `theirs` comes late, and how alike the two then are, -1 to 1.

    The vertical needs no heading; two clocks that were aligned from movement alone may be off
    by some hundredths of a second, which the elbow that both carry puts right.
    """
    middle = slice(longest, len(ours) - longest)
    lags = np.arange(-longest, longest + 1)
    alike = [np.corrcoef(ours[middle], np.roll(theirs, -k)[middle])[0, 1] for k in lags]
    best = int(np.argmax(alike))
    return int(lags[best]), float(alike[best])


def _elbow_accel(
    motion: WristMotion, forearm: FloatArray, size: ArmSize, rate_hz: float
) -> FloatArray:
    lever = -(size.forearm_m - ABOVE_WRIST_M) * forearm - OVER_BONE_M * motion.skin
    return joint_accel(motion.accel_m_s2, lever, rate_hz)


def joint_accel(accel_m_s2: FloatArray, lever_m: FloatArray, rate_hz: float) -> FloatArray:
    """Return the smoothed acceleration (N, 3) of a joint from a sensor on one of its segments.

    Parameters
    ----------
    accel_m_s2 : (N, 3)
        Of the sensor, without gravity, in axes that don't turn.
    lever_m : (N, 3)
        From the sensor to the joint, in the same axes.
    rate_hz : float
    """
    return _smooth(accel_m_s2, rate_hz) + _curved(lever_m, rate_hz)


def _turn(motion: WristMotion, pulls: Pulls, ours: FloatArray, theirs: FloatArray) -> FloatArray:
    """Return the heading (N,) to turn the upper arm by, a robust line over the cycles."""
    edges = np.searchsorted(motion.time_s, np.stack([pulls.start_s, pulls.end_s]))
    axes = np.array([turn_between(ours[a:b], theirs[a:b]) for a, b in edges.T])
    middle_s = 0.5 * (pulls.start_s + pulls.end_s)
    return angle_line(middle_s, axes, motion.time_s)


def turn_between(ours: FloatArray, theirs: FloatArray) -> complex:
    """Return the turn about the vertical that brings vectors (N, 3) onto others, as x + iy."""
    product = (ours[:, 0] + 1j * ours[:, 1]) * (theirs[:, 0] - 1j * theirs[:, 1])
    total = product.sum()
    return complex(total / np.abs(total))


def turned(vectors: FloatArray, angle_rad: FloatArray) -> FloatArray:
    """Return the vectors (N, 3) turned about the vertical by angles (N,)."""
    cosine, sine = np.cos(angle_rad), np.sin(angle_rad)
    x, y, up = vectors.T
    return np.stack([cosine * x - sine * y, sine * x + cosine * y, up], axis=1)


def _smooth(values: FloatArray, rate_hz: float) -> FloatArray:
    return np.asarray(gaussian_filter1d(values, _SMOOTH_S * rate_hz, axis=0))


def _curved(values: FloatArray, rate_hz: float) -> FloatArray:
    """Return the smoothed second derivative over time."""
    return np.asarray(gaussian_filter1d(values, _SMOOTH_S * rate_hz, axis=0, order=2)) * rate_hz**2
