"""Where the lengths are: bouts of swimming, cut where the swimmer turns round.

Swimming shows in two ways: a leg or trunk sensor lies level and moves; a wrist's orientation
comes back once a cycle (`periodicity`). A turn shows as half a turn of heading of every
sensor's mean orientation. The push-off is the forward pulse that follows; the wall contact
is the body-wide jolt just before it.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np
from scipy.ndimage import binary_closing, binary_opening, label, minimum_filter1d, uniform_filter1d

from sensorswim.model import Limb, Placement, Recording, Track
from sensorswim.model.streams import BoolArray, FloatArray
from sensorswim.swim.arm_rhythm import BLUR_S, WRISTS, ArmRhythm, rotations_of
from sensorswim.swim.at_work import (
    arms_at_work,
    body_at_work,
    carried_as_one,
    works_from_s,
    works_until_s,
)
from sensorswim.swim.periodicity import cut_cycles
from sensorswim.swim.spans import (
    SEVERAL,
    STOP_S,
    LengthSpan,
    judge_finished,
    without_bits,
    without_overlap,
    without_stops,
)
from sensorswim.swim.wall_signals import worn_signs
from sensorswim.swim.walls import WallFinder
from sensorswim.swim.ways import TRUNK_AND_LEGS, turned_deg

COARSE_HZ = 12.5
"""Rate of the coarse search; arm cycles have nothing above 6 Hz that matters here."""

_UNSURE_S = 0.4
_STILL_SWIMS = 0.25
"""Least share of a wrist's usual turning, squared, over one cycle, while it swims on: in a window
around the end of the last cycle half of it is left."""
_IDLE_RAD_S = 2.0
"""Root mean square of a wrist's turning that idle hands don't reach; in every stroke it is 3 and
more (no source)."""
_SLOW_RAD_S, _VERY_SURE = 1.5, 0.9
"""The same of arms that glide long in every stroke, where they come back as well as this: 1.7 and
more in long breaststroke of a synthetic swimmer, which idle hands reach, but not so evenly."""
_ROUGHLY, _SPRINT_M_S = 0.85, 2.5
"""By how much less a bout may last before its wall is found; faster than anybody (from memory)."""
_SHORT_POOL_M = 25.0
"""Who stops sooner in a longer pool has swum a part of a length."""
_TURN_S, _AT_ONCE_S = 2.0, 1.0
"""Cycles of a lone wrist that go on so soon after others do so after a turn, in the middle between
them; those that go on at once, where they begin (our choice; 3 s took short rests for turns). Two
wrists tell a pause for what it is."""
_UNEVEN_S, _PAUSE_S = 8.0, 7.0
"""How long a wrist that goes on in one direction may move unevenly, or rest, within a length."""
_ALIKE = 0.35
"""How far, in its own time, a bout may differ from what several others take."""
_STEADY, _SMALLER, _KEEPS_ON_S = 0.6, 0.55, 4.0
"""How steadily, by how much less and for how long an arm swings that doesn't swim on: 0.45 at most
where a synthetic swimmer treads water (our choice)."""


@dataclass(frozen=True, kw_only=True)
class LengthSearch:
    """The lengths and the signals they were found with, on a coarse grid.

    Parameters
    ----------
    spans : tuple of LengthSpan
    coarse_s : (M,)
    swimming : (M,) bool
    heading_change_deg : (M,)
        NaN where an arm tells that has no heading, 0 where no sensor tells.
    wrist_period_s, wrist_strength : (M,)
    """

    spans: tuple[LengthSpan, ...]
    coarse_s: FloatArray
    swimming: BoolArray
    heading_change_deg: FloatArray
    wrist_period_s: FloatArray
    wrist_strength: FloatArray


@dataclass(frozen=True, kw_only=True)
class LengthFinder:
    """Find the lengths of a session.

    Parameters
    ----------
    level_limit : float
        Largest vertical share of a leg's or trunk's long axis that counts as level.
    least_strength, least_swing : float
        How well a wrist's orientation must repeat, and how far it must go in between.
    sure_strength, sure_swing : float
        The same for a small swing that repeats nearly exactly, of a forearm that doesn't hang as in
        a walk: breaststroke's swings by 0.97, and repeats to 0.98, in a synthetic swimmer.
    shortest_s : float
        What takes less and begins without a push-off is no length: sensors that are strapped on or
        handed round. In a pool of less than 17 m, the time in which nobody is at the other end.
    treading_swing, treading_s, fastest_m_s : float
        Arms alone that swing less, and back sooner, and keep on for less than a pool's length takes
        at this speed tread water, unless a push-off is seen; of breaststrokers only the best are
        faster (from memory).
    turn_deg : float
        Heading change from which a swimmer has turned round.
    """

    level_limit: float = 0.72
    least_strength: float = 0.40
    least_swing: float = 1.0
    sure_strength: float = 0.8
    sure_swing: float = 0.6
    shortest_s: float = 7.0
    treading_swing: float = 2.0
    treading_s: float = 1.6
    fastest_m_s: float = 1.8
    turn_deg: float = 110.0

    def find(self, recording: Recording, *, pool_length_m: float = 25.0) -> LengthSearch:
        """Return the lengths of an oriented recording; none is an empty tuple."""
        step = max(round(recording.rate_hz / COARSE_HZ), 1)
        rate_hz = recording.rate_hz / step
        coarse_s = recording.time_s[::step]
        flat = {p: rotations_of(t, slice(None, None, step)) for p, t in recording.tracks.items()}
        valid = {p: t.valid[::step] for p, t in recording.tracks.items()}
        rhythm = ArmRhythm.of(recording, flat, len(coarse_s), rate_hz, step, self.level_limit)
        period_s, strength = rhythm.period_s, rhythm.strength
        swimming = self._swimming(recording, flat, valid, rhythm, rate_hz, step)
        change = _heading_change(flat, valid, rate_hz)
        steady = any(p in flat for p in TRUNK_AND_LEGS)
        unbridged = swimming
        if not steady:
            swimming = _bridge_weak_stretches(swimming, change, period_s, rate_hz)
        bouts = _cut_at_turns(swimming, change, self.turn_deg, rate_hz)
        if not steady:
            bouts = _cut_at_small_swings(bouts, strength, rhythm.swing, rate_hz)
        bouts = [(a, b) for a, b in bouts if (b - a) / rate_hz >= _ROUGHLY * self.shortest_s]
        if not steady:
            bouts = _cut_at_gaps(bouts, valid)
        bouts = [b for b in bouts if self._swum(recording, b, step, rhythm, steady)]
        bouts = _reach_to_cycles(bouts, flat, coarse_s, period_s, unbridged, ~_body_known(valid))
        rough = [(float(coarse_s[a]), float(coarse_s[b - 1])) for a, b in bouts]
        spans = _refine(recording, rough, steady)
        known = np.all(list(valid.values()), axis=0)
        if steady:
            spans = self._without_handling(spans, recording, coarse_s, known, pool_length_m)
        else:
            spans = self._without_treading(spans, coarse_s, rhythm, known, pool_length_m)
        quickest_s = pool_length_m / self.fastest_m_s
        spans = without_stops(spans, recording, quickest_s)
        least_s = min(self.shortest_s, pool_length_m / _SPRINT_M_S)
        return LengthSearch(
            spans=judge_finished(without_bits(without_overlap(spans), least_s)),
            coarse_s=coarse_s,
            swimming=swimming,
            heading_change_deg=change,
            wrist_period_s=period_s,
            wrist_strength=strength,
        )

    def _swimming(
        self,
        recording: Recording,
        flat: dict[Placement, FloatArray],
        valid: dict[Placement, BoolArray],
        rhythm: ArmRhythm,
        rate_hz: float,
        step: int,
    ) -> BoolArray:
        strength, swing = rhythm.strength, rhythm.swing
        sure = (strength >= self.sure_strength) & (swing >= self.sure_swing) & rhythm.reaches_out
        cyclic = sure | (strength >= self.least_strength) & (swing >= self.least_swing)
        cyclic &= (rhythm.turning_rad_s > _IDLE_RAD_S) | self._very_sure(rhythm)
        level = [
            _level_and_moving(recording.tracks[p], flat[p], self.level_limit, rate_hz, step)
            for p in TRUNK_AND_LEGS
            if p in flat
        ]
        if level:
            lying = np.mean(level, axis=0) >= 0.5
            mask = np.where(_body_known(valid), lying, cyclic)
        else:
            mask = cyclic
        mask = binary_closing(np.pad(mask, 64), iterations=int(1.0 * rate_hz))[64:-64]
        return np.asarray(binary_opening(mask, iterations=int(1.5 * rate_hz)))

    def _swum(
        self,
        recording: Recording,
        bout: tuple[int, int],
        step: int,
        rhythm: ArmRhythm,
        steady: bool,
    ) -> bool:
        """Tell a length from idle hands and from sensors that are handled before and after a swim.

        Arms at work swim in a rhythm; where legs or trunk are worn a bout may be one without.
        """
        rows = slice(bout[0] * step, bout[1] * step)
        if carried_as_one(recording, rows):
            return False
        usual = float(np.median(rhythm.strength[slice(*bout)]))
        if not steady and self._very_sure(rhythm)[slice(*bout)].mean() >= 0.5:
            return True
        if (not steady or usual >= self.least_strength) and arms_at_work(recording, rows):
            return True
        return steady and body_at_work(recording, rows)

    def _very_sure(self, rhythm: ArmRhythm) -> BoolArray:
        """Tell where (M,) an arm that reaches out comes back nearly exactly, if slowly."""
        sure = (rhythm.strength >= _VERY_SURE) & (rhythm.swing >= self.sure_swing)
        return sure & rhythm.reaches_out & (rhythm.turning_rad_s > _SLOW_RAD_S)

    def _without_treading(
        self,
        spans: tuple[LengthSpan, ...],
        coarse_s: FloatArray,
        rhythm: ArmRhythm,
        known: BoolArray,
        pool_length_m: float,
    ) -> tuple[LengthSpan, ...]:
        """Leave out what arms that tread water do, before or after lengths.

        Small quick or slow swings without a push-off or a gap, over before anybody could be at the
        other end, with those that follow soon.
        """
        shortest_s = min(pool_length_m, _SHORT_POOL_M) / self.fastest_m_s
        treads = [self._may_tread(span, coarse_s, rhythm, known) for span in spans]
        chains: list[list[int]] = []
        for k, span in enumerate(spans):
            follows = k > 0 and treads[k] and treads[k - 1]
            if follows and span.start_s - spans[k - 1].end_s < STOP_S:
                chains[-1].append(k)
            else:
                chains.append([k])
        return tuple(
            spans[k]
            for chain in chains
            if not treads[chain[0]]
            or sum(spans[k].end_s - spans[k].start_s for k in chain) >= shortest_s
            for k in chain
        )

    def _without_handling(
        self,
        spans: tuple[LengthSpan, ...],
        recording: Recording,
        coarse_s: FloatArray,
        known: BoolArray,
        pool_length_m: float,
    ) -> tuple[LengthSpan, ...]:
        """Leave out what legs seem to kick while sensors are strapped on or off.

        No push-off begins it, and hardly anybody kicks as far in that time; without a wrist sensor
        it may have been swum, which is faster. Between lengths that arms swim nobody straps.
        """
        arms = any(p.limb is Limb.WRIST for p in recording.tracks)
        shortest_s = min(pool_length_m, _SHORT_POOL_M) / (self.fastest_m_s if arms else _SPRINT_M_S)
        rows = [
            slice(*np.searchsorted(recording.time_s, [span.start_s, span.end_s])) for span in spans
        ]
        by_arms = np.flatnonzero([arms_at_work(recording, own) for own in rows])
        first, last = (by_arms[0], by_arms[-1]) if len(by_arms) else (len(spans), -1)
        return tuple(
            span
            for k, span in enumerate(spans)
            if first <= k <= last
            or span.end_s - span.start_s >= shortest_s
            or not _begins_unseen(span, coarse_s, known)
        )

    def _may_tread(
        self, span: LengthSpan, coarse_s: FloatArray, rhythm: ArmRhythm, known: BoolArray
    ) -> bool:
        if not _begins_unseen(span, coarse_s, known):
            return False
        rows = slice(*np.searchsorted(coarse_s, [span.start_s, span.end_s]))
        quick = float(np.nanmedian(rhythm.period_s[rows])) < self.treading_s
        slow = float(np.median(rhythm.turning_rad_s[rows])) < _IDLE_RAD_S
        return float(np.median(rhythm.swing[rows])) < self.treading_swing and (quick or slow)


def _begins_unseen(span: LengthSpan, coarse_s: FloatArray, known: BoolArray) -> bool:
    """Tell a span without a push-off, though neither a gap nor the logs' ends could hide one."""
    first, last = np.searchsorted(coarse_s, [span.start_s, span.end_s])
    cut = first == 0 or last >= len(coarse_s) - 1
    near = int(1.0 / float(coarse_s[1] - coarse_s[0])) if len(coarse_s) > 1 else 0
    gap = not known[max(first - near, 0) : last + near].all()
    return not (span.starts_at_wall or cut or gap or first == last)


