"""Which way limbs point while the swimmer swims, and by how much he turned round in between.

Legs and trunk lie along the body. An arm goes round, but its orientation comes back once a cycle:
the mean over several cycles turns about the vertical as the swimmer does.
"""

from __future__ import annotations

from typing import Final

import numpy as np

from sensorswim.model import Placement, Recording
from sensorswim.model.streams import FloatArray
from sensorswim.swim.arm_rhythm import WRISTS, rotations_of
from sensorswim.swim.wall_signals import long_axis

TRUNK_AND_LEGS: Final = (
    Placement.LOWER_BACK, Placement.UPPER_BACK, Placement.LEFT_ANKLE, Placement.RIGHT_ANKLE,
)  # fmt: skip
_HAS_HEADING: Final = 0.2
"""Least part of two mean orientations, of 2, that tells the heading between them: 0.6 and more in
crawl, below 0.1 where a straight arm goes round evenly (no source)."""
_SAME_WAY: Final = 0.5
"""Cosine of the largest turn of who still swims the same way."""
_AS_HARD: Final = 1.4
"""By how much the root mean square of an arm's turning may change while it swims on: 1.31 at most
in synthetic swimmers who stop on the way, 1.5 and more from idling or treading water to swimming.
"""
_CYCLES_S: Final = 10.0
"""Over how much of a stretch an arm's mean is taken: several cycles (our choice)."""


def turned_deg(
    before: list[FloatArray], after: list[FloatArray], weights: list[FloatArray]
) -> FloatArray:
    """Return by how many degrees (K,) the mean orientations of arms turned about the vertical.

    NaN where an arm goes round so evenly that its mean has no heading.

    Parameters
    ----------
    before, after : list of (K, 9)
        Means of flattened rotation matrices, one of each arm.
    weights : list of (K,)
        What each arm counts.
    """
    turned = np.zeros((len(weights[0]), 3, 3))
    for first, second, weight in zip(before, after, weights, strict=True):
        turn = np.einsum("nij,nkj->nik", second.reshape(-1, 3, 3), first.reshape(-1, 3, 3))
        turned += turn * weight[:, None, None]
    level = (turned[:, 0, 0] + turned[:, 1, 1]) + 1j * (turned[:, 1, 0] - turned[:, 0, 1])
    seen = np.abs(level) > _HAS_HEADING * np.sum(weights, axis=0)
    return np.where(seen, np.degrees(np.angle(level)), np.nan)


def bodies_way(
    recording: Recording, first_s: tuple[float, float], second_s: tuple[float, float]
) -> bool:
    """Tell whether legs and trunk point the same way in two stretches; True where none has data."""
    cosines = []
    for track in (recording.tracks[p] for p in TRUNK_AND_LEGS if p in recording.tracks):
        ways = []
        for part_s in (first_s, second_s):
            rows = slice(*np.searchsorted(recording.time_s, part_s))
            axis = long_axis(track, rows.start, rows.stop)[track.valid[rows]]
            ways.append(axis[:, :2].sum(axis=0))
        if not all(way.any() for way in ways):
            continue
        cosines.append(float(ways[0] @ ways[1]) / max(np.prod(np.linalg.norm(ways, axis=1)), 1e-9))
    return not cosines or float(np.median(cosines)) > _SAME_WAY


def arms_keep_way(
    recording: Recording, first_s: tuple[float, float], second_s: tuple[float, float]
) -> bool:
    """Tell whether the arms clearly swim the same way, as hard, in two stretches one after another.

    A sensor that lost data in between has lost its heading as well, and one whose mean has none
    doesn't tell: where no wrist does, the answer is no.
    """
    before, after = [], []
    stretches_s = [
        (max(first_s[0], first_s[1] - _CYCLES_S), first_s[1]),
        (second_s[0], min(second_s[1], second_s[0] + _CYCLES_S)),
    ]
    parts = [slice(*np.searchsorted(recording.time_s, part_s)) for part_s in stretches_s]
    if any(part.stop <= part.start for part in parts):
        return False
    for track in (recording.tracks[p] for p in WRISTS if p in recording.tracks):
        if track.valid[parts[0].start : parts[1].stop].all():
            hard = [np.sqrt(np.mean(track.gyro_rad_s[part] ** 2)) for part in parts]
            if max(hard) > _AS_HARD * min(hard):
                return False
            before.append(rotations_of(track, parts[0]).mean(axis=0)[None])
            after.append(rotations_of(track, parts[1]).mean(axis=0)[None])
    if not before:
        return False
    turn = turned_deg(before, after, [np.ones(1)] * len(before))[0]
    return bool(np.cos(np.radians(turn)) > _SAME_WAY)
