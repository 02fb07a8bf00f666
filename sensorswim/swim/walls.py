"""The push-off that begins a length and the wall contact that ends it.

Push-off: the upper body is stretched and quiet while the legs drive it forward, so wrists and
trunk show a clean forward pulse of 0.3 to 0.5 s, followed by a glide. Contact: a flip turn puts
the feet on the wall a moment before the push-off; an open turn and a finish the hand, just before
the body leaves the posture that it swam in.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.ndimage import binary_dilation, uniform_filter1d
from scipy.signal import find_peaks

from sensorswim.model import Limb, Placement, Recording, Track
from sensorswim.model.streams import BoolArray, FloatArray
from sensorswim.signal import accel_world
from sensorswim.signal.rotations import up_in_sensor
from sensorswim.swim.wall_signals import (
    joined,
    jolts,
    long_axis,
    part_of,
    pulse_of,
    quaternions,
    rows_between,
    shared,
    speed_gain,
    swim_direction,
)

_RISE_S = 0.3
"""Longest time from the start of a push to its peak: arms that still swing forward before it
must not count (no source; read off the synthetic swimmer, not checked on real push-offs)."""

_STRETCHED_S, _LATE_STRETCHED_S = 0.5, 1.3
"""How long after the push the arms point ahead; some bring them up only in the glide."""

_LONG_GLIDE_S = 2.0
"""By how much a push-off may lie further before the first cycles than is usual."""

_FEET_STAY_S = 0.25
"""How much later than the body an ankle begins to move in a push-off: the feet stay on the wall
(no source; read off the synthetic swimmer)."""

_USUAL_CONTACT_S = 0.23
"""Usual time from the feet's contact to the push in a flip turn (no source; read off the synthetic
swimmer)."""

_USUAL_TURN_S = 1.1
"""Usual time from the touch to the push-off in an open turn (common practice, no source)."""

_USUAL_ONSET_S = 0.2
"""Usual time from the touch to where the body has visibly left its posture (no source)."""

_NEAR_S = 0.2
"""How far around the usual moment a jolt of the feet still counts, as a standard deviation."""

_JOLT_S, _LONE_JOLT_S = (0.2, 0.4, 0.05, 0.15), (0.3, 0.5, 0.1, 0.2)
"""How long before and after the expected touch a hand's jolt is looked for, when it usually comes,
and its standard deviation: where legs or trunk tell the touch, and where the arms alone do."""

_OVER = 0.55
"""Sine of 33 degrees: feet that go over the top stand up nearly straight, drawn under the body they
come up half as far."""

_AS_SWUM, _POSTURE, _TURNED, _POINTS_BACK = 0.95, 0.85, 0.4, -0.5
"""Cosines of 18, 32, 66 and 120 degrees out of the usual direction."""

_SHARE = 0.9
_SMOOTH_S = 0.2
_RECENT_S = 8.0
_LEAST_USUAL = 0.3
_LONGEST_ONSET_S = 0.3
_SLOWEST_S = 2.0
"""A body that takes longer to turn has stopped half-way: legs sink and stay so at the wall."""
_REACH = 0.7
_LET_GO_S = 0.3
"""Usual time from a touch to where the arm has visibly left its reach (no source)."""

_BEHIND = 0.4
_PULL_S, _QUICK_TURN_S = 1.2, 1.4
_OTHER_HAND_S = 1.1
"""From the end of the last reach of one hand to the touch of the other: a pull (no source)."""

_HANGING = 0.15
_NEARLY, _ALIKE = 0.33, 0.6
"""Least share of the highest gain of speed that a push has: told by ankles, by the upper body. The
last such gain is it, for legs are drawn to the wall and arms swing forward before it. Picked on
synthetic swimmers of two builds."""

_LIES_STILL_S = 1.4
_BRAKED_S, _DRAWN_S = 0.2, (0.2, 0.6)
_MOST_M_S, _SPEED_SPREAD_M_S, _MOST_M_S2 = 1.5, 1.4, 15.0
_BEFORE_S, _AFTER_S = 0.4, 0.2
"""How long before a body leaves its posture it may have touched; around and after the touch when it
is braked and the feet come on; the change of speed that counts in full, and how it weighs; standard
deviations of the touch before and after the body leaves. Picked on synthetic swimmers of four
builds."""

_LATE_S, _COMES_ON_S, _BENT_REACH = 0.2, 1.0, 0.4
_AT_REST_S, _AT_REST_M_S2 = (0.08, 0.38), 2.0
"""A jolt later than usual by so much may be that of an arm that moves on; how long before the body
leaves its posture a hand may have come to the wall, how far its forearm points ahead at least; when
after the touch it is at rest, and what it may feel but gravity. Picked on synthetic swimmers of
four builds."""
_KICKING_S, _STOPPED_S, _STOPPED = (-2.0, -0.4), (0.1, 0.45), 0.4
"""When the legs kick and when no more, and by how much less they turn then: by a factor of 0.06 to
0.35 at most touches of two of these builds, 0.47 and more after hands that were on their way."""

_SINK_S = 2.5
_IDLE_S = 5.0
"""By how much idle hands at the wall may have drawn out the cycles of a wrist."""


@dataclass(frozen=True, kw_only=True)
class Contact:
    """When a swimmer came to the wall, and whether with the feet, in a flip turn."""

    at_s: float
    by_feet: bool = False


@dataclass(frozen=True, kw_only=True)
class WallFinder:
    """Find push-offs and contacts near the rough edges of lengths.

    Parameters
    ----------
    least_push_m_s : float
        Speed that a push-off must give.
    turn_s : float
        Longest time from contact to push-off in a turn without a rest.
    """

    least_push_m_s: float = 0.8
    turn_s: float = 4.0

    def push_offs(
        self,
        recording: Recording,
        windows: list[tuple[float, float]],
        worn: dict[Placement, float],
    ) -> list[float | None]:
        """Return when each push begins (a fifth of its peak), None where none is seen.

        Wrists and trunk tell; the ankles, which leave the wall last, only where those don't agree,
        and without ankles a single arm, or arms that are stretched only after the push.

        Parameters
        ----------
        windows : list
            Where to look, session time.
        worn : dict
            From `worn_signs`.
        """
        upper, ankles = _upper_body(recording), _ankles(recording)
        begins: list[float | None] = []
        for from_s, to_s in windows:
            found = self._push_off(recording, upper, worn, (from_s, to_s), _STRETCHED_S)
            if found is None and ankles:
                found = self._push_off(recording, ankles, worn, (from_s, to_s), _STRETCHED_S)
            elif found is None:
                wider = (from_s - _LONG_GLIDE_S, to_s)
                found = self._push_off(recording, upper, worn, wider, _LATE_STRETCHED_S)
            begins.append(found)
        return begins

    def _push_off(
        self,
        recording: Recording,
        tracks: list[Track],
        worn: dict[Placement, float],
        window: tuple[float, float],
        stretched_s: float,
    ) -> float | None:
        first, last = rows_between(recording, *window)
        if last - first < recording.rate_hz or not tracks:
            return None
        ankle, alone = tracks[0].placement.limb is Limb.ANKLE, len(tracks) == 1
        ahead = -1.0 if ankle else 1.0
        pulses = [
            pulse_of(recording, t, ahead * worn[t.placement], first, last, stretched_s, alone=alone)
            for t in tracks
        ]
        forward = joined(pulses)
        gain = speed_gain(forward, recording.rate_hz)
        common = 1.0 if alone else shared(pulses, recording.rate_hz)
        sure = speed_gain(common * forward, recording.rate_hz)
        share = _NEARLY if ankle else 1.0 if alone else _ALIKE
        peaks, _ = find_peaks(sure, height=share * float(sure.max()))
        told = gain if ankle or not _ankles(recording) else sure
        peaks = peaks[told[peaks] >= self.least_push_m_s]
        if not len(peaks):
            return None
        begin = _rise(forward, int(peaks[-1]), recording.rate_hz)
        return float(recording.time_s[first + begin]) - (_FEET_STAY_S if ankle else 0.0)

    def contact_before(
        self,
        recording: Recording,
        push_s: float,
        length_s: tuple[float, float],
        worn: dict[Placement, float],
    ) -> Contact:
        """Return the contact of the turn that ends in this push-off.

        Parameters
        ----------
        push_s : float
        length_s : (float, float)
            Roughly when the length before it was swum.
        worn : dict
            From `worn_signs`.
        """
        from_s = max(push_s - self.turn_s, length_s[0])
        turns_s = _leaves_posture(recording, length_s, from_s, push_s - 0.1)
        if _is_flip(recording, length_s, (turns_s or push_s - _USUAL_TURN_S, push_s), worn):
            usual_s = push_s - _USUAL_CONTACT_S
            found = _feet_jolt(recording, usual_s, push_s - 0.7, push_s - 0.06)
            return Contact(at_s=usual_s if found is None else found, by_feet=True)
        if turns_s is None:
            return Contact(at_s=push_s - _USUAL_TURN_S)
        before_s = push_s - 0.35
        stops_s = _stops(recording, length_s, (turns_s, before_s), worn)
        return Contact(at_s=_touch(recording, length_s, stops_s, before_s))

    def finish(
        self,
        recording: Recording,
        length_s: tuple[float, float],
        worn: dict[Placement, float],
    ) -> float | None:
        """Return the touch after which the swimmer stops, None where the posture stays."""
        near_s = length_s[1]
        turns_s = _leaves_posture(recording, length_s, near_s - _IDLE_S, near_s + _SINK_S)
        if turns_s is None:
            return None
        stops_s = _stops(recording, length_s, (turns_s, turns_s + 0.5), worn)
        return _touch(recording, length_s, stops_s, turns_s + 0.5)


def _is_flip(
    recording: Recording,
    length_s: tuple[float, float],
    turn_s: tuple[float, float],
    worn: dict[Placement, float],
) -> bool:
    """Tell whether the feet went over the top, not under the body, in the turn.

    They have by the time the body points back; on the wall the shanks may slope either way.
    """
    first, last = rows_between(recording, *turn_s)
    steady = _steady(recording, first, last)
    if not steady or last - first < 2:
        return _arms_flip(recording, last, worn)
    feet_up = [
        worn[t.placement] * (1.0 if t.placement.limb is Limb.ANKLE else -1.0)
        * up_in_sensor(quaternions(t)[first:last])[:, 0]
        for t in steady
    ]  # fmt: skip
    tilt = uniform_filter1d(np.mean(feet_up, axis=0), int(_SMOOTH_S * recording.rate_hz))
    along = _share_of_posture(recording, steady, length_s, first, last)
    ahead, back = np.flatnonzero(along > -_POINTS_BACK), np.flatnonzero(along < _POINTS_BACK)
    turned = back[back > ahead[-1]] if len(ahead) else back[:0]
    tilt = tilt[: turned[0]] if len(turned) else tilt
    return bool(tilt.max() > max(_OVER, -tilt.min()))


def _rise(forward: FloatArray, top: int, rate_hz: float) -> int:
    """Return where the pulse around `top` began: a fifth of its peak."""
    reach = int(0.2 * rate_hz)
    low = max(top - reach, 0)
    peak = low + int(np.argmax(forward[low : top + reach]))
    below = np.flatnonzero(forward[:peak] < 0.2 * forward[peak])
    return max(int(below[-1]) + 1 if len(below) else 0, peak - int(_RISE_S * rate_hz))


def _arms_flip(recording: Recording, push: int, worn: dict[Placement, float]) -> bool:
    """Tell a flip by arms that don't hang: they lie along a body that goes over its head."""
    rate_hz = recording.rate_hz
    first, last = max(push - int(_USUAL_TURN_S * rate_hz), 0), push - int(0.2 * rate_hz)
    up = [
        worn[t.placement] * float(long_axis(t, first, last)[:, 2].mean())
        for t in _wrists(recording)
        if last > first
    ]
    return not up or float(np.mean(up)) > -_HANGING


