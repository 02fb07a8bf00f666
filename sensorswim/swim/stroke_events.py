"""The events of arm strokes on the wrist's path: entry, catch, mid-pull and exit."""

from __future__ import annotations

from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np

from sensorswim.model.streams import FloatArray
from sensorswim.swim.arms import WristMotion
from sensorswim.swim.cycle_path import CyclePath
from sensorswim.swim.shoulder import ShoulderFit
from sensorswim.swim.splash import Knocks
from sensorswim.swim.water_line import crossing, times_under

_WALL_LATE = 0.04
_WALL_SHARE = 0.75
"""In cycles: how much later than usual the hand comes down that reaches for the wall (0.07 in the
first of four builds of synthetic swimmers, not at all in the others), and how near the end."""

_ENTRY_AFTER = (-0.05, 0.3, 0.5)
_USUAL_ENTRY = 0.08
_UNLIKE_S = 0.25
"""How long after a recovery an entry may lie (the last where there is none sooner, as of straight
arms) and does where none is seen, in cycles, and by how much at most one departs from the others'
(our choice)."""
_STRAY = 1.5
_LONGEST = 1.5
"""Cycles that are longer than so many usual ones may hide a stroke in a gap."""
_OTHER_PULL = 0.5
"""Pulls of one arm lie at least so far apart, in cycles."""
_LEAST_ALIKE = 3
_LONGEST_PULL = 0.6
"""From the catch to the vertical plane of the shoulder, in cycles, at most (our choice)."""


@dataclass(frozen=True, kw_only=True)
class Stroke:
    """One arm stroke; an event that could not be had is NaN."""

    entry_s: float = np.nan
    catch_s: float = np.nan
    mid_pull_s: float = np.nan
    exit_s: float = np.nan
    next_entry_s: float = np.nan


def find_strokes(
    motion: WristMotion,
    paths: list[CyclePath],
    shoulder: ShoulderFit | None,
    clean_speed_m_s: float,
    knocks: Knocks | None = None,
    *,
    flips: bool = False,
) -> list[Stroke]:
    """Return the strokes of one wrist over one length.

    Parameters
    ----------
    motion : WristMotion
    paths : list of CyclePath
        From `cycle_paths`.
    shoulder : ShoulderFit or None
        Where there is none, strokes have entries only.
    clean_speed_m_s : float
        Mean speed of the body while swimming; decides when the wrist moves backwards in the
        pool: 10 % of it cost some 50 ms of the catch.
    knocks : Knocks or None
        Those that the water gives the hand, where they are clear: there the entries are.
    flips : bool
        The length ends in a flip turn: arms that come overhead then reach for no wall.
    """
    if shoulder is None:
        return _strokes_without_path(motion)
    events = [_events(path, shoulder, clean_speed_m_s) for path in paths]
    return _chain(motion, events, knocks, flips=flips)


@dataclass(frozen=True, kw_only=True)
class _Events:
    """What one window shows; `next_catch_s` is that of the pull that goes on in the next window.

    The entry may lie at either end of its window, and one may show two (`entries_s`).
    """

    catch_s: float
    mid_pull_s: float
    exit_s: float
    entries_s: FloatArray
    next_catch_s: float


def _events(path: CyclePath, shoulder: ShoulderFit, clean_speed_m_s: float) -> _Events:
    time_s = path.time_s
    ahead = path.position_m[:, 0] - shoulder.path_at(path.phase)[:, 0]
    above = path.position_m[:, 2] - shoulder.surface_m
    passes = np.flatnonzero((ahead[:-1] > 0) & (ahead[1:] <= 0))
    passes = passes[above[passes] < 0]
    mid = int(passes[0]) if len(passes) else -1
    mid_s = crossing(time_s, ahead, mid) if mid >= 0 else np.nan
    speed = path.velocity_m_s[:, 0] + clean_speed_m_s
    catch_s = exit_s = np.nan
    if mid >= 0:
        catch_s = _turns_back(time_s[: mid + 1], speed[: mid + 1])
        out = mid + np.flatnonzero((above[mid:-1] < 0) & (above[mid + 1 :] >= 0))
        exit_s = crossing(time_s, above, int(out[0])) if len(out) else np.nan
    return _Events(
        catch_s=catch_s,
        mid_pull_s=mid_s,
        exit_s=exit_s,
        entries_s=times_under(time_s, ahead, above),
        next_catch_s=_turns_back(time_s, speed) if speed[-1] < 0 and mid >= 0 else np.nan,
    )


