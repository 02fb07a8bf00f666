"""From a pose in the world to a sensor's log: physics, soft tissue, straps, errors, clock."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.ndimage import gaussian_filter1d

from sensorswim.model import ClockFit, Limb, Placement, Samples, Stream
from sensorswim.model.streams import FloatArray
from sensorswim.rehearsal import rotations as rot
from sensorswim.rehearsal.body import Pose, specific_force
from sensorswim.rehearsal.settings import Kit
from sensorswim.rehearsal.timeline import RATE_HZ, smooth, smooth_noise
from sensorswim.units import STANDARD_GRAVITY_M_S2

FIELD_UT = np.array([19.0, 3.0, -44.0])
"""An invented mid-latitude magnetic field in the world frame."""


@dataclass(frozen=True, kw_only=True)
class Pulse:
    """A short knock: moment, length and size (3,) in the sensor's frame."""

    time_s: float
    width_s: float
    size_m_s2: FloatArray


@dataclass(frozen=True, kw_only=True)
class Ideal:
    """What a perfect sensor at one place reads on the internal grid."""

    accel_m_s2: FloatArray
    gyro_rad_s: FloatArray


@dataclass(frozen=True, kw_only=True)
class Worn:
    """How one sensor was worn: strap (3, 3) sensor-to-segment, clock, and the log itself."""

    stream: Stream
    strap: FloatArray
    clock: ClockFit


def ideal(pose: Pose, pulses: list[Pulse]) -> Ideal:
    """Return specific force and angular rate of a pose, with its knocks."""
    accel = specific_force(pose)
    half = rot.body_rate(pose.rotation, RATE_HZ)
    rate = np.empty_like(accel)
    rate[1:-1] = 0.5 * (half[1:] + half[:-1])
    rate[0], rate[-1] = half[0], half[-1]
    for pulse in pulses:
        start = int(pulse.time_s * RATE_HZ)
        count = max(3, int(pulse.width_s * RATE_HZ))
        shape = np.sin(np.linspace(0, np.pi, count)) ** 2
        ring = -0.35 * np.sin(np.linspace(0, np.pi, 2 * count)) ** 2
        wave = np.r_[shape, ring][: max(0, len(accel) - start)]
        accel[start : start + len(wave)] += wave[:, None] * pulse.size_m_s2
    return Ideal(accel_m_s2=accel, gyro_rad_s=rate)


def _noise(rng: np.random.Generator, count: int, low_hz: float, high_hz: float) -> FloatArray:
    one = [
        smooth_noise(rng, count, low_hz=low_hz, high_hz=high_hz, rate_hz=RATE_HZ) for _ in range(3)
    ]
    return np.stack(one, axis=1)


def soften(
    signal: Ideal, pose: Pose, placement: Placement, kit: Kit, rng: np.random.Generator
) -> Ideal:
    """Add soft tissue that yields to the load, and the water's disturbance of a moving limb."""
    count = len(signal.accel_m_s2)
    accel, gyro = signal.accel_m_s2.copy(), signal.gyro_rad_s.copy()
    if kit.wobble > 0:
        load = np.linalg.norm(accel, axis=1) - STANDARD_GRAVITY_M_S2
        load = smooth(np.abs(load), 0.06) * kit.wobble
        angle = 0.0012 * load[:, None] * _noise(rng, count, 2.0, 13.0)
        gyro += np.gradient(angle, axis=0) * RATE_HZ
        accel += np.cross(accel, angle) + 0.05 * load[:, None] * _noise(rng, count, 3.0, 15.0)
    if kit.turbulence_m_s2 > 0 and placement.limb in (Limb.WRIST, Limb.ANKLE):
        speed = np.linalg.norm(np.gradient(pose.position_m, axis=0) * RATE_HZ, axis=1)
        wet = smooth((pose.position_m[:, 2] < 0).astype(float), 0.03)
        force = kit.turbulence_m_s2 * wet * np.clip(speed / 1.5, 0, 2) ** 2
        accel += force[:, None] * _noise(rng, count, 1.5, 12.0)
    return Ideal(accel_m_s2=accel, gyro_rad_s=gyro)


def strap_matrix(placement: Placement, kit: Kit, rng: np.random.Generator) -> FloatArray:
    """Return the rotation (3, 3) from the sensor's axes to the segment's."""
    axis = rng.standard_normal(3)
    angle = np.radians(kit.strap_deg) * np.cbrt(rng.random())
    strap = rot.rotation_vector_matrix(axis / np.linalg.norm(axis) * angle)
    if placement in kit.wrong_way_up:
        strap = np.diag([-1.0, -1.0, 1.0]) @ strap
    return strap


