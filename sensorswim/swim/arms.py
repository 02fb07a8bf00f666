"""One wrist over one length: its heading, its cycles, and its way over one of them.

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
import numpy.typing as npt
from scipy.ndimage import gaussian_filter1d

from sensorswim.model import Recording, Side, Track
from sensorswim.model.streams import BoolArray, FloatArray
from sensorswim.signal.regular import valid_pieces
from sensorswim.signal.rotations import rotate
from sensorswim.swim.periodicity import (
    CycleTrain,
    Period,
    cut_cycles,
    find_period,
    rotation_autocorrelation,
)
from sensorswim.units import STANDARD_GRAVITY_M_S2

_INWARD_RAD = np.radians(8.0)
"""How far the long axis of the path, seen from above, turns inwards in front. No source; 6 to 11
degrees on the synthetic swimmer."""

_CALM_RAD_S = 1.2
_GLIDE_S = (0.3, 1.3)
_GLIDE_WEIGHT = 20.0
_LONGEST_CYCLE_S = 4.6
_STREAMLINED_S = 0.8
"""How long the arms lie stretched after a push-off: those that come overhead before bring none of
them out of a stroke. A forearm passes to the front at most 0.3 s before its entry, and the soonest
entry of 2500 lengths of synthetic swimmers of fourteen builds comes 1.2 s after the push-off."""
_ROUND = 0.5
_LEAST_CYCLES = 2
_LEAST_FOR_DRIFT = 5


@dataclass(frozen=True, kw_only=True)
class WristMotion:
    """One wrist over one length in the swim frame (x forward, y left, z up).

    Parameters
    ----------
    time_s : (N,)
    accel_m_s2 : (N, 3)
        World acceleration without gravity.
    forearm, skin : (N, 3)
        Unit vectors elbow to wrist and out of the back of the wrist.
    turn_rate_rad_s : (N,)
        Size of the angular rate.
    valid : (N,) bool
    period : Period
    overhead : bool
        Whether the forearm goes through from back to front: not so in breaststroke.
    recoveries_s : (K,)
        Forearm passes from back to front, one a cycle; without that, any one phase a cycle.
    reaches_s : (M,)
        One moment of each reach, at the same phase: the ends of the integration windows.
    backs_s : (P,)
        Forearm passes from front to back, as in every pull, where there is data.
    """

    side: Side
    time_s: FloatArray
    accel_m_s2: FloatArray
    forearm: FloatArray
    skin: FloatArray
    turn_rate_rad_s: FloatArray
    valid: BoolArray
    period: Period
    overhead: bool
    recoveries_s: FloatArray
    reaches_s: FloatArray
    backs_s: FloatArray

    def forearm_at(self, time_s: FloatArray) -> FloatArray:
        """Return the forearm (K, 3) at these times (K,)."""
        at = np.searchsorted(self.time_s, time_s).clip(0, len(self.time_s) - 1)
        return self.forearm[at]

    @property
    def falls_s(self) -> FloatArray:
        """Those passages back in which the forearm points down."""
        return self.backs_s[self.forearm_at(self.backs_s)[:, 2] < 0.0]


@dataclass(frozen=True, kw_only=True)
class _Above:
    """The paths of a wrist's cycles seen from above, in a world whose heading is any.

    Parameters
    ----------
    middle_s : (K,)
        Middles of the cycles that are long and narrow.
    axes : (K,)
        Their long axes ahead as x + iy.
    cycles : int
        How many cycles there are.
    ahead : complex, optional
        Which way the wrist goes while it is high, over all cycles, the round ones too.
    """

    middle_s: FloatArray
    axes: npt.NDArray[np.complex128]
    cycles: int
    ahead: complex | None


def follow_wrist(
    recording: Recording,
    track: Track,
    side: Side,
    limb_from_sensor: FloatArray,
    *,
    start_s: float,
    end_s: float,
    pushed: bool = False,
    longest_s: float = _LONGEST_CYCLE_S,
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
    pushed : bool
        It begins with a push-off.
    longest_s : float
        Longest cycle that is possible.
    """
    first, last = np.searchsorted(recording.time_s, [start_s, end_s])
    if last - first < 3 * recording.rate_hz or track.q_world_from_sensor is None:
        return None
    rows = slice(int(first), int(last))
    q = track.q_world_from_sensor[rows]
    basis = np.stack([rotate(q, np.broadcast_to(axis, (len(q), 3))) for axis in limb_from_sensor])
    period = _length_period(basis, recording.rate_hz, longest_s)
    if not np.isfinite(period.period_s):
        return None
    time_s, valid = recording.time_s[rows], track.valid[rows]
    turn_rate = np.linalg.norm(track.gyro_rad_s[rows], axis=1)
    accel = rotate(q, track.accel_m_s2[rows]) - np.array([0.0, 0.0, STANDARD_GRAVITY_M_S2])
    train = cut_cycles(time_s, np.concatenate(list(basis), axis=1), period.period_s)
    heading, since_s = np.zeros(len(q)), time_s - time_s[0]
    for piece in _pieces(valid):
        paths = _paths_from_above(time_s[piece], accel[piece], valid[piece], train)
        calm = np.exp(-((turn_rate[piece] / _CALM_RAD_S) ** 2)) * valid[piece]
        found = _path_heading(paths, time_s[piece], side)
        if found is None:
            ahead = paths.ahead if piece.start else None
            heading[piece] = _reach_heading(basis[0, piece], calm, since_s[piece], ahead)
        else:
            heading[piece] = found
    forearm = _turn_heading(basis[0], heading)
    recoveries = _recoveries(time_s, train, forearm[:, 0], recording.rate_hz)
    backs_s = _passages_back(time_s, forearm[:, 0], period.period_s)
    if pushed:
        recoveries, backs_s = _once_stretched(recoveries, backs_s, start_s + _STREAMLINED_S)
    overhead = len(recoveries) > 0.5 * len(train.cut_s)
    return WristMotion(
        side=side,
        time_s=time_s,
        accel_m_s2=_turn_heading(accel, heading),
        forearm=forearm,
        skin=_turn_heading(basis[2], heading),
        turn_rate_rad_s=turn_rate,
        valid=valid,
        period=period,
        overhead=overhead,
        recoveries_s=recoveries if overhead else train.cut_s,
        reaches_s=np.empty(0)
        if not overhead
        else _reaches(time_s, forearm[:, 0], turn_rate, recoveries, backs_s, period.period_s),
        backs_s=backs_s[valid[np.searchsorted(time_s, backs_s).clip(0, len(time_s) - 1)]],
    )