def _upper_body(recording: Recording) -> list[Track]:
    away = (Limb.ANKLE, Limb.UPPER_ARM)
    return [t for p, t in recording.tracks.items() if p.limb not in away]


def _ankles(recording: Recording) -> list[Track]:
    return [t for p, t in recording.tracks.items() if p.limb is Limb.ANKLE]


def _wrists(recording: Recording) -> list[Track]:
    return [t for p, t in recording.tracks.items() if p.limb is Limb.WRIST]


def _leaves_posture(
    recording: Recording, length_s: tuple[float, float], from_s: float, to_s: float
) -> float | None:
    """Return when the body begins to turn out of the direction it swam in, None where it doesn't.

    Legs and trunk tell; without them it is the reach of the last arm.
    """
    first, last = rows_between(recording, from_s, to_s)
    if last - first < 10:
        return None
    steady = _steady(recording, first - int(recording.rate_hz), last)
    if not steady:
        return _reach_ends(recording, length_s, first, last)
    along = _share_of_posture(recording, steady, length_s, first, last)
    kept = np.flatnonzero(along > _POSTURE)
    if not len(kept) or kept[-1] >= last - first - 2:
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
    along = [_along_swim(recording, t, length_s, first, last) for t in _wrists(recording)]
    kept = np.flatnonzero(np.any([a > _REACH for a in along], axis=0)) if along else np.empty(0)
    if not len(kept) or kept[-1] >= last - first - 2:
        return None
    left = int(kept[-1])
    ended_s = float(recording.time_s[first + left]) - _LET_GO_S
    following = along[0][left : left + int(_PULL_S * rate_hz)]
    to_spare = last - first - left > _QUICK_TURN_S * rate_hz
    other = len(along) == 1 and to_spare and float(following.min()) < -_BEHIND
    return ended_s + _OTHER_HAND_S if other else ended_s


