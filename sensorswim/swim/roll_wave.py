"""What the trunk's or the shanks' roll says of the shoulders' roll over an arm cycle.

A wrist alone hardly tells how far its shoulder rises and sinks with the roll, nor whether the
swimmer lies lopsided; every degree of that moves the water line on the wrist's path.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np

from sensorswim.model import Side
from sensorswim.model.streams import FloatArray
from sensorswim.swim.cycle_path import CyclePath
from sensorswim.swim.roll import SOURCES, RollResult

_LEAST_RAD: Final = 0.05
_LEAST_KNOWN: Final = 0.9
_PRONE_DEG: Final = 90.0
"""A length's roll tells nothing where it is smaller, known for less, or that of no prone body."""


@dataclass(frozen=True, kw_only=True)
class _Reading:
    """How the shoulders' roll follows from a source's.

    Parameters
    ----------
    usual_rad : float or None
        Size of the wave to expect, None where the source's own is the shoulders'.
    late_rad : float
        So far the source lags behind the shoulders.
    lean : float
        Shoulders' mean roll as a multiple of the source's.
    spread_rad : tuple of float
        Standard deviations of the wave (either part) and of the lean.
    """

    usual_rad: float | None
    late_rad: float
    lean: float
    spread_rad: tuple[float, float]


_READINGS: Final = {
    "upper_back": _Reading(usual_rad=None, late_rad=0.0, lean=1.0, spread_rad=(0.05, 0.05)),
    "lower_back": _Reading(usual_rad=0.8, late_rad=0.15, lean=1.4, spread_rad=(0.2, 0.05)),
    "ankles": _Reading(usual_rad=0.8, late_rad=0.25, lean=1.8, spread_rad=(0.2, 0.05)),
}
"""Hips roll less than the shoulders (Psycharakis & Sanders 2010, J Sports Sci 28:229-236), and how
much less differs from swimmer to swimmer: below the upper back the size is taken as usual, and the
source tells when in the cycle and how lopsided. Lags and multiples were picked on the synthetic
swimmer."""


@dataclass(frozen=True, kw_only=True)
class RollWave:
    """The shoulders' roll over a cycle, reach to reach, the arm's own side up, in rad.

    Parameters
    ----------
    cosine, sine : float
        Of the phase.
    lean : float
        Mean roll, left side up.
    wave_sd, lean_sd : float
        Their standard deviations.
    """

    cosine: float
    sine: float
    lean: float
    wave_sd: float
    lean_sd: float


def shoulders_wave(
    roll: RollResult, time_s: FloatArray, paths: dict[tuple[int, Side], list[CyclePath]]
) -> RollWave | None:
    """Return the shoulders' roll over a cycle in the session's median length, None if unknown.

    Parameters
    ----------
    roll : RollResult
    time_s : (N,)
        Times of the roll's signals.
    paths : dict
        By (length_no, side).
    """
    for source in SOURCES:
        signal = roll.signals_deg.get(source)
        if signal is None:
            continue
        waves = [_wave(signal, time_s, own, key[1]) for key, own in paths.items()]
        known = np.array([w for w in waves if w is not None and np.hypot(w[0], w[1]) > _LEAST_RAD])
        if len(known):
            return _of_shoulders(np.median(known, axis=0), _READINGS[source])
    return None


def _of_shoulders(wave: FloatArray, reading: _Reading) -> RollWave:
    size, phase = np.hypot(wave[0], wave[1]), np.arctan2(wave[1], wave[0]) - reading.late_rad
    size = size if reading.usual_rad is None else reading.usual_rad
    return RollWave(
        cosine=float(size * np.cos(phase)),
        sine=float(size * np.sin(phase)),
        lean=float(reading.lean * wave[2]),
        wave_sd=reading.spread_rad[0],
        lean_sd=reading.spread_rad[1],
    )


def _wave(
    roll_deg: FloatArray, time_s: FloatArray, paths: list[CyclePath], side: Side
) -> FloatArray | None:
    """Return cosine, sine and lean (3,) of a length, None where its roll isn't known."""
    at_s = np.concatenate([path.time_s for path in paths])
    angle = 2.0 * np.pi * np.concatenate([path.phase for path in paths])
    own = roll_deg[np.searchsorted(time_s, at_s).clip(0, len(time_s) - 1)]
    known = np.abs(own) < _PRONE_DEG
    if known.mean() < _LEAST_KNOWN:
        return None
    parts = np.stack([np.cos(angle), np.sin(angle), np.full(len(angle), float(side.sign))], axis=1)
    own_up = side.sign * np.radians(own[known])
    return np.asarray(np.linalg.lstsq(parts[known], own_up, rcond=None)[0])
