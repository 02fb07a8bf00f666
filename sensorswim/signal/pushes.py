"""Push-offs in one sensor or in a pair: what every limb of a swimmer has in common.

In a push-off the whole body gains some 2 m/s within 0.3 s and then glides: hands, trunk and feet
get the same change of speed, in the same direction, at nearly the same moment. Strokes and kicks
don't do that: their acceleration cancels between left and right, and no glide follows. So the
horizontal acceleration of both wrists or both ankles together shows push-offs where a single
limb's size of acceleration hides them.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Final

import numpy as np
import numpy.typing as npt
from scipy.ndimage import gaussian_filter1d, median_filter
from scipy.signal import find_peaks

from sensorswim.model import Limb, Samples, Stream
from sensorswim.model.streams import FloatArray
from sensorswim.signal.blocks import vqf_offline
from sensorswim.signal.rotations import rotate
from sensorswim.signal.smoothing import smooth

ComplexArray = npt.NDArray[np.complex128]

TRAVEL_RATE_HZ: Final = 50.0

ARMS: Final = frozenset({Limb.WRIST, Limb.UPPER_ARM})
"""Limbs that lie still in the glide; legs may kick in it, the trunk may be driven by them."""

_SMOOTHING_S: Final = 0.08
_APART_S: Final = 1.0
_NO_DATA_RAD_S: Final = 9.0
_SPIKE_M_S2: Final = 60.0
"""A lone sample so far from its neighbours is the logger's: it would move a push-off by 0.1 s."""

_HEADING_S: Final = 30.0


@dataclass(frozen=True, kw_only=True)
class Travel:
    """Horizontal acceleration of a sensor, or the mean of a pair, at 50 Hz of its own clock.

    Parameters
    ----------
    limb : Limb
    start_s : float
        Device time of the first value.
    accel : (N,) complex
        m/s^2, east and north of a world with free heading, smoothed over 0.08 s.
    turn_rad_s : (N,)
        Size of the turn rate; the larger of a pair's.
    apart_m_s2 : (N,) or None
        Distance of a pair's accelerations, None for a single sensor.
    """

    limb: Limb
    start_s: float
    accel: ComplexArray
    turn_rad_s: FloatArray
    apart_m_s2: FloatArray | None = None

    @property
    def time_s(self) -> FloatArray:
        """Device time of each value, (N,)."""
        return self.start_s + np.arange(len(self.accel)) / TRAVEL_RATE_HZ


@dataclass(frozen=True, kw_only=True)
class Pushes:
    """Moments that may be push-offs.

    Parameters
    ----------
    travel : Travel
    index : (K,) int
        Where in `travel`.
    worth : (K,)
        How much each looks like one: the speed gained in m/s (at most 1.6), less for unrest
        around it.
    """

    travel: Travel
    index: npt.NDArray[np.intp]
    worth: FloatArray

    @property
    def moments_s(self) -> FloatArray:
        """Device times, (K,)."""
        return self.travel.start_s + self.index / TRAVEL_RATE_HZ


def travel_of(stream: Stream) -> Travel:
    """Return the horizontal acceleration of one sensor, oriented at 50 Hz."""
    start_s = max(stream.accel.time_s[0], stream.gyro.time_s[0])
    stop_s = min(stream.accel.time_s[-1], stream.gyro.time_s[-1])
    at_s = np.arange(start_s, max(stop_s, start_s + 0.1), 1.0 / TRAVEL_RATE_HZ)
    force, turn = _at(_without_spikes(stream.accel), at_s), _at(stream.gyro, at_s)
    world = rotate(vqf_offline(turn, force, TRAVEL_RATE_HZ), force)
    return Travel(
        limb=stream.placement.limb,
        start_s=float(start_s),
        accel=_smooth(world[:, 0] + 1j * world[:, 1], _SMOOTHING_S),
        turn_rad_s=np.linalg.norm(turn, axis=1),
    )


def together(first: Travel, second: Travel, offset_s: float) -> Travel:
    """Return the mean of two sensors on the first one's clock, their headings brought together.

    Parameters
    ----------
    offset_s : float
        To be added to the second clock to read the first.
    """
    at_s = first.time_s
    from_s = second.time_s + offset_s
    accel = np.interp(at_s, from_s, second.accel, left=0.0, right=0.0)
    turn = np.interp(at_s, from_s, second.turn_rad_s, left=_NO_DATA_RAD_S, right=_NO_DATA_RAD_S)
    turn = np.maximum(first.turn_rad_s, turn)
    if first.limb in ARMS:
        shared = first.accel * np.conj(accel) / (1.0 + (turn / 1.5) ** 4)
    else:
        shared = _smooth(first.accel, 0.3) * np.conj(_smooth(accel, 0.3))
    accel = accel * np.exp(1j * np.angle(_smooth(shared, _HEADING_S)))
    return Travel(
        limb=first.limb,
        start_s=first.start_s,
        accel=0.5 * (first.accel + accel),
        turn_rad_s=turn,
        apart_m_s2=np.abs(first.accel - accel),
    )


