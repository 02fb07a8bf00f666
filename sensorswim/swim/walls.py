"""The push-off that begins a length and the wall contact that ends it.

Push-off: the upper body is stretched and quiet while the legs drive it forward, so wrists and
trunk show a clean forward pulse of 0.3 to 0.5 s, followed by a glide. Contact: a flip turn puts
the feet on the wall a moment before the push-off, an open turn and a finish the hand.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.ndimage import gaussian_filter1d, maximum_filter1d, uniform_filter1d

from sensorswim.model import Limb, Recording, Track
from sensorswim.model.streams import FloatArray
from sensorswim.signal import accel_world, rotate
from sensorswim.signal.rotations import up_in_sensor

_X = np.array([1.0, 0.0, 0.0])
_CLIP_M_S2 = 15.0
_RISE_S = 0.3
"""Longest time from the start of a push to its peak: arms that still swing forward before it
must not count (no source; read off the synthetic swimmer, not checked on real push-offs)."""

_USUAL_CONTACT_S = 0.23
"""Usual time from the feet's contact to the push in a flip turn (no source; read off the synthetic
swimmer)."""


@dataclass(frozen=True, kw_only=True)
class WallFinder:
    """Find push-offs and contacts near the rough edges of lengths.

    Parameters
    ----------
    least_push_m_s : float
        Speed that a push-off must give.
    turn_s : float
        Longest time from contact to push-off in a turn without a rest.
    flip_tilt : float
        Vertical share of the shank, feet up, from which a turn is a flip.
    """

    least_push_m_s: float = 0.8
    turn_s: float = 4.0
    flip_tilt: float = 0.55

    def push_off(self, recording: Recording, from_s: float, to_s: float) -> float | None:
        """Return when the push begins (a fifth of its peak), None where none is seen."""
        first, last = _rows(recording, from_s, to_s)
        rate_hz = recording.rate_hz
        if last - first < rate_hz:
            return None
        pulse = _forward_pulse(recording, first, last)
        gain = uniform_filter1d(pulse, int(0.4 * rate_hz)) * 0.4
        top = int(np.argmax(gain))
        if gain[top] < self.least_push_m_s:
            return None
        reach = int(0.2 * rate_hz)
        low = max(top - reach, 0)
        peak = low + int(np.argmax(pulse[low : top + reach]))
        below = np.flatnonzero(pulse[:peak] < 0.2 * pulse[peak])
        begin = max(int(below[-1]) + 1 if len(below) else 0, peak - int(_RISE_S * rate_hz))
        return float(recording.time_s[first + begin])

    def contact_before(self, recording: Recording, push_s: float) -> float:
        """Return the contact of the turn that ends in this push-off."""
        if self._is_flip(recording, push_s):
            found = _jolt(recording, Limb.ANKLE, push_s - 0.7, push_s - 0.06)
            return push_s - _USUAL_CONTACT_S if found is None else found
        found = _jolt(recording, Limb.WRIST, push_s - 1.9, push_s - 0.35, take=0)
        return push_s - 1.0 if found is None else found

    def finish(self, recording: Recording, near_s: float) -> float | None:
        """Return the last hand jolt before the legs sink, None where none is seen."""
        sinks_s = _legs_sink(recording, near_s - 2.0, near_s + 2.5)
        if sinks_s is None:
            return _jolt(recording, Limb.WRIST, near_s - 0.3, near_s + 1.5, take=-1)
        return _jolt(recording, Limb.WRIST, sinks_s - 1.2, sinks_s + 0.3, take=-1)

    def _is_flip(self, recording: Recording, push_s: float) -> bool:
        """Tell whether the feet went over the top: the shank pointed feet up in the turn."""
        first, last = _rows(recording, push_s - 1.8, push_s)
        tilts = [
            np.max(up_in_sensor(_q(track)[first:last])[:, 0])
            for p, track in recording.tracks.items()
            if p.limb is Limb.ANKLE
        ]
        return not tilts or float(np.mean(tilts)) > self.flip_tilt


def _q(track: Track) -> FloatArray:
    if track.q_world_from_sensor is None:
        raise ValueError("walls need oriented tracks")
    return track.q_world_from_sensor


def _rows(recording: Recording, from_s: float, to_s: float) -> tuple[int, int]:
    first, last = np.searchsorted(recording.time_s, [from_s, to_s])
    return int(first), int(last)


def _forward_pulse(recording: Recording, first: int, last: int) -> FloatArray:
    """Return forward acceleration (L,) of the stretched upper body, m/s^2.

    Forward is where the sensor's long axis points half a second later, in the glide; what is
    followed by turning limbs counts less. Ankles serve only where nothing else is worn.
    """
    worn = recording.tracks
    upper = [t for p, t in worn.items() if p.limb not in (Limb.ANKLE, Limb.UPPER_ARM)]
    pulses = [
        _one_pulse(recording, t, first, last)
        for t in (upper or [t for p, t in worn.items() if p.limb is Limb.ANKLE])
    ]
    return np.median(pulses, axis=0) if pulses else np.zeros(last - first)


def _one_pulse(recording: Recording, track: Track, first: int, last: int) -> FloatArray:
    rate_hz = recording.rate_hz
    ahead = int(0.5 * rate_hz)
    high = min(last + ahead, len(recording.time_s))
    rows = slice(first, high)
    part = _slice(track, rows)
    accel = np.clip(accel_world(part)[:, :2], -_CLIP_M_S2, _CLIP_M_S2)
    along = rotate(_q(part), np.broadcast_to(_X, (high - first, 3)))[:, :2]
    along = np.pad(along, ((0, max(last + ahead - high, 0)), (0, 0)), mode="edge")[ahead:]
    along = along[: last - first] / (np.linalg.norm(along[: last - first], axis=1)[:, None] + 1e-9)
    turning = gaussian_filter1d(np.linalg.norm(part.gyro_rad_s, axis=1), 0.1 * rate_hz)
    later = np.pad(turning, (0, max(last + ahead - high, 0)), mode="edge")
    later = maximum_filter1d(later, int(0.3 * rate_hz))[int(0.35 * rate_hz) :]
    smooth = gaussian_filter1d(accel[: last - first], 0.03 * rate_hz, axis=0)
    forward = np.sum(smooth * along, axis=1)
    if track.placement.limb is Limb.ANKLE:
        forward = -forward
    return forward * np.exp(-((later[: last - first] / 2.5) ** 2))


def _slice(track: Track, rows: slice) -> Track:
    return Track(
        placement=track.placement,
        accel_m_s2=track.accel_m_s2[rows],
        gyro_rad_s=track.gyro_rad_s[rows],
        valid=track.valid[rows],
        source_rate_hz=track.source_rate_hz,
        q_world_from_sensor=_q(track)[rows],
    )


def _jolt(
    recording: Recording, limb: Limb, from_s: float, to_s: float, *, take: int | None = None
) -> float | None:
    """Return the strongest sudden change of acceleration of a limb pair.

    `take` = 0 returns the first strong one instead, -1 the last.
    """
    first, stop = _rows(recording, from_s, to_s)
    tracks = [t for p, t in recording.tracks.items() if p.limb is limb]
    if stop - first < 5 or not tracks:
        return None
    steps = [
        np.linalg.norm(np.diff(t.accel_m_s2[first : stop + 1], axis=0), axis=1)[: stop - first]
        for t in tracks
    ]
    size = np.max(steps, axis=0)
    floor = float(np.median(size))
    if size.max() < 4.0 * floor + 0.5:
        return None
    strong = np.flatnonzero(size > 0.4 * size.max())
    at = int(np.argmax(size)) if take is None else int(strong[take])
    return float(recording.time_s[first + at])


def _legs_sink(recording: Recording, from_s: float, to_s: float) -> float | None:
    """Return when the legs leave the level at the end of a swim, None without leg sensors."""
    first, last = _rows(recording, from_s, to_s)
    tilts = [
        np.abs(up_in_sensor(_q(t)[first:last])[:, 0])
        for p, t in recording.tracks.items()
        if p.limb in (Limb.ANKLE, Limb.LOWER_BACK)
    ]
    if not tilts or last - first < 10:
        return None
    tilt = uniform_filter1d(np.mean(tilts, axis=0), int(0.3 * recording.rate_hz))
    level = np.flatnonzero(tilt < 0.35)
    if not len(level) or level[-1] == len(tilt) - 1:
        return None
    return float(recording.time_s[first + int(level[-1])])
