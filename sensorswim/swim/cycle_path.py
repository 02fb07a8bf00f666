"""The path of a wrist over each cycle of a length, drawn towards what the cycles have in common."""

from __future__ import annotations

from dataclasses import dataclass, replace
from itertools import pairwise
from typing import Final

import numpy as np

from sensorswim.model.streams import FloatArray
from sensorswim.swim.arms import WristMotion, closed_path

_LEAST_FOR_SPREAD: Final = 4
_MEDIAN_POINTS: Final = 41
_OF_ONE_CYCLE_M: Final = np.array([0.017, 0.030, 0.022])
_LEAST_KEPT: Final = 0.25
"""Error of one cycle's closed path forward, sideways and up that is not alike in all cycles, and
the least that is kept of a cycle's own departure. Picked on the synthetic swimmer."""


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

    One cycle's path is known less well than what the length's cycles have in common: of its
    departure from their median it keeps the share that is not error on average (shrinkage;
    James & Stein 1961).
    """
    paths = []
    edges = np.searchsorted(motion.time_s, motion.reaches_s)
    for a, b in pairwise(edges):
        whole = 0.5 < (motion.time_s[b] - motion.time_s[a]) / motion.period.period_s < 1.7
        if whole and motion.valid[a : b + 1].all():
            paths.append(_integrate(motion, int(a), int(b)))
    return _steadied(paths) if len(paths) >= _LEAST_FOR_SPREAD else paths


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
