"""One clock for all sensors: knocks where there are any, else the movement itself.

Session time is the clock of the first sensor (of its accelerometer), numbers unchanged. Every
other clock has any origin and runs up to 50 ppm fast or slow, so two differ by up to 100 ppm.
On synthetic swims knocks at both ends come to 1 ms; the movement alone comes to 0.1 s more often
than not, but can be 1 to 2 s wrong: its residual says so.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from itertools import combinations
from typing import Final

import numpy as np

from sensorswim.model import ClockFit, Placement, Quality, Severity, Stream
from sensorswim.signal.envelopes import Envelope, Lag, best_lag, movement_envelope, vertex
from sensorswim.signal.knocks import KnockMatch, Shocks, find_shocks, match_knocks
from sensorswim.signal.shakes import SHAKE_RATE_HZ, LagCurves, find_shakes, lag_curves

MAX_DRIFT: Final = 1.2e-4
"""Largest difference of two clocks' rates: twice 50 ppm, and a little."""

TYPICAL_DRIFT: Final = 4e-5
"""Standard deviation that is expected of that difference before anything is measured."""

MOVEMENT_FLOOR_S: Final = 0.04
"""The wall reaches hands and feet at slightly different moments: no fit is better than this."""

RIVAL_S: Final = 0.8
"""What the movement alone is trusted to: on synthetic swims it comes to 0.1 s more often than
not, but in a good part of them a rival fit 1 to 2 s away wins, and the curves don't show it."""

HALF_CYCLE_S: Final = 1.0
"""What the movement as such may be wrong by: left and right arms are half a cycle apart."""

_FAR_APART_S: Final = 120.0
_MIN_CORRELATION: Final = 0.25
_NEAR_S: Final = 0.3
_OWN_PEAK_S: Final = 0.15
_RIVAL_SHARE: Final = 0.9
_MIN_SAMPLES: Final = 20
_READING_SHARE: Final = 0.3


@dataclass(frozen=True, kw_only=True)
class _Motion:
    """What is compared of one sensor."""

    envelope: Envelope
    shocks: Shocks
    stream: Stream
    start_s: float
    end_s: float


@dataclass(frozen=True, kw_only=True)
class _Moved:
    """Two clocks as the movement tells them: offset at a device time, drift, and their errors."""

    middle_s: float
    level_s: float
    level_error_s: float
    drift: float = 0.0
    drift_error: float = TYPICAL_DRIFT


def fit_clocks(streams: dict[Placement, Stream], quality: Quality) -> dict[Placement, ClockFit]:
    """Map every sensor's clock to session time.

    Parameters
    ----------
    streams : dict
        In the order of `session.toml`; the first is the reference.
    quality : Quality
        Gets one row a sensor: `clock_from_knocks`, `clock_from_movement`, `clock_as_logged` or
        `clock_unknown`.

    Returns
    -------
    dict
        A `ClockFit` a placement; a sensor whose place in time can't be told is left out.
    """
    places = list(streams)
    clocks = {places[0]: ClockFit(method="reference", residual_s=0.0)}
    if len(places) == 1:
        return clocks
    first = _motion(streams[places[0]])
    for place in places[1:]:
        fit = None
        if len(streams[place].accel) >= _MIN_SAMPLES and first is not None:
            second = _motion(streams[place])
            fit = None if second is None else fit_pair(first, second)
        _report(place, fit, quality)
        if fit is not None:
            clocks[place] = fit
    return clocks


def fit_pair(first: _Motion, second: _Motion) -> ClockFit | None:
    """Return how the second sensor's clock maps to the first one's, None where it can't be told."""
    coarse = best_lag(first.envelope, second.envelope)
    if coarse is not None and coarse.correlation < _MIN_CORRELATION:
        coarse = None
    matches = _credible(_knock_matches(first, second, coarse), first, second)
    if matches and abs(matches[-1].device_s - matches[0].device_s) > _FAR_APART_S:
        return _from_both_ends(matches, second)
    moved = None if coarse is None else _moved(first, second, coarse)
    if matches:
        return _from_one_end(matches, second, moved)
    if moved is not None:
        return _from_movement(moved, second)
    overlap_s = min(first.end_s, second.end_s) - max(first.start_s, second.start_s)
    return ClockFit(method="as_logged") if overlap_s > 0.0 else None