def find_pushes(travel: Travel) -> Pushes:
    """Return the moments in which the body may have pushed off, a second apart at least."""
    worth, least = _worth(travel)
    index, _ = find_peaks(worth, height=least, distance=int(_APART_S * TRAVEL_RATE_HZ))
    return Pushes(travel=travel, index=index, worth=worth[index])


def _worth(travel: Travel) -> tuple[FloatArray, float]:
    """Return the speed gained around each moment over the unrest after it, and what counts.

    The weights tell push-offs from strokes and kicks on synthetic swims; they decide nothing
    alone, as a push-off has to repeat in the other sensors.
    """
    accel, turn, apart = travel.accel, travel.turn_rad_s, travel.apart_m_s2
    gain = _gain(accel)
    if travel.limb not in ARMS:
        unrest = 1.0 + _rms(np.abs(accel), 0.45, 0.85) / (1.5 if apart is None else 2.0)
        if apart is not None:
            unrest *= 1.0 + (_rms(apart, -0.2, 0.3) / 12.0) ** 2
        return np.minimum(gain / unrest, 1.6), 0.6
    if apart is None:
        terms = [
            _rms(turn, 0.3, 0.75) / 0.5,
            _rms(turn, -0.2, 0.3) / 1.5,
            _unrest(accel, 0.3, 0.75) / 2.0,
        ]
        least = 0.35
    else:
        terms = [
            _unrest(accel, 0.4, 1.0) / 2.0,
            _rms(turn, 0.3, 0.9) / 0.8,
            _rms(turn, -0.15, 0.3) / 2.0,
            _rms(apart, -0.15, 0.9) / 3.0,
        ]
        least = 0.15
    return np.minimum(gain / np.prod([1.0 + t**2 for t in terms], axis=0), 0.9), least


def _gain(accel: ComplexArray) -> FloatArray:
    """Return the size of the change of horizontal velocity within half a second, (N,).

    At most 2.5 m/s; less where it takes back a change just before: the water slows the glide.
    """
    speed = np.concatenate([[0.0], np.cumsum(accel)]) / TRAVEL_RATE_HZ
    a, b = _around(len(accel), -0.25, 0.3)
    c, _ = _around(len(accel), -0.8, 0.0)
    change, before = speed[b] - speed[a], speed[a] - speed[c]
    size = np.abs(change)
    taken_back = -np.real(change * np.conj(before)) / np.maximum(size, 1e-6)
    return np.minimum(size, 2.5) / (1.0 + np.maximum(taken_back, 0.0))


def _unrest(accel: ComplexArray, from_s: float, to_s: float) -> FloatArray:
    """Return the spread of the acceleration around its mean in a stretch beside each moment."""
    added = np.concatenate([[0.0], np.cumsum(accel)])
    a, b = _around(len(accel), from_s, to_s)
    mean = np.abs(added[b] - added[a]) / ((to_s - from_s) * TRAVEL_RATE_HZ)
    return np.sqrt(np.maximum(_rms(np.abs(accel), from_s, to_s) ** 2 - mean**2, 0.0))


def _rms(values: FloatArray, from_s: float, to_s: float) -> FloatArray:
    """Return the root mean square of a stretch beside each moment, (N,)."""
    added = np.concatenate([[0.0], np.cumsum(np.minimum(values, 20.0) ** 2)])
    a, b = _around(len(values), from_s, to_s)
    return np.sqrt((added[b] - added[a]) / ((to_s - from_s) * TRAVEL_RATE_HZ))


def _around(
    count: int, from_s: float, to_s: float
) -> tuple[npt.NDArray[np.intp], npt.NDArray[np.intp]]:
    """Return where a stretch beside each of `count` moments begins and ends."""
    at = np.arange(count)
    a, b = (np.clip(at + round(s * TRAVEL_RATE_HZ), 0, count) for s in (from_s, to_s))
    return a, b


def _without_spikes(accel: Samples) -> Samples:
    middle = median_filter(accel.values, size=(3, 1), mode="nearest")
    spike = np.abs(accel.values - middle) > _SPIKE_M_S2
    return replace(accel, values=np.where(spike, middle, accel.values))


def _at(samples: Samples, at_s: FloatArray) -> FloatArray:
    """Return vectors at other moments, (M, 3), the log smoothed to half a step."""
    step_s = float(np.median(np.diff(samples.time_s)))
    values = gaussian_filter1d(samples.values, 0.5 / TRAVEL_RATE_HZ / step_s, axis=0)
    return np.stack([np.interp(at_s, samples.time_s, v) for v in values.T], axis=1)


def _smooth(values: ComplexArray, sigma_s: float) -> ComplexArray:
    """Return complex values smoothed over time."""
    return smooth(values, sigma_s * TRAVEL_RATE_HZ)
