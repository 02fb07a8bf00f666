"""Push-offs out of rest, which say more about clocks than any other movement.

A swimmer who pushes off with the arms already stretched in front carries both wrists through one
and the same change of speed: their clocks come out to some 10 ms. After a turn the arms are still
on their way, each on its own, and the two wrists differ by some 0.05 s without being any less
alike; so only push-offs before which both were calm are asked. The feet stand still at the wall
before such a push-off, too, and then follow at once: nothing else in a swim looks like that in an
ankle, but the legs' coming over in some turns.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
from scipy.signal import find_peaks

from sensorswim.model.streams import BoolArray, FloatArray, IntArray
from sensorswim.signal.pushes import TRAVEL_RATE_HZ, ComplexArray, Travel

STARTS_FLOOR_S: Final = 0.01
"""Two wrists that are stretched out in front still move a little by themselves."""

AGREE_S: Final = 0.03

FEET_SPREAD_S: Final = 0.04
"""The feet leave the wall when the body has its speed already: arms and legs agree no better than
this from one (synthetic) swimmer to the next."""

FAR_S: Final = 3.0
"""How far from the rough offset push-offs are looked for: it may be that of another stroke."""

_GAIN: Final = (-0.25, 0.3)
_WINDOW: Final = (-0.5, 0.5)
_BEFORE: Final = (-0.75, -0.3)
_REACH_S: Final = 0.2
_STEP_S: Final = 0.005
_APART_S: Final = 0.3
_LEAST_GAIN_M_S: Final = 0.8
_LIKE_GAIN: Final = 0.65
_LEAST_M_S2: Final = 4.0
_CALM_M_S2: Final = 4.5
_LONG_BEFORE: Final = (-2.5, -0.4)
_LONG_CALM_M_S2: Final = 3.0
_PUSH_M_S: Final = 1.1
_GLIDE: Final = (0.4, 1.0)
_GLIDE_M_S2: Final = 3.5
_LIKE: Final = 0.96
"""What counts as a push-off out of rest. Picked on synthetic swims without knocks, in which the
ones that pass lie within 0.01 s of the truth, but for some strays."""

_SAME_START_S: Final = 2.0
"""The body leaves the wall once in so long."""

_RESTED: Final = (-6.0, -2.0)
_RESTED_M_S2: Final = 3.0
"""Wrists that swim change speed by more in this time before a push-off, those at rest by less: in
synthetic swims of two builds 3.3 and 2.7 m/s^2 at the nearest."""

_PUSHED: Final = (-0.3, 0.3)
_FOLLOWS: Final = (-0.4, 0.16)
"""In which time about its top the body's gain of speed is looked at, and a foot's: kicks follow."""

_FOLLOWS_S, _FOLLOWS_S2_M = 0.254, 0.051
_SLOWEST_M_S, _FASTEST_M_S = 1.0, 3.0
"""A foot that gains v m/s has half of that so much less v times so much later than the body has
half of its own. Picked on some 960 push-offs of synthetic swimmers of nine builds, of which the
median of each is told to 0.02 s by the other eight, from 1 to 3 m/s.
"""

_FEET_M_S2: Final = 10.0
_FEET_M_S: Final = 1.8
_FEET_CALM_M_S2: Final = 3.5
_FEET_BEFORE: Final = (-1.0, -0.45)
_ON_WALL: Final = (-0.45, -0.2)
_ON_WALL_M_S2: Final = 1.0
_SLOWLY_S: Final = 0.15
_RISE: Final = (-0.35, 0.0)
"""By how much later than the others some feet gain speed fastest after they stood, and since when
they gain it then."""
_FEET_GAIN: Final = (-0.15, 0.2)
_FEET_LATER: Final = (0.2, 0.5)
_FEET_KEPT: Final = 0.4
"""Feet that only come to the wall keep less of their speed than those that push off: up to 0.45 in
one synthetic swimmer, from 0.35 on in five."""

_STEPS_S: Final = 2.5
_STEPS: Final = 3
"""So many starts within so long before and after are steps."""

_FEET_APART_S: Final = 0.5
_FEET_AGREE_S: Final = 0.06
"""What counts as the feet's push-off out of rest, as above."""

