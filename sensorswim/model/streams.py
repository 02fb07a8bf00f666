"""Sensor data on its way in: a sensor's own samples, then all sensors on one clock."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
import numpy.typing as npt

from sensorswim.model.placement import Placement

FloatArray = npt.NDArray[np.float64]
BoolArray = npt.NDArray[np.bool_]
IntArray = npt.NDArray[np.int_]


@dataclass(frozen=True, kw_only=True)
class Samples:
    """Timestamped samples of one channel group, on the sensor's own clock.

    Parameters
    ----------
    time_s : (N,) float64
        Strictly increasing device time in seconds, gaps and jitter as logged.
    values : (N, C) float64
        SI values in the sensor's frame; C is 3 for vectors, 1 for scalars. No NaN.
    """

    time_s: FloatArray
    values: FloatArray

    def __len__(self) -> int:
        return len(self.time_s)


@dataclass(frozen=True, kw_only=True)
class Stream:
    """One sensor's log: SI units, sensor frame, own clock.

    The channel groups may have different timestamps (two files a sensor). Rows that were
    damaged (NaN, duplicates, time running backwards) are already left out and counted.

    Parameters
    ----------
    placement : Placement
    accel : Samples
        Specific force in m/s^2, (N, 3).
    gyro : Samples
        Angular rate in rad/s, (N, 3).
    magn : Samples or None
        Magnetic field in microtesla, (N, 3).
    pressure : Samples or None
        Absolute pressure in kPa, (N, 1).
    accel_range_m_s2, gyro_range_rad_s : float or None
        Full scale per axis, for saturation checks; None where it isn't known.
    """

    placement: Placement
    accel: Samples
    gyro: Samples
    magn: Samples | None = None
    pressure: Samples | None = None
    accel_range_m_s2: float | None = None
    gyro_range_rad_s: float | None = None


@dataclass(frozen=True, kw_only=True)
class ClockFit:
    """How one sensor's clock maps to session time: session = offset_s + (1 + drift) * device.

    Parameters
    ----------
    method : str
        ``reference`` (the first sensor), ``knocks``, ``movement`` or ``as_logged``.
    residual_s : float
        Typical remaining error, NaN where it can't be told.
    """

    offset_s: float = 0.0
    drift: float = 0.0
    method: str = "as_logged"
    residual_s: float = float("nan")

    def to_session(self, device_time_s: FloatArray) -> FloatArray:
        """Map device time (N,) to session time (N,)."""
        return self.offset_s + (1.0 + self.drift) * device_time_s


@dataclass(frozen=True, kw_only=True)
class Track:
    """One sensor on the recording's regular grid (see `Recording.time_s`), sensor frame.

    Parameters
    ----------
    accel_m_s2, gyro_rad_s : (N, 3)
        Finite everywhere; inside gaps the values are bridged only so that filters can run.
    valid : (N,) bool
        False inside gaps and outside the sensor's log: no event may rest on such samples.
    source_rate_hz : float
        The rate at which the sensor logged.
    magn_ut : (N, 3) or None
    pressure_kpa : (N,) or None
    q_world_from_sensor : (N, 4) or None
        Orientation, scalar first, in an east-north-up-like frame of free heading; filled by
        the orientation step.
    """

    placement: Placement
    accel_m_s2: FloatArray
    gyro_rad_s: FloatArray
    valid: BoolArray
    source_rate_hz: float
    magn_ut: FloatArray | None = None
    pressure_kpa: FloatArray | None = None
    q_world_from_sensor: FloatArray | None = None


@dataclass(frozen=True, kw_only=True)
class Recording:
    """All sensors of a session on one clock and one regular grid.

    Parameters
    ----------
    rate_hz : float
        Rate of the common grid.
    time_s : (N,)
        Session time of each sample, regular.
    tracks : dict
        One `Track` a placement, all of length N.
    clocks : dict
        The clock fit of each placement.
    """

    rate_hz: float
    time_s: FloatArray
    tracks: dict[Placement, Track]
    clocks: dict[Placement, ClockFit] = field(default_factory=dict)
