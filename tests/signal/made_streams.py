"""Made-up sensor logs with known clocks, simple on purpose and not the synthetic swimmer.

A body swims, rests and touches the wall; limbs go up and down with phases of their own; all sensors
feel the knocks at once. Everything is a function of true time, read through a sensor's own clock.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path

import numpy as np

from sensorswim.model import Placement, Samples, SensorFile, Session, Stream

G = 9.80665
KNOCKS_S = (12.0, 12.47, 13.0)


@dataclass(frozen=True, kw_only=True)
class Clock:
    """device = origin_s + (1 + drift) * true."""

    origin_s: float = 0.0
    drift: float = 0.0
    rate_hz: float = 100.0
    jitter_s: float = 0.0

    def device(self, true_s):
        return self.origin_s + (1.0 + self.drift) * np.asarray(true_s, dtype=float)


def swims(duration_s: float, seed: int = 0) -> list[tuple[float, float]]:
    """Swims of 20-40 s with rests of 4-30 s, never twice the same."""
    rng, out, at_s = np.random.default_rng(seed), [], 25.0
    while at_s < duration_s - 60.0:
        end_s = at_s + rng.uniform(20.0, 40.0)
        out.append((at_s, end_s))
        at_s = end_s + rng.uniform(4.0, 30.0)
    return out


def _pulse(true_s, at_s, width_s):
    return np.exp(-0.5 * ((true_s - at_s) / width_s) ** 2)


def signals(true_s, place, duration_s, knock_times_s, seed=0):
    """Return accel (N, 3) in m/s^2 and gyro (N, 3) in rad/s at true times."""
    rng = np.random.default_rng([seed, list(Placement).index(place)])
    leg = place.limb == "ankle"
    phase = rng.uniform(0.0, 2.0 * np.pi)
    rate_hz = 2.1 if leg else 0.75
    gyro = 0.03 * rng.normal(size=(len(true_s), 3))
    accel = 0.1 * rng.normal(size=(len(true_s), 3)) + [0.0, 0.0, G]
    for start_s, end_s in swims(duration_s, seed):
        on_s, off_s = start_s + rng.normal(0, 0.1), end_s + rng.normal(0, 0.1)
        level = 1.0 / (1.0 + np.exp(-np.clip((true_s - on_s) / 0.1, -50, 50)))
        level = level / (1.0 + np.exp(np.clip((true_s - off_s) / 0.1, -50, 50)))
        turn = np.sin(2.0 * np.pi * rate_hz * true_s + phase)
        gyro += np.outer(level * turn, [1.0, 3.0, 0.5])
        accel += np.outer(level * (turn + 0.4 * np.sin(9.0 * true_s)), [4.0, 1.0, 3.0])
        accel += np.outer(_pulse(true_s, start_s - 0.6, 0.03), [0.0, 4.0, 8.0])
        accel += np.outer(_pulse(true_s, end_s + 0.6, 0.03), [3.0, 0.0, 6.0])
    for at_s in knock_times_s:
        direction = rng.normal(size=3)
        accel += np.outer(_pulse(true_s, at_s, 0.008), 70.0 * direction / np.linalg.norm(direction))
    return accel, gyro


def stream(place, clock, duration_s, knock_times_s=(), *, seed=0, start_true_s=0.0, cut=()):
    """Return the log of one sensor; `cut` lists (start, end) true times without samples."""
    rng = np.random.default_rng([seed, 77, list(Placement).index(place)])
    count = int((duration_s - start_true_s) * clock.rate_hz)
    true_s = start_true_s + (np.arange(count) + rng.uniform()) / clock.rate_hz
    keep = np.ones(count, dtype=bool)
    for a, b in cut:
        keep &= (true_s < a) | (true_s > b)
    true_s = true_s[keep]
    accel, gyro = signals(true_s, place, duration_s, knock_times_s, seed)
    stamps_s = clock.device(true_s) + clock.jitter_s * rng.uniform(-1, 1, len(true_s))
    return Stream(
        placement=place,
        accel=Samples(time_s=stamps_s, values=accel),
        gyro=Samples(time_s=stamps_s, values=gyro),
    )


def session(*places) -> Session:
    return Session(
        folder=Path(),
        started_at=datetime(2026, 1, 5, 7, 0, tzinfo=UTC),
        swimmer="Invented",
        pool_length_m=25.0,
        sensors=tuple(SensorFile(placement=p, file=Path(f"{p}.csv")) for p in places),
    )


def clock_error_s(fit, clock, reference, true_s):
    """Return the error of a clock fit at true times."""
    return fit.to_session(clock.device(true_s)) - reference.device(true_s)