def _steady(recording: Recording, first: int, last: int) -> list[Track]:
    """Return legs and trunk without gaps; with gaps where there is nothing else at all."""
    legs = (Limb.ANKLE, Limb.LOWER_BACK, Limb.UPPER_BACK)
    steady = [t for p, t in recording.tracks.items() if p.limb in legs]
    whole = [t for t in steady if t.valid[max(first, 0) : last].all()]
    return whole or ([] if _wrists(recording) else steady)


def _share_of_posture(
    recording: Recording, tracks: list[Track], length_s: tuple[float, float], first: int, last: int
) -> FloatArray:
    """Return how far the long axes point along the swim (L,), 1 = as usual in this length."""
    rate_hz = recording.rate_hz
    low = min(rows_between(recording, *length_s)[0], first - int(rate_hz))
    low = max(low, first - int(_RECENT_S * rate_hz), 0)
    along = [_along_swim(recording, t, length_s, low, last) for t in tracks]
    smooth = uniform_filter1d(np.mean(along, axis=0), int(_SMOOTH_S * rate_hz))
    usual = float(np.median(smooth[: first - low])) if first > low else 1.0
    return np.asarray(smooth[first - low :] / max(usual, _LEAST_USUAL))


def _onset_s(falling: FloatArray, rate_hz: float) -> float:
    """Return how long before `falling` was last as swum the turn began.

    A body that starts from rest takes a fixed share of its time from one angle to the next: 0.9
    under constant acceleration. One whose legs sink first, and turn after a while, takes longer.
    """
    below = np.flatnonzero(falling[: int(_SLOWEST_S * rate_hz)] < _TURNED)
    if not len(below):
        return _USUAL_ONSET_S
    return float(np.clip(below[0] / rate_hz / _SHARE, _SMOOTH_S, _LONGEST_ONSET_S))