_FAINT_M_S2: Final = 5.0
_FAINT_M_S: Final = 1.1
_PLANTED_M_S2: Final = 3.0
_PLANTED_M_S: Final = 0.6
_DRAWN_UP_S: Final = 1.2
"""The same of feet that stood still on the wall, and how soon they leave it after being drawn up:
1.0 to 1.2 s in a synthetic swimmer; kicks begin 1.3 s after a push-off at the soonest."""
_NEAR_S: Final = 0.35
"""Soft push-offs count only so near the rough offset: movement alone put feet up to 0.3 s off in
synthetic swimmers of two builds."""

_FEET_FAR_S: Final = 6.0
"""How far from the rough offset the feet's are looked for."""

_RIVAL_S: Final = 0.1
"""How far apart two offsets are that contradict each other."""


@dataclass(frozen=True, kw_only=True)
class Starts:
    """Push-offs out of rest that a wrist and another sensor may share.

    Parameters
    ----------
    moments_s : (K,)
        Device time of the second sensor.
    offsets_s : (K,)
        What each asks to be added to the second clock to read the first.
    """

    moments_s: FloatArray
    offsets_s: FloatArray


def shared_starts(first: Travel, second: Travel, rough_s: float, *, rested: bool = True) -> Starts:
    """Return the push-offs out of rest of two sensors that the body carries alike.

    Parameters
    ----------
    first, second : Travel
        A wrist, and a wrist or any sensor above the hips.
    rough_s : float
        The offset to within 0.2 s; each push-off asks for the one that fits best.
    rested : bool
        Whether both were calm just before: arms that are still on their way to be stretched out
        tell when the body is pushed, but not to 0.01 s.
    """
    return _starts(first, second, _tops_s(first), rough_s, _REACH_S, rested)


def glide_starts(first: Travel, second: Travel, rough_s: float) -> Starts:
    """Return the push-offs into a glide, where the offset is known to within 3 s only.

    Both sensors were calm for two seconds before, and glide after. The strokes of two wrists are
    alike, too, half a cycle away from the truth, but none of them does. Each push-off asks for
    every offset that fits.

    Parameters
    ----------
    first, second, rough_s
        As in `shared_starts`.
    """
    tops_s = _tops_s(first)
    tops_s = _one_each(first, tops_s[_glides(first, tops_s)])
    found = _starts(first, second, tops_s, rough_s, FAR_S)
    kept = _glides(second, found.moments_s)
    return Starts(moments_s=found.moments_s[kept], offsets_s=found.offsets_s[kept])


def _tops_s(travel: Travel) -> FloatArray:
    """Return when a sensor's speed changes most, (K,), on its own clock."""
    apart = int(_APART_S * TRAVEL_RATE_HZ)
    tops, _ = find_peaks(np.abs(travel.accel), height=_LEAST_M_S2, distance=apart)
    return travel.time_s[tops]


def _one_each(travel: Travel, moments_s: FloatArray) -> FloatArray:
    """Return the sharpest of moments that are one push-off's, (K,): each has one say only."""
    size = np.abs(np.interp(moments_s, travel.time_s, travel.accel))
    near = np.abs(moments_s[:, None] - moments_s) < _SAME_START_S
    return moments_s[size >= np.where(near, size, 0.0).max(axis=1, initial=0.0)]


def _glides(travel: Travel, moments_s: FloatArray) -> BoolArray:
    """Return at which moments (K,) a sensor that was calm gains speed and glides on."""
    at_s = moments_s[:, None]
    gain_m_s = np.abs(_stretch(travel, at_s, _GAIN).sum(axis=1)) / TRAVEL_RATE_HZ
    calm = _rms(_stretch(travel, at_s, _LONG_BEFORE)) < _LONG_CALM_M_S2
    return np.asarray(
        calm & (gain_m_s > _PUSH_M_S) & (_rms(_stretch(travel, at_s, _GLIDE)) < _GLIDE_M_S2)
    )


def _starts(
    first: Travel,
    second: Travel,
    tops_s: FloatArray,
    rough_s: float,
    reach_s: float,
    rested: bool = True,
) -> Starts:
    told = [
        (moment_s - offset_s, offset_s)
        for moment_s in tops_s
        for offset_s in _offsets(first, second, moment_s, rough_s, reach_s, rested)
    ]
    moments_s, offsets_s = np.array(told).reshape(-1, 2).T
    return Starts(moments_s=moments_s, offsets_s=offsets_s)