def _turns_back(time_s: FloatArray, speed_m_s: FloatArray) -> float:
    """Return the last moment from which the wrist moves backwards in the pool, NaN without one."""
    back = np.flatnonzero((speed_m_s[:-1] >= 0) & (speed_m_s[1:] < 0))
    return crossing(time_s, speed_m_s, int(back[-1])) if len(back) else np.nan


def _strokes_without_path(motion: WristMotion) -> list[Stroke]:
    """Return strokes with entries only, one a cycle, where the path was not to be had."""
    entries = motion.recoveries_s + 0.12 * motion.period.period_s
    following = np.append(entries[1:], np.nan)
    return [
        Stroke(entry_s=float(e), next_entry_s=float(n))
        for e, n in zip(entries, following, strict=True)
    ]


def _chain(
    motion: WristMotion, events: list[_Events], knocks: Knocks | None, *, flips: bool
) -> list[Stroke]:
    """Join events into strokes: the entry that ends a recovery begins the next stroke."""
    period_s = motion.period.period_s
    seen_s, late_s = _entries_s(motion, events)
    entries = seen_s.tolist()
    if knocks is not None:
        entries = [s if (knock := knocks.near(s)) is None else knock for s in entries]
    pulls = [
        Stroke(catch_s=catch_s, mid_pull_s=e.mid_pull_s, exit_s=e.exit_s)
        for e, catch_s in zip(events, _catches_s(events, period_s), strict=True)
        if np.isfinite(e.mid_pull_s)
    ]
    pulls += _pulls_without_path(motion, [p.mid_pull_s for p in pulls])
    if entries and _reaches_for_the_wall(motion, pulls):
        entries[-1:] = [] if flips else [_wall_entry(motion, late_s, knocks)]
    strokes = _without_strays(_pair(entries, pulls), period_s)
    return [_without_gap(stroke, motion) for stroke in strokes]


def _without_gap(stroke: Stroke, motion: WristMotion) -> Stroke:
    """Return a stroke without its next entry where others may have come before it, in a gap."""
    long = stroke.next_entry_s - stroke.entry_s > _LONGEST * motion.period.period_s
    first, last = np.searchsorted(motion.time_s, [stroke.entry_s, stroke.next_entry_s])
    if long and not motion.valid[first:last].all():
        return replace(stroke, next_entry_s=np.nan)
    return stroke


def _entries_s(motion: WristMotion, events: list[_Events]) -> tuple[FloatArray, float]:
    """Return the entry (K,) after each recovery, and how long after it one mostly is.

    Recoveries after which no path shows an entry (a gap, the edges of the length) take this usual
    delay.
    """
    recoveries_s, period_s = motion.recoveries_s, motion.period.period_s
    seen_s = np.concatenate([e.entries_s for e in events]) if events else np.empty(0)
    late_s = seen_s - recoveries_s[:, None]
    first, soon, last = _ENTRY_AFTER
    late_s[late_s <= first * period_s] = np.nan
    soonest_s = np.fmin.reduce(late_s, axis=1, keepdims=True, initial=np.inf)
    until_s = np.where(soonest_s < soon * period_s, soon, last) * period_s
    late_s[~(late_s < until_s)] = np.nan
    known = np.flatnonzero(np.isfinite(late_s).any(axis=1))
    if not len(known):
        return recoveries_s + _USUAL_ENTRY * period_s, _USUAL_ENTRY * period_s
    usual_s = float(np.median(np.nanmin(late_s[known], axis=1)))
    unlike_s = np.abs(late_s[known] - usual_s)
    nearest = np.nanargmin(unlike_s, axis=1)
    delays_s = np.full(len(recoveries_s), usual_s)
    like = unlike_s[np.arange(len(known)), nearest] <= _UNLIKE_S
    delays_s[known[like]] = late_s[known[like], nearest[like]]
    return recoveries_s + delays_s, usual_s


