"""Is what a log says plausible: units, rate, stuck channels, saturation.

The limits are common practice without a source: body-worn accelerometers read about gravity
most of the time, and wearable gyroscopes end at 2000 or 4000 deg/s.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Final

import numpy as np

from sensorswim.errors import LogError
from sensorswim.formats.log_columns import ROLES
from sensorswim.formats.log_files import RawLog
from sensorswim.model.placement import Placement
from sensorswim.model.quality import Quality, Severity
from sensorswim.model.streams import BoolArray, FloatArray, Samples, Stream
from sensorswim.units import STANDARD_GRAVITY_M_S2, TO_M_S2, TO_RAD_S, TO_S

_GRAVITY_RATIO: Final = (0.35, 5.0)
"""Range of the median specific force in g that is taken as plausible: an ankle in a fast kick
is above 2 for most of the time, a wrong unit is off by 9.8 or 1000."""
_FIT_M_S2: Final = (0.6 * STANDARD_GRAVITY_M_S2, 1.8 * STANDARD_GRAVITY_M_S2)
"""Median specific force for which another unit is proposed."""
_CERTAIN_GYRO_RAD_S: Final = 150.0
_DOUBTFUL_GYRO_RAD_S: Final = (0.7, 75.0)
_RATE_HZ: Final = (20.0, 500.0)
_CONTRACT_RATE_HZ: Final = (24.5, 408.0)
"""25 to 400 Hz, with two percent for inexact clocks."""
_MIN_DURATION_S: Final = 5.0
_SCALES_G: Final = (2.0, 4.0, 8.0, 16.0, 32.0)
_SCALES_DEG_S: Final = (250.0, 500.0, 1000.0, 2000.0, 4000.0)


def largest(values: FloatArray) -> FloatArray:
    """Return the largest absolute value of each row, (N, C) -> (N,); by column, for speed."""
    out = np.abs(values[:, 0])
    for axis in values.T[1:]:
        np.maximum(out, np.abs(axis), out=out)
    return out


def check_accel_unit(
    values: FloatArray, raw: RawLog, placement: Placement, quality: Quality
) -> None:
    """Refuse accelerometer values (N, 3) in m/s^2 whose median isn't near gravity.

    Raises
    ------
    LogError
        With the unit that would fit, where one does.
    """
    median = float(np.median(np.linalg.norm(values, axis=1)))
    low, high = _GRAVITY_RATIO
    if low * STANDARD_GRAVITY_M_S2 <= median <= high * STANDARD_GRAVITY_M_S2:
        return
    unit = raw.columns["accel_x"].unit
    own = median / TO_M_S2[unit]
    fit = _fitting(own, TO_M_S2, *_FIT_M_S2)
    mend = "check the accelerometer's unit and scale"
    if fit:
        mend = f"the values look like {fit}: name the columns accel_x_{fit} and so on"
    raise LogError(
        f"the accelerometer's typical size is {own:.3g} {unit}, which isn't gravity",
        where=raw.name,
        mend=mend,
    )


def check_gyro_unit(
    values: FloatArray, raw: RawLog, placement: Placement, quality: Quality
) -> None:
    """Refuse or doubt gyroscope values (N, 3) in rad/s of an impossible or odd size.

    Raises
    ------
    LogError
        Beyond anything that a gyroscope measures.
    """
    top = float(np.quantile(np.linalg.norm(values, axis=1), 0.995))
    unit = raw.columns["gyro_x"].unit
    own = top / TO_RAD_S[unit]
    low, high = _DOUBTFUL_GYRO_RAD_S
    fit = _fitting(own, TO_RAD_S, 2.0, 60.0)
    hint = f"if they are in {fit}, name the columns gyro_x_{fit} and so on" if fit else ""
    if top > _CERTAIN_GYRO_RAD_S:
        raise LogError(
            f"the gyroscope reaches {own:.3g} {unit}, which none measures",
            where=raw.name,
            mend=hint or "check the gyroscope's unit and scale",
        )
    if not low <= top <= high and top > 0:
        text = f"{raw.name}: the gyroscope's largest values are about {own:.3g} {unit}, "
        text += "which is odd for swimming" + (f"; {hint}." if hint else ".")
        quality.add("gyro_unit_doubtful", Severity.DEGRADED, text, placement=placement)


def _fitting(own: float, units: Mapping[str, float], low: float, high: float) -> str:
    fits = [unit for unit, factor in units.items() if low <= own * factor <= high]
    return fits[0] if fits else ""


def check_rate(
    time_s: FloatArray, raw: RawLog, name: str, placement: Placement, quality: Quality
) -> None:
    """Refuse a log whose rate or duration can't be right.

    Raises
    ------
    LogError
        Outside 20 to 500 Hz (with the time unit that would fit), or shorter than 5 s.
    """
    step_s = float(np.median(np.diff(time_s)))
    rate_hz = 1.0 / step_s if step_s > 0 else math.inf
    low, high = _RATE_HZ
    column = raw.columns["time"]
    if not low <= rate_hz <= high:
        fit = _fitting(step_s / column.factor, TO_S, 1.0 / high, 1.0 / low)
        mend = f"the times look like {fit}: name the column time_{fit}"
        raise LogError(
            f"the {name} rate from column {column.name!r} would be {rate_hz:.3g} Hz "
            f"(25 to 400 is read)",
            where=raw.name,
            mend=mend if fit else "check the time column's unit",
        )
    span_s = float(time_s[-1] - time_s[0])
    if span_s < _MIN_DURATION_S:
        raise LogError(
            f"is only {span_s:.1f} s long", where=raw.name, mend="give a log of at least 5 s"
        )
    if not _CONTRACT_RATE_HZ[0] <= rate_hz <= _CONTRACT_RATE_HZ[1]:
        text = f"{raw.name}: logged at {rate_hz:.0f} Hz; made for 25 to 400 Hz."
        quality.add("rate_outside", Severity.DEGRADED, text, placement=placement)


def check_stuck(
    samples: Samples, raw: RawLog, name: str, placement: Placement, quality: Quality
) -> None:
    """Tell of channels that never change; refuse a sensor with none that does.

    Raises
    ------
    LogError
        All three axes are constant.
    """
    stuck = [
        role
        for role, axis in zip(ROLES[name], samples.values.T, strict=True)
        if axis.min() == axis.max()
    ]
    if len(stuck) == len(ROLES[name]):
        raise LogError(
            f"all {name} values are the same throughout",
            where=raw.name,
            mend="check the sensor; leave it out of session.toml if it is broken",
        )
    for role in stuck:
        text = f"{raw.name}: {role} never changes; figures that need it are doubtful."
        quality.add("channel_stuck", Severity.DEGRADED, text, placement=placement)


def not_frozen(accel: Samples, gyro: Samples) -> BoolArray:
    """Return where the sensor is alive, (N,) bool: False in repeats of a second and more.

    Repeats at rest (gravity only, no turning) are left alone: coarse sensors do that.
    """
    alive = np.ones(len(accel), dtype=np.bool_)
    same = np.ones(len(accel) - 1, dtype=np.bool_)
    for axis in (*accel.values.T, *gyro.values.T):
        same &= axis[1:] == axis[:-1]
    if not same.any():
        return alive
    edges = np.flatnonzero(np.diff(np.concatenate(([0], same.astype(np.int8), [0]))))
    for start, end in edges.reshape(-1, 2):
        g = float(np.linalg.norm(accel.values[start])) / STANDARD_GRAVITY_M_S2
        resting = abs(g - 1.0) < 0.05 and float(np.linalg.norm(gyro.values[start])) < 0.1
        if not resting and accel.time_s[end] - accel.time_s[start] >= 1.0:
            alive[start + 1 : end + 1] = False
    return alive


def note_saturation(stream: Stream, quality: Quality) -> None:
    """Tell of samples at the sensor's full scale, and of a full scale that can't be right.

    Where the range isn't given it is guessed: the largest value counts as full scale when at
    least five samples have exactly that size and it is within 3 % of a usual one.
    """
    accel, gyro = stream.accel.values, stream.gyro.values
    for label, samples, sizes, given, usual, unit in (
        ("accelerometer", stream.accel, accel, stream.accel_range_m_s2, _SCALES_G, TO_M_S2["g"]),
        ("gyroscope", stream.gyro, gyro, stream.gyro_range_rad_s, _SCALES_DEG_S, TO_RAD_S["deg_s"]),
    ):
        size = largest(sizes)
        top = float(size.max())
        if given is not None and top > 1.1 * given:
            text = f"The {label} reads beyond the full scale given for it."
            quality.add("range_doubtful", Severity.NOTE, text, placement=stream.placement)
            continue
        limit = given if given is not None else _guessed_range(size, top, usual, unit)
        if limit is not None and top >= 0.998 * limit:
            _note_clipped(label, samples.time_s[size >= 0.998 * limit], len(size), stream, quality)


def _note_clipped(
    label: str, times_s: FloatArray, total: int, stream: Stream, quality: Quality
) -> None:
    share = len(times_s) / total
    told = "less than 0.01 %" if share < 0.0001 else f"{100.0 * share:.2f} %"
    text = f"The {label} is at its full scale in {len(times_s)} samples ({told}), "
    text += f"between {times_s[0]:.1f} and {times_s[-1]:.1f} s of its clock."
    severity = Severity.NOTE if share < 0.001 else Severity.DEGRADED
    quality.add("saturated", severity, text, placement=stream.placement)


def _guessed_range(
    sizes: FloatArray, top: float, usual: tuple[float, ...], unit: float
) -> float | None:
    near = any(abs(top / (scale * unit) - 1.0) < 0.03 for scale in usual)
    return top if near and int((sizes == top).sum()) >= 5 else None