def _once_stretched(
    recoveries_s: FloatArray, backs_s: FloatArray, stretched_s: float
) -> tuple[FloatArray, FloatArray]:
    """Return the passages to the front and back of strokes: those of arms on their way aren't.

    An arm that passes back until `stretched_s` comes overhead before its first pull.
    """
    pulls_s = backs_s[backs_s > stretched_s]
    if len(pulls_s) and len(pulls_s) < len(backs_s):
        stretched_s = float(pulls_s[0])
    return recoveries_s[recoveries_s > stretched_s], pulls_s


def _length_period(basis: FloatArray, rate_hz: float, longest_s: float) -> Period:
    """Return the cycle time of one length from its rotation matrices (3, N, 3)."""
    step = max(int(rate_hz / 25.0), 1)
    flat = np.concatenate(list(basis[:, ::step]), axis=1)
    lag = min(int(4.8 * rate_hz / step), len(flat) // 2)
    found = rotation_autocorrelation(flat, lag)
    return find_period(found, rate_hz / step, shortest_s=0.85, longest_s=longest_s)


def _pieces(valid: BoolArray) -> list[slice]:
    """Return the stretches between gaps, each with the gap before it: each has its own heading."""
    ends = [piece.stop for piece in valid_pieces(valid)] or [len(valid)]
    ends[-1] = len(valid)
    return [slice(a, b) for a, b in pairwise([0, *ends])]


def _paths_from_above(
    time_s: FloatArray, accel: FloatArray, valid: BoolArray, train: CycleTrain
) -> _Above:
    """Return how the whole cycles of one stretch lie, cut at any one phase."""
    own = train.cut_s[(train.cut_s >= time_s[0]) & (train.cut_s <= time_s[-1])]
    middle_s, axes, ahead = [], [], 0j
    for a, b in pairwise(np.searchsorted(time_s, own)):
        whole = 0.5 < (time_s[b] - time_s[a]) / train.period_s < 1.7
        if whole and valid[a : b + 1].all():
            velocity, position = closed_path(time_s[a : b + 1], accel[a : b + 1])
            sense = position[:, 2] @ velocity[:, :2]
            ahead += complex(*sense)
            axis = _long_axis(position, sense)
            if axis is not None:
                middle_s.append(0.5 * (time_s[a] + time_s[b]))
                axes.append(axis)
    return _Above(
        middle_s=np.array(middle_s), axes=np.array(axes), cycles=len(own) - 1, ahead=ahead or None
    )


def _path_heading(paths: _Above, time_s: FloatArray, side: Side) -> FloatArray | None:
    """Return the heading (N,) from the wrist's path seen from above, None where it is too round.

    The path is long and narrow, and its long axis turns inwards in front: the hand enters before
    the shoulder and leaves beside the hip. No strap enters into it. The heading of a gyroscope
    whose scale is off by 1 % drifts by degrees with every turn of the arm, so it is a robust line
    over the cycles.
    """
    if len(paths.axes) < max(_LEAST_CYCLES, 0.5 * paths.cycles):
        return None
    return angle_line(paths.middle_s, paths.axes, time_s) + side.sign * _INWARD_RAD


def _long_axis(position: FloatArray, sense: FloatArray) -> complex | None:
    """Return the long axis of one cycle from above as x + iy, None where it is too round."""
    sizes, axes = np.linalg.eigh(position[:, :2].T @ position[:, :2])
    if sizes[0] > _ROUND**2 * sizes[1]:
        return None
    return complex(*(axes[:, 1] * np.sign(sense @ axes[:, 1])))


def angle_line(
    middle_s: FloatArray, axes: npt.NDArray[np.complex128], time_s: FloatArray
) -> FloatArray:
    """Return the angle of the axes over time as a line through the median slope (Theil 1950).

    Parameters
    ----------
    middle_s : (K,)
        When each axis was seen.
    axes : (K,)
        Unit vectors as x + iy.
    time_s : (N,)
        Where the angle is wanted.

    Returns
    -------
    (N,)
        In rad.
    """
    mean = axes.sum()
    angle = np.angle(axes / mean)
    slope = 0.0
    if len(axes) >= _LEAST_FOR_DRIFT:
        i, j = np.triu_indices(len(axes), 1)
        slope = float(np.median((angle[j] - angle[i]) / (middle_s[j] - middle_s[i])))
    level = np.median(angle - slope * middle_s)
    return np.angle(mean) + level + slope * time_s


def _reach_heading(
    forearm_world: FloatArray, calm: FloatArray, since_s: FloatArray, ahead: complex | None
) -> float:
    """Return the heading of the forearm where it is level and slow: it then points forward.

    Only samples that point roughly ahead count, so that a slow end of the push can't turn it round.
    Which way that is tells most of all the glide after the push-off, behind a gap the cycles.
    """
    level = np.hypot(forearm_world[:, 0], forearm_world[:, 1])
    weight = calm * (level > 0.7) + 1e-6 * level
    glide = (_GLIDE_S[0] < since_s) & (since_s < _GLIDE_S[1])
    first = weight * np.where(glide, _GLIDE_WEIGHT, 1.0)
    way = complex(*(forearm_world[:, :2] * first[:, None]).sum(axis=0)) if ahead is None else ahead
    along = forearm_world[:, :2] @ np.array([way.real, way.imag]) / abs(way)
    mean = (forearm_world[:, :2] * (weight * (along > 0.5))[:, None]).sum(axis=0)
    return float(np.arctan2(mean[1], mean[0]))


def _turn_heading(vectors: FloatArray, heading_rad: FloatArray) -> FloatArray:
    """Return world vectors (N, 3) with x along the heading (N,)."""
    cosine, sine = np.cos(heading_rad), np.sin(heading_rad)
    x, y, up = vectors.T
    return np.stack([cosine * x + sine * y, cosine * y - sine * x, up], axis=1)


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
    backs_s: FloatArray,
    period_s: float,
) -> FloatArray:
    """Return one moment of each reach, one before the first pull included.

    All cycles are cut at the same share of the time from the forearm's coming forward to its
    passing the vertical in the pull: the share at which it mostly turns least. At high rates no
    reach is quiet, the least turn of a cycle lies anywhere, and a path that is closed from there
    to there is bent. Where the pull is not seen the least turn has to do.
    """
    rate_hz = 1.0 / float(np.median(np.diff(time_s)))
    calm = gaussian_filter1d(turn_rate, 0.03 * rate_hz) + 6.0 * (forward < 0.6)
    starts = np.concatenate([[recoveries_s[0] - period_s], recoveries_s])
    ends = np.append(recoveries_s, recoveries_s[-1] + period_s)
    found = []
    for start_s, end_s in zip(starts, ends, strict=True):
        span = min(end_s - start_s, 1.4 * period_s)
        a, b = np.searchsorted(time_s, [start_s + 0.12 * span, start_s + 0.62 * span])
        if b - a > 3:
            own = backs_s[(backs_s > start_s + 0.2 * span) & (backs_s < end_s)]
            pull_s = own[-1] if len(own) else np.nan
            found.append((start_s, time_s[a + int(np.argmin(calm[a:b]))], pull_s))
    start, quiet, pull = np.array(found).reshape(-1, 3).T
    if np.isnan(pull).all():
        return quiet
    alike = start + np.nanmedian((quiet - start) / (pull - start)) * (pull - start)
    return np.where(np.isfinite(alike), alike, quiet).clip(time_s[0], time_s[-1])