def _pulls_without_path(motion: WristMotion, mids_s: list[float]) -> list[Stroke]:
    """Return the pulls after which the arm doesn't reach ahead again, by their mid-pull only.

    The forearm passes the vertical about then; by how much sooner or later the others tell.
    """
    period_s = motion.period.period_s
    known_s, falls_s = np.array(mids_s), motion.falls_s
    if len(known_s) < _LEAST_ALIKE or not len(falls_s):
        return []
    late_s = known_s[:, None] - falls_s
    nearest = np.take_along_axis(late_s, np.abs(late_s).argmin(axis=1)[:, None], axis=1)
    usual_s = float(np.median(nearest))
    own_s = falls_s + usual_s
    new = (np.abs(own_s[:, None] - known_s) > _OTHER_PULL * period_s).all(axis=1)
    after = falls_s > known_s.max()
    return [Stroke(mid_pull_s=float(s)) for s in own_s[new & after] if s < motion.time_s[-1]]


def _catches_s(events: list[_Events], period_s: float) -> list[float]:
    """Return the catch of each pull; a quick one may have come at the end of the window before."""
    catches_s = [e.catch_s for e in events]
    for k, (before, event) in enumerate(pairwise(events), 1):
        soon = event.mid_pull_s - before.next_catch_s < _LONGEST_PULL * period_s
        if np.isnan(event.catch_s) and soon:
            catches_s[k] = before.next_catch_s
    return catches_s


def _reaches_for_the_wall(motion: WristMotion, pulls: list[Stroke]) -> bool:
    """Tell whether the last recovery ends at the wall, with no pull after it."""
    last_s = float(motion.recoveries_s[-1])
    near = motion.time_s[-1] - last_s < _WALL_SHARE * motion.period.period_s
    return near and not any(p.mid_pull_s > last_s for p in pulls)


def _wall_entry(motion: WristMotion, usual_s: float, knocks: Knocks | None) -> float:
    """Return the entry of the reach for the wall; its knock comes before that of the touch."""
    recovery_s = float(motion.recoveries_s[-1])
    late_s = recovery_s + usual_s + _WALL_LATE * motion.period.period_s
    knock_s = None if knocks is None else knocks.first(recovery_s + 0.5 * usual_s, late_s)
    return min(late_s, float(motion.time_s[-1])) if knock_s is None else knock_s


def _without_strays(strokes: list[Stroke], period_s: float) -> list[Stroke]:
    """Leave out swings of the arm before the swimming: no pull came before, none follows soon."""
    first = next((n for n, s in enumerate(strokes) if np.isfinite(s.mid_pull_s)), 0)
    while first and strokes[first - 1].next_entry_s - strokes[first - 1].entry_s < (
        _STRAY * period_s
    ):
        first -= 1
    return strokes[first:]


def _pair(entries: list[float], pulls: list[Stroke]) -> list[Stroke]:
    strokes: list[Stroke] = []
    edges = [-np.inf, *entries, np.inf]
    for entry_s, next_s in pairwise(edges):
        own = [p for p in pulls if entry_s < p.mid_pull_s < next_s]
        if not own and not np.isfinite(entry_s):
            continue
        pull = own[0] if own else Stroke()
        strokes.append(
            Stroke(
                entry_s=entry_s if np.isfinite(entry_s) else np.nan,
                catch_s=pull.catch_s if pull.catch_s > entry_s else np.nan,
                mid_pull_s=pull.mid_pull_s,
                exit_s=pull.exit_s,
                next_entry_s=next_s if np.isfinite(next_s) else np.nan,
            )
        )
    return strokes
