"""How the arms repeat, on the coarse grid of the search for lengths."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.ndimage import uniform_filter1d
from scipy.spatial.transform import Rotation

from sensorswim.model import Placement, Recording, Track
from sensorswim.model.streams import BoolArray, FloatArray
from sensorswim.swim.periodicity import Period, sliding_periods

WRISTS = (Placement.LEFT_WRIST, Placement.RIGHT_WRIST)
BLUR_S = 4.0
"""Half of the window in which a wrist's rhythm is looked for."""


def rotations_of(track: Track, rows: slice) -> FloatArray:
    """Return the flattened rotation matrices (K, 9) of some rows of an oriented track."""
    assert track.q_world_from_sensor is not None
    q = track.q_world_from_sensor[rows]
    return Rotation.from_quat(q, scalar_first=True).as_matrix().reshape(-1, 9)


@dataclass(frozen=True, kw_only=True)
class ArmRhythm:
    """How the better wrist repeats, on the coarse grid.

    Parameters
    ----------
    period_s, strength, swing : (M,)
        See `Period`.
    turning_rad_s : (M,)
        Root mean square of the turning of the wrist that turns more.
    reaches_out : (M,) bool
        Whether a forearm is more level than upright on average, as no walker's is.
    """

    period_s: FloatArray
    strength: FloatArray
    swing: FloatArray
    turning_rad_s: FloatArray
    reaches_out: BoolArray

    @classmethod
    def of(
        cls,
        recording: Recording,
        flat: dict[Placement, FloatArray],
        size: int,
        rate_hz: float,
        step: int,
        level_limit: float,
    ) -> ArmRhythm:
        """Return that of a recording."""
        period_s, strength, swing = _wrist_repetition(flat, size, rate_hz)
        return cls(
            period_s=period_s,
            strength=strength,
            swing=swing,
            turning_rad_s=_turning_rad_s(recording, rate_hz, step),
            reaches_out=_reaches_out(flat, level_limit, rate_hz),
        )


def _wrist_repetition(
    flat: dict[Placement, FloatArray], size: int, rate_hz: float
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Return cycle time, strength and swing (M,) of the better wrist."""
    best: list[Period] = []
    at_s = np.empty(0)
    for placement in WRISTS:
        if placement in flat:
            at_s, found = sliding_periods(
                flat[placement], rate_hz, window_s=2.0 * BLUR_S, hop_s=0.5
            )
            pairs = zip(best, found, strict=True) if best else ((p, p) for p in found)
            best = [a if a.strength * a.swing >= b.strength * b.swing else b for a, b in pairs]
    if not best:
        return np.full(size, np.nan), np.zeros(size), np.zeros(size)
    grid = np.arange(size) / rate_hz
    nearest = np.clip(np.searchsorted(at_s, grid - 0.25), 0, len(at_s) - 1)
    values = np.array([(p.period_s, p.strength, p.swing) for p in best])
    return values[nearest, 0], values[nearest, 1], values[nearest, 2]


def _turning_rad_s(recording: Recording, rate_hz: float, step: int) -> FloatArray:
    """Return the root mean square (M,) of the turning of the wrist that turns more.

    Idle hands may swing as steadily as those that swim, but not as fast.
    """
    turn = [
        uniform_filter1d(np.sum(t.gyro_rad_s[::step] ** 2, axis=1), int(BLUR_S * rate_hz))
        for p, t in recording.tracks.items()
        if p in WRISTS
    ]
    size = len(recording.time_s[::step])
    return np.sqrt(np.maximum(np.max(turn, axis=0), 0.0)) if turn else np.zeros(size)


def _reaches_out(flat: dict[Placement, FloatArray], limit: float, rate_hz: float) -> BoolArray:
    """Tell where (M,) a forearm is more level than upright on average, as no walker's is."""
    size = int(BLUR_S * rate_hz)
    slopes = [np.abs(uniform_filter1d(flat[p][:, 6], size)) for p in WRISTS if p in flat]
    return (
        np.min(slopes, axis=0) < limit if slopes else np.zeros(len(next(iter(flat.values()))), bool)
    )