def _body_known(valid: dict[Placement, BoolArray]) -> BoolArray:
    """Tell where (M,) a leg or the trunk has data."""
    size = len(next(iter(valid.values())))
    own = [valid[p] for p in TRUNK_AND_LEGS if p in valid]
    return np.any(own, axis=0) if own else np.zeros(size, dtype=bool)


def _level_and_moving(
    track: Track, flat: FloatArray, limit: float, rate_hz: float, step: int
) -> BoolArray:
    """Tell where a leg or trunk sensor's long axis lies level while the body moves."""
    vertical = uniform_filter1d(flat[:, 6], int(1.5 * rate_hz))
    rate = np.linalg.norm(track.gyro_rad_s[::step], axis=1)
    moving = uniform_filter1d(rate, int(3.0 * rate_hz)) > 0.25
    return (np.abs(vertical) < limit) & moving


def _heading_change(
    flat: dict[Placement, FloatArray], valid: dict[Placement, BoolArray], rate_hz: float
) -> FloatArray:
    """Return by how many degrees all sensors together change heading around each moment.

    Legs and trunk tell; the wrists, blurred by their cycles, only where those have gaps. A
    sensor that lost data has lost its heading as well and is asked across the gap only where no
    other one is whole. NaN where arms alone tell and have no heading (`turned_deg`).
    """
    size = len(next(iter(flat.values())))
    change, known = np.zeros(size), np.zeros(size, dtype=bool)
    legs = [p for p in flat if p in TRUNK_AND_LEGS]
    arms = [p for p in flat if p not in legs]
    for places, whole_only in ((legs, True), (arms, True), (arms or legs, False)):
        window_s, apart_s = (2.0, 4.0) if places is legs else (4.0, 6.0)
        half, window = int(apart_s * rate_hz / 2), int(window_s * rate_hz) | 1
        if not places or known.all() or size <= 2 * half:
            continue
        means = [_mean_of_known(flat[p], valid[p], window) for p in places]
        span = 2 * half + window if whole_only else 1
        weights = [minimum_filter1d(valid[p], span)[half:-half].astype(float) for p in places]
        before, after = [m[: -2 * half] for m in means], [m[2 * half :] for m in means]
        turned = (_turned_axis if places is legs else turned_deg)(before, after, weights)
        told = np.any(weights, axis=0) & ~known[half:-half]
        change[half:-half] = np.where(told, turned, change[half:-half])
        known[half:-half] |= told
    return change