def _motion(stream: Stream) -> _Motion | None:
    """Return what is compared of a sensor, None where there is too little."""
    if len(stream.accel) < _MIN_SAMPLES or len(stream.gyro) < _MIN_SAMPLES:
        return None
    return _Motion(
        envelope=movement_envelope(stream),
        shocks=find_shocks(stream),
        stream=stream,
        start_s=float(stream.accel.time_s[0]),
        end_s=float(stream.accel.time_s[-1]),
    )


def _knock_matches(first: _Motion, second: _Motion, coarse: Lag | None) -> list[KnockMatch]:
    """Return the knock matches, within a second of the movement's offset where that is known."""
    if coarse is None:
        return match_knocks(first.shocks, second.shocks)
    slack_s = 1.0 + MAX_DRIFT * (second.end_s - second.start_s)
    within_s = (coarse.offset_s - slack_s, coarse.offset_s + slack_s)
    return match_knocks(first.shocks, second.shocks, within_s)


def _credible(matches: list[KnockMatch], first: _Motion, second: _Motion) -> list[KnockMatch]:
    """Return the largest set of knock matches that lie on one clock line.

    Claps at rest and touches of the wall can look like knocks: the line that most matches agree
    on wins, then the one with the most alike shocks.
    """
    tolerance_s = 0.006 + 0.5 * max(first.shocks.period_s, second.shocks.period_s)
    best: list[KnockMatch] = []
    for one, other in [*combinations(matches, 2), *((m, m) for m in matches)]:
        apart_s = other.device_s - one.device_s
        drift = (other.offset_s - one.offset_s) / apart_s if abs(apart_s) > _FAR_APART_S else 0.0
        if abs(drift) > MAX_DRIFT:
            continue
        agreed = [
            m
            for m in matches
            if abs(m.offset_s - one.offset_s - drift * (m.device_s - one.device_s)) < tolerance_s
        ]
        if _weight(agreed) > _weight(best):
            best = agreed
    return best


def _weight(matches: list[KnockMatch]) -> tuple[int, float]:
    """Order sets of matches: by number, then by likeness."""
    return len(matches), sum(m.likeness for m in matches)


def _from_both_ends(matches: list[KnockMatch], second: _Motion) -> ClockFit:
    """Return the straight line through knocks that lie far apart."""
    device_s = np.array([m.device_s for m in matches])
    offset_s = np.array([m.offset_s for m in matches])
    middle_s = float(device_s.mean())
    slope, level = np.polyfit(device_s - middle_s, offset_s, 1)
    left_s = offset_s - level - slope * (device_s - middle_s)
    residual_s = float(np.hypot(_READING_SHARE * second.shocks.period_s, left_s.std()))
    return _line(middle_s, float(level), float(slope), "knocks", residual_s)


def _from_one_end(matches: list[KnockMatch], second: _Motion, moved: _Moved | None) -> ClockFit:
    """Return the offset of the knocks with the drift of the movement."""
    middle_s = float(np.mean([m.device_s for m in matches]))
    level_s = float(np.mean([m.offset_s for m in matches]))
    drift, error = (0.0, TYPICAL_DRIFT) if moved is None else (moved.drift, moved.drift_error)
    away_s = error * _rms_distance_s(middle_s, second)
    residual_s = float(np.hypot(_READING_SHARE * second.shocks.period_s, away_s))
    return _line(middle_s, level_s, drift, "knocks", residual_s)


def _from_movement(moved: _Moved, second: _Motion) -> ClockFit:
    """Return the movement's line, or the clocks as they are where it can't tell them apart."""
    ends_s = moved.drift_error * _rms_distance_s(moved.middle_s, second)
    residual_s = float(np.sqrt(moved.level_error_s**2 + MOVEMENT_FLOOR_S**2 + ends_s**2))
    fit = _line(moved.middle_s, moved.level_s, moved.drift, "movement", residual_s)
    fit = _as_logged_if_it_agrees(fit, second)
    if fit.method != "movement":
        return fit
    return replace(fit, residual_s=float(np.hypot(fit.residual_s, RIVAL_S)))


def _moved(first: _Motion, second: _Motion, coarse: Lag) -> _Moved:
    """Return offset and drift on which the shocks of most windows agree.

    The line is searched that gathers the highest agreement over all windows, each drift charged
    by how unusual it is. Where the limbs are never quiet together, the coarse offset stays,
    which may be half an arm cycle wrong.
    """
    curves = lag_curves(find_shakes(first.stream), find_shakes(second.stream), coarse.offset_s)
    if len(curves.device_s) == 0:
        middle_s = 0.5 * (second.start_s + second.end_s)
        return _Moved(middle_s=middle_s, level_s=coarse.offset_s, level_error_s=HALF_CYCLE_S)
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
    rival_s = _rival_s(curves.offsets_s, summed[best], level_s)
    return _with_errors(curves, middle_s, level_s, float(drifts[best]), rival_s)


