"""The path of a wrist over each cycle of a length, and how high each cycle lies.

A path that is closed over its own cycle knows no height of its own. Where a swimmer stays on the
side for a breath the wrist is over the water for longer, its mean is higher, and the hand would
seem to enter too early; so the height of each cycle against the others is taken from the whole
length's acceleration, without what is slower than some breaths.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from itertools import pairwise
from typing import Final

import numpy as np
from numpy.polynomial.legendre import legvander

from sensorswim.model.streams import FloatArray
from sensorswim.signal.regular import valid_pieces
from sensorswim.swim.arms import WristMotion, added_up, closed_path

_LEAST_FOR_SPREAD: Final = 4
_MEDIAN_POINTS: Final = 41
_OF_ONE_CYCLE_M = np.array([0.017, 0.030, 0.022])
_LEAST_KEPT = 0.25
"""Error of one cycle's closed path forward, sideways and up that is not alike in all cycles, and
the least that is kept of a cycle's own departure. Picked on the synthetic swimmer."""

_SLOW_HZ: Final = 0.25
_LEAST_LONG_S: Final = 3.0
_OF_ONE_HEIGHT_M: Final = 0.02
"""Heights that change more slowly are not told from drift, nor any in less time; and the error of a
cycle's height. Picked on synthetic swimmers of four builds."""


@dataclass(frozen=True, kw_only=True)
class CyclePath:
    """The wrist's path over one cycle, reach to reach, relative to the cycle's mean position.

    Parameters
    ----------
    time_s : (N,)
    position_m, velocity_m_s : (N, 3)
        Relative to the body's mean motion; swim frame.
    forearm, skin : (N, 3)
    """

    time_s: FloatArray
    position_m: FloatArray
    velocity_m_s: FloatArray
    forearm: FloatArray
    skin: FloatArray

    @property
    def phase(self) -> FloatArray:
        """Phase 0..1 of each sample in the window."""
        return (self.time_s - self.time_s[0]) / (self.time_s[-1] - self.time_s[0])

    def at_phase(self, phase: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray]:
        """Return position, forearm and skin (P, 3) at phases 0..1 of the window."""
        position, forearm, skin = _at(phase, self.position_m, self.forearm, self.skin)
        return position, forearm, skin


def cycle_paths(motion: WristMotion) -> list[CyclePath]:
    """Return the path of every cycle between two reaches; cycles with a gap are left out.

    Their heights are those against each other. One cycle's path is known less well than what the
    length's cycles have in common: of its departure from their median it keeps the share that is
    not error on average (shrinkage; James & Stein 1961).
    """
    paths = []
    edges = np.searchsorted(motion.time_s, motion.reaches_s)
    for a, b in pairwise(edges):
        whole = 0.5 < (motion.time_s[b] - motion.time_s[a]) / motion.period.period_s < 1.7
        if whole and motion.valid[a : b + 1].all():
            paths.append(_integrate(motion, int(a), int(b)))
    return _steadied(_levelled(paths, motion)) if len(paths) >= _LEAST_FOR_SPREAD else paths


def _levelled(paths: list[CyclePath], motion: WristMotion) -> list[CyclePath]:
    """Return the paths at their heights against each other, as far as those are not error."""
    up_m = _risen(motion, paths[0].time_s[0], paths[-1].time_s[-1])
    mean_m = np.array([np.interp(p.time_s, motion.time_s, up_m).mean() for p in paths])
    apart_m = mean_m - np.median(mean_m)
    apart_m *= max(1.0 - _OF_ONE_HEIGHT_M**2 / max(float((apart_m**2).mean()), 1e-9), 0.0)
    apart_m[[0, -1]] *= 0.5
    lifts = apart_m[:, None] * np.array([0.0, 0.0, 1.0])
    return [replace(p, position_m=p.position_m + own) for p, own in zip(paths, lifts, strict=True)]


def _risen(motion: WristMotion, first_s: float, last_s: float) -> FloatArray:
    """Return a wrist's height (N,) without its slow part, 0 where it is not known."""
    up_m = np.zeros(len(motion.time_s))
    swum = (motion.time_s >= first_s) & (motion.time_s <= last_s)
    for rows in valid_pieces(motion.valid & swum):
        time_s = motion.time_s[rows]
        long_s = time_s[-1] - time_s[0]
        if long_s > _LEAST_LONG_S:
            rise = added_up(added_up(motion.accel_m_s2[rows, 2:], time_s), time_s)[:, 0]
            slow = _slow_curves(len(time_s), int(2.0 * _SLOW_HZ * long_s))
            up_m[rows] = rise - slow @ np.linalg.solve(slow.T @ slow, slow.T @ rise)
    return up_m


def _slow_curves(count: int, waves: int) -> FloatArray:
    """Return curves (count, 4 + waves): a drift of the third degree and so many half waves."""
    place = np.linspace(-1.0, 1.0, count)
    half_waves = np.cos(0.5 * np.pi * np.outer(place + 1.0, np.arange(1, waves + 1)))
    return np.concatenate([legvander(place, 3), half_waves], axis=1)


def _steadied(paths: list[CyclePath]) -> list[CyclePath]:
    """Return the paths drawn towards their median, each axis by its own share."""
    phases = np.linspace(0.0, 1.0, _MEDIAN_POINTS)
    cycles = [_at(phases, p.position_m, p.velocity_m_s) for p in paths]
    position, velocity = (np.array(own) for own in zip(*cycles, strict=True))
    middle, middle_m_s = np.median(position, axis=0), np.median(velocity, axis=0)
    variance = ((position - middle) ** 2).mean(axis=(0, 1))
    kept = (1.0 - _OF_ONE_CYCLE_M**2 / np.maximum(variance, 1e-9)).clip(_LEAST_KEPT, 1.0)
    drawn = []
    for p in paths:
        usual_m, usual_m_s = _at(p.phase, middle, middle_m_s)
        drawn.append(
            replace(
                p,
                position_m=kept * p.position_m + (1.0 - kept) * usual_m,
                velocity_m_s=kept * p.velocity_m_s + (1.0 - kept) * usual_m_s,
            )
        )
    return drawn


def _at(phase: FloatArray, *values: FloatArray) -> tuple[FloatArray, ...]:
    """Return each of the values (N, C) that span a cycle evenly at phases 0..1 of it."""
    last = len(values[0]) - 1
    place = np.clip(phase, 0.0, 1.0) * last
    first = np.minimum(place.astype(int), last - 1)
    share = (place - first)[:, None]
    return tuple(own[first] * (1.0 - share) + own[first + 1] * share for own in values)


def _integrate(motion: WristMotion, a: int, b: int) -> CyclePath:
    rows = slice(a, b + 1)
    velocity, position = closed_path(motion.time_s[rows], motion.accel_m_s2[rows])
    return CyclePath(
        time_s=motion.time_s[rows],
        position_m=position,
        velocity_m_s=velocity,
        forearm=motion.forearm[rows],
        skin=motion.skin[rows],
    )