def _mean_of_known(rotations: FloatArray, valid: BoolArray, window: int) -> FloatArray:
    """Return the mean rotation (N, 9) around each moment, over those with data."""
    total = uniform_filter1d(rotations * valid[:, None], window, axis=0)
    share = uniform_filter1d(valid.astype(float), window)
    return np.asarray(total / np.maximum(share, 1.0 / window)[:, None])


def _turned_axis(
    before: list[FloatArray], after: list[FloatArray], weights: list[FloatArray]
) -> FloatArray:
    """Return by how many degrees the level part of the long axes turned, whatever they rolled.

    From the back to the front and round is half a turn about a level axis: it has no heading
    of its own, but the head-ward axis has.
    """
    cosine = np.zeros(len(weights[0]))
    for first, second, weight in zip(before, after, weights, strict=True):
        ways = [mean[:, [0, 3]] for mean in (first, second)]
        ways = [way / (np.linalg.norm(way, axis=1)[:, None] + 1e-9) for way in ways]
        cosine += weight * np.sum(ways[0] * ways[1], axis=1)
    share = cosine / np.maximum(np.sum(weights, axis=0), 1.0)
    return np.degrees(np.arccos(np.clip(share, -1.0, 1.0)))


def _cut_at_turns(
    swimming: BoolArray, change_deg: FloatArray, turn_deg: float, rate_hz: float
) -> list[tuple[int, int]]:
    """Return index ranges of bouts, cut in the middle of each stretch of turned heading."""
    turned, count = label(np.abs(change_deg) > turn_deg)
    middles = [int(np.mean(np.flatnonzero(turned == k + 1))) for k in range(count)]
    bouts, runs = label(swimming)
    found: list[tuple[int, int]] = []
    least = int(3.0 * rate_hz)
    for run in range(1, runs + 1):
        inside = np.flatnonzero(bouts == run)
        first, last = int(inside[0]), int(inside[-1]) + 1
        cuts = [m for m in middles if first + least < m < last - least]
        edges = [first, *cuts, last]
        found += list(pairwise(edges))
    return found


