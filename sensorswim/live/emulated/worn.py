"""Sensors worn by a synthetic swimmer: what they read, and when water lets the radio through."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Final

import numpy as np

from sensorswim.formats.radio_packets import COUNTS_FULL_SCALE, CountsArray
from sensorswim.live.emulated.device import EmulatedDevice, Motion
from sensorswim.live.emulated.flash import Flash
from sensorswim.model import ClockFit, Placement, Stream
from sensorswim.model.streams import FloatArray
from sensorswim.rehearsal import Rehearsal
from sensorswim.units import STANDARD_GRAVITY_M_S2

REACH_M: Final = 0.085
"""Depth below which nothing is left of a usual link budget at 2.44 GHz: 8 to 9 cm, worked out from
about 240 dB a metre (``firmware_notes/behaviour.md``)."""
REST_S: Final = 5.0
LEAD_S: Final = 3.0
OUT_S: Final = 2.0
"""From the end of the swim until the swimmer has climbed out."""


@dataclass(frozen=True, kw_only=True)
class Water:
    """How deep one sensor is over time.

    Parameters
    ----------
    time_s, depth_m : (N,)
        Session time, and how far the sensor is below the surface.
    """

    time_s: FloatArray
    depth_m: FloatArray
    reach_m: float = REACH_M

    def lets_through(self, time_s: float) -> bool:
        """Return whether a link holds at this moment."""
        return bool(np.interp(time_s, self.time_s, self.depth_m) < self.reach_m)


DRY: Final = Water(time_s=np.zeros(1), depth_m=-np.ones(1))
"""No water at all."""


@dataclass(frozen=True, kw_only=True)
class Worn:
    """A device and the water over it."""

    device: EmulatedDevice
    water: Water = DRY


def to_counts(stream: Stream, accel_range_g: int, gyro_range_deg_s: int) -> CountsArray:
    """Return a stream as a 16-bit sensor of these ranges would count it, (N, 6)."""
    accel = stream.accel.values / (accel_range_g * STANDARD_GRAVITY_M_S2)
    gyro = np.degrees(stream.gyro.values) / gyro_range_deg_s
    counts = np.rint(np.hstack([accel, gyro]) * COUNTS_FULL_SCALE)
    return np.clip(counts, -COUNTS_FULL_SCALE, COUNTS_FULL_SCALE - 1).astype(np.int16)


def motion_of(stream: Stream, rate_hz: int, *, lead_s: float = 0.0) -> Motion:
    """Return what a sensor reads, with `lead_s` of standing still before.

    The standing is the first 0.8 s to and fro, so that no knock gets into it.
    """
    counts, time_s = to_counts(stream, 16, 2000), stream.accel.time_s
    lead, still = int(lead_s * rate_hz), int(0.8 * rate_hz)
    if lead:
        before_s = time_s[0] - np.arange(lead, 0, -1) / rate_hz
        at = np.abs((np.arange(lead, 0, -1) + still) % (2 * still) - still)
        time_s, counts = np.r_[before_s, time_s], np.concatenate([counts[at], counts])
    return Motion(time_s=time_s, counts=counts, rate_hz=rate_hz)


def wear(
    rehearsal: Rehearsal,
    now_s: Callable[[], float],
    *,
    first_serial: int,
    lead_s: float = LEAD_S,
    flash: Path | None = None,
) -> list[Worn]:
    """Return one emulated sensor for each log of a rehearsal, with the water over it.

    Parameters
    ----------
    rehearsal : Rehearsal
        Its kit at 52, 104 or 208 Hz.
    now_s : callable
        Seconds since the emulation began; the rehearsal begins `lead_s` after that.
    first_serial : int
        Serial number of the first sensor; the others follow.
    flash : Path, optional
        Folder in which the sensors keep their logs; without, they keep them in memory.
    """
    begin_s = _begin_s(rehearsal, lead_s)
    rate_hz = round(rehearsal.kit.rate_hz)

    def make(number: int, placement: Placement, stream: Stream) -> Worn:
        clock: ClockFit = rehearsal.truth_extra["clocks"][placement]
        device = EmulatedDevice(
            first_serial + number,
            placement,
            motion_of(stream, rate_hz, lead_s=lead_s),
            lambda: (begin_s + now_s() - clock.offset_s) / (1.0 + clock.drift),
            flash=None if flash is None else Flash(flash, first_serial + number),
        )
        return Worn(device=device, water=_water(rehearsal, placement, begin_s))

    return [make(number, *item) for number, item in enumerate(rehearsal.streams.items())]


def out_s(rehearsal: Rehearsal) -> float:
    """Return when the swimmer has climbed out, in seconds since the emulation began."""
    end_s = float(rehearsal.truth_extra["depth"]["time_s"].iloc[-1])
    return end_s - _begin_s(rehearsal, LEAD_S) + OUT_S


def _begin_s(rehearsal: Rehearsal, lead_s: float) -> float:
    """Return the session time at which the emulation begins."""
    first = next(iter(rehearsal.streams.values()))
    return float(first.accel.time_s[0]) - lead_s


def _water(rehearsal: Rehearsal, placement: Placement, begin_s: float) -> Water:
    """Return the water over a sensor.

    The invented swimmer has a habit: in a rest of `REST_S` or more, hands and feet come up to the
    gutter for a while; and `OUT_S` after the end the swimmer has climbed out. Without such a habit,
    ankles stay out of reach until the end.
    """
    depth = rehearsal.truth_extra["depth"]
    time_s = depth["time_s"].to_numpy() - begin_s
    depth_m = depth[placement].to_numpy().copy()
    lengths = rehearsal.truth["lengths"]
    for end_s, start_s in zip(lengths["end_s"][:-1], lengths["start_s"][1:], strict=True):
        if start_s - end_s >= REST_S:
            up = (time_s > end_s - begin_s + 2.0) & (time_s < start_s - begin_s - 1.0)
            depth_m[up] = np.minimum(depth_m[up], -0.05)
    return Water(time_s=np.r_[time_s, time_s[-1] + OUT_S], depth_m=np.r_[depth_m, -1.0])