def body_starts_s(first: Travel, second: Travel, moments_s: FloatArray) -> FloatArray:
    """Return when the body has half of its speed, (K,), one a push-off out of a rest.

    A glide follows; arms that only stretch out stop at once. Of two within 2 s the later counts: in
    the earlier the arms stretched out. After a turn an ankle's fastest gain of speed is that of the
    legs' coming over, which no wrist shares.

    Parameters
    ----------
    first, second : Travel
        Two wrists on one clock.
    moments_s : (K,)
        Gains of speed that they share on that clock.
    """
    at_s = moments_s[:, None]
    before, after = (
        np.mean([_rms(_stretch(travel, at_s, span)) for travel in (first, second)], axis=0)
        for span in (_RESTED, _GLIDE)
    )
    glides = (before < _RESTED_M_S2) & (after < _GLIDE_M_S2)
    glides &= _keeps_speed(first, moments_s) & _keeps_speed(second, moments_s)
    rested_s = moments_s[glides]
    return _later(np.sort([_half_s(first, second, moment_s) for moment_s in rested_s]))


def _later(moments_s: FloatArray) -> FloatArray:
    """Return the last of moments that are too close together to be two push-offs, (K,)."""
    return np.asarray(moments_s[np.diff(moments_s, append=np.inf) > _SAME_START_S])


def _half_s(first: Travel, second: Travel, moment_s: float) -> float:
    along = np.zeros(len(_stretch(first, moment_s, _WINDOW)))
    for travel in (first, second):
        gain = _stretch(travel, moment_s, _GAIN).sum()
        along += (_stretch(travel, moment_s, _WINDOW) * np.exp(-1j * np.angle(gain))).real
    low, high = (round((side_s - _WINDOW[0]) * TRAVEL_RATE_HZ) for side_s in _GAIN)
    half, _ = _half_gained(along, low + int(np.argmax(along[low:high])), _PUSHED)
    return moment_s + _WINDOW[0] + half / TRAVEL_RATE_HZ


def _half_gained(along: FloatArray, top: int, around_s: tuple[float, float]) -> tuple[float, float]:
    """Return at which place half of a gain of speed is made, and the whole of it in m/s.

    Parameters
    ----------
    along : (N,)
        Acceleration in the direction of the gain.
    top : int
        Where it is largest; the gain lasts as long as it is positive.
    around_s : pair of float
        How long at most.
    """
    first, last = (top + int(side_s * TRAVEL_RATE_HZ) for side_s in around_s)
    still = np.flatnonzero(along <= 0.0)
    first = max(first, 0, int(still[still < top].max(initial=-1)) + 1)
    last = min(last, len(along) - 1, int(still[still > top].min(initial=len(along))) - 1)
    made = np.concatenate([[0.0], np.cumsum(along[first : last + 1])])
    half = float(np.interp(0.5 * made[-1], made, np.arange(len(made))))
    return first - 0.5 + half, float(made[-1] / TRAVEL_RATE_HZ)


def feet_starts_s(ankle: Travel, *, faint: bool = False) -> FloatArray:
    """Return when an ankle that was calm gains speed fastest, (K,), on its own clock.

    Steps are left out: those of one foot are like the other's half a stride later. The feet share
    more of the rest with each other than push-offs: see `pushed_off_s`.

    Parameters
    ----------
    ankle : Travel
    faint : bool
        Take soft ones as well, which other movements resemble.
    """
    size = np.abs(ankle.accel)
    least_m_s2, least_m_s = (_FAINT_M_S2, _FAINT_M_S) if faint else (_FEET_M_S2, _FEET_M_S)
    apart = int(_FEET_APART_S * TRAVEL_RATE_HZ)
    tops, _ = find_peaks(size, height=_PLANTED_M_S2 if faint else least_m_s2, distance=apart)
    at_s = ankle.time_s[tops]
    calm = _rms(_stretch(ankle, at_s[:, None], _FEET_BEFORE)) < _FEET_CALM_M_S2
    stood = _stood(ankle, at_s)
    on_wall = stood | (_stood(ankle, at_s - _SLOWLY_S) & _rises(ankle, at_s))
    gained_m_s = np.abs(_gained(ankle, at_s, _FEET_GAIN))
    large = (size[tops] > least_m_s2) & (gained_m_s > least_m_s)
    firm = (calm | on_wall) & large
    starts_s = at_s[firm | (on_wall & (gained_m_s > _PLANTED_M_S))] if faint else at_s[firm]
    near = np.abs(starts_s[:, None] - at_s[(calm | stood) & large]) < _STEPS_S
    return starts_s[near.sum(axis=1) < _STEPS]


