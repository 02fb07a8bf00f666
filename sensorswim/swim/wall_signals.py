"""What the sensors show at a wall: the forward pulse, the posture, sudden jolts.

No sensor knows the heading of another one, nor a strap's direction before the strokes are
found. So "forward" here is always where a sensor's own long axis points: in the glide after a
push-off for the pulse, on average over a length for the posture.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy.ndimage import (
    gaussian_filter1d,
    maximum_filter1d,
    minimum_filter1d,
    uniform_filter1d,
)

from sensorswim.model import Limb, Placement, Recording, Track
from sensorswim.model.streams import BoolArray, FloatArray
from sensorswim.signal import accel_world, rotate
from sensorswim.signal.outwards import outwards
from sensorswim.signal.rotations import up_in_sensor
from sensorswim.swim.at_work import arms_at_work

_X = np.array([1.0, 0.0, 0.0])
_CLIP_M_S2 = 15.0
_QUIET_RAD_S = {Limb.ANKLE: 7.0}
_QUIET_ELSE_RAD_S = 2.5
"""Turning rate beyond which a limb is not in a glide: arm strokes turn at 4 and more; legs may
kick in the glide (no source)."""

_GAIN_S = 0.4
"""Over which a push-off's gain of speed is taken; legs push for 0.3 to 0.5 s."""

_GLIDE_S, _STROKES_RAD_S = (0.2, 1.3), 3.0
"""When after a push the glide is, and how fast an arm that strokes turns on average (no source)."""

_ALONE = 0.4
"""What a gain of speed counts that other limbs don't share."""

_ASKEW = 0.45
"""Tangent of 24 degrees: straps up to 25 degrees off are normal."""

_UPRIGHT = 0.6
_STRAPPED_S = 20.0
"""How long before a length and after it the sensors are surely worn (our choice)."""
_EDGE_S = 2.0


def quaternions(track: Track) -> FloatArray:
    """Return the orientation (N, 4) of an oriented track."""
    if track.q_world_from_sensor is None:
        raise ValueError("walls need oriented tracks")
    return track.q_world_from_sensor


def rows_between(recording: Recording, from_s: float, to_s: float) -> tuple[int, int]:
    """Return the index range of a span of session time."""
    first, last = np.searchsorted(recording.time_s, [from_s, to_s])
    return int(first), int(last)


def long_axis(track: Track, first: int, last: int) -> FloatArray:
    """Return the sensor's long axis (L, 3) in its world frame."""
    q = quaternions(track)[first:last]
    return rotate(q, np.broadcast_to(_X, (len(q), 3)))


@dataclass(frozen=True, kw_only=True)
class Pulse:
    """Forward acceleration of one sensor around a rough push-off.

    Parameters
    ----------
    forward_m_s2 : (L,)
        Along the long axis as it points in the glide.
    calm : (L,)
        1 where a glide follows, towards 0 where the limb turns instead.
    known : (L,) bool
        Where there is data for as long as a push takes.
    """

    forward_m_s2: FloatArray
    calm: FloatArray
    known: BoolArray


def pulse_of(
    recording: Recording,
    track: Track,
    sign: float,
    first: int,
    last: int,
    stretched_s: float,
    *,
    alone: bool = False,
) -> Pulse:
    """Return the forward pulse of one sensor over index range first..last.

    Forward is where the long axis points `stretched_s` later, in the glide; `sign` = -1 where it
    points backwards. Of a sensor `alone`, which no other one bears out, any turn counts as none
    of a glide.
    """
    rate_hz = recording.rate_hz
    ahead = int(stretched_s * rate_hz)
    high = min(last + ahead, len(recording.time_s))
    part = part_of(track, slice(first, high))
    size, missing = last - first, max(last + ahead - high, 0)
    accel = np.clip(accel_world(part)[:, :2], -_CLIP_M_S2, _CLIP_M_S2)
    along = np.pad(long_axis(track, first, high)[:, :2], ((0, missing), (0, 0)), mode="edge")
    along = along[ahead : ahead + size]
    along = along / (np.linalg.norm(along, axis=1)[:, None] + 1e-9)
    turn = np.linalg.norm(part.gyro_rad_s, axis=1) if alone else _swing_rad_s(part)
    turning = gaussian_filter1d(turn, 0.1 * rate_hz)
    later = np.pad(turning, (0, missing), mode="edge")
    later = maximum_filter1d(later, int(0.3 * rate_hz))[int((stretched_s - 0.15) * rate_hz) :][
        :size
    ]
    smooth = gaussian_filter1d(accel[:size], 0.03 * rate_hz, axis=0)
    quiet_rad_s = _QUIET_RAD_S.get(track.placement.limb, _QUIET_ELSE_RAD_S)
    calm = np.exp(-((later / quiet_rad_s) ** 2)) * track.valid[first:last]
    known = minimum_filter1d(track.valid[first:last], int(_GAIN_S * rate_hz))
    return Pulse(forward_m_s2=sign * np.sum(smooth * along, axis=1), calm=calm, known=known)


def _swing_rad_s(track: Track) -> FloatArray:
    """Return how fast the long axis swings (N,), turns about itself left out.

    A swimmer who pushes off on the back or the side turns over in the glide; a strap askew shows
    some of that as a swing.
    """
    about, aside = np.abs(track.gyro_rad_s[:, 0]), np.linalg.norm(track.gyro_rad_s[:, 1:], axis=1)
    return np.maximum(aside - _ASKEW * about, 0.0)


