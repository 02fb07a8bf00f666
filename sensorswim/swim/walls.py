"""The push-off that begins a length and the wall contact that ends it.

Push-off: the upper body is stretched and quiet while the legs drive it forward, so wrists and
trunk show a clean forward pulse of 0.3 to 0.5 s, followed by a glide. Contact: a flip turn puts
the feet on the wall a moment before the push-off; an open turn and a finish the hand, just before
the body leaves the posture that it swam in.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import partial
from itertools import zip_longest

import numpy as np
from scipy.ndimage import uniform_filter1d
from scipy.signal import find_peaks

from sensorswim.model import Limb, Placement, Recording, Track
from sensorswim.model.streams import FloatArray
from sensorswim.signal.rotations import up_in_sensor
from sensorswim.swim.at_work import all_still_s, arms_rest_s, swam_by
from sensorswim.swim.posture import (
    SMOOTH_S,
    ankles_of,
    body_stops,
    leaves_posture,
    share_of_posture,
    steady_tracks,
    wrists_of,
)
from sensorswim.swim.touches import feet_jolt, hand_touches
from sensorswim.swim.wall_signals import (
    Pulse,
    come_to_rest,
    joined,
    long_axis,
    pulse_of,
    quaternions,
    rows_between,
    shared,
    speed_gain,
)

_RISE_S = 0.3
"""Longest time from the start of a push to its peak: arms that still swing forward before it
must not count (no source; read off the synthetic swimmer, not checked on real push-offs)."""

_STRETCHED_S, _LATE_STRETCHED_S = 0.5, 1.3
"""How long after the push the arms point ahead; some bring them up only in the glide."""

_LATE_LEAST = 0.5
"""What is asked of such a push, after what strokes gain is taken off."""

_LONG_GLIDE_S, _RARELY_S = 2.0, 1.0
"""By how much a push-off may lie further before the first cycles than is usual, and how fast that
gets unlikely, as a standard deviation: the last strokes before a turn lie there too."""

_IDLED_S, _SELDOM_S = 4.0, 3.0
"""The same for a push-off that lies later than usual, by what two idle hands moved before it. Tried
on synthetic swimmers of eleven builds, with 1.5 to 3 s. One arm alone glides between its strokes as
after a push-off."""

_DRAWN_UP_S = 4.0
"""By how much later than usual a push-off may lie for which a swimmer lies in wait at the wall, or
draws up the legs, where the upper body shows none sooner (our choice)."""

_EVERYBODYS = 0.8
"""How far all limbs gain a push-off's speed and glide on, as no stroke makes them, though the arms
have moved as in a swim before: 0.94 and more, but for arms that swing on (no source)."""

_TURNED_S = 0.5, 0.8
"""When the push follows a turn as the arms tell it, and how surely, as a standard deviation: -0.7
to 1.3 s after it in lone wrists of synthetic swimmers of eight builds."""

_FEET_STAY_S = 0.25
"""How much later than the body an ankle begins to move in a push-off: the feet stay on the wall
(no source; read off the synthetic swimmer)."""

_USUAL_CONTACT_S = 0.23
"""Usual time from the feet's contact to the push in a flip turn (no source; read off the synthetic
swimmer)."""

_USUAL_TURN_S = 1.1
"""Usual time from the touch to the push-off in an open turn (common practice, no source)."""

_OVER = 0.55
"""Sine of 33 degrees: feet that go over the top stand up nearly straight, drawn under the body they
come up half as far."""

_POINTS_BACK = -0.5
"""Cosine of 120 degrees out of the usual direction."""

_HANGING = 0.15
_NEARLY, _ALIKE = 0.33, 0.6
"""Least share of the highest gain of speed that a push has: told by ankles, by the upper body. The
last such gain is it, for legs are drawn to the wall and arms swing forward before it. Picked on
synthetic swimmers of two builds."""

_HARDEST_M_S = 3.3
"""Legs that push give no more speed; ankles that go over the top in a flip turn gain up to 4 m/s,
towards the wall (synthetic swimmers)."""

_LONGEST_GLIDE_S, _GLIDE_BLUR_S, _STRETCHED, _LEVEL, _STILL_RAD_S = 8.5, 0.4, 0.8, 0.5, 1.5
"""A glide whose push-off was not seen: how long it may last (15 m under water at 1.8 m/s, the most
by the rules of World Aquatics, from memory), over how much turning is averaged, cosine within which
the arms keep their direction, sine of their slope and the turning below which they lie stretched
(no source; idle hands turn more, and hang)."""
_DRIFTS_S, _HELD_RAD_S = 5.0, 0.12
"""Who glides for longer kicks: 0.15 and more in the arms of synthetic swimmers, less in a hand that
holds on to something (no source)."""
_BEGUN_S = 0.0, 0.3, 0.6
"""How long before the first cycle's begin such a glide may be over."""

_BLURRED_S = 2.5
"""How long before the rough end of a length a touch may be (no source; 1.1 s in one synthetic swim
in which it was missed)."""