def _cut_at_gaps(
    bouts: list[tuple[int, int]], valid: dict[Placement, BoolArray]
) -> list[tuple[int, int]]:
    """Cut a bout as long as two lengths where no wrist has data in its middle.

    A wrist goes on behind a gap in the direction it had before: a turn in it leaves no other trace.
    """
    typical = float(np.median([b - a for a, b in bouts])) if len(bouts) >= SEVERAL else np.inf
    holes, count = label(~np.any([valid[p] for p in WRISTS if p in valid], axis=0))
    middles = np.array([int(np.mean(np.flatnonzero(holes == k + 1))) for k in range(count)])
    found: list[tuple[int, int]] = []
    for first, last in bouts:
        apart = np.maximum(np.abs(middles - first - typical), np.abs(last - middles - typical))
        near = count > 0 and apart.min() < _ALIKE * typical
        cut = [int(middles[np.argmin(apart)])] if near else []
        found += list(pairwise([first, *cut, last]))
    return found


def _bridge_weak_stretches(
    swimming: BoolArray, change_deg: FloatArray, period_s: FloatArray, rate_hz: float
) -> BoolArray:
    """Join bouts of a wrist between which it kept its direction: uneven, or at rest for a while."""
    holes, count = label(~swimming)
    joined = swimming.copy()
    for k in range(1, count + 1):
        inside = np.flatnonzero(holes == k)
        at_edge = inside[0] == 0 or inside[-1] == len(swimming) - 1
        longest_s = _PAUSE_S if np.isnan(period_s[inside]).any() else _UNEVEN_S
        if at_edge or len(inside) > longest_s * rate_hz:
            continue
        if np.abs(change_deg[inside]).max() < 60.0:
            joined[inside] = True
    return joined


