"""Arm strokes of one wrist over one length: its path, and the events on it.

The forearm points forward in the reach, down in the pull, back at the end of the push and
comes forward again over the water: its forward component passes from back to front once a
cycle, in the recovery, with no need of an impact. Between two reaches the wrist's world
acceleration is integrated twice with the cycle's own drift removed (the wrist ends a cycle as
fast and, relative to the body, where it began).
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from scipy.integrate import cumulative_trapezoid
from scipy.ndimage import gaussian_filter1d

from sensorswim.model import Recording, Side, Track
from sensorswim.model.streams import BoolArray, FloatArray
from sensorswim.signal.rotations import rotate
from sensorswim.swim.periodicity import (
    CycleTrain,
    Period,
    cut_cycles,
    find_period,
    rotation_autocorrelation,
)
from sensorswim.swim.shoulder import ShoulderFit
from sensorswim.units import STANDARD_GRAVITY_M_S2


@dataclass(frozen=True, kw_only=True)
class WristMotion:
    """One wrist over one length in the swim frame (x forward, y left, z up).

    Parameters
    ----------
    time_s : (N,)
    accel_m_s2 : (N, 3)
        World acceleration without gravity.
    forearm : (N, 3)
        Unit vector elbow to wrist.
    turn_rate_rad_s : (N,)
        Size of the angular rate.
    valid : (N,) bool
    period : Period
    overhead : bool
        Whether the forearm goes through from back to front: not so in breaststroke.
    recoveries_s : (K,)
        Forearm passes from back to front, one a cycle; without that, any one phase a cycle.
    reaches_s : (M,)
        Quiet moments of the reach, the ends of the integration windows.
    """

    side: Side
    time_s: FloatArray
    accel_m_s2: FloatArray
    forearm: FloatArray
    turn_rate_rad_s: FloatArray
    valid: BoolArray
    period: Period
    overhead: bool
    recoveries_s: FloatArray
    reaches_s: FloatArray


@dataclass(frozen=True, kw_only=True)
class CyclePath:
    """The wrist's path over one cycle, reach to reach, relative to the cycle's mean position.

    Parameters
    ----------
    time_s : (N,)
    position_m, velocity_m_s : (N, 3)
        Relative to the body's mean motion; swim frame.
    forearm : (N, 3)
    """

    time_s: FloatArray
    position_m: FloatArray
    velocity_m_s: FloatArray
    forearm: FloatArray

    def at_phase(self, phase: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Return position and forearm (P, 3) at phases 0..1 of the window."""
        own = (self.time_s - self.time_s[0]) / (self.time_s[-1] - self.time_s[0])
        position = np.stack([np.interp(phase, own, c) for c in self.position_m.T], axis=1)
        forearm = np.stack([np.interp(phase, own, c) for c in self.forearm.T], axis=1)
        return position, forearm


@dataclass(frozen=True, kw_only=True)
class Stroke:
    """One arm stroke; an event that could not be had is NaN."""

    entry_s: float = np.nan
    catch_s: float = np.nan
    mid_pull_s: float = np.nan
    exit_s: float = np.nan
    next_entry_s: float = np.nan


@dataclass(frozen=True, kw_only=True)
class ArmSize:
    """Limb lengths that the path is read with.

    Parameters
    ----------
    upper_arm_m, forearm_m, shoulder_half_width_m : float
        Forearm: elbow to wrist. Segment ratios of body height by Drillis & Contini (1966), as
        in Winter, *Biomechanics and Motor Control of Human Movement*: 0.186, 0.146, 0.129.
    """

    upper_arm_m: float
    forearm_m: float
    shoulder_half_width_m: float

    @classmethod
    def of_height(cls, height_m: float) -> ArmSize:
        """Return the sizes that a body height suggests."""
        return cls(
            upper_arm_m=0.186 * height_m,
            forearm_m=0.146 * height_m,
            shoulder_half_width_m=0.129 * height_m,
        )


