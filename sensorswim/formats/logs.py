"""One sensor's log as a `Stream`: SI units, sensor frame, the sensor's own clock.

Damaged rows are left out, counted and told; what can't be mended by leaving rows out is a
`LogError`. Plausibility limits rest on what body-worn sensors of this kind can measure (common
practice, no source): gravity is the median of the accelerometer's size, and no gyroscope in use
goes beyond 4000 deg/s.
"""

from __future__ import annotations

from bisect import bisect_left
from dataclasses import dataclass
from itertools import pairwise
from typing import Final

import numpy as np
import numpy.typing as npt

from sensorswim.errors import LogError
from sensorswim.formats.log_checks import (
    check_accel_unit,
    check_gyro_unit,
    check_rate,
    check_stuck,
    largest,
    not_frozen,
    note_saturation,
)
from sensorswim.formats.log_columns import ROLES
from sensorswim.formats.log_files import RawLog, read_raw
from sensorswim.model.placement import Placement
from sensorswim.model.quality import Quality, Severity
from sensorswim.model.session import SensorFile
from sensorswim.model.streams import BoolArray, FloatArray, Samples, Stream
from sensorswim.units import STANDARD_GRAVITY_M_S2, TO_RAD_S

IndexArray = npt.NDArray[np.intp]

MIN_ROWS: Final = 50
MAX_JUMP_S: Final = 3600.0
"""A longer hole is no pause but a clock that was set; what lies beyond it is left out."""
LIMITS: Final = {"accel": 5000.0, "gyro": 500.0}
"""Samples beyond these (m/s^2, rad/s) are damaged, whatever the sensor."""
_ABSURD: Final = 1e12
"""No number of any quantity gets there; beyond it, as with NaN and infinity, it is damage."""


def read_stream(sensor: SensorFile, quality: Quality) -> Stream:
    """Read the log or the two logs of one sensor.

    Parameters
    ----------
    sensor : SensorFile
        As `read_session` returns it.
    quality : Quality
        Gets a row for whatever was left out or is doubtful. Times in its texts are those of
        the sensor's own clock, as session time isn't known yet.

    Returns
    -------
    Stream
        Accelerometer in m/s^2, gyroscope in rad/s, magnetometer in microtesla, pressure in kPa.

    Raises
    ------
    LogError
        The file can't be read, a needed column is missing, its unit is wrong, its rate lies
        outside 20 to 500 Hz, it is shorter than 5 s, or most of its rows are damaged.
    """
    optional = ("magn", "pressure")
    if sensor.file is not None:
        raw = read_raw(sensor.file, ("time", "accel", "gyro", *optional), sensor.columns)
        log = _Log(raw=raw, placement=sensor.placement, quality=quality)
        groups = log.groups(("accel", "gyro"))
    elif sensor.accel_file is not None and sensor.gyro_file is not None:
        raw = read_raw(sensor.accel_file, ("time", "accel", *optional), sensor.columns)
        log = _Log(raw=raw, placement=sensor.placement, quality=quality)
        gyro = read_raw(sensor.gyro_file, ("time", "gyro"), sensor.columns)
        gyro_log = _Log(raw=gyro, placement=sensor.placement, quality=quality)
        groups = log.groups(("accel",)) | gyro_log.groups(("gyro",))
    else:
        raise LogError(f"no log is named for {sensor.placement}", where="session.toml")
    groups |= log.optional_groups()
    accel_range, gyro_range = _ranges(sensor)
    stream = Stream(
        placement=sensor.placement,
        accel=groups["accel"],
        gyro=groups["gyro"],
        magn=groups.get("magn"),
        pressure=groups.get("pressure"),
        accel_range_m_s2=accel_range,
        gyro_range_rad_s=gyro_range,
    )
    note_saturation(stream, quality)
    return stream


def _ranges(sensor: SensorFile) -> tuple[float | None, float | None]:
    accel, gyro = sensor.accel_range_g, sensor.gyro_range_deg_s
    return (
        None if accel is None else accel * STANDARD_GRAVITY_M_S2,
        None if gyro is None else gyro * TO_RAD_S["deg_s"],
    )


