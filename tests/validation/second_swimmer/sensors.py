"""Sensors: what ideal ones would read, what real ones add, and the files they write."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pandas as pd
from scipy.interpolate import make_interp_spline
from scipy.signal import lfilter
from scipy.spatial.transform import Rotation

from .body import Segment, Skeleton
from .maths import (
    GRAVITY_M_S2,
    RATE_HZ,
    Array,
    acceleration,
    ease,
    smooth_noise,
    turn_x,
    turn_y,
    turning_rate,
)
from .outing import Outing

COLUMNS = (
    "accel_x_m_s2",
    "accel_y_m_s2",
    "accel_z_m_s2",
    "gyro_x_deg_s",
    "gyro_y_deg_s",
    "gyro_z_deg_s",
)


@dataclass(frozen=True)
class Impact:
    """A knock: a push in m/s^2 along a direction of the sensor or the pool, ringing out."""

    time: float
    push: tuple[float, float, float]
    ringing_hz: float
    decay_s: float
    in_pool: bool


@dataclass(frozen=True)
class Clock:
    """One sensor's clock: the time it shows is (true time) x rate + offset, in s."""

    rate: float
    offset: float

    def shows(self, true_time: Array | float) -> Array | float:
        return np.multiply(true_time, self.rate) + self.offset


@dataclass(frozen=True)
class Unit:
    """One sensor as drawn: how it is strapped on and how well it measures."""

    placement: str
    clock: Clock
    rate_hz: float
    starts: float
    tilt: Array
    noise: tuple[float, float]
    bias: tuple[Array, Array]
    scale: tuple[Array, Array]
    accel_range_g: float
    gyro_range_deg_s: float
    jitter_s: float
    gaps: int
    parquet: bool

    @property
    def file(self) -> str:
        return f"{self.placement}.{'parquet' if self.parquet else 'csv'}"


def draw_units(rng: np.random.Generator, placements: tuple[str, ...]) -> list[Unit]:
    """Return the sensors of a session; at times one of them is strapped the wrong way up."""
    rate = float(rng.choice([50.0, 100.0, 104.0, 200.0], p=[0.12, 0.38, 0.38, 0.12]))
    turned = str(rng.choice(placements)) if rng.random() < 0.12 else ""
    parquet = bool(rng.random() < 0.3)
    wide = bool(rng.random() < 0.7)
    units = []
    for placement in placements:
        axis = rng.standard_normal(3)
        angle = np.radians(min(abs(rng.normal(0.0, 11.0)), 25.0))
        tilt = Rotation.from_rotvec(angle * axis / np.linalg.norm(axis))
        if placement == turned:
            tilt = Rotation.from_euler("z", 180.0, degrees=True) * tilt
        units.append(
            Unit(
                placement=placement,
                clock=Clock(1.0 + rng.normal(0.0, 18e-6), float(rng.uniform(4.0, 10.0))),
                rate_hz=rate,
                starts=float(rng.uniform(0.0, 1.5)),
                tilt=tilt.as_matrix(),
                noise=(float(rng.uniform(0.01, 0.04)), float(rng.uniform(0.05, 0.15))),
                bias=(rng.normal(0.0, 0.12, 3), rng.normal(0.0, 0.7, 3)),
                scale=(rng.normal(1.0, 0.004, 3), rng.normal(1.0, 0.005, 3)),
                accel_range_g=16.0,
                gyro_range_deg_s=2000.0 if wide or "ankle" not in placement else 1000.0,
                jitter_s=float(rng.uniform(0.0, 4e-4)),
                gaps=int(rng.integers(0, 3)),
                parquet=parquet,
            )
        )
    return units


@dataclass(frozen=True)
class Ideal:
    """What a perfect sensor reads at the simulation rate: m/s^2 and rad/s, each (n, 3)."""

    axes: Array
    force: Array
    rate: Array


