"""One clock for all sensors: knocks where there are any, else the movement itself.

Session time is the clock of the first sensor (of its accelerometer), numbers unchanged. Every
other clock has any origin and runs up to 50 ppm fast or slow, so two differ by up to 100 ppm.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import combinations
from typing import Final

import numpy as np
from scipy import stats

from sensorswim.model import ClockFit, Placement, Quality, Severity, Stream
from sensorswim.signal.envelopes import Envelope, Lag, best_lag, lag_in_window, movement_envelope
from sensorswim.signal.knocks import KnockMatch, Shocks, find_shocks, match_knocks

MAX_DRIFT: Final = 1.2e-4
"""Largest difference of two clocks' rates: twice 50 ppm, and a little."""

TYPICAL_DRIFT: Final = 4e-5
"""Standard deviation that is expected of that difference before anything is measured."""

MOVEMENT_FLOOR_S: Final = 0.03
"""Limbs don't start, stop and turn at the same moment: no movement fit is better than this."""

_FAR_APART_S: Final = 120.0
_MIN_CORRELATION: Final = 0.25
_MIN_WINDOW_CORRELATION: Final = 0.6
_WINDOW_S, _HOP_S, _REACH_S = 60.0, 30.0, 1.5
_MIN_SAMPLES: Final = 20
_READING_SHARE: Final = 0.3


@dataclass(frozen=True, kw_only=True)
class _Motion:
    """What is compared of one sensor."""

    envelope: Envelope
    shocks: Shocks
    start_s: float
    end_s: float


@dataclass(frozen=True, kw_only=True)
class _Drift:
    """Difference of two clocks' rates as the movement tells it, and its standard error."""

    value: float
    error: float


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
    lags = [] if coarse is None else _window_lags(first.envelope, second.envelope, coarse.offset_s)
    drift = _drift(lags)
    if matches:
        return _from_one_end(matches, second, drift)
    if coarse is not None:
        return _from_movement(lags, second, coarse, drift)
    overlap_s = min(first.end_s, second.end_s) - max(first.start_s, second.start_s)
    return ClockFit(method="as_logged") if overlap_s > 0.0 else None


def _motion(stream: Stream) -> _Motion | None:
    """Return what is compared of a sensor, None where there is too little."""
    if len(stream.accel) < _MIN_SAMPLES or len(stream.gyro) < _MIN_SAMPLES:
        return None
    return _Motion(
        envelope=movement_envelope(stream),
        shocks=find_shocks(stream),
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


def _from_one_end(matches: list[KnockMatch], second: _Motion, drift: _Drift) -> ClockFit:
    """Return the offset of the knocks with the drift of the movement."""
    middle_s = float(np.mean([m.device_s for m in matches]))
    level_s = float(np.mean([m.offset_s for m in matches]))
    away_s = drift.error * _rms_distance_s(middle_s, second)
    residual_s = float(np.hypot(_READING_SHARE * second.shocks.period_s, away_s))
    return _line(middle_s, level_s, drift.value, "knocks", residual_s)


def _from_movement(
    lags: list[tuple[float, float]], second: _Motion, coarse: Lag, drift: _Drift
) -> ClockFit:
    """Return the median offset of the windows, each brought to the middle by the drift."""
    if not lags:
        return ClockFit(offset_s=coarse.offset_s, method="movement", residual_s=0.25)
    at_s, found_s = np.array(lags).T
    middle_s = float(np.median(at_s))
    level_s = float(np.median(found_s - drift.value * (at_s - middle_s)))
    spread_s = _spread(found_s - drift.value * (at_s - middle_s))
    scatter_s = max(spread_s, 0.05) * 1.25 / np.sqrt(max(1.0, 0.5 * len(lags)))
    ends_s = drift.error * _rms_distance_s(middle_s, second)
    residual_s = float(np.sqrt(scatter_s**2 + MOVEMENT_FLOOR_S**2 + ends_s**2))
    fit = _line(middle_s, level_s, drift.value, "movement", residual_s)
    return _as_logged_if_it_agrees(fit, second)


def _window_lags(first: Envelope, second: Envelope, offset_s: float) -> list[tuple[float, float]]:
    """Return (device time of the second sensor, offset) of every window that tells one."""
    starts_s = np.arange(first.time_s[0], first.time_s[-1] - 0.5 * _WINDOW_S, _HOP_S)
    found = []
    for start_s in starts_s:
        window_s = (float(start_s), float(start_s) + _WINDOW_S)
        lag = lag_in_window(first, second, window_s, offset_s, _REACH_S)
        if lag is not None and lag.correlation > _MIN_WINDOW_CORRELATION:
            found.append((float(start_s) + 0.5 * _WINDOW_S - lag.offset_s, lag.offset_s))
    return found


def _drift(lags: list[tuple[float, float]]) -> _Drift:
    """Return the median slope of the windows' offsets (Theil-Sen), drawn towards none.

    Crystals seldom differ by more than 40 ppm, so a slope counts by its own certainty against
    that: a short or scattered one hardly moves the clock.
    """
    if len(lags) < 6:
        return _Drift(value=0.0, error=TYPICAL_DRIFT)
    at_s, found_s = np.array(lags).T
    slope = float(stats.theilslopes(found_s, at_s)[0])
    spread_s = max(0.05, _spread(found_s - slope * at_s))
    # neighbouring windows share half their data: half as many count
    own = 1.25 * spread_s / (np.std(at_s) * np.sqrt(0.5 * len(lags)))
    share = TYPICAL_DRIFT**2 / (TYPICAL_DRIFT**2 + own**2)
    value = float(np.clip(share * slope, -MAX_DRIFT, MAX_DRIFT))
    return _Drift(value=value, error=float(np.sqrt(share) * own))


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