def come_to_rest(track: Track, first: int, last: int, rate_hz: float) -> FloatArray:
    """Return how far a limb has come to rest (L,) in the second after each moment, 0 to 1.

    Arms that are brought up in the glide turn less than one in a stroke.
    """
    start, stop = (int(after_s * rate_hz) for after_s in _GLIDE_S)
    turn = np.linalg.norm(track.gyro_rad_s[first : last + stop], axis=1)
    turn = np.pad(turn, (0, last + stop - first - len(turn)), mode="edge")
    added = np.concatenate([[0.0], np.cumsum(turn)])
    at = np.arange(last - first)
    mean = (added[at + stop] - added[at + start]) / (stop - start)
    return np.asarray(np.exp(-((mean / _STROKES_RAD_S) ** 2)))


def part_of(track: Track, rows: slice) -> Track:
    """Return a part of an oriented track."""
    return Track(
        placement=track.placement,
        accel_m_s2=track.accel_m_s2[rows],
        gyro_rad_s=track.gyro_rad_s[rows],
        valid=track.valid[rows],
        source_rate_hz=track.source_rate_hz,
        q_world_from_sensor=quaternions(track)[rows],
    )


def joined(pulses: list[Pulse]) -> FloatArray:
    """Return the forward acceleration (L,) of the sensors that glide, weighted by their calm.

    One arm that moves on does not spoil the other one's word; where no limb is calm it is 0.
    """
    total = np.sum([p.forward_m_s2 * p.calm for p in pulses], axis=0)
    return np.asarray(total / np.maximum(np.sum([p.calm for p in pulses], axis=0), 1.0))


def shared(pulses: list[Pulse], rate_hz: float) -> FloatArray:
    """Return how far a gain of speed (L,) is everybody's, towards `_ALONE` where it is one limb's.

    A push drives all limbs alike, and all of them glide on; who lacks data has no say while another
    is seen.
    """
    known = np.array([p.known for p in pulses])
    known |= ~known.any(axis=0)
    own = speed_gain([p.forward_m_s2 for p in pulses], rate_hz)
    own = np.where(known, own, np.where(known, own, -np.inf).max(axis=0))
    middle, most = np.sort(own, axis=0)[[(len(own) - 1) // 2, -1]]
    alike = np.clip(middle / np.maximum(most, 1e-9), 0.0, 1.0)
    calm = np.where(known, [p.calm for p in pulses], 1.0).min(axis=0)
    return np.asarray((_ALONE + (1.0 - _ALONE) * alike) * (_ALONE + (1.0 - _ALONE) * calm))


def speed_gain(accel_m_s2: Sequence[FloatArray] | FloatArray, rate_hz: float) -> FloatArray:
    """Return the speed (..., L) gained around each moment, m/s, in the time that a push takes."""
    return np.asarray(uniform_filter1d(accel_m_s2, int(_GAIN_S * rate_hz)) * _GAIN_S)


def jolts(recording: Recording, track: Track, first: int, last: int) -> FloatArray:
    """Return the sudden changes of acceleration (L,), m/s^2 from sample to sample."""
    part = track.accel_m_s2[first : last + 1]
    steps = np.linalg.norm(np.diff(part, axis=0), axis=1)
    return np.pad(steps, (0, last - first - len(steps)))


def swim_direction(recording: Recording, track: Track, start_s: float, end_s: float) -> FloatArray:
    """Return where the long axis points on average over a length, (2,) unit, level."""
    margin_s = min(_EDGE_S, 0.2 * (end_s - start_s))
    first, last = rows_between(recording, start_s + margin_s, end_s - margin_s)
    mean = long_axis(track, first, last)[:, :2].mean(axis=0) if last > first else np.zeros(2)
    return np.asarray(mean / (np.linalg.norm(mean) + 1e-9))


def worn_signs(recording: Recording, spans: list[tuple[float, float]]) -> dict[Placement, float]:
    """Return, by sensor, 1 where its long axis points as the placement says, else -1.

    Limbs are told by how they are swung; those that ride along, and the trunk, stand upright
    between the swims. Hands also hold the wall. Sensors that lie about or are handled before they
    are strapped on, or after, tell nothing.

    Parameters
    ----------
    spans : list
        Roughly when was swum, session time.
    """
    swum, worn = np.zeros((2, len(recording.time_s)), dtype=bool)
    rows = [slice(*rows_between(recording, *span)) for span in spans]
    by_arms = [arms_at_work(recording, own) for own in rows]
    for (start_s, end_s), own, works in zip(spans, rows, by_arms, strict=True):
        swum[own] = True
        if works or not any(by_arms):
            near = rows_between(recording, start_s - _STRAPPED_S, end_s + _STRAPPED_S)
            worn[slice(*near)] = True
    return {p: _worn_sign(t, swum, worn) for p, t in recording.tracks.items()}


def _worn_sign(track: Track, swum: BoolArray, worn: BoolArray) -> float:
    trunk = track.placement.limb in (Limb.LOWER_BACK, Limb.UPPER_BACK, Limb.HEAD)
    told = 0.0 if trunk else outwards(track, swum)
    if told or track.placement.limb is Limb.WRIST:
        return told or 1.0
    up = up_in_sensor(quaternions(track))[:, 0] * (-1.0 if trunk else 1.0)
    upright = ~swum & track.valid & (np.abs(up) > _UPRIGHT)
    sure = upright & worn
    told_by = up[sure if sure.any() else upright]
    return -1.0 if len(told_by) and np.median(told_by) > 0.0 else 1.0