_REST_S = (0.6, 0.7)
"""How long before and after the arms' rest a touch may be that they alone tell."""
_SETTLES_S = 0.5
"""How long after a touch limbs come to rest that stay where they are (no source)."""
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
        Longest time from the rough end of a length to the next push-off in a turn without a rest.
    """

    least_push_m_s: float = 0.8
    turn_s: float = 4.0

    def push_offs(
        self,
        recording: Recording,
        windows: list[tuple[float, float]],
        worn: dict[Placement, float],
        turns_s: Sequence[float | None] = (),
    ) -> list[float | None]:
        """Return when each push begins (a fifth of its peak), None where none is seen.

        Wrists and trunk tell, where ankles are worn a little later than asked as well; the ankles,
        which leave the wall last, only where those don't agree, and without ankles a single arm, or
        arms that are stretched only after the push.

        Parameters
        ----------
        windows : list
            Where to look, session time.
        worn : dict
            From `worn_signs`.
        turns_s : sequence, optional
            When the turn is in each window, where arms alone tell one.
        """
        upper, ankles = _upper_body(recording), ankles_of(recording)
        witnesses = ankles if len(upper) == 1 else []
        two_wrists = not ankles and [t.placement.limb for t in upper] == 2 * [Limb.WRIST]
        begins: list[float | None] = []
        for window, turn_s in zip_longest(windows, turns_s):
            near = partial(self._push_off, recording, worn=worn, window=window, turn_s=turn_s)
            later_s = _IDLED_S if two_wrists and turn_s is None else 0.0
            soon = partial(near, upper, stretched_s=_STRETCHED_S, witnesses=witnesses)
            found = soon(later_s=later_s)
            if found is None and ankles:
                found = soon(later_s=_DRAWN_UP_S)
            if found is None and ankles:
                found = near(ankles, stretched_s=_STRETCHED_S, witnesses=upper)
            elif found is None:
                found = near(upper, stretched_s=_LATE_STRETCHED_S, earlier_s=_LONG_GLIDE_S)
            begins.append(found)
        return begins

    def _push_off(
        self,
        recording: Recording,
        tracks: list[Track],
        *,
        worn: dict[Placement, float],
        window: tuple[float, float],
        stretched_s: float,
        witnesses: Sequence[Track] = (),
        earlier_s: float = 0.0,
        later_s: float = 0.0,
        turn_s: float | None = None,
    ) -> float | None:
        first, last = rows_between(recording, window[0] - earlier_s, window[1] + later_s)
        if last - first < recording.rate_hz or not tracks:
            return None
        ankle, legs = tracks[0].placement.limb is Limb.ANKLE, bool(ankles_of(recording))
        alone = len(tracks) + len(witnesses) == 1

        def pulse(track: Track) -> Pulse:
            sign = worn[track.placement] * (-1.0 if track.placement.limb is Limb.ANKLE else 1.0)
            return pulse_of(recording, track, sign, first, last, stretched_s, alone=alone)

        pulses = [pulse(t) for t in tracks]
        forward = joined(pulses)
        gain = speed_gain(forward, recording.rate_hz)
        every = [*pulses, *(pulse(t) for t in witnesses)]
        common = 1.0 if alone else shared(every, recording.rate_hz)
        at_s = recording.time_s[first:last]
        before_s, after_s = np.maximum(window[0] - at_s, 0.0), np.maximum(at_s - window[1], 0.0)
        likely = np.exp(-0.5 * ((before_s / _RARELY_S) ** 2 + (after_s / _SELDOM_S) ** 2))
        if later_s:
            one_limbs = (after_s > 0.0) & (common < (_EVERYBODYS if legs else np.inf))
            likely[one_limbs & swam_by(recording, tracks, window[1], at_s)] = 0.0
        if earlier_s:
            likely *= np.mean(
                [come_to_rest(t, first, last, recording.rate_hz) for t in tracks], axis=0
            )
        sure = likely * speed_gain(common * forward, recording.rate_hz)
        share = _NEARLY if ankle else 1.0 if alone else _ALIKE
        late_s = 0.0 if turn_s is None else at_s - turn_s - _TURNED_S[0]
        likeliest = sure * np.exp(-0.5 * (late_s / _TURNED_S[1]) ** 2)
        highest = likeliest
        if ankle:
            every_peak, _ = find_peaks(likeliest)
            highest = likeliest[every_peak[gain[every_peak] < _HARDEST_M_S]]
        peaks, _ = find_peaks(likeliest, height=share * float(highest.max(initial=0.0)))
        told = gain if ankle or not (earlier_s or legs) else sure
        firm = told[peaks] >= self.least_push_m_s * (_LATE_LEAST if earlier_s else 1.0)
        if not firm.any():
            return None
        peaks = peaks if legs and not later_s else peaks[firm]
        usual = peaks[after_s[peaks] == 0.0]
        peaks = usual if len(usual) else peaks
        begin = _rise(forward, int(peaks[-1]), recording.rate_hz)
        return float(recording.time_s[first + begin]) - (_FEET_STAY_S if ankle else 0.0)

    def glides_from_s(self, recording: Recording, cycles_s: float) -> float:
        """Return since when the arms lie stretched before their first cycle, else its begin.

        A soft push-off at the begin of a long glide may not stand out in the wrists. An arm that
        lay so for longer than a glide takes rests. The cycle may have begun already.
        """
        for begun_s in _BEGUN_S:
            from_s = _stretched_from_s(recording, cycles_s - begun_s)
            if from_s is not None:
                return from_s if np.isfinite(from_s) else cycles_s
        return cycles_s

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
        from_s = max(min(push_s - self.turn_s, length_s[1] - _BLURRED_S), length_s[0])
        turns_s = leaves_posture(recording, length_s, from_s, push_s - 0.1)
        if _is_flip(recording, length_s, (turns_s or push_s - _USUAL_TURN_S, push_s), worn):
            usual_s = push_s - _USUAL_CONTACT_S
            found = feet_jolt(recording, usual_s, push_s - 0.7, push_s - 0.06)
            return Contact(at_s=usual_s if found is None else found, by_feet=True)
        if turns_s is None:
            return Contact(at_s=push_s - _USUAL_TURN_S)
        before_s = push_s - 0.35
        stops_s = body_stops(recording, length_s, (turns_s, before_s), worn)
        return Contact(at_s=hand_touches(recording, length_s, stops_s, before_s))

    def lies_from_s(self, recording: Recording, length_s: tuple[float, float]) -> float:
        """Return when a swimmer stops who lies on, at the wall or not, else the rough end."""
        near_s = length_s[1]
        still_s = all_still_s(recording, near_s - _IDLE_S, near_s + _SINK_S)
        if still_s is None:
            return near_s
        return min(hand_touches(recording, length_s, still_s - _SETTLES_S, still_s), near_s)

    def finish(
        self,
        recording: Recording,
        length_s: tuple[float, float],
        worn: dict[Placement, float],
    ) -> float | None:
        """Return the touch after which the swimmer stops, None where the posture stays."""
        near_s = length_s[1]
        turns_s = leaves_posture(recording, length_s, near_s - _IDLE_S, near_s + _SINK_S)
        if turns_s is None:
            return None
        if not steady_tracks(recording, *rows_between(recording, near_s - _IDLE_S, near_s)):
            rest_s = arms_rest_s(recording, length_s, near_s + _SINK_S)
            turns_s = min(max(turns_s, rest_s - _REST_S[0]), rest_s + _REST_S[1])
        stops_s = body_stops(recording, length_s, (turns_s, turns_s + 0.5), worn)
        return hand_touches(recording, length_s, stops_s, turns_s + 0.5)


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
    steady = steady_tracks(recording, first, last)
    if not steady or last - first < 2:
        return _arms_flip(recording, last, worn)
    feet_up = [
        worn[t.placement] * (1.0 if t.placement.limb is Limb.ANKLE else -1.0)
        * up_in_sensor(quaternions(t)[first:last])[:, 0]
        for t in steady
    ]  # fmt: skip
    tilt = uniform_filter1d(np.mean(feet_up, axis=0), int(SMOOTH_S * recording.rate_hz))
    along = share_of_posture(recording, steady, length_s, first, last)
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
        for t in wrists_of(recording)
        if last > first
    ]
    return not up or float(np.mean(up)) > -_HANGING


def _upper_body(recording: Recording) -> list[Track]:
    away = (Limb.ANKLE, Limb.UPPER_ARM)
    return [t for p, t in recording.tracks.items() if p.limb not in away]


def _stretched_from_s(recording: Recording, to_s: float) -> float | None:
    """Return since when the arms lie stretched until a moment, None where they don't.

    Minus infinity where they do for longer than a glide takes, or for long without any of the
    movement that drives one on.
    """
    first, last = rows_between(recording, to_s - _LONGEST_GLIDE_S, to_s)
    blur = int(_GLIDE_BLUR_S * recording.rate_hz)
    wrists = wrists_of(recording)
    if last - first <= blur or not wrists:
        return None
    glides = np.ones(last - first, dtype=bool)
    rates = np.array([np.linalg.norm(t.gyro_rad_s[first:last], axis=1) for t in wrists])
    for track, rate in zip(wrists, rates, strict=True):
        axis = long_axis(track, first, last)
        ahead = axis[-blur:].mean(axis=0)
        glides &= (axis @ ahead > _STRETCHED) & (uniform_filter1d(rate, blur) < _STILL_RAD_S)
        glides &= track.valid[first:last] & (abs(ahead[2]) < _LEVEL)
    others = np.flatnonzero(~glides)
    if not len(others):
        return -np.inf
    if others[-1] == len(glides) - 1:
        return None
    lies = slice(int(others[-1]) + 1, None)
    held = float(np.median(rates[:, lies])) < _HELD_RAD_S
    from_s = float(recording.time_s[first + lies.start])
    return -np.inf if held and to_s - from_s > _DRIFTS_S else from_s
