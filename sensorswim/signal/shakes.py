"""Shocks while the limbs are quiet: what two clocks have in common on a fine scale.

Strokes and kicks of two limbs are a part of a cycle apart, and the arm that pulls first also
starts first, so movement as such puts two clocks up to half a cycle wrong. The wall, the push-off
and the plunge reach all limbs at once, in moments when none of them turns much.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Final

import numpy as np
from scipy.ndimage import gaussian_filter1d

from sensorswim.model import ClockFit, Stream
from sensorswim.model.streams import FloatArray
from sensorswim.signal.envelopes import vertex

SHAKE_RATE_HZ: Final = 50.0
LAG_REACH_S: Final = 1.6
"""Half an arm cycle at 20 cycles/min, and a little: as far as the movement may be wrong."""

MAX_DRIFT: Final = 1.2e-4
"""Largest difference of two clocks' rates: twice 50 ppm, and a little."""

TYPICAL_DRIFT: Final = 4e-5
"""Standard deviation that is expected of that difference before anything is measured."""

MOVEMENT_FLOOR_S: Final = 0.05
"""The wall reaches hands and feet at slightly different moments: no fit of all the movement is
better than this."""

ALONE_SHARE: Final = 0.3
"""Shared shocks decide a clock alone where every other offset gathers less than this share of
their agreement; strokes and kicks in step with each other gather more."""

FAR_APART_S: Final = 120.0
"""A drift is not asked of moments closer than that."""

_NEAR_S: Final = 0.3
_WINDOW_S, _HOP_S = 120.0, 60.0
_QUIET_RAD_S: Final = 1.0
_MIN_QUIET_S: Final = 2.0
_HOLE_S: Final = 0.3


@dataclass(frozen=True, kw_only=True)
class Shakes:
    """Log of the high-passed acceleration, and where the limb hardly turns, at 50 Hz.

    Parameters
    ----------
    start_s : float
        Device time of the first value.
    shock : (N,)
        Log of 1 + size in m/s^2.
    quiet : (N,)
        0..1; 0 in gaps.
    """

    start_s: float
    shock: FloatArray
    quiet: FloatArray

    @property
    def time_s(self) -> FloatArray:
        """Device time of each value, (N,)."""
        return self.start_s + np.arange(len(self.shock)) / SHAKE_RATE_HZ


@dataclass(frozen=True, kw_only=True)
class LagCurves:
    """Agreement of two sensors in each window, for each offset.

    Parameters
    ----------
    device_s : (W,)
        Middle of each window on the second sensor's clock.
    offsets_s : (L,)
        Ascending.
    score : (W, L)
        Correlation times the root of the quiet seconds it rests on.
    """

    device_s: FloatArray
    offsets_s: FloatArray
    score: FloatArray


@dataclass(frozen=True, kw_only=True)
class Moved:
    """One clock as the movement tells it: offset at a device time, drift, and their errors.

    `sure` is False where another offset, a second or two away, does nearly as well; `floor_s` is
    what the limbs' own movements leave open, however often they are compared. `paired` says that
    the offset against the other sensor of the limb is sure, if this one isn't.
    """

    middle_s: float
    level_s: float
    level_error_s: float
    drift: float = 0.0
    drift_error: float = TYPICAL_DRIFT
    floor_s: float = MOVEMENT_FLOOR_S
    sure: bool = False
    paired: bool = False

    @property
    def line(self) -> ClockFit:
        """The clock alone."""
        offset_s = self.level_s - self.drift * self.middle_s
        return ClockFit(offset_s=offset_s, drift=self.drift, method="movement")


def find_shakes(stream: Stream) -> Shakes:
    """Return shocks and quiet of one sensor."""
    start_s, stop_s = stream.accel.time_s[[0, -1]]
    at_s = np.arange(start_s, stop_s, 1.0 / SHAKE_RATE_HZ)
    force = np.interp(at_s, stream.accel.time_s, np.linalg.norm(stream.accel.values, axis=1))
    turn = np.interp(at_s, stream.gyro.time_s, np.linalg.norm(stream.gyro.values, axis=1))
    rough = np.abs(force - gaussian_filter1d(force, 0.04 * SHAKE_RATE_HZ))
    still = gaussian_filter1d(turn, 0.25 * SHAKE_RATE_HZ) < _QUIET_RAD_S
    quiet = gaussian_filter1d(still.astype(float), 0.2 * SHAKE_RATE_HZ)
    for index in np.flatnonzero(np.diff(stream.accel.time_s) > _HOLE_S):
        a, b = np.searchsorted(at_s, stream.accel.time_s[[index, index + 1]])
        quiet[a:b] = 0.0
    shock = np.log1p(gaussian_filter1d(rough, 0.03 * SHAKE_RATE_HZ))
    return Shakes(start_s=float(start_s), shock=shock, quiet=quiet)


