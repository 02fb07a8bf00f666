"""Jolts and rests of hands and feet at the wall: the touch of a hand, the feet's contact."""

from __future__ import annotations

import numpy as np
from scipy.ndimage import binary_dilation

from sensorswim.model import Recording
from sensorswim.model.streams import BoolArray, FloatArray
from sensorswim.signal import accel_world
from sensorswim.swim.posture import REACH, along_swim, ankles_of, steady_tracks, wrists_of
from sensorswim.swim.wall_signals import jolts, part_of, rows_between

_NEAR_S = 0.2
"""How far around the usual moment a jolt of the feet still counts, as a standard deviation."""

_JOLT_S, _LONE_JOLT_S = (0.2, 0.4, 0.05, 0.15), (0.3, 0.5, 0.1, 0.2)
"""How long before and after the expected touch a hand's jolt is looked for, when it usually comes,
and its standard deviation: where legs or trunk tell the touch, and where the arms alone do."""

_LATE_S, _COMES_ON_S, _BENT_REACH = 0.2, 1.0, 0.4
_AT_REST_S, _AT_REST_M_S2 = (0.08, 0.38), 2.0
"""A jolt later than usual by so much may be that of an arm that moves on; how long before the body
leaves its posture a hand may have come to the wall, how far its forearm points ahead at least; when
after the touch it is at rest, and what it may feel but gravity. Picked on synthetic swimmers of
four builds."""
_KICKING_S, _STOPPED_S, _STOPPED = (-2.0, -0.4), (0.1, 0.45), 0.3
"""When the legs kick and when no more, and by how much less they turn then: by a factor of 0.06 to
0.3 at most touches of two of these builds, 0.37 and more after hands that were on their way."""


def hand_touches(
    recording: Recording, length_s: tuple[float, float], expected_s: float, before_s: float
) -> float:
    """Return when a hand touches the wall, told by its jolt or its rest, else the expected moment.

    Parameters
    ----------
    recording : Recording
        Oriented.
    length_s : (float, float)
        Roughly when the length was swum, session time.
    expected_s : float
        Where the body stops or begins to turn.
    before_s : float
        The latest moment.
    """
    legs = bool(
        steady_tracks(recording, *rows_between(recording, expected_s - 0.2, expected_s + 0.3))
    )
    early_s, late_s, usual_s, spread_s = _JOLT_S if legs else _LONE_JOLT_S
    first, last = rows_between(recording, expected_s - early_s, min(expected_s + late_s, before_s))
    if last - first < 10 or not wrists_of(recording):
        return expected_s
    away_s = recording.time_s[first:last] - expected_s - usual_s
    near = np.exp(-0.5 * (away_s / spread_s) ** 2)
    weighted = []
    for track in wrists_of(recording):
        size = jolts(recording, track, first, last)
        ahead = along_swim(recording, track, length_s, first, last) > REACH
        reach = binary_dilation(ahead, iterations=10)
        weighted.append(size * near * reach * _stands_out(size))
    total = np.max(weighted, axis=0)
    told_s = float(recording.time_s[first + int(np.argmax(total))]) if total.any() else None
    if told_s is not None and told_s - expected_s - usual_s < _LATE_S:
        return told_s
    return _hand_rests(recording, length_s, expected_s) or told_s or expected_s


def _hand_rests(
    recording: Recording, length_s: tuple[float, float], turns_s: float
) -> float | None:
    """Return the last clear jolt of a hand ahead that then lies still, None where there is none.

    A hand on the wall stays where it is while the arm bends and the body comes on; it may be a
    while until the legs leave the posture that they swam in.
    """
    rate_hz = recording.rate_hz
    first, last = rows_between(recording, turns_s - _COMES_ON_S, turns_s + 0.05)
    rests = []
    for track in wrists_of(recording) if last - first >= 10 else ():
        size = jolts(recording, track, first, last)
        ahead = along_swim(recording, track, length_s, first, last) > _BENT_REACH
        tops = np.flatnonzero(_stands_out(size) & binary_dilation(ahead, iterations=10))
        if not len(tops):
            continue
        tops = tops[tops > tops[-1] - int(0.12 * rate_hz)]
        top = first + int(tops[np.argmax(size[tops])])
        after = slice(*(top + int(share_s * rate_hz) for share_s in _AT_REST_S))
        felt_m_s2 = np.linalg.norm(accel_world(part_of(track, after)), axis=1)
        rested = len(felt_m_s2) > 0 and np.sqrt(np.mean(felt_m_s2**2)) < _AT_REST_M_S2
        if rested and _legs_stop(recording, top):
            rests.append(top)
    return float(recording.time_s[max(rests)]) if rests else None


def _legs_stop(recording: Recording, at: int) -> bool:
    """Tell whether the ankles turn by far less after an index than they did in the kicks before.

    A hand that has entered may lie as still in front of a body that glides and kicks on.
    """
    before, after = (
        slice(*(max(at + int(share_s * recording.rate_hz), 0) for share_s in span))
        for span in (_KICKING_S, _STOPPED_S)
    )
    ankles = ankles_of(recording)
    if not ankles or before.stop <= before.start:
        return False
    kicked, left = (
        np.mean(np.max([np.sum(t.gyro_rad_s[rows] ** 2, axis=1) for t in ankles], axis=0))
        for rows in (before, after)
    )
    return bool(left < _STOPPED**2 * kicked)


def feet_jolt(recording: Recording, usual_s: float, from_s: float, to_s: float) -> float | None:
    """Return the strongest jolt of the feet near the usual moment, None where none stands out.

    All moments are session time; `from_s` and `to_s` say where to look.
    """
    first, last = rows_between(recording, from_s, to_s)
    if last - first < 5 or not ankles_of(recording):
        return None
    size = np.max([jolts(recording, t, first, last) for t in ankles_of(recording)], axis=0)
    if not _stands_out(size).any():
        return None
    near = np.exp(-0.5 * ((recording.time_s[first:last] - usual_s) / _NEAR_S) ** 2)
    return float(recording.time_s[first + int(np.argmax(size * near))])


def _stands_out(size: FloatArray) -> BoolArray:
    """Tell which jolts (L,) are more than what goes on all the time."""
    return np.asarray(size > 4.0 * np.median(size) + 0.5)