def _stops(
    recording: Recording,
    length_s: tuple[float, float],
    turn_s: tuple[float, float],
    worn: dict[Placement, float],
) -> float:
    """Return when the wall stops the body, near where it begins to turn or its legs to sink.

    The arm brakes the body, and then the feet come on towards the wall; the legs of some lie level
    for a while before they sink.
    """
    rate_hz = recording.rate_hz
    lead, later, end = (int(share_s * rate_hz) for share_s in (_BRAKED_S, *_DRAWN_S))
    turns_s, before_s = turn_s
    first, last = rows_between(recording, turns_s - _LIES_STILL_S, min(turns_s + 0.4, before_s))
    low, high = first - lead, last + end
    ankles = [t for t in _steady(recording, low, high) if t.placement.limb is Limb.ANKLE]
    if last - first < 2 or low < 0 or high > len(recording.time_s) or not ankles:
        return turns_s
    back = [worn[t.placement] * swim_direction(recording, t, *length_s) for t in ankles]
    own = [_gained(t, -way, slice(low, high)) for t, way in zip(ankles, back, strict=True)]
    speed = np.mean(own, axis=0) / rate_hz
    before, braked, by_then, drawn = (
        speed[k : k + last - first] for k in (0, 2 * lead, lead + later, lead + end)
    )
    told = np.minimum(before - braked, _MOST_M_S) + np.minimum(drawn - by_then, _MOST_M_S)
    late_s = recording.time_s[first:last] - turns_s
    spread_s = np.where(late_s < 0.0, _BEFORE_S, _AFTER_S)
    likely = told / _SPEED_SPREAD_M_S - 0.5 * (late_s / spread_s) ** 2
    return float(recording.time_s[first + int(np.argmax(likely))])