def lag_curves(first: Shakes, second: Shakes, offset_s: float) -> LagCurves:
    """Return the agreement around a rough offset, in windows of two minutes.

    Parameters
    ----------
    first, second : Shakes
    offset_s : float
        To be added to the second clock to read the first, to about a second.

    Returns
    -------
    LagCurves
        Windows with less than 2 s of shared quiet are left out; W may be 0.
    """
    steps = int(LAG_REACH_S * SHAKE_RATE_HZ)
    width, hop = int(_WINDOW_S * SHAKE_RATE_HZ), int(_HOP_S * SHAKE_RATE_HZ)
    device_s, rows = [], []
    for a in range(0, max(1, len(first.shock) - width // 2), hop):
        b = min(a + width, len(first.shock))
        span = first.start_s - offset_s + np.arange(a - steps, b + steps) / SHAKE_RATE_HZ
        y = np.interp(span, second.time_s, second.shock)
        v = np.interp(span, second.time_s, second.quiet, left=0.0, right=0.0)
        row = _weighted_agreement(first.shock[a:b], first.quiet[a:b], y, v)
        if row is not None:
            device_s.append(span[len(span) // 2])
            rows.append(row[::-1])
    lags_s = np.arange(-steps, steps + 1) / SHAKE_RATE_HZ
    score = np.array(rows).reshape(-1, len(lags_s))
    return LagCurves(device_s=np.array(device_s), offsets_s=offset_s + lags_s, score=score)


def _weighted_agreement(
    x: FloatArray, w: FloatArray, y: FloatArray, v: FloatArray
) -> FloatArray | None:
    """Return the score of x (N,) against every stretch of y (N + 2 steps,), None without quiet."""
    view = np.lib.stride_tricks.sliding_window_view
    both, with_y, with_yy = (view(s, len(x)) for s in (v, v * y, v * y * y))
    total = both @ w
    if total.min() < _MIN_QUIET_S * SHAKE_RATE_HZ:
        return None
    mean_x, mean_y = both @ (w * x) / total, with_y @ w / total
    var_x = both @ (w * x * x) / total - mean_x**2
    var_y = with_yy @ w / total - mean_y**2
    covariance = with_y @ (w * x) / total - mean_x * mean_y
    norm = np.sqrt(np.maximum(var_x * var_y, 1e-12))
    return covariance / norm * np.sqrt(total / SHAKE_RATE_HZ)


def shake_line(curves: LagCurves) -> Moved | None:
    """Return offset and drift on which the shocks of most windows agree, None without windows.

    The line is searched that gathers the highest agreement over all windows, each drift charged
    by how unusual it is.
    """
    if len(curves.device_s) == 0:
        return None
    middle_s, span_s = float(curves.device_s.mean()), float(np.ptp(curves.device_s))
    drifts = _drifts_to_try(span_s)
    summed = [_summed(curves, drift, middle_s) for drift in drifts]
    worth = [
        0.5 * total.max() ** 2 - 0.5 * (d / TYPICAL_DRIFT) ** 2
        for total, d in zip(summed, drifts, strict=True)
    ]
    best = int(np.argmax(worth))
    peak = int(np.argmax(summed[best]))
    level_s = float(curves.offsets_s[peak] + vertex(summed[best], peak) / SHAKE_RATE_HZ)
    line = _with_errors(curves, middle_s, level_s, float(drifts[best]))
    rivals = summed[best][np.abs(curves.offsets_s - level_s) > _NEAR_S]
    return replace(line, sure=bool(rivals.max() < ALONE_SHARE * summed[best][peak]))


def _drifts_to_try(span_s: float) -> np.ndarray:
    """Return drifts that differ by 20 ms over the windows' span; only 0 where that is short."""
    if span_s < FAR_APART_S:
        return np.zeros(1)
    count = int(np.ceil(MAX_DRIFT * span_s / 0.02))
    return np.linspace(-MAX_DRIFT, MAX_DRIFT, 2 * count + 1)


def _summed(curves: LagCurves, drift: float, middle_s: float) -> np.ndarray:
    """Return the windows' agreement added up along a drift, over the root of their number."""
    at_s = curves.offsets_s
    shifts_s = drift * (curves.device_s - middle_s)
    rows = [
        np.interp(at_s + shift, at_s, row)
        for shift, row in zip(shifts_s, curves.score, strict=True)
    ]
    return np.sum(rows, axis=0) / np.sqrt(len(rows))


def _with_errors(curves: LagCurves, middle_s: float, level_s: float, drift: float) -> Moved:
    """Return the line with standard errors from how far the windows' own peaks lie off it."""
    line_s = level_s + drift * (curves.device_s - middle_s)
    near = np.abs(curves.offsets_s[None, :] - line_s[:, None]) < _NEAR_S
    peaks_s = curves.offsets_s[np.argmax(np.where(near, curves.score, -np.inf), axis=1)]
    # neighbouring windows share half their data: half as many count
    count = max(1.0, 0.5 * len(line_s))
    error_s = 1.25 * max(0.03, _spread(peaks_s - line_s)) / np.sqrt(count)
    slope_error = error_s / max(float(np.std(curves.device_s)), 1.0)
    return Moved(
        middle_s=middle_s,
        level_s=level_s,
        level_error_s=float(error_s),
        drift=drift,
        drift_error=float(1.0 / np.hypot(1.0 / slope_error, 1.0 / TYPICAL_DRIFT)),
    )


def _spread(values: np.ndarray) -> float:
    """Return the standard deviation from the median absolute deviation."""
    return 1.4826 * float(np.median(np.abs(values - np.median(values))))