@dataclass(frozen=True, kw_only=True)
class _Log:
    """One file on its way to samples."""

    raw: RawLog
    placement: Placement
    quality: Quality

    def groups(self, names: tuple[str, ...]) -> dict[str, Samples]:
        """Return the needed quantities, cleaned and checked."""
        if self.rows < MIN_ROWS:
            raise LogError(
                f"has only {self.rows} rows", where=self.raw.name, mend="copy the log again"
            )
        time_s = self.time_s()
        values = {name: self.values(name) for name in names}
        rows = {name: self.usable(values[name], time_s) for name in names}
        self._check_lost(rows, least=0.25)
        self._check_units(values, rows)
        for name in names:
            rows[name] &= largest(values[name]) <= LIMITS[name]
        if len(names) == 1 or not _alternate(*rows.values()):
            common: BoolArray = np.logical_and.reduce(list(rows.values()))
            rows = {name: common for name in names}  # noqa: C420  fromkeys loses the type
            self._check_lost(rows, least=0.5)
        samples = self._ordered(time_s, values, rows)
        self._note_damage(rows)
        for name, group in samples.items():
            if name == names[0] or group.time_s is not samples[names[0]].time_s:
                check_rate(group.time_s, self.raw, name, self.placement, self.quality)
            check_stuck(group, self.raw, name, self.placement, self.quality)
        if len(names) == 2 and samples["accel"].time_s is samples["gyro"].time_s:
            return self._thawed(samples)
        return samples

    def optional_groups(self) -> dict[str, Samples]:
        """Return magnetometer and pressure where the file has them."""
        groups = {}
        time_s = self.time_s()
        for name in ("magn", "pressure"):
            if not all(role in self.raw.columns for role in ROLES[name]):
                continue
            values = self.values(name)
            rows = self.usable(values, time_s)
            kept = np.flatnonzero(rows)
            kept = kept[in_order(time_s[kept])] if len(kept) else kept
            if len(kept) >= MIN_ROWS // 10:
                groups[name] = Samples(time_s=time_s[kept], values=values[kept])
            else:
                self._note(f"{name}_empty", f"The {name} columns hold no usable values; not used.")
        return groups

    @property
    def rows(self) -> int:
        """The number of rows that aren't blank."""
        return len(self.raw) - int(self.raw.blank.sum())

    def time_s(self) -> FloatArray:
        with np.errstate(over="ignore"):
            return self.raw.values["time"] * self.raw.columns["time"].factor

    def values(self, name: str) -> FloatArray:
        roles = ROLES[name]
        # column after column: everything downstream works on columns
        out = np.empty((len(roles), len(self.raw)))
        for axis, role in enumerate(roles):
            with np.errstate(over="ignore"):
                np.multiply(self.raw.values[role], self.raw.columns[role].factor, out=out[axis])
        return out.T

    def usable(self, values: FloatArray, time_s: FloatArray) -> BoolArray:
        rows: BoolArray = (np.abs(time_s) < _ABSURD) & ~self.raw.overlong
        for axis in values.T:
            rows &= np.abs(axis) < _ABSURD
        return rows

    def _check_lost(self, rows: dict[str, BoolArray], *, least: float) -> None:
        for name, good in rows.items():
            if good.sum() < max(MIN_ROWS, least * self.rows):
                first = int((~good & ~self.raw.blank).argmax())
                raise LogError(
                    f"{self.rows - int(good.sum())} of {self.rows} rows have no usable "
                    f"{name} values, the first at {self.raw.at(first)}",
                    where=self.raw.name,
                    mend="copy or export the log again",
                )

    def _check_units(self, values: dict[str, FloatArray], rows: dict[str, BoolArray]) -> None:
        for name, check in (("accel", check_accel_unit), ("gyro", check_gyro_unit)):
            if name in values:
                picked = np.flatnonzero(rows[name])
                picked = picked[:: max(1, len(picked) // 20_000)]
                check(values[name][picked], self.raw, self.placement, self.quality)

    def _ordered(
        self, time_s: FloatArray, values: dict[str, FloatArray], rows: dict[str, BoolArray]
    ) -> dict[str, Samples]:
        """Return the usable rows in order; quantities with the same rows share their times."""
        masks = {good.tobytes(): name for name, good in rows.items()}
        samples: dict[str, Samples] = {}
        for mask, first in masks.items():
            good = rows[first]
            kept = self._kept(time_s, np.flatnonzero(good), values[first])
            whole = len(kept) == len(good)
            shared = time_s if whole else time_s[kept]
            for name in (name for name, other in rows.items() if other.tobytes() == mask):
                used = values[name] if whole else values[name][kept]
                samples[name] = Samples(time_s=shared, values=used)
        return samples

    def _kept(self, time_s: FloatArray, kept: IndexArray, values: FloatArray) -> IndexArray:
        order = in_order(time_s[kept])
        if not order.all():
            self._note_order(time_s, kept, order, values)
            kept = kept[order]
        part = longest_part(time_s[kept])
        if part != slice(0, len(kept)):
            self._note_jump(kept, part)
            kept = kept[part]
        return kept

    def _note_order(
        self, time_s: FloatArray, kept: IndexArray, order: BoolArray, values: FloatArray
    ) -> None:
        lost = int((~order).sum())
        same = np.flatnonzero(np.diff(time_s[kept]) == 0)
        first = self.raw.at(int(kept[int((~order).argmax())]))
        if len(same) > 0.3 * len(kept) and np.any(values[kept[same]] != values[kept[same + 1]]):
            raise LogError(
                f"rows share their time, the first at {first}",
                where=self.raw.name,
                mend="export it with one time a sample",
            )
        if lost - len(same) > 0.2 * len(kept):
            back = self.raw.at(int(kept[int(np.diff(time_s[kept]).argmin()) + 1]))
            raise LogError(
                f"time runs backwards at {back}: the sensor restarted",
                where=self.raw.name,
                mend="cut the log there into two sessions",
            )
        code = "time_repeated" if lost <= len(same) else "time_backwards"
        what = "repeat the time before" if lost <= len(same) else "are out of order in time"
        self._note(code, f"{lost} rows {what}, the first at {first}; left out.")

    def _note_jump(self, kept: IndexArray, part: slice) -> None:
        at = self.raw.at(int(kept[part.start or part.stop]))
        lost = len(kept) - (part.stop - part.start)
        if lost > 0.2 * len(kept):
            raise LogError(
                f"time jumps by more than an hour at {at}",
                where=self.raw.name,
                mend="cut the log there into two sessions",
            )
        text = f"time jumps by more than an hour at {at}; the {lost} rows beyond are left out."
        self._note("time_jump", text)

    def _note_damage(self, rows: dict[str, BoolArray]) -> None:
        good = np.logical_or.reduce(list(rows.values()))
        damaged = ~good & ~self.raw.blank
        count = int(damaged.sum())
        if count:
            first = self.raw.at(int(damaged.argmax()))
            severity = Severity.NOTE if count < 0.01 * good.sum() else Severity.DEGRADED
            text = f"{count} of {self.rows} rows are damaged, the first at {first}; left out."
            self._note("damaged_rows", text, severity)

    def _thawed(self, samples: dict[str, Samples]) -> dict[str, Samples]:
        accel, gyro = samples["accel"], samples["gyro"]
        moving = not_frozen(accel, gyro)
        if moving.all():
            return samples
        start, end = accel.time_s[~moving][[0, -1]]
        self._note(
            "frozen",
            f"{int((~moving).sum())} rows repeat the same values, between {start:.1f} and "
            f"{end:.1f} s of its clock; taken as a gap.",
            Severity.DEGRADED,
        )
        time_s = accel.time_s[moving]
        return {
            "accel": Samples(time_s=time_s, values=accel.values[moving]),
            "gyro": Samples(time_s=time_s, values=gyro.values[moving]),
        }

    def _note(self, code: str, text: str, severity: Severity = Severity.NOTE) -> None:
        self.quality.add(code, severity, f"{self.raw.name}: {text}", placement=self.placement)


def _alternate(first: BoolArray, second: BoolArray) -> bool:
    """Tell whether two quantities come in rows of their own (each has its own timestamps)."""
    both = int((first & second).sum())
    least = min(int(first.sum()), int(second.sum()))
    return both < 0.5 * least and least > 0.25 * len(first)


def in_order(time_s: FloatArray) -> BoolArray:
    """Return which samples to keep so that time strictly increases, (N,) bool.

    As many as possible are kept (longest increasing subsequence, by patience sorting, Fredman
    1975, https://doi.org/10.1016/0012-365X(75)90103-X), so that single wrong times cost only
    themselves.
    """
    if bool((np.diff(time_s) > 0).all()):
        return np.ones(len(time_s), dtype=np.bool_)
    tops: list[float] = []
    top_rows: list[int] = []
    before: list[int] = []
    for row, time in enumerate(time_s.tolist()):
        at = bisect_left(tops, time)
        before.append(top_rows[at - 1] if at else -1)
        tops[at : at + 1] = [time]
        top_rows[at : at + 1] = [row]
    keep = np.zeros(len(time_s), dtype=np.bool_)
    row = top_rows[-1]
    while row >= 0:
        keep[row] = True
        row = before[row]
    return keep


def longest_part(time_s: FloatArray) -> slice:
    """Return the piece with the most samples between jumps of more than `MAX_JUMP_S`.

    Steps that are all long are no jumps but a wrong unit, which `check_rate` names.
    """
    steps = np.diff(time_s)
    if not len(steps) or steps.max() <= MAX_JUMP_S:
        return slice(0, len(time_s))
    limit = max(MAX_JUMP_S, 1000.0 * float(np.median(steps)))
    edges = [0, *(np.flatnonzero(steps > limit) + 1).tolist(), len(time_s)]
    start, end = max(pairwise(edges), key=lambda piece: piece[1] - piece[0])
    return slice(start, end)
