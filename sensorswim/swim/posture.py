"""The posture that a swimmer swims in, and when the body leaves it at the wall.

Legs and trunk tell; without them it is the reach of the last arm.
"""

from __future__ import annotations

import numpy as np
from scipy.ndimage import uniform_filter1d

from sensorswim.model import Limb, Placement, Recording, Side, Track
from sensorswim.model.streams import FloatArray
from sensorswim.signal import accel_world
from sensorswim.swim.wall_signals import long_axis, part_of, rows_between, swim_direction

_USUAL_ONSET_S = 0.2
"""Usual time from the touch to where the body has visibly left its posture (no source)."""

_AS_SWUM, _POSTURE, _TURNED = 0.95, 0.85, 0.4
"""Cosines of 18, 32 and 66 degrees out of the usual direction."""

_SHARE = 0.9
SMOOTH_S = 0.2
"""The posture is smoothed over so long."""
_RECENT_S = 8.0
_LEAST_USUAL = 0.3
_LONGEST_ONSET_S = 0.3
_SLOWEST_S = 2.0
"""A body that takes longer to turn has stopped half-way: legs sink and stay so at the wall."""
_STANDS_S = 1.0
"""Who stands up once for so long has left the posture, though he then lies as before (our choice);
legs that are drawn up again and again have not."""
REACH = 0.7
"""Cosine of 45 degrees: a forearm that reaches ahead."""
_LET_GO_S = 0.3
"""Usual time from a touch to where the arm has visibly left its reach (no source)."""

_BEHIND = 0.4
_PULL_S, _QUICK_TURN_S = 1.2, 1.4
_OTHER_HAND_S = 1.1
"""From the end of the last reach of one hand to the touch of the other: a pull (no source)."""

_LIES_STILL_S = 1.4
_BRAKED_S, _DRAWN_S = 0.2, (0.2, 0.6)
_MOST_M_S, _SPEED_SPREAD_M_S, _MOST_M_S2 = 1.5, 1.4, 15.0
_STROKES_S, _MOSTLY, _TOGETHER, _LIKE_A_WALL_M_S = 6.0, 0.9, 0.5, 1.0
"""The strokes before are looked at for so long and told by that quantile, where the pushes of the
legs are so much alike; what counts of them: 2.0 to 2.4 in the breaststroke of a synthetic swimmer,
0.8 in the butterfly of another one."""
_BEFORE_S, _AFTER_S = 0.4, 0.2
"""How long before a body leaves its posture it may have touched; around and after the touch when it
is braked and the feet come on; the change of speed that counts in full, and how it weighs; standard
deviations of the touch before and after the body leaves. Picked on synthetic swimmers of four
builds."""


def leaves_posture(
    recording: Recording, length_s: tuple[float, float], from_s: float, to_s: float
) -> float | None:
    """Return when the body begins to turn out of the direction it swam in, None where it doesn't.

    Parameters
    ----------
    recording : Recording
        Oriented.
    length_s : (float, float)
        Roughly when the length was swum, session time.
    from_s, to_s : float
        Where to look, session time.
    """
    first, last = rows_between(recording, from_s, to_s)
    if last - first < 10:
        return None
    steady = steady_tracks(recording, first - int(recording.rate_hz), last)
    if not steady:
        return _reach_ends(recording, length_s, first, last)
    along = share_of_posture(recording, steady, length_s, first, last)
    kept = np.flatnonzero(along > _POSTURE)
    if len(kept) and kept[-1] >= last - first - 2:
        stood = np.flatnonzero(np.diff(kept) > _STANDS_S * recording.rate_hz)
        kept = kept[: stood[0] + 1] if len(stood) == 1 else kept[:0]
    if not len(kept):
        return None
    as_swum = np.flatnonzero(along[: kept[-1] + 1] > _AS_SWUM)
    left = int(as_swum[-1] if len(as_swum) else kept[-1])
    return float(recording.time_s[first + left]) - _onset_s(along[left:], recording.rate_hz)


def _reach_ends(
    recording: Recording, length_s: tuple[float, float], first: int, last: int
) -> float | None:
    """Return when the last reach ahead ended, a little before; None where it goes on.

    A lone wrist that pulls through to the back after its last reach, with time to spare, has
    left the touch to the other hand, half a cycle later.
    """
    rate_hz = recording.rate_hz
    along = [along_swim(recording, t, length_s, first, last) for t in wrists_of(recording)]
    kept = np.flatnonzero(np.any([a > REACH for a in along], axis=0)) if along else np.empty(0)
    if not len(kept) or kept[-1] >= last - first - 2:
        return None
    left = int(kept[-1])
    ended_s = float(recording.time_s[first + left]) - _LET_GO_S
    following = along[0][left : left + int(_PULL_S * rate_hz)]
    to_spare = last - first - left > _QUICK_TURN_S * rate_hz
    other = len(along) == 1 and to_spare and float(following.min()) < -_BEHIND
    return ended_s + _OTHER_HAND_S if other else ended_s


def _onset_s(falling: FloatArray, rate_hz: float) -> float:
    """Return how long before `falling` was last as swum the turn began.

    A body that starts from rest takes a fixed share of its time from one angle to the next: 0.9
    under constant acceleration. One whose legs sink first, and turn after a while, takes longer.
    """
    below = np.flatnonzero(falling[: int(_SLOWEST_S * rate_hz)] < _TURNED)
    if not len(below):
        return _USUAL_ONSET_S
    return float(np.clip(below[0] / rate_hz / _SHARE, SMOOTH_S, _LONGEST_ONSET_S))


