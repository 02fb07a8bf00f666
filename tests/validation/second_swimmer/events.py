"""Events of arms, legs and roll, read from the simulated geometry by the contract's words."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.signal import find_peaks

from .maths import RATE_HZ, Array

NOTHING = float("nan")
SHORTEST_S = 0.06
KICK_RAD_S = np.radians(55.0)
DOLPHIN_S = 0.05


@dataclass(frozen=True)
class ArmPath:
    """One arm over a stretch of swimming; `ahead` is the place along the swim direction in m."""

    time: Array
    ahead: Array
    height: Array
    depth_below_shoulder: Array
    ahead_of_shoulder: Array


@dataclass(frozen=True)
class Stroke:
    """One arm stroke's events in s (NaN = did not happen) and its depth in m."""

    entry: float
    catch: float
    mid_pull: float
    exit: float
    next_entry: float
    depth: float


def crossings(time: Array, value: Array) -> tuple[Array, Array]:
    """Return the times at which a value rises and falls through 0."""
    above = value > 0.0
    flips = np.flatnonzero(above[1:] != above[:-1])
    share = value[flips] / (value[flips] - value[flips + 1])
    times = time[flips] + share * (time[flips + 1] - time[flips])
    rises = above[flips + 1]
    return times[rises], times[~rises]


def _without_ripples(up: Array, down: Array) -> tuple[Array, Array]:
    """Drop pairs of crossings that lie closer together than any hand stays in or out."""
    times = np.concatenate([up, down])
    kind = np.concatenate([np.ones(up.size), np.zeros(down.size)])
    order = np.argsort(times)
    times, kind = times[order], kind[order]
    keep: list[int] = []
    for k in range(times.size):
        if keep and times[k] - times[keep[-1]] < SHORTEST_S:
            keep.pop()
        else:
            keep.append(k)
    return times[keep][kind[keep] == 1.0], times[keep][kind[keep] == 0.0]


def arm_strokes(path: ArmPath) -> list[Stroke]:
    """Return the strokes of one arm: one for each mid-pull, and reaches that never pull.

    The first pull comes out of the streamline and has no entry, though the hand may have rippled
    the surface.
    """
    up, down = _without_ripples(*crossings(path.time, path.height))
    down = down[np.interp(down, path.time, path.ahead_of_shoulder) > 0.0]
    _, passes = crossings(path.time, path.ahead_of_shoulder)
    passes = passes[np.interp(passes, path.time, path.height) < 0.0]
    speed = np.gradient(path.ahead, path.time)
    passes = passes[np.interp(passes, path.time, speed) < 0.0]
    _, backward = crossings(path.time, speed)
    edges = np.concatenate([[path.time[0]], passes, [path.time[-1]]])
    strokes = []
    for k, middle in enumerate(passes):
        entry = _last(down, edges[k], middle) if k else NOTHING
        begun = edges[k] if np.isnan(entry) else entry
        leaves = _first(up, middle, edges[k + 2])
        again = NOTHING if np.isnan(leaves) else _first(down, leaves, edges[k + 2])
        over = edges[k + 2] if np.isnan(leaves) else leaves
        within = (path.time >= begun) & (path.time <= over)
        catch = _last(backward, begun, middle)
        depth = float(path.depth_below_shoulder[within].max())
        strokes.append(Stroke(entry, catch, float(middle), leaves, again, depth))
    reach = _first(down, edges[-2], edges[-1])
    if not np.isnan(reach):
        nothing = (NOTHING,) * 5
        strokes.append(Stroke(reach, *nothing))
    return strokes


def _last(times: Array, after: float, before: float) -> float:
    inside = times[(times > after) & (times < before)]
    return float(inside[-1]) if inside.size else NOTHING


def _first(times: Array, after: float, before: float) -> float:
    inside = times[(times > after) & (times < before)]
    return float(inside[0]) if inside.size else NOTHING


def downbeats(time: Array, extension: Array) -> tuple[Array, Array]:
    """Return times and sizes (rad/s) of the peaks of one shank's extension speed."""
    peaks, _ = find_peaks(
        extension, height=KICK_RAD_S, prominence=KICK_RAD_S, distance=int(0.12 * RATE_HZ)
    )
    return time[peaks], extension[peaks]


def not_together(times: Array, others: Array) -> NDArray[np.bool_]:
    """Return which downbeats the other leg does not make at the same moment (dolphin kicks)."""
    if not others.size:
        return np.ones(times.size, dtype=bool)
    gap = np.abs(times[:, None] - others[None, :]).min(axis=1)
    return np.asarray(gap > DOLPHIN_S)


@dataclass(frozen=True)
class HalfRoll:
    """One half cycle of the roll: side up (+1 left, -1 right), peak, first and last sample."""

    sign: float
    peak: float
    peak_roll: float
    first: int
    last: int


def half_rolls(time: Array, roll: Array) -> list[HalfRoll]:
    """Return the half cycles between zero crossings of a roll in degrees, without ripples."""
    flips = np.flatnonzero(np.sign(roll[1:]) != np.sign(roll[:-1]))
    halves = []
    for first, last in zip(flips[:-1] + 1, flips[1:] + 1, strict=True):
        top = first + int(np.argmax(np.abs(roll[first:last])))
        if last - first > 0.15 * RATE_HZ and abs(roll[top]) > 4.0:
            sign = float(np.sign(roll[top]))
            halves.append(HalfRoll(sign, float(time[top]), float(roll[top]), int(first), int(last)))
    return halves


def hold(time: Array, roll: Array, half: HalfRoll, beyond: float) -> tuple[float, float]:
    """Return from when to when one half cycle stays beyond an angle in degrees, NaN if never."""
    part = slice(half.first, half.last)
    up, down = crossings(time[part], half.sign * roll[part] - beyond)
    up, down = up[up < half.peak], down[down > half.peak]
    if not (up.size and down.size):
        return NOTHING, NOTHING
    return float(up[-1]), float(down[0])


def index_of_coordination(left: list[Stroke], right: list[Stroke]) -> float:
    """Return the index of coordination in % of the mean cycle, NaN if it can't be told."""
    cycles = [s.next_entry - s.entry for s in left + right if not np.isnan(s.next_entry - s.entry)]
    if not cycles:
        return NOTHING
    cycle = float(np.mean(cycles))
    means = []
    for mine, other in ((left, right), (right, left)):
        catches = np.array([s.catch for s in other if not np.isnan(s.catch)])
        lags = []
        for stroke in mine:
            if np.isnan(stroke.exit) or not catches.size:
                continue
            lag = stroke.exit - catches[np.argmin(np.abs(catches - stroke.exit))]
            if abs(lag) < 0.45 * cycle:
                lags.append(lag)
        if lags:
            means.append(float(np.mean(lags)))
    return 100.0 * float(np.mean(means)) / cycle if len(means) == 2 else NOTHING


def beat(counts: list[int]) -> int:
    """Return the beat (2, 4 or 6) that most cycles are nearest to, 0 when under 60 % agree."""
    nearest = {1: 2, 2: 2, 4: 4, 6: 6, 7: 6}
    votes = [nearest.get(count, 0) for count in counts]
    for candidate in (2, 4, 6):
        if votes and votes.count(candidate) >= 0.6 * len(votes):
            return candidate
    return 0