def _passages_back(time_s: FloatArray, forward: FloatArray, period_s: float) -> FloatArray:
    """Return the moments (K,) at which the forearm goes from front to back."""
    rate_hz = 1.0 / float(np.median(np.diff(time_s)))
    values = gaussian_filter1d(forward, 0.02 * period_s * rate_hz)
    k = np.flatnonzero((values[:-1] > 0.0) & (values[1:] <= 0.0))
    share = values[k] / (values[k] - values[k + 1])
    return np.asarray(time_s[k] + share * (time_s[k + 1] - time_s[k]))


def closed_path(time_s: FloatArray, accel: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Return velocity and position (N, 3) with no mean that end a cycle as they began it."""
    since_s = (time_s - time_s[0])[:, None]
    velocity = _added_up(accel, time_s)
    velocity -= velocity[-1] / since_s[-1] * since_s
    position = _added_up(velocity, time_s)
    mean = position[-1] / since_s[-1]
    velocity -= mean
    position -= mean * since_s
    position -= _added_up(position, time_s)[-1] / since_s[-1]
    return velocity, position


def _added_up(values: FloatArray, time_s: FloatArray) -> FloatArray:
    """Return the integral (N, 3) from the first sample on, by the trapezoidal rule."""
    out = np.zeros_like(values)
    np.cumsum(0.5 * (values[1:] + values[:-1]) * np.diff(time_s)[:, None], axis=0, out=out[1:])
    return out