def _rival_s(offsets_s: np.ndarray, summed: np.ndarray, level_s: float) -> float:
    """Return how far the best offset lies from another that is nearly as good, 0 without one."""
    away_s = np.abs(offsets_s - level_s)
    rivals = (summed > _RIVAL_SHARE * summed.max()) & (away_s > _OWN_PEAK_S)
    return float(away_s[rivals].max(initial=0.0))


def _drifts_to_try(span_s: float) -> np.ndarray:
    """Return drifts that differ by 20 ms over the windows' span; only 0 where that is short."""
    if span_s < _FAR_APART_S:
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


def _with_errors(
    curves: LagCurves, middle_s: float, level_s: float, drift: float, rival_s: float
) -> _Moved:
    """Return the line with standard errors from how far the windows' own peaks lie off it."""
    line_s = level_s + drift * (curves.device_s - middle_s)
    near = np.abs(curves.offsets_s[None, :] - line_s[:, None]) < _NEAR_S
    peaks_s = curves.offsets_s[np.argmax(np.where(near, curves.score, -np.inf), axis=1)]
    # neighbouring windows share half their data: half as many count
    count = max(1.0, 0.5 * len(line_s))
    error_s = 1.25 * max(0.03, _spread(peaks_s - line_s)) / np.sqrt(count)
    slope_error = error_s / max(float(np.std(curves.device_s)), 1.0)
    return _Moved(
        middle_s=middle_s,
        level_s=level_s,
        level_error_s=float(np.hypot(error_s, 0.5 * rival_s)),
        drift=drift,
        drift_error=float(1.0 / np.hypot(1.0 / slope_error, 1.0 / TYPICAL_DRIFT)),
    )


def _spread(values: np.ndarray) -> float:
    """Return the standard deviation from the median absolute deviation."""
    return 1.4826 * float(np.median(np.abs(values - np.median(values))))


def _rms_distance_s(middle_s: float, second: _Motion) -> float:
    """Return the root mean square distance of a session's moments from one of them."""
    before_s, after_s = middle_s - second.start_s, second.end_s - middle_s
    return float(np.sqrt(np.abs(before_s**3 + after_s**3) / (3.0 * (before_s + after_s))))


def _as_logged_if_it_agrees(fit: ClockFit, second: _Motion) -> ClockFit:
    """Prefer the clocks as they are when the movement can't tell them apart."""
    ends_s = np.array([second.start_s, second.end_s])
    if np.abs(fit.to_session(ends_s) - ends_s).max() > 2.0 * fit.residual_s:
        return fit
    return ClockFit(method="as_logged", residual_s=fit.residual_s)


def _line(
    middle_s: float, level_s: float, drift: float, method: str, residual_s: float
) -> ClockFit:
    """Return the fit with offset `level_s` at device time `middle_s`."""
    return ClockFit(
        offset_s=level_s - drift * middle_s, drift=drift, method=method, residual_s=residual_s
    )


def _report(place: Placement, fit: ClockFit | None, quality: Quality) -> None:
    """Add the row that says how a sensor's clock was found and how well."""
    who = f"The clock of the {place.label} sensor"
    if fit is None:
        text = f"{who} can't be placed in the session (no knocks, no shared movement): left out."
        quality.add("clock_unknown", Severity.LOST, text, placement=place)
    elif np.isnan(fit.residual_s):
        text = f"{who} couldn't be checked against the movement and was taken as logged."
        quality.add("clock_unknown", Severity.DEGRADED, text, placement=place)
    elif fit.method == "knocks":
        text = f"{who} was set by the knocks, good to about {_ms(fit)} ms over the session."
        quality.add("clock_from_knocks", Severity.NOTE, text, placement=place)
    elif fit.method == "movement":
        text = f"{who} was set by the movement, good to about {_ms(fit)} ms; knocks do better."
        quality.add("clock_from_movement", Severity.DEGRADED, text, placement=place)
    else:
        text = f"{who} agrees with the first as logged; the movement tells that to {_ms(fit)} ms."
        quality.add("clock_as_logged", Severity.NOTE, text, placement=place)


def _ms(fit: ClockFit) -> int:
    """Return the residual in whole milliseconds, at least 1."""
    return max(1, round(1000.0 * fit.residual_s))