def ideal(segment: Segment) -> Ideal:
    """Differentiate a sensor's path twice and its orientation once; add gravity."""
    felt = acceleration(segment.place) + np.array([0.0, 0.0, GRAVITY_M_S2])
    force = np.einsum("nij,ni->nj", segment.axes, felt)
    return Ideal(segment.axes, force, turning_rate(segment.axes))


def strapped(skeleton: Skeleton, unit: Unit, outing: Outing, bundle: Bundle) -> Segment:
    """Return a sensor's path: on the bench or in the hand first and last, else on the limb."""
    limb = skeleton.sensor(unit.placement)
    axes = _wobbling(limb) @ unit.tilt
    t = np.arange(limb.place.shape[0]) / RATE_HZ
    late = bundle.spread[unit.placement]
    worn = ease(t, outing.worn_from + late - 1.4, outing.worn_from + late)
    worn = worn * (1.0 - ease(t, outing.worn_to + late, outing.worn_to + late + 1.4))
    place, held = limb.place.copy(), axes.copy()
    loose = np.flatnonzero(worn < 1.0)
    own = Rotation.from_matrix(bundle.axes[loose] @ bundle.turned[unit.placement])
    to_limb = _turns(own.inv() * Rotation.from_matrix(axes[loose]))
    reached = own * Rotation.from_rotvec(to_limb * worn[loose, None])
    held[loose] = reached.as_matrix()
    spot = bundle.place[loose] + bundle.axes[loose] @ bundle.offset[unit.placement]
    place[loose] = spot + worn[loose, None] * (place[loose] - spot)
    return Segment(place, held)


def _turns(turn: Rotation) -> Array:
    """Return rotations as vectors that don't jump to the other way round between samples."""
    quaternion = turn.as_quat()
    flips = np.sum(quaternion[1:] * quaternion[:-1], axis=1) < 0.0
    quaternion[1:] *= np.cumprod(np.where(flips, -1.0, 1.0))[:, None]
    size = np.linalg.norm(quaternion[:, :3], axis=1)
    angle = 2.0 * np.arctan2(size, quaternion[:, 3])
    return np.asarray(quaternion[:, :3] * (angle / np.maximum(size, 1e-12))[:, None])


def _wobbling(limb: Segment) -> Array:
    """Let the skin under the sensor tilt a little, as a damped spring does in shaking."""
    shaken = np.einsum("nij,ni->nj", limb.axes, acceleration(limb.place))
    natural, damping = 2.0 * np.pi * 9.0, 0.35
    step = 1.0 / RATE_HZ
    a = [1.0 + 2.0 * damping * natural * step + (natural * step) ** 2]
    a += [-2.0 - 2.0 * damping * natural * step, 1.0]
    tilt = lfilter([(natural * step) ** 2], a, shaken, axis=0) * np.radians(0.05)
    return limb.axes @ turn_x(tilt[:, 1]) @ turn_y(-tilt[:, 0])


@dataclass(frozen=True)
class Bundle:
    """All sensors in the hand or on the bench: one moving frame and each sensor's place in it."""

    place: Array
    axes: Array
    offset: dict[str, Array]
    turned: dict[str, Array]
    spread: dict[str, float]


def draw_bundle(outing: Outing, placements: tuple[str, ...], rng: np.random.Generator) -> Bundle:
    """Return the sensors held together: still on the bench, moved about in the hand."""
    count = outing.motion["x"].size
    t = np.arange(count) / RATE_HZ
    first, last = (outing.knocks[0], outing.knocks[-1]) if outing.knocks else (4.0, t[-1] - 5.0)
    in_hand = ease(t, first - 2.5, first - 1.0) * (1.0 - ease(t, last + 1.5, last + 3.0))
    shift = np.stack([smooth_noise(rng, count, 1.5) for _ in range(3)], axis=1)
    place = np.array([0.3, 0.2, 0.9]) + 0.06 * in_hand[:, None] * shift
    place[:, 0] += outing.motion["x"]
    turns = np.stack([smooth_noise(rng, count, 2.5) for _ in range(3)], axis=1)
    start = Rotation.random(random_state=int(rng.integers(2**31)))
    axes = start * Rotation.from_rotvec(0.35 * in_hand[:, None] * turns)
    return Bundle(
        place=place,
        axes=axes.as_matrix(),
        offset={name: rng.normal(0.0, 0.03, 3) for name in placements},
        turned={
            name: Rotation.from_rotvec(rng.normal(0.0, 0.5, 3)).as_matrix() for name in placements
        },
        spread={name: float(rng.uniform(-4.0, 0.0)) for name in placements},
    )