def device_times(
    duration_s: float, rate_hz: float, clock: ClockFit, kit: Kit, rng: np.random.Generator
) -> tuple[FloatArray, FloatArray]:
    """Return true and device time (M,) of each sample, with jitter and gaps."""
    margin = 0.05 + 0.3 * rng.random()
    true = np.arange(margin, duration_s - margin, 1.0 / rate_hz)
    keep = np.ones(len(true), dtype=bool)
    for _ in range(kit.gaps):
        start = rng.uniform(0.1, 0.9) * duration_s
        keep &= ~((true > start) & (true < start + rng.uniform(0.2, 2.0)))
    true = true[keep]
    device = (true - clock.offset_s) / (1.0 + clock.drift)
    jitter = np.clip(kit.jitter_s * rng.standard_normal(len(true)), -0.3 / rate_hz, 0.3 / rate_hz)
    return true, device + jitter


def _measure(
    values: FloatArray, grid_s: FloatArray, at_s: FloatArray, rate_hz: float
) -> FloatArray:
    soft = gaussian_filter1d(values, 0.28 * RATE_HZ / rate_hz, axis=0) if rate_hz < 500 else values
    return np.stack([np.interp(at_s, grid_s, soft[:, k]) for k in range(values.shape[1])], axis=1)


def _err(
    values: FloatArray, noise: float, bias: float, kit: Kit, full: float, rng: np.random.Generator
) -> FloatArray:
    scale = 1.0 + kit.scale_error * rng.standard_normal(3)
    raw = values * scale + bias * rng.uniform(-1, 1, 3) + noise * rng.standard_normal(values.shape)
    return np.clip(raw, -full, full)


def wear(
    pose: Pose,
    signal: Ideal,
    grid_s: FloatArray,
    placement: Placement,
    kit: Kit,
    clock: ClockFit,
    rng: np.random.Generator,
) -> Worn:
    """Strap a sensor on, and log."""
    rate = kit.rates_hz.get(placement, kit.rate_hz)
    strap = strap_matrix(placement, kit, rng)
    duration = float(grid_s[-1])
    true, device = device_times(duration, rate, clock, kit, rng)
    root = np.sqrt(0.5 * rate)
    accel = _measure(signal.accel_m_s2, grid_s, true, rate) @ strap
    gyro = _measure(signal.gyro_rad_s, grid_s, true, rate) @ strap
    accel = _err(accel, kit.accel_noise_m_s2 * root, kit.accel_bias_g * STANDARD_GRAVITY_M_S2,
                 kit, kit.accel_range_g * STANDARD_GRAVITY_M_S2, rng)  # fmt: skip
    gyro = _err(gyro, np.radians(kit.gyro_noise_deg_s) * root, np.radians(kit.gyro_bias_deg_s),
                kit, np.radians(kit.gyro_range_deg_s), rng)  # fmt: skip
    stream = Stream(
        placement=placement,
        accel=Samples(time_s=device, values=accel),
        gyro=Samples(time_s=device, values=gyro),
        magn=_magnetic(pose, grid_s, true, device, rate, strap, rng) if kit.magnetometer else None,
        pressure=_depth(pose, grid_s, true, device, rate, rng)
        if kit.pressure and placement.limb is Limb.WRIST
        else None,
        accel_range_m_s2=kit.accel_range_g * STANDARD_GRAVITY_M_S2,
        gyro_range_rad_s=float(np.radians(kit.gyro_range_deg_s)),
    )
    return Worn(stream=stream, strap=strap, clock=clock)


def _magnetic(
    pose: Pose,
    grid_s: FloatArray,
    true_s: FloatArray,
    device_s: FloatArray,
    rate_hz: float,
    strap: FloatArray,
    rng: np.random.Generator,
) -> Samples:
    local = np.einsum("nji,j->ni", pose.rotation, FIELD_UT)
    values = _measure(local, grid_s, true_s, rate_hz) @ strap
    values = values + rng.uniform(-3, 3, 3) + 0.4 * rng.standard_normal(values.shape)
    return Samples(time_s=device_s, values=values)


def _depth(
    pose: Pose,
    grid_s: FloatArray,
    true_s: FloatArray,
    device_s: FloatArray,
    rate_hz: float,
    rng: np.random.Generator,
) -> Samples:
    depth = np.maximum(0.0, -pose.position_m[:, 2:3])
    pressure = 101.3 + 9.79 * depth
    values = _measure(pressure, grid_s, true_s, rate_hz)
    return Samples(time_s=device_s, values=values + 0.02 * rng.standard_normal(values.shape))