def _reach_to_cycles(
    bouts: list[tuple[int, int]],
    flat: dict[Placement, FloatArray],
    coarse_s: FloatArray,
    period_s: FloatArray,
    unbridged: BoolArray,
    blurred: BoolArray,
) -> list[tuple[int, int]]:
    """Move the edges of bouts that the wrists told to where the cycles begin and end.

    The search window has blurred these: edges within `BLUR_S` of rows that are `blurred` (M,). How
    strong cycles usually are tell the rows that were swimming without a bridge (`unbridged`, (M,)).
    Where no wrist repeats in a bout, which the legs told then, its edges stay.
    """
    wrist = next((p for p in WRISTS if p in flat), None)
    if wrist is None:
        return bouts
    reached: list[tuple[int, int]] = []
    rate_hz = 1.0 / float(np.median(np.diff(coarse_s)))
    reach, near = int(7.0 * rate_hz), int(BLUR_S * rate_hz)
    for k, (first, last) in enumerate(bouts):
        early = blurred[max(first - near, 0) : first + near].any()
        late = blurred[max(last - near, 0) : last + near].any()
        known_s = period_s[first:last][np.isfinite(period_s[first:last])]
        if not (early or late) or not len(known_s):
            reached.append((first, last))
            continue
        low = max(first - reach, bouts[k - 1][1] if k else 0)
        high = min(last + reach, bouts[k + 1][0] if k + 1 < len(bouts) else len(coarse_s))
        typical_s = float(np.median(known_s))
        rows = flat[wrist][low:high]
        train = cut_cycles(coarse_s[low:high], rows, typical_s)
        bout = slice(first - low, last - low)
        usual = np.median(train.amplitude[bout][unbridged[first:last]])
        strong = train.amplitude >= 0.5 * usual
        strong[bout] = True
        turning = _turning(rows, int(typical_s * rate_hz))
        ends = slice(max(last - low - near, 0), None)
        strong[ends] &= turning[ends] >= _STILL_SWIMS * np.median(turning[bout])
        runs, _ = label(strong)
        own = np.flatnonzero(runs == runs[(first + last) // 2 - low])
        cycles = (low + int(own[0]), low + int(own[-1]) + 1)
        early &= not reached or cycles[0] >= reached[-1][1]
        reached.append((cycles[0] if early else first, cycles[1] if late else last))
    return reached


def _turning(rotations: FloatArray, window: int) -> FloatArray:
    """Return how fast rotations (N, 9) change around each moment, squared, (N,)."""
    steps = np.sum(np.diff(rotations, axis=0, prepend=rotations[:1]) ** 2, axis=1)
    return np.asarray(uniform_filter1d(steps, window, mode="nearest"))


def _refine(
    recording: Recording, rough: list[tuple[float, float]], steady: bool
) -> tuple[LengthSpan, ...]:
    """Move the rough edges of lengths to their push-offs and wall contacts.

    A wrist alone knows when its cycles begin and end: the wall lies outside of them.
    """
    walls = WallFinder()
    recording = _on_one_clock(recording)
    if steady:
        rough = [(a, works_until_s(recording, a, b)) for a, b in rough]
    worn = worn_signs(recording, rough)
    alone = sum(p.limb is Limb.WRIST for p in recording.tracks) == 1
    within_s = 0.0 if steady else _TURN_S if alone else _AT_ONCE_S
    turns_s = _turns_between_s(rough, within_s)
    inner_s = [3.0 if steady or turn_s is not None else 1.2 for turn_s in turns_s]
    work_s = [works_from_s(recording, a, b) for a, b in rough]
    windows = [
        (a - 3.0, work + inner) for (a, _), inner, work in zip(rough, inner_s, work_s, strict=True)
    ]
    pushes = walls.push_offs(recording, windows, worn, turns_s)
    spans = []
    for k, (start_s, end_s) in enumerate(rough):
        following = pushes[k + 1] if k + 1 < len(rough) else None
        push_s = begin_s = pushes[k]
        if begin_s is None:
            begin_s = start_s if steady else walls.glides_from_s(recording, start_s)
        length_s = (begin_s, end_s)
        flips = False
        if following is not None and following - end_s < walls.turn_s:
            contact = walls.contact_before(recording, following, length_s, worn)
            touch_s: float | None = contact.at_s
            flips = contact.by_feet
        elif k + 1 < len(rough) and turns_s[k + 1] is not None:
            touch_s = None
        else:
            touch_s = walls.finish(recording, length_s, worn)
        stops_s = touch_s
        if stops_s is None:
            stops_s = walls.lies_from_s(recording, length_s) if steady else end_s
        spans.append(
            LengthSpan(
                start_s=length_s[0],
                end_s=stops_s,
                starts_at_wall=push_s is not None,
                ends_at_wall=touch_s is not None,
                flips=flips,
            )
        )
    return tuple(spans)


def _turns_between_s(rough: list[tuple[float, float]], within_s: float) -> list[float | None]:
    """Return the turn before each stretch of cycles, None where more than a turn lies there."""
    turns_s: list[float | None] = [None]
    for before, after in pairwise(rough):
        gap_s = after[0] - before[1]
        in_gap_s = after[0] - (0.5 * gap_s if gap_s > _AT_ONCE_S else 0.0)
        turns_s.append(in_gap_s if gap_s < within_s else None)
    return turns_s if rough else []


def _on_one_clock(recording: Recording) -> Recording:
    """Leave out sensors whose clock may be off by more than a push-off or a touch allows."""
    fits = recording.clocks
    sure = {
        p: t
        for p, t in recording.tracks.items()
        if p not in fits or not fits[p].residual_s > _UNSURE_S
    }
    return replace(recording, tracks=sure or recording.tracks)


def _cut_at_small_swings(
    bouts: list[tuple[int, int]], strength: FloatArray, swing: FloatArray, rate_hz: float
) -> list[tuple[int, int]]:
    """Cut bouts where the arm swings much less for a while, as steadily: it treads water there.

    In between, where the window sees some of both, it is least steady.
    """
    cut: list[tuple[int, int]] = []
    for first, last in bouts:
        steady = strength[first:last] >= _STEADY
        if not steady.any():
            cut.append((first, last))
            continue
        most = float(np.percentile(swing[first:last][steady], 90))
        small = steady & (swing[first:last] < _SMALLER * most)
        small = binary_opening(small, iterations=max(int(0.5 * _KEEPS_ON_S * rate_hz), 1))
        parts, count = label(small)
        large = np.flatnonzero(steady & (swing[first:last] >= _SMALLER * most))
        from_ = 0
        for k in range(count):
            begin, end = np.flatnonzero(parts == k + 1)[[0, -1]]
            before, after = large[large < begin], large[large > end]
            if len(before):
                least = int(before[-1] + np.argmin(strength[first:last][before[-1] : begin]))
                cut.append((first + from_, first + least))
            cut.append((first + int(begin), first + int(end) + 1))
            from_ = last - first
            if len(after):
                from_ = int(end + np.argmin(strength[first:last][end : after[0]]))
        cut.append((first + from_, last))
    return [(a, b) for a, b in cut if b > a]