def pushed_off_s(ankle: Travel, *, faint: bool = False) -> FloatArray:
    """Return when the body had half of its speed, (K,), by those starts that a wall gave an ankle.

    Its speed is kept: feet that only come to the wall, before the push-off, lose it at once: of two
    within 2 s the later counts. A soft one out of a stand on the wall does so only where the feet
    did not stand before the other, and as soon as a push-off comes when they are drawn up; else it
    is a kick.

    Parameters
    ----------
    ankle : Travel
    faint : bool
        As in `feet_starts_s`.
    """
    strict_s, soft_s = feet_starts_s(ankle), feet_starts_s(ankle, faint=True)
    told_s = np.union1d(strict_s, soft_s)
    told_s = told_s[_keeps_speed(ankle, told_s)]
    firm = _firm(ankle, told_s) | np.isin(told_s, strict_s)
    apart_s = np.diff(told_s)
    drawn_up = (apart_s < _DRAWN_UP_S) & ~_stood(ankle, told_s)[:-1]
    kicks = (apart_s < _SAME_START_S) & ~drawn_up & ~firm[1:]
    told_s = _later(told_s[~np.append(np.zeros(min(len(told_s), 1), dtype=bool), kicks)])
    if not faint:
        told_s = np.intersect1d(told_s, strict_s)
    return np.array([_body_half_s(ankle, start_s) for start_s in told_s])


def _stood(ankle: Travel, starts_s: FloatArray) -> BoolArray:
    """Tell before which starts (K,) the foot stood still, as on the wall."""
    return np.asarray(_rms(_stretch(ankle, starts_s[:, None], _ON_WALL)) < _ON_WALL_M_S2)


def _rises(ankle: Travel, starts_s: FloatArray) -> BoolArray:
    """Tell at which starts (K,) the gain of speed only grew before: a kick swings back first."""
    along = _stretch(ankle, starts_s[:, None], _RISE)
    along = (along * np.exp(-1j * np.angle(_gained(ankle, starts_s, _FEET_GAIN)))[:, None]).real
    return np.asarray(along.min(axis=1, initial=0.0) > -_ON_WALL_M_S2)


def _firm(ankle: Travel, starts_s: FloatArray) -> BoolArray:
    """Tell which starts (K,) gain as much as other movements hardly do."""
    size = np.abs(np.interp(starts_s, ankle.time_s, ankle.accel))
    return (size > _FAINT_M_S2) & (np.abs(_gained(ankle, starts_s, _FEET_GAIN)) > _FAINT_M_S)


def _body_half_s(ankle: Travel, start_s: float) -> float:
    gain = _gained(ankle, np.array([start_s]), _FEET_GAIN)[0]
    along = (_stretch(ankle, start_s, _WINDOW) * np.exp(-1j * np.angle(gain))).real
    half, gained_m_s = _half_gained(along, round(-_WINDOW[0] * TRAVEL_RATE_HZ), _FOLLOWS)
    late_s = _FOLLOWS_S - _FOLLOWS_S2_M * min(max(gained_m_s, _SLOWEST_M_S), _FASTEST_M_S)
    return start_s + _WINDOW[0] + half / TRAVEL_RATE_HZ - late_s


def _keeps_speed(travel: Travel, moments_s: FloatArray) -> BoolArray:
    """Tell after which moments (K,) a limb goes on: one that stretches out stops at once."""
    gain, later = (_gained(travel, moments_s, span) for span in (_FEET_GAIN, _FEET_LATER))
    return np.asarray((later * np.conj(gain)).real > (_FEET_KEPT - 1.0) * np.abs(gain) ** 2)


def _gained(travel: Travel, moments_s: FloatArray, around_s: tuple[float, float]) -> ComplexArray:
    """Return the change of speed (K,) around moments."""
    return np.asarray(_stretch(travel, moments_s[:, None], around_s).sum(axis=1) / TRAVEL_RATE_HZ)


