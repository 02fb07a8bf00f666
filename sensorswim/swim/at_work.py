"""Whether limbs move as in a swim, not as hands that idle or sensors that are carried about."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

import numpy as np
from scipy.ndimage import uniform_filter1d
from scipy.signal import butter, sosfiltfilt

from sensorswim.model import Limb, Recording, Track
from sensorswim.model.streams import BoolArray, FloatArray

_USUAL_RAD_S: Final = 1.2
_HARD_RAD_S: Final = 3.3
_SWINGING_RAD_S: Final = 0.6
"""Shanks that kick turn faster for most of the time: at some 3 rad/s, in a weak kick at 1. Sensors
that are strapped on turn about one axis as well, once (no source)."""
_WORKING_RAD_S, _OVER_S, _IDLE_S = 1.5, 2.0, 3.0
"""Limbs that work turn faster than this on average over so long, in a glide they don't for a second
or two; by the wall they idle at up to 1 rad/s for longer (no source)."""
_SWIMS_RAD_S: Final = 2.0
"""The same that idle hands don't reach: up to 1.7 before a push-off, arms that swim 2.2 and more.
Read off synthetic swimmers of two builds; who treads water does, too."""
_IDLES: Final = 0.25
"""Share of their usual turning below which limbs that swam idle: 0.1 at the wall in a synthetic
swimmer, who glides for less long than `_IDLE_S` (our choice)."""
_BLUR_S, _PAUSE_S, _HALF = 4.0, 0.5, 0.5
"""How far before its rough end a length may be over; how long arms turn less that have stopped; the
share of their turning, squared, that is left in a window half of which lies behind the stop."""
_KICK_BAND_HZ: Final = (0.8, 8.0)
_TRUNK: Final = (Limb.LOWER_BACK, Limb.UPPER_BACK)
_BOTH_RAD_S, _ROCKING_RAD_S = 1.0, 0.05
"""Median turning of shanks and its root mean square in that band, added up: 1.2 and more in every
stroke, 0.9 at most between them; the median of a trunk's turning in the band: 0.07 and more, mostly
0.02 at most. Read off synthetic swimmers of six builds."""
_ARMS: Final = (Limb.WRIST, Limb.UPPER_ARM)
_STILL_RAD_S, _STILL_S = 0.3, 2.0
"""Nobody swims who turns no limb faster for so long, but in a glide, after which he swims on (no
source)."""
_AS_ONE: Final = 0.8
"""Correlation of the turning of arms and of legs from which one hand carries both: 0.9 and more,
0.2 at most in crawl, up to 0.67 in breaststroke. Read off synthetic swimmers of nine builds."""
_ONE_AXIS: Final = 0.75
"""Least share of the turning about one axis: shanks that kick hinge at knee and hip, 0.97 in
a flutter and 0.8 in a breaststroke kick; carried sensors turn about any, 0.7 and less. Read off
synthetic swimmers of two builds."""


def arms_at_work(recording: Recording, rows: slice) -> bool:
    """Tell whether a wrist turns as in a swim: idle hands come back to their place as well.

    Between movements idle hands rest, so that either measure is low. Swum arms turn at 2.6 rad/s
    for half of the time and at 3.7 in the root mean square or more, at every pace (no source).
    """
    for placement, track in recording.tracks.items():
        if placement.limb is Limb.WRIST:
            rate = np.linalg.norm(track.gyro_rad_s[rows], axis=1)
            if np.median(rate) > _USUAL_RAD_S or np.sqrt(np.mean(rate**2)) > _HARD_RAD_S:
                return True
    return False


def carried_as_one(recording: Recording, rows: slice) -> bool:
    """Tell sensors that turn all alike, in one hand, from a swim, where arms and legs turn apart.

    Both arms may turn alike, and both legs; with a board the arms turn as the trunk does. What
    changes within two seconds counts, not that all rest and then move.
    """
    slow = int(_OVER_S * recording.rate_hz)
    changes: dict[bool, list[tuple[FloatArray, BoolArray]]] = {True: [], False: []}
    for placement, track in recording.tracks.items():
        if placement.limb in (*_ARMS, Limb.ANKLE):
            rate = np.linalg.norm(track.gyro_rad_s[rows], axis=1)
            change = rate - uniform_filter1d(rate, slow)
            changes[placement.limb in _ARMS].append((change, track.valid[rows]))
    alike = [
        _cosine(arm[both], leg[both])
        for arm, arm_known in changes[True]
        for leg, leg_known in changes[False]
        if (both := arm_known & leg_known).sum() > slow
    ]
    return bool(alike) and float(np.median(alike)) > _AS_ONE


def _cosine(one: FloatArray, other: FloatArray) -> float:
    return float(one @ other) / max(float(np.linalg.norm(one) * np.linalg.norm(other)), 1e-9)


def works_from_s(recording: Recording, from_s: float, to_s: float) -> float:
    """Return when the limbs begin to work in a stretch of session time, its start if they never do.

    Of several bouts of work the longest counts. Hands and feet that idle at the wall before a
    push-off may lie as level as in a swim.
    """
    first, last = np.searchsorted(recording.time_s, [from_s, to_s])
    working = np.flatnonzero(_limbs_turn_rad_s(recording, first, last) > _WORKING_RAD_S)
    if not len(working):
        return from_s
    idle = np.flatnonzero(np.diff(working) > _IDLE_S * recording.rate_hz)
    begins, ends = np.append(0, idle + 1), np.append(idle, len(working) - 1)
    longest = int(np.argmax(working[ends] - working[begins]))
    return float(recording.time_s[first + working[begins[longest]]])


def works_until_s(recording: Recording, from_s: float, to_s: float) -> float:
    """Return when the limbs stop to work in a stretch of session time, its end if they glide there.

    Who floats at the wall with hands and feet that idle lies as level as in a swim. A limb without
    data, or whose logger fills lost rows with zeros, may be at work.
    """
    first, last = np.searchsorted(recording.time_s, [from_s, to_s])
    turn = _limbs_turn_rad_s(recording, first, last, unseen_rad_s=2.0 * _WORKING_RAD_S)
    least = min(_IDLES * float(np.median(turn)), _WORKING_RAD_S) if len(turn) else 0.0
    working = np.flatnonzero(turn > least)
    if not len(working):
        return to_s
    over_s = float(recording.time_s[first + working[-1]])
    return over_s if to_s - over_s > _IDLE_S else to_s


def _limbs_turn_rad_s(
    recording: Recording, first: int, last: int, unseen_rad_s: float | None = None
) -> FloatArray:
    """Return how fast wrists and ankles turn on average around each row, the one that turns most.

    (last - first,); empty where none is worn or the stretch is too short. `unseen_rad_s` stands for
    rows without data.
    """
    window = int(_OVER_S * recording.rate_hz)
    rates = []
    for placement, track in recording.tracks.items():
        if placement.limb in (Limb.WRIST, Limb.ANKLE) and last - first > window:
            turn = np.linalg.norm(track.gyro_rad_s[first:last], axis=1)
            if unseen_rad_s is not None:
                turn = np.where(track.valid[first:last] & (turn > 0.0), turn, unseen_rad_s)
            rates.append(uniform_filter1d(turn, window))
    return np.max(rates, axis=0) if rates else np.empty(0)


def arms_rest_s(recording: Recording, length_s: tuple[float, float], to_s: float) -> float:
    """Return when the wrists stop to turn as they did in a length; `to_s` if they go on until then.

    Parameters
    ----------
    recording : Recording
        Oriented.
    length_s : (float, float)
        Roughly when the length was swum, session time.
    to_s : float
        Where to look no further.
    """
    rate_hz = recording.rate_hz
    first, near, last = np.searchsorted(recording.time_s, [*length_s, to_s])
    power = [
        uniform_filter1d(np.sum(t.gyro_rad_s[first:last] ** 2, axis=1), int(_OVER_S * rate_hz))
        for placement, t in recording.tracks.items()
        if placement.limb is Limb.WRIST
    ]
    most = np.max(power, axis=0) if power else np.empty(0)
    late = max(near - first - int(_BLUR_S * rate_hz), 0)
    usual = float(np.median(most[: late or None])) if len(most) else 0.0
    goes_on = late + np.flatnonzero(most[late:] >= _HALF * usual)
    if not len(goes_on):
        return length_s[1]
    pauses = np.flatnonzero(np.diff(goes_on) > _PAUSE_S * rate_hz)
    return float(recording.time_s[first + goes_on[pauses[0] if len(pauses) else -1]])


def swam_by(
    recording: Recording, tracks: Sequence[Track], near_s: float, moments_s: FloatArray
) -> BoolArray:
    """Tell by which moments (K,), in order, a limb has turned as in a swim since shortly before."""
    since_s = near_s - _OVER_S
    first, last = np.searchsorted(recording.time_s, [since_s - _OVER_S, moments_s[-1]])
    over = int(_OVER_S * recording.rate_hz)
    rates = [np.linalg.norm(t.gyro_rad_s[first : last + 1], axis=1) for t in tracks]
    until = [uniform_filter1d(rate, over, origin=(over - 1) // 2) for rate in rates]
    time_s = recording.time_s[first : last + 1]
    swims = (np.max(until, axis=0) > _SWIMS_RAD_S) & (time_s >= since_s)
    rows = np.searchsorted(time_s, moments_s).clip(0, len(time_s) - 1)
    return np.asarray(np.logical_or.accumulate(swims)[rows])


def all_still_s(recording: Recording, from_s: float, to_s: float) -> float | None:
    """Return since when all sensors with data rest in a stretch, to its end; None where any moves.

    A rest that is shorter than two seconds, or that a movement follows, may be a glide.
    """
    first, last = np.searchsorted(recording.time_s, [from_s, to_s])
    moves, known = np.zeros(last - first, dtype=bool), np.zeros(last - first, dtype=bool)
    for track in recording.tracks.values():
        valid = track.valid[first:last]
        moves |= valid & (np.linalg.norm(track.gyro_rad_s[first:last], axis=1) > _STILL_RAD_S)
        known |= valid
    moved = np.flatnonzero(moves | ~known)
    begin = int(moved[-1]) + 1 if len(moved) else 0
    long_enough = len(moves) - begin >= _STILL_S * recording.rate_hz
    return float(recording.time_s[first + begin]) if begin and long_enough else None


def body_at_work(recording: Recording, rows: slice) -> bool:
    """Tell whether legs or trunk move on and on, as in a swim, whatever the arms do.

    Legs that kick swing about one axis each. Without wrists they may also roll with the body that
    swims crawl: then it counts how fast they swing. A trunk rocks most of the time. Nobody can tell
    without data of either: then the swimmer is taken to swim.
    """
    sos = butter(2, _KICK_BAND_HZ, "bandpass", fs=recording.rate_hz, output="sos")
    shares, rates, swings, rocks = [], [], [], []
    for placement, track in recording.tracks.items():
        turning, valid = track.gyro_rad_s[rows], track.valid[rows]
        if placement.limb not in (Limb.ANKLE, *_TRUNK) or valid.sum() <= recording.rate_hz:
            continue
        fast = sosfiltfilt(sos, turning, axis=0)[valid]
        if placement.limb in _TRUNK:
            rocks.append(np.median(np.linalg.norm(fast, axis=1)))
            continue
        sizes = np.linalg.eigvalsh(fast.T @ fast)
        shares.append(sizes[-1] / max(float(sizes.sum()), 1e-9))
        rates.append(np.median(np.linalg.norm(turning[valid], axis=1)))
        swings.append(np.sqrt(np.mean(np.sum(fast**2, axis=1))))
    if not rates:
        return not rocks or float(np.mean(rocks)) > _ROCKING_RAD_S
    if not any(p.limb is Limb.WRIST for p in recording.tracks):
        return float(np.mean(rates) + np.mean(swings)) > _BOTH_RAD_S
    return float(np.mean(shares)) > _ONE_AXIS and float(np.mean(rates)) > _SWINGING_RAD_S