def body_stops(
    recording: Recording,
    length_s: tuple[float, float],
    turn_s: tuple[float, float],
    worn: dict[Placement, float],
) -> float:
    """Return when the wall stops the body, near where it begins to turn or its legs to sink.

    The arm brakes the body, and then the feet come on towards the wall; the legs of some lie level
    for a while before they sink.

    Parameters
    ----------
    recording : Recording
        Oriented.
    length_s : (float, float)
        Roughly when the length was swum, session time.
    turn_s : (float, float)
        When the body leaves its posture, and the latest moment of the touch.
    worn : dict
        From `wall_signals.worn_signs`.
    """
    rate_hz = recording.rate_hz
    lead, end = (int(share_s * rate_hz) for share_s in (_BRAKED_S, _DRAWN_S[1]))
    turns_s, before_s = turn_s
    first, last = rows_between(recording, turns_s - _LIES_STILL_S, min(turns_s + 0.4, before_s))
    low, high = first - lead, last + end
    ankles = [t for t in steady_tracks(recording, low, high) if t.placement.limb is Limb.ANKLE]
    if last - first < 2 or low < 0 or high > len(recording.time_s) or not ankles:
        return turns_s
    back = [worn[t.placement] * swim_direction(recording, t, *length_s) for t in ankles]
    ways = list(zip(ankles, (-way for way in back), strict=True))
    told = _braked_and_drawn(ways, slice(low, high), rate_hz)
    usual = _of_strokes(ways, low, rate_hz)
    if usual > _LIKE_A_WALL_M_S:
        told = np.maximum(told - usual, 0.0)
    late_s = recording.time_s[first:last] - turns_s
    spread_s = np.where(late_s < 0.0, _BEFORE_S, _AFTER_S)
    likely = told / _SPEED_SPREAD_M_S - 0.5 * (late_s / spread_s) ** 2
    return float(recording.time_s[first + int(np.argmax(likely))])


def _braked_and_drawn(
    ways: list[tuple[Track, FloatArray]], rows: slice, rate_hz: float
) -> FloatArray:
    """Return by how much feet are braked around each moment and then come on, m/s.

    The moments lie so far inside the rows that all of it shows.
    """
    lead, later, end = (int(share_s * rate_hz) for share_s in (_BRAKED_S, *_DRAWN_S))
    speed = np.mean([_gained(track, way, rows) for track, way in ways], axis=0) / rate_hz
    count = len(speed) - lead - end
    before, braked, by_then, drawn = (
        speed[k : k + count] for k in (0, 2 * lead, lead + later, lead + end)
    )
    return np.asarray(
        np.minimum(before - braked, _MOST_M_S) + np.minimum(drawn - by_then, _MOST_M_S)
    )


def _of_strokes(ways: list[tuple[Track, FloatArray]], until: int, rate_hz: float) -> float:
    """Return how much of that there is in every stroke before, m/s: where both legs are drawn up.

    In breaststroke that looks like the wall; legs that kick by turns are not told from it so.
    """
    rows = slice(max(until - int(_STROKES_S * rate_hz), 0), until)
    pushes = [np.diff(_gained(track, way, rows)) for track, way in ways]
    if len(pushes) < len(Side) or len(pushes[0]) < 0.5 * _STROKES_S * rate_hz:
        return 0.0
    if float(np.asarray(np.corrcoef(pushes))[0, 1]) < _TOGETHER:
        return 0.0
    return max(float(np.quantile(_braked_and_drawn(ways, rows, rate_hz), _MOSTLY)), 0.0)


def _gained(track: Track, way: FloatArray, rows: slice) -> FloatArray:
    """Return the acceleration along a level way (2,), summed up from the first row on (L,)."""
    along = accel_world(part_of(track, rows))[:, :2] @ way
    return np.cumsum(np.clip(along, -_MOST_M_S2, _MOST_M_S2))


def steady_tracks(recording: Recording, first: int, last: int) -> list[Track]:
    """Return legs and trunk without gaps; with gaps where there is nothing else at all."""
    legs = (Limb.ANKLE, Limb.LOWER_BACK, Limb.UPPER_BACK)
    steady = [t for p, t in recording.tracks.items() if p.limb in legs]
    whole = [t for t in steady if t.valid[max(first, 0) : last].all()]
    return whole or ([] if wrists_of(recording) else steady)


def share_of_posture(
    recording: Recording, tracks: list[Track], length_s: tuple[float, float], first: int, last: int
) -> FloatArray:
    """Return how far the long axes point along the swim (L,), 1 = as usual in this length."""
    rate_hz = recording.rate_hz
    low = min(rows_between(recording, *length_s)[0], first - int(rate_hz))
    low = max(low, first - int(_RECENT_S * rate_hz), 0)
    along = [along_swim(recording, t, length_s, low, last) for t in tracks]
    smooth = uniform_filter1d(np.mean(along, axis=0), int(SMOOTH_S * rate_hz))
    usual = float(np.median(smooth[: first - low])) if first > low else 1.0
    return np.asarray(smooth[first - low :] / max(usual, _LEAST_USUAL))


def along_swim(
    recording: Recording, track: Track, length_s: tuple[float, float], first: int, last: int
) -> FloatArray:
    """Return how far a long axis points along the swim (L,), -1 to 1."""
    ahead = swim_direction(recording, track, *length_s)
    return np.asarray(long_axis(track, first, last)[:, :2] @ ahead)


def ankles_of(recording: Recording) -> list[Track]:
    """Return the tracks of the ankles."""
    return [t for p, t in recording.tracks.items() if p.limb is Limb.ANKLE]


def wrists_of(recording: Recording) -> list[Track]:
    """Return the tracks of the wrists."""
    return [t for p, t in recording.tracks.items() if p.limb is Limb.WRIST]