def read(
    unit: Unit, perfect: Ideal, impacts: list[Impact], rng: np.random.Generator
) -> pd.DataFrame:
    """Return the log a real sensor writes: its own clock, noise, errors, gaps, odd rows."""
    seconds = (perfect.force.shape[0] - 8) / RATE_HZ
    count = int((seconds - unit.starts) * unit.rate_hz)
    at = unit.starts + np.arange(count) / unit.rate_hz
    at = np.clip(at + rng.normal(0.0, unit.jitter_s, count), 0.003, seconds)
    both = np.concatenate([perfect.force, np.degrees(perfect.rate)], axis=1)
    both = make_interp_spline(np.arange(both.shape[0]) / RATE_HZ, both, k=1)(at)
    for impact in impacts:
        _ring(both, at, impact, perfect.axes)
    values = []
    for k, limit in enumerate((unit.accel_range_g * GRAVITY_M_S2, unit.gyro_range_deg_s)):
        part = both[:, 3 * k : 3 * k + 3] * unit.scale[k] + unit.bias[k]
        part = part + rng.normal(0.0, unit.noise[k], part.shape) * np.sqrt(unit.rate_hz / 100.0)
        values.append(np.clip(part, -limit, limit))
    log = pd.DataFrame(np.concatenate(values, axis=1), columns=list(COLUMNS))
    log.insert(0, "time_s", unit.clock.shows(at))
    return _spoiled(log, unit, rng)


def _ring(both: Array, at: Array, impact: Impact, axes: Array) -> None:
    near = np.flatnonzero((at > impact.time) & (at < impact.time + 8.0 * impact.decay_s))
    since = at[near] - impact.time
    wave = np.exp(-since / impact.decay_s) * np.sin(2.0 * np.pi * impact.ringing_hz * since)
    push = np.array(impact.push)
    if impact.in_pool:
        push = push @ axes[int(impact.time * RATE_HZ)]
    both[near, :3] += wave[:, None] * push
    both[near, 3:] += 1.5 * wave[:, None] * np.roll(push, 1)


def _spoiled(log: pd.DataFrame, unit: Unit, rng: np.random.Generator) -> pd.DataFrame:
    """Cut short gaps and now and then repeat a row or lose a value."""
    keep = np.ones(len(log), dtype=bool)
    for _ in range(unit.gaps):
        begin = int(rng.integers(len(log) // 10, len(log)))
        keep[begin : begin + int(rng.uniform(0.05, 0.8) * unit.rate_hz)] = False
    log = log[keep]
    if rng.random() < 0.3:
        for row in rng.integers(0, len(log), 3):
            log = pd.concat([log.iloc[: row + 1], log.iloc[row:]])
    if rng.random() < 0.3:
        log = log.reset_index(drop=True)
        log.loc[rng.integers(0, len(log), 3), "gyro_y_deg_s"] = np.nan
    return log.reset_index(drop=True)


def write_log(log: pd.DataFrame, path: Path) -> None:
    """Write one log as CSV or Parquet, by the file's name."""
    if path.suffix == ".parquet":
        log.to_parquet(path, index=False)
    else:
        rounded = log.round(dict.fromkeys(COLUMNS, 4) | {"time_s": 5})
        rounded.to_csv(path, index=False, lineterminator="\n")