def _gained(track: Track, way: FloatArray, rows: slice) -> FloatArray:
    """Return the acceleration along a level way (2,), summed up from the first row on (L,)."""
    along = accel_world(part_of(track, rows))[:, :2] @ way
    return np.cumsum(np.clip(along, -_MOST_M_S2, _MOST_M_S2))


def _along_swim(
    recording: Recording, track: Track, length_s: tuple[float, float], first: int, last: int
) -> FloatArray:
    """Return how far a long axis points along the swim (L,), -1 to 1."""
    ahead = swim_direction(recording, track, *length_s)
    return np.asarray(long_axis(track, first, last)[:, :2] @ ahead)


def _touch(
    recording: Recording, length_s: tuple[float, float], expected_s: float, before_s: float
) -> float:
    """Return the jolt of a reaching hand near where the body begins to turn, else that moment."""
    legs = bool(_steady(recording, *rows_between(recording, expected_s - 0.2, expected_s + 0.3)))
    early_s, late_s, usual_s, spread_s = _JOLT_S if legs else _LONE_JOLT_S
    first, last = rows_between(recording, expected_s - early_s, min(expected_s + late_s, before_s))
    if last - first < 10 or not _wrists(recording):
        return expected_s
    away_s = recording.time_s[first:last] - expected_s - usual_s
    near = np.exp(-0.5 * (away_s / spread_s) ** 2)
    weighted = []
    for track in _wrists(recording):
        size = jolts(recording, track, first, last)
        ahead = _along_swim(recording, track, length_s, first, last) > _REACH
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
    for track in _wrists(recording) if last - first >= 10 else ():
        size = jolts(recording, track, first, last)
        ahead = _along_swim(recording, track, length_s, first, last) > _BENT_REACH
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
    rates = [np.linalg.norm(track.gyro_rad_s, axis=1) for track in _ankles(recording)]
    before, after = (
        slice(*(max(at + int(share_s * recording.rate_hz), 0) for share_s in span))
        for span in (_KICKING_S, _STOPPED_S)
    )
    if not rates or before.stop <= before.start:
        return False
    turning = np.max(rates, axis=0) ** 2
    return bool(np.mean(turning[after]) < _STOPPED**2 * np.mean(turning[before]))


def _stands_out(size: FloatArray) -> BoolArray:
    """Tell which jolts (L,) are more than what goes on all the time."""
    return np.asarray(size > 4.0 * np.median(size) + 0.5)


def _feet_jolt(recording: Recording, usual_s: float, from_s: float, to_s: float) -> float | None:
    """Return the strongest jolt of the feet near the usual moment, None where none stands out."""
    first, last = rows_between(recording, from_s, to_s)
    if last - first < 5 or not _ankles(recording):
        return None
    size = np.max([jolts(recording, t, first, last) for t in _ankles(recording)], axis=0)
    if not _stands_out(size).any():
        return None
    near = np.exp(-0.5 * ((recording.time_s[first:last] - usual_s) / _NEAR_S) ** 2)
    return float(recording.time_s[first + int(np.argmax(size * near))])
