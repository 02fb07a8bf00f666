"""Sensor model: what a strapped inertial sensor with its own clock writes down."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd
from scipy.interpolate import CubicSpline
from scipy.signal import iirpeak, lfilter
from scipy.spatial.transform import Rotation

from .body import Motion, sensor_pose
from .curves import RATE_HZ, Array, ramp, smooth
from .rotations import angular_rate, apply

G = 9.80665
KNOCK_GAP_S = 0.5
RATES_HZ = (50.0, 100.0, 100.0, 104.0, 104.0, 128.0, 200.0)


@dataclass(frozen=True)
class Clock:
    """sensor time = (true time - start_s) * (1 + drift); `start_s` is the first sample."""

    start_s: float
    drift: float

    def read(self, true_s: Array) -> Array:
        """Sensor time (s) of true times (s)."""
        return np.asarray((true_s - self.start_s) * (1.0 + self.drift))


@dataclass(frozen=True)
class Handling:
    """The sensors held together as a bundle: at which end of the session, and when (s)."""

    knocks_s: tuple[float, ...]
    strength_m_s2: float
    free_s: float
    strapped_s: float


def _bundle(time_s: Array, rng: np.random.Generator) -> tuple[Array, Array]:
    """Place from the hips and shake (as rotations) of the bundle, the same for all sensors."""
    knots_s = np.arange(time_s[0] - 0.4, time_s[-1] + 0.8, 0.4)
    drift = CubicSpline(knots_s, rng.normal(0.0, 0.6, (knots_s.size, 6)))(time_s)
    place = np.array([0.25, 0.0, 0.2]) + 0.02 * drift[:, :3]
    return place, Rotation.from_rotvec(0.12 * drift[:, 3:]).as_matrix()


def _knock_shape(time_s: Array, handling: Handling) -> Array:
    """Jolt along z (m/s2): a hit of 20 ms and its rebound."""
    jolt = np.zeros(time_s.size)
    for knock_s in handling.knocks_s:
        u = (time_s - knock_s) / 0.02
        jolt += np.where((u > 0) & (u < 1), np.sin(np.pi * np.clip(u, 0, 1)) ** 2, 0.0)
        rebound = np.sin(0.5 * np.pi * np.clip(u - 1, 0, 2)) ** 2
        jolt -= 0.5 * np.where((u > 1) & (u < 3), rebound, 0.0)
    return handling.strength_m_s2 * jolt


def _in_hand(
    motion: Motion, pose: tuple[Array, Array], handling: Handling, shared_seed: int,
    rng: np.random.Generator,
) -> tuple[Array, Array]:  # fmt: skip
    """Blend the pose on the body with that in the bundle."""
    time_s = motion.time_s
    start = handling.strapped_s > handling.free_s
    span = abs(handling.strapped_s - handling.free_s)
    when = min(handling.free_s, handling.strapped_s) + rng.uniform(0.0, 0.6) * span
    rise = ramp(time_s, when, when + 0.4 * span)
    weight = 1.0 - rise if start else rise
    window = np.flatnonzero(weight > 0.0)
    axes, place = pose[0].copy(), pose[1].copy()
    where, shake = _bundle(time_s[window], np.random.default_rng(shared_seed))
    where += motion.points["hip"][window]
    reference = axes[np.searchsorted(time_s, handling.strapped_s)]
    turn = Rotation.from_rotvec(rng.uniform(0.3, 1.7) * _direction(rng)).as_matrix()
    held = shake @ (reference @ turn)
    apart = Rotation.from_matrix(np.swapaxes(axes[window], 1, 2) @ held).as_rotvec()
    axes[window] = axes[window] @ Rotation.from_rotvec(weight[window, None] * apart).as_matrix()
    place[window] += weight[window, None] * (where - place[window])
    return axes, place


def _direction(rng: np.random.Generator) -> Array:
    vector = rng.normal(size=3)
    return np.asarray(vector / np.linalg.norm(vector))


def _water_and_skin(
    motion: Motion, placement: str, force: Array, rate: Array, rng: np.random.Generator
) -> tuple[Array, Array]:
    """Add soft-tissue wobble, the wash of the water and the splash of the hand's entry."""
    time_s = motion.time_s
    numerator, denominator = iirpeak(rng.uniform(7.0, 14.0), rng.uniform(1.2, 2.5), fs=RATE_HZ)
    ringing = lfilter(numerator, denominator, force - force.mean(axis=0), axis=0)
    force = force + rng.uniform(0.03, 0.14) * ringing
    rate = rate + np.radians(rng.uniform(0.3, 1.5)) * np.roll(ringing, 1, axis=1)
    under = sensor_pose(motion, placement)[1][:, 2] <= 0.0
    wet = smooth(under.astype(float), 0.02)[:, None]
    wash = smooth(rng.normal(0.0, 1.0, (time_s.size, 6)), 0.012) * 6.5
    force = force + rng.uniform(0.15, 0.4) * wet * wash[:, :3]
    rate = rate + np.radians(rng.uniform(2.0, 5.0)) * wet * wash[:, 3:]
    if placement.endswith("wrist"):
        for first in np.flatnonzero(under[1:] & ~under[:-1]) + 1:
            late = time_s[first : first + 200] - time_s[first]
            burst = np.sin(2 * np.pi * rng.uniform(14.0, 24.0) * late)
            burst *= (1.0 - np.exp(-late / 0.008)) * np.exp(-late / rng.uniform(0.02, 0.04))
            force[first : first + 200] += rng.uniform(5.0, 18.0) * burst[:, None] * _direction(rng)
            swirl = np.radians(rng.uniform(30.0, 110.0)) * burst[:, None]
            rate[first : first + 200] += swirl * _direction(rng)
    return force, rate