def follow_wrist(
    recording: Recording,
    track: Track,
    side: Side,
    limb_from_sensor: FloatArray,
    *,
    start_s: float,
    end_s: float,
) -> WristMotion | None:
    """Return the wrist's motion over a length, None where no arm cycle shows.

    Parameters
    ----------
    track : Track
        Oriented.
    limb_from_sensor : (3, 3)
        Strap rotation.
    start_s, end_s : float
        The length, session time.
    """
    first, last = np.searchsorted(recording.time_s, [start_s, end_s])
    if last - first < 3 * recording.rate_hz or track.q_world_from_sensor is None:
        return None
    rows = slice(int(first), int(last))
    q = track.q_world_from_sensor[rows]
    basis = np.stack([rotate(q, np.broadcast_to(axis, (len(q), 3))) for axis in limb_from_sensor])
    period = _length_period(basis, recording.rate_hz)
    if not np.isfinite(period.period_s):
        return None
    gyro = track.gyro_rad_s[rows]
    turn_rate = np.linalg.norm(gyro, axis=1)
    heading = _reach_heading(basis[0], turn_rate, recording.rate_hz)
    time_s = recording.time_s[rows]
    forearm = _turn_heading(basis[0], heading)
    accel = rotate(q, track.accel_m_s2[rows]) - np.array([0.0, 0.0, STANDARD_GRAVITY_M_S2])
    train = cut_cycles(time_s, np.concatenate(list(basis), axis=1), period.period_s)
    recoveries = _recoveries(time_s, train, forearm[:, 0], recording.rate_hz)
    overhead = len(recoveries) > 0.5 * len(train.cut_s)
    return WristMotion(
        side=side,
        time_s=time_s,
        accel_m_s2=_turn_heading(accel, heading),
        forearm=forearm,
        turn_rate_rad_s=turn_rate,
        valid=track.valid[rows],
        period=period,
        overhead=overhead,
        recoveries_s=recoveries if overhead else train.cut_s,
        reaches_s=np.empty(0)
        if not overhead
        else _reaches(time_s, forearm[:, 0], turn_rate, recoveries, period.period_s),
    )