def together_offset(
    ours_s: FloatArray,
    theirs_s: FloatArray,
    rough_s: float,
    drift: float,
    middle_s: float,
    *,
    near: bool = False,
) -> FloatArray:
    """Return the offsets at `middle_s` that the largest agreeing set of shared moments asks for.

    Parameters
    ----------
    ours_s, theirs_s : (K,), (M,)
        Moments of a known clock and of the one looked for, some of them the same: `body_starts_s`
        and `pushed_off_s`, or `feet_starts_s` of both feet.
    rough_s : float
        The offset to within 6 s, or 0.35 s if `near`.
    drift, middle_s : float
        How the offset changes, and the device time it is given for.

    Returns
    -------
    (J,)
        Empty where two sets that contradict each other are as large, and not `near`.
    """
    asked = ours_s[:, None] - theirs_s - drift * (theirs_s - middle_s)
    reach_s = _NEAR_S if near else _FEET_FAR_S
    asked = asked[np.abs(asked - rough_s) < reach_s]
    return largest_set(asked, _FEET_AGREE_S, rough_s, nearest=near)


def largest_set(
    asked_s: FloatArray,
    agree_s: float,
    rough_s: float,
    by: IntArray | None = None,
    *,
    nearest: bool = False,
) -> FloatArray:
    """Return the most offsets (J,) that agree, empty where others do as often and contradict.

    Of as many, hardly apart or with `nearest`, those nearest to the rough offset are taken.

    Parameters
    ----------
    asked_s : (K,)
    agree_s : float
        How far apart offsets that agree may be.
    rough_s : float
    by : (K,) int, optional
        Who asks for each: first counts how many do, then how often.
    """
    by = np.zeros(len(asked_s), dtype=int) if by is None else by
    alike = [np.abs(asked_s - value) < agree_s for value in asked_s]
    sets = [(len(np.unique(by[own])), int(own.sum()), np.sort(asked_s[own])) for own in alike]
    best = max(
        sets,
        key=lambda own: (own[0], own[1], -abs(float(np.median(own[2])) - rough_s)),
        default=(0, 0, np.empty(0)),
    )
    rival = not nearest and any(
        own[:2] == best[:2] and abs(np.median(own[2]) - np.median(best[2])) > _RIVAL_S
        for own in sets
    )
    return np.empty(0) if rival else best[2]


def _offsets(
    first: Travel,
    second: Travel,
    moment_s: float,
    rough_s: float,
    reach_s: float,
    rested: bool,
) -> list[float]:
    """Return the offsets that one push-off asks for, none where it isn't one out of rest."""
    ours = _stretch(first, moment_s, _GAIN).sum() / TRAVEL_RATE_HZ
    calm_m_s2, least_m_s = (_CALM_M_S2, _LEAST_GAIN_M_S) if rested else (np.inf, _PUSH_M_S)
    if abs(ours) < least_m_s or _rms(_stretch(first, moment_s, _BEFORE)) > calm_m_s2:
        return []
    along = (_stretch(first, moment_s, _WINDOW) * np.exp(-1j * np.angle(ours))).real
    lags_s = rough_s + np.arange(-reach_s, reach_s + 0.5 * _STEP_S, _STEP_S)
    there_s = moment_s - lags_s[:, None]
    theirs = _stretch(second, there_s, _GAIN).sum(axis=1) / TRAVEL_RATE_HZ
    turned = _stretch(second, there_s, _WINDOW) * np.exp(-1j * np.angle(theirs))[:, None]
    size = np.sqrt((along @ along) * (turned.real**2).sum(axis=1))
    like = turned.real @ along / np.maximum(size, 1e-9)
    small, large = np.minimum(abs(ours), np.abs(theirs)), np.maximum(abs(ours), np.abs(theirs))
    good = (small > np.maximum(least_m_s, _LIKE_GAIN * large)) & (like > _LIKE)
    good &= _rms(_stretch(second, there_s, _BEFORE)) < calm_m_s2
    if reach_s <= _REACH_S:
        best = int(np.argmax(like))
        return [float(lags_s[best])] if good[best] else []
    tops, _ = find_peaks(np.where(good, like, 0.0), distance=int(_RIVAL_S / _STEP_S))
    return [float(lags_s[k]) for k in tops]


def _stretch(
    travel: Travel, moment_s: float | FloatArray, around_s: tuple[float, float]
) -> ComplexArray:
    """Return the acceleration around a moment, or several (K, 1), of the sensor's own clock."""
    at_s = moment_s + np.arange(*around_s, 1.0 / TRAVEL_RATE_HZ)
    return np.interp(at_s, travel.time_s, travel.accel)


def _rms(values: ComplexArray) -> FloatArray:
    return np.asarray(np.sqrt(np.mean(np.abs(values) ** 2, axis=-1)))