def draw_clock(rng: np.random.Generator, near_zero: bool) -> Clock:
    """Clock of one sensor; its log begins at most 4 s into the session."""
    return Clock(rng.uniform(0.0, 0.04 if near_zero else 4.0), rng.uniform(-40e-6, 40e-6))


def record(
    motion: Motion, placement: str, clock: Clock, rate_hz: float, handlings: list[Handling],
    shared_seed: int, rng: np.random.Generator,
) -> pd.DataFrame:  # fmt: skip
    """One log: time_s, accel (m/s2) and gyro (deg/s) as the sensor gives them."""
    pose = sensor_pose(motion, placement)
    jolt = np.zeros(motion.time_s.size)
    for index, handling in enumerate(handlings):
        pose = _in_hand(motion, pose, handling, shared_seed + index, rng)
        jolt += _knock_shape(motion.time_s, handling)
    strap = Rotation.from_rotvec(np.radians(rng.uniform(0.0, 25.0)) * _direction(rng)).as_matrix()
    axes, place = pose[0] @ strap, pose[1]
    motion_m_s2 = np.gradient(np.gradient(place, axis=0), axis=0) * RATE_HZ**2
    motion_m_s2[:, 2] += G + jolt
    force = apply(np.swapaxes(axes, 1, 2), motion_m_s2)
    rate = angular_rate(axes)
    force, rate = _water_and_skin(motion, placement, force, rate, rng)
    signals = smooth(np.hstack([force, np.degrees(rate)]), 0.3 / rate_hz)
    step = 1.0 / (rate_hz * (1.0 + rng.normal(0.0, 0.001)))
    true_s = np.arange(clock.start_s, motion.time_s[-1] - rng.uniform(0.1, 1.0), step)
    jitter = rng.normal(0.0, rng.uniform(0.02, 0.1), true_s.size - 1)
    true_s[1:] += np.clip(jitter, -0.4, 0.4) * step
    read = np.stack([np.interp(true_s, motion.time_s, s) for s in signals.T], axis=1)
    level = np.repeat([rng.uniform(0.015, 0.06), rng.uniform(0.04, 0.2)], 3)
    bias = np.concatenate([rng.normal(0.0, 0.08, 3), rng.normal(0.0, 0.6, 3)])
    read = read * (1.0 + rng.normal(0.0, 0.006, 6)) + bias
    read += rng.normal(0.0, 1.0, read.shape) * level
    full = np.repeat([16.0 * G, 2000.0], 3)
    read = np.clip(np.round(read / full * 32768.0), -32768, 32767) / 32768.0 * full
    columns = [f"accel_{a}_m_s2" for a in "xyz"] + [f"gyro_{a}_deg_s" for a in "xyz"]
    log = pd.DataFrame(read, columns=columns)
    log.insert(0, "time_s", np.round(clock.read(true_s), 5))
    if rng.random() < 0.25:
        gap_s = rng.uniform(0.15, 0.85) * true_s[-1]
        lost = (true_s > gap_s) & (true_s < gap_s + rng.choice([0.08, 0.4, 1.5, 4.0]))
        log = log[~lost].reset_index(drop=True)
    return log