def _length_period(basis: FloatArray, rate_hz: float) -> Period:
    """Return the cycle time of one length from its rotation matrices (3, N, 3)."""
    step = max(int(rate_hz / 25.0), 1)
    flat = np.concatenate(list(basis[:, ::step]), axis=1)
    lag = min(int(4.8 * rate_hz / step), len(flat) // 2)
    found = rotation_autocorrelation(flat, lag)
    return find_period(found, rate_hz / step, shortest_s=0.85, longest_s=4.6)


def _reach_heading(forearm_world: FloatArray, turn_rate: FloatArray, rate_hz: float) -> float:
    """Return the heading of the forearm where it is level and slow: it then points forward.

    The glide after the push-off counts most for which way forward is; then only samples that
    point that way count, so that a slow end of the push can't turn it round.
    """
    level = np.hypot(forearm_world[:, 0], forearm_world[:, 1])
    weight = np.exp(-((turn_rate / 1.2) ** 2)) * (level > 0.7) + 1e-6 * level
    glide = slice(int(0.3 * rate_hz), int(1.3 * rate_hz))
    first = weight.copy()
    first[glide] *= 20.0
    mean = (forearm_world[:, :2] * first[:, None]).sum(axis=0)
    along = forearm_world[:, :2] @ (mean / np.linalg.norm(mean))
    mean = (forearm_world[:, :2] * (weight * (along > 0.5))[:, None]).sum(axis=0)
    return float(np.arctan2(mean[1], mean[0]))


def _turn_heading(vectors: FloatArray, heading_rad: float) -> FloatArray:
    """Return world vectors (N, 3) with x along the heading."""
    c, s = np.cos(heading_rad), np.sin(heading_rad)
    return vectors @ np.array([[c, -s, 0.0], [s, c, 0.0], [0.0, 0.0, 1.0]])


def _recoveries(
    time_s: FloatArray, train: CycleTrain, forward: FloatArray, rate_hz: float
) -> FloatArray:
    """Return one back-to-front passage of the forearm a cycle."""
    period_s = train.period_s
    strong = train.amplitude > 0.15 * np.median(train.amplitude)
    smooth = gaussian_filter1d(forward, 0.02 * period_s * rate_hz)
    rise = np.gradient(gaussian_filter1d(forward, 0.06 * period_s * rate_hz)) * rate_hz
    up = np.flatnonzero((smooth[:-1] < 0.0) & (smooth[1:] >= 0.0))
    up = up[rise[up] * period_s > 2.0]
    kept: list[int] = []
    for crossing in up[strong[up]]:
        if kept and (crossing - kept[-1]) < 0.45 * period_s * rate_hz:
            if rise[crossing] > rise[kept[-1]]:
                kept[-1] = int(crossing)
        else:
            kept.append(int(crossing))
    index = np.array(kept, dtype=int)
    share = -smooth[index] / (smooth[index + 1] - smooth[index]) if len(index) else 0.0
    return time_s[index] + share / rate_hz


def _reaches(
    time_s: FloatArray,
    forward: FloatArray,
    turn_rate: FloatArray,
    recoveries_s: FloatArray,
    period_s: float,
) -> FloatArray:
    """Return the quiet moment of each reach, one before the first pull included."""
    rate_hz = 1.0 / float(np.median(np.diff(time_s)))
    calm = gaussian_filter1d(turn_rate, 0.03 * rate_hz) + 6.0 * (forward < 0.6)
    ends = np.append(recoveries_s[1:], recoveries_s[-1] + period_s)
    starts = np.concatenate([[recoveries_s[0] - period_s], recoveries_s])
    ends = np.concatenate([[recoveries_s[0]], ends])
    found = []
    for start_s, end_s in zip(starts, ends, strict=True):
        span = min(end_s - start_s, 1.4 * period_s)
        a, b = np.searchsorted(time_s, [start_s + 0.12 * span, start_s + 0.62 * span])
        if b - a > 3:
            found.append(time_s[a + int(np.argmin(calm[a:b]))])
    return np.array(found)


def cycle_paths(motion: WristMotion) -> list[CyclePath]:
    """Return the path of every cycle between two reaches; cycles with a gap are left out."""
    paths = []
    edges = np.searchsorted(motion.time_s, motion.reaches_s)
    for a, b in pairwise(edges):
        whole = 0.5 < (motion.time_s[b] - motion.time_s[a]) / motion.period.period_s < 1.7
        if whole and motion.valid[a : b + 1].all():
            paths.append(_integrate(motion, int(a), int(b)))
    return paths


def _integrate(motion: WristMotion, a: int, b: int) -> CyclePath:
    time_s = motion.time_s[a : b + 1]
    accel = motion.accel_m_s2[a : b + 1]
    span = time_s[-1] - time_s[0]
    drift = np.trapezoid(accel, time_s, axis=0) / span
    velocity = cumulative_trapezoid(accel - drift, time_s, axis=0, initial=0.0)
    velocity -= np.trapezoid(velocity, time_s, axis=0) / span
    position = cumulative_trapezoid(velocity, time_s, axis=0, initial=0.0)
    position -= np.trapezoid(position, time_s, axis=0) / span
    return CyclePath(
        time_s=time_s,
        position_m=position,
        velocity_m_s=velocity,
        forearm=motion.forearm[a : b + 1],
    )


def find_strokes(
    motion: WristMotion,
    paths: list[CyclePath],
    shoulder: ShoulderFit | None,
    clean_speed_m_s: float,
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
    """
    if shoulder is None:
        return _strokes_without_path(motion)
    return _chain(motion, [_events(path, shoulder, clean_speed_m_s) for path in paths])


@dataclass(frozen=True, kw_only=True)
class _Events:
    catch_s: float
    mid_pull_s: float
    exit_s: float
    entry_s: float
    recovery_s: float


def _crossing(time_s: FloatArray, values: FloatArray, index: int) -> float:
    """Return the time at which values pass zero between index and index + 1."""
    step = values[index + 1] - values[index]
    return float(time_s[index] - values[index] * (time_s[index + 1] - time_s[index]) / step)


def _events(path: CyclePath, shoulder: ShoulderFit, clean_speed_m_s: float) -> _Events:
    time_s = path.time_s
    ahead = path.position_m[:, 0] - shoulder.forward_at(len(time_s))
    above = path.position_m[:, 2] - shoulder.surface_m
    passes = np.flatnonzero((ahead[:-1] > 0) & (ahead[1:] <= 0))
    passes = passes[above[passes] < 0]
    mid = int(passes[0]) if len(passes) else -1
    mid_s = _crossing(time_s, ahead, mid) if mid >= 0 else np.nan
    catch_s = exit_s = entry_s = np.nan
    if mid >= 0:
        speed = path.velocity_m_s[:, 0] + clean_speed_m_s
        back = np.flatnonzero((speed[:mid] >= 0) & (speed[1 : mid + 1] < 0))
        catch_s = _crossing(time_s, speed, int(back[-1])) if len(back) else np.nan
        out = mid + np.flatnonzero((above[mid:-1] < 0) & (above[mid + 1 :] >= 0))
        exit_s = _crossing(time_s, above, int(out[0])) if len(out) else np.nan
    down = np.flatnonzero((above[:-1] >= 0) & (above[1:] < 0) & (ahead[:-1] > 0))
    entry_s = _crossing(time_s, above, int(down[-1])) if len(down) else np.nan
    forward = path.forearm[:, 0]
    half = len(time_s) // 4
    up = half + np.flatnonzero((forward[half:-1] < 0) & (forward[half + 1 :] >= 0))
    recovery_s = _crossing(time_s, forward, int(up[-1])) if len(up) else np.nan
    return _Events(
        catch_s=catch_s, mid_pull_s=mid_s, exit_s=exit_s, entry_s=entry_s, recovery_s=recovery_s
    )


def _strokes_without_path(motion: WristMotion) -> list[Stroke]:
    """Return strokes with entries only, one a cycle, where the path was not to be had."""
    entries = motion.recoveries_s + 0.12 * motion.period.period_s
    following = np.append(entries[1:], np.nan)
    return [
        Stroke(entry_s=float(e), next_entry_s=float(n))
        for e, n in zip(entries, following, strict=True)
    ]


def _chain(motion: WristMotion, events: list[_Events]) -> list[Stroke]:
    """Join events into strokes: the entry that ends one window begins the next stroke.

    Recoveries without a path of their own (a gap, the edges of the length) take the median
    delay from recovery to entry of the others.
    """
    period_s = motion.period.period_s
    delays = np.array([e.entry_s - e.recovery_s for e in events])
    delays = delays[(delays > -0.05 * period_s) & (delays < 0.3 * period_s)]
    usual = float(np.median(delays)) if len(delays) else 0.08 * period_s
    entries = []
    for recovery_s in motion.recoveries_s:
        own = [e.entry_s for e in events if abs(e.recovery_s - recovery_s) < 0.15]
        entry_s = own[0] if own and np.isfinite(own[0]) else recovery_s + usual
        if abs(entry_s - recovery_s - usual) > 0.25:
            entry_s = recovery_s + usual
        entries.append(entry_s)
    pulls = [
        Stroke(catch_s=e.catch_s, mid_pull_s=e.mid_pull_s, exit_s=e.exit_s)
        for e in events
        if np.isfinite(e.mid_pull_s)
    ]
    return _pair(entries, pulls)


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
