"""All sensors on one regular grid, with gaps marked and never papered over."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise
from typing import Final

import numpy as np
from scipy import interpolate
from scipy import signal as sps

from sensorswim.model import ClockFit, Placement, Quality, Samples, Severity, Stream, Track
from sensorswim.model.streams import BoolArray, FloatArray

GRID_RATE_HZ: Final = 100.0
"""Rate of the common grid. Hand entries and kicks have nothing of worth above 40 Hz, the usual
kit logs at 100 or 104 Hz (so nothing is thrown away), and 0.01 s is finer than any event bar."""

ANTI_ALIAS_ABOVE_HZ: Final = 120.0
"""Sources faster than this are low-passed before they are thinned out to the grid."""

ANTI_ALIAS_CUTOFF_HZ: Final = 40.0
"""Half-power frequency of the zero-phase filter (4th order Butterworth, forwards and back)."""

LOW_RATE_HZ: Final = 50.0
"""Below this, hand entries and kick peaks are blurred; see the quality row's text."""

_GAP_PERIODS: Final = 2.5
_GAP_ROWS_MAX: Final = 40
_CLOSE_PERIODS: Final = 0.3


@dataclass(frozen=True, kw_only=True)
class Grid:
    """The regular times that every track is brought to.

    Parameters
    ----------
    start_s : float
        Session time of the first sample.
    count : int
        Number of samples.
    rate_hz : float
    """

    start_s: float
    count: int
    rate_hz: float = GRID_RATE_HZ

    @property
    def time_s(self) -> FloatArray:
        """Session time of each sample, (N,)."""
        return self.start_s + np.arange(self.count) / self.rate_hz


def source_rate_hz(time_s: FloatArray) -> float:
    """Return the logging rate: one over the median step; NaN with fewer than two samples."""
    return float(1.0 / np.median(np.diff(time_s))) if len(time_s) > 1 else float("nan")


def session_grid(
    streams: dict[Placement, Stream], clocks: dict[Placement, ClockFit], rate_hz: float
) -> Grid:
    """Return the grid: the first sensor's span, stretched to where most sensors still log.

    Parameters
    ----------
    streams : dict
        In the order of `session.toml`; the first is the reference and its samples are kept
        whole. The others stretch the grid to the median of all starts and of all ends, so that
        a first sensor that dies early doesn't cut the session, and one sensor that was left
        running doesn't fill it with nothing.
    clocks : dict
        Fit of each placement.
    rate_hz : float
        Rate of the grid.
    """
    spans = [
        clocks[place].to_session(stream.accel.time_s[[0, -1]]) for place, stream in streams.items()
    ]
    start_s = min(spans[0][0], float(np.median([span[0] for span in spans])))
    end_s = max(spans[0][1], float(np.median([span[1] for span in spans])))
    lead = int(np.ceil((spans[0][0] - start_s) * rate_hz - 1e-6))
    start_s = float(spans[0][0] - lead / rate_hz)
    return Grid(start_s=start_s, count=int((end_s - start_s) * rate_hz + 1e-6) + 1, rate_hz=rate_hz)


def resample(
    samples: Samples, clock: ClockFit, grid: Grid, max_gap_bridged_s: float
) -> tuple[FloatArray, BoolArray]:
    """Bring one channel group to the grid.

    Faster sources are low-passed (zero phase) per contiguous piece; within a piece a cubic
    spline is read off at the grid's times. Steps longer than 2.5 periods are bridged by straight
    lines, and those longer than the limit are invalid. Where stamps stand unusually close
    together (jitter), straight lines replace the spline, which would overshoot.

    Parameters
    ----------
    samples : Samples
        Device time and values (N, C).
    clock : ClockFit
        Device time to session time.
    grid : Grid
    max_gap_bridged_s : float
        Longest hole that still counts as data, in s.

    Returns
    -------
    values : (M, C)
        Finite everywhere; outside the log the edge values are held.
    valid : (M,) bool
    """
    time_s, at_s = clock.to_session(samples.time_s), grid.time_s
    out = np.empty((grid.count, samples.values.shape[1]))
    if len(time_s) == 0:
        return np.zeros_like(out), np.zeros(grid.count, dtype=bool)
    period_s = 1.0 / source_rate_hz(time_s) if len(time_s) > 1 else 1.0
    steps = np.diff(time_s)
    smooth = _anti_aliased(samples.values, steps, period_s, grid.rate_hz)
    bare = np.ones(grid.count, dtype=bool)
    if len(steps) and steps.min() > _CLOSE_PERIODS * period_s:
        for piece in _pieces(steps, _GAP_PERIODS * period_s):
            bare[_read_spline(out, at_s, time_s[piece], smooth[piece])] = False
    for column, values in enumerate(smooth.T):
        out[bare, column] = np.interp(at_s[bare], time_s, values)
    limit_s = max(max_gap_bridged_s, _GAP_PERIODS * period_s if len(steps) else 0.0)
    return out, _valid(at_s, time_s, limit_s)


def regular_track(stream: Stream, clock: ClockFit, grid: Grid, max_gap_bridged_s: float) -> Track:
    """Return one sensor on the grid; valid where accelerometer and gyroscope both are."""
    motion = _together(stream)
    if motion is None:
        accel, accel_valid = resample(stream.accel, clock, grid, max_gap_bridged_s)
        gyro, gyro_valid = resample(stream.gyro, clock, grid, max_gap_bridged_s)
    else:
        both, accel_valid = resample(motion, clock, grid, max_gap_bridged_s)
        accel, gyro = np.ascontiguousarray(both[:, :3]), np.ascontiguousarray(both[:, 3:])
        gyro_valid = accel_valid
    magn = resample(stream.magn, clock, grid, max_gap_bridged_s)[0] if stream.magn else None
    pressure = (
        resample(stream.pressure, clock, grid, max_gap_bridged_s)[0][:, 0]
        if stream.pressure
        else None
    )
    return Track(
        placement=stream.placement,
        accel_m_s2=accel,
        gyro_rad_s=gyro,
        valid=accel_valid & gyro_valid,
        source_rate_hz=min(_rates_hz(stream)),
        magn_ut=magn,
        pressure_kpa=pressure,
    )


def _together(stream: Stream) -> Samples | None:
    """Return both channel groups as one where their stamps agree: half the work."""
    accel, gyro = stream.accel, stream.gyro
    if not np.array_equal(accel.time_s, gyro.time_s):
        return None
    return Samples(time_s=accel.time_s, values=np.hstack([accel.values, gyro.values]))


def _rates_hz(stream: Stream) -> list[float]:
    """Return the logging rate of each time base of accelerometer and gyroscope."""
    accel_s, gyro_s = stream.accel.time_s, stream.gyro.time_s
    bases = [accel_s] if accel_s is gyro_s else [accel_s, gyro_s]
    return [source_rate_hz(base) for base in bases]


def during(time_s: FloatArray, starts_s: FloatArray, ends_s: FloatArray) -> BoolArray:
    """Return which moments (N,), in order, lie in any of the spans; their ends don't belong."""
    inside = np.zeros(len(time_s), dtype=bool)
    edges = np.searchsorted(time_s, np.stack([starts_s, ends_s]))
    for first, last in edges.T:
        inside[first:last] = True
    return inside


def valid_pieces(valid: BoolArray) -> list[slice]:
    """Return the contiguous valid stretches in order."""
    edges = np.flatnonzero(np.diff(np.concatenate([[False], valid, [False]]).astype(np.int8)))
    return [slice(int(a), int(b)) for a, b in edges.reshape(-1, 2)]


def report_regularity(track: Track, stream: Stream, grid: Grid, quality: Quality) -> None:
    """Add the quality rows of one sensor: gaps, a late start or early end, low rate, jitter."""
    _report_gaps(track, grid, quality)
    _report_rate(track, quality)
    _report_jitter(stream, quality)


def report_rates(tracks: dict[Placement, Track], quality: Quality) -> None:
    """Say when sensors logged at clearly different rates (more than 10 %)."""
    rates = {place: track.source_rate_hz for place, track in tracks.items()}
    if len(rates) < 2 or max(rates.values()) < 1.1 * min(rates.values()):
        return
    listed = ", ".join(f"{place.label} {rate:.0f} Hz" for place, rate in rates.items())
    quality.add(
        "rate_differs",
        Severity.NOTE,
        f"The sensors logged at different rates ({listed}); all were brought to"
        f" {GRID_RATE_HZ:.0f} Hz, and timing is as fine as the slowest sensor it rests on.",
    )


def _anti_aliased(
    values: FloatArray, steps_s: FloatArray, period_s: float, grid_rate_hz: float
) -> FloatArray:
    """Return the values low-passed per contiguous piece, unchanged from slow sources."""
    scale = grid_rate_hz / GRID_RATE_HZ
    if 1.0 / period_s <= ANTI_ALIAS_ABOVE_HZ * scale:
        return values
    sos = sps.butter(4, ANTI_ALIAS_CUTOFF_HZ * scale, fs=1.0 / period_s, output="sos")
    out = values.copy()
    for piece in _pieces(steps_s, _GAP_PERIODS * period_s):
        length = piece.stop - piece.start
        if length > 3:
            pad = min(length - 1, int(0.1 / period_s))
            out[piece] = sps.sosfiltfilt(sos, values[piece], axis=0, padlen=pad)
    return out


def _pieces(steps_s: FloatArray, limit_s: float) -> list[slice]:
    """Cut sample numbers where a step is longer than the limit."""
    cuts = np.concatenate([[0], np.flatnonzero(steps_s > limit_s) + 1, [len(steps_s) + 1]])
    return [slice(int(a), int(b)) for a, b in pairwise(cuts)]


def _read_spline(
    out: FloatArray, at_s: FloatArray, time_s: FloatArray, values: FloatArray
) -> slice:
    """Write a cubic spline through a piece into `out`; return the rows that it reaches.

    Needs four samples; with fewer it reaches none.
    """
    if len(time_s) < 4:
        return slice(0, 0)
    rows = slice(*np.searchsorted(at_s, time_s[[0, -1]]).tolist())
    if rows.stop > rows.start:
        out[rows] = interpolate.make_interp_spline(time_s, values, k=3)(at_s[rows])
    return rows


def _valid(at_s: FloatArray, time_s: FloatArray, limit_s: float) -> BoolArray:
    """Return where the grid lies inside the log and not in a step longer than the limit."""
    slack = 1e-9 + 1e-12 * abs(time_s[-1])
    valid = (at_s >= time_s[0] - slack) & (at_s <= time_s[-1] + slack)
    for index in np.flatnonzero(np.diff(time_s) > limit_s + slack):
        first = np.searchsorted(at_s, time_s[index] + slack, side="right")
        last = np.searchsorted(at_s, time_s[index + 1] - slack)
        valid[first:last] = False
    return valid


def _report_gaps(track: Track, grid: Grid, quality: Quality) -> None:
    """One row a gap, the longest ones only where there are very many."""
    pieces, place = valid_pieces(track.valid), track.placement
    if not pieces:
        return
    gaps = [(a.stop, b.start) for a, b in pairwise(pieces)]
    shown = sorted(sorted(gaps, key=lambda g: g[0] - g[1])[:_GAP_ROWS_MAX])
    _report_edges(pieces[0].start, pieces[-1].stop, track, grid, quality)
    for start, stop in shown:
        start_s, end_s = (grid.start_s + i / grid.rate_hz for i in (start - 1, stop))
        quality.add(
            "gap",
            Severity.DEGRADED,
            f"The {place.label} sensor logged nothing for {end_s - start_s:.1f} s;"
            " none of its own figures spans the gap.",
            placement=place,
            start_s=start_s,
            end_s=end_s,
        )
    if len(gaps) > len(shown):
        total_s = sum(b - a for a, b in gaps) / grid.rate_hz
        quality.add(
            "gaps_many",
            Severity.DEGRADED,
            f"The {place.label} sensor has {len(gaps)} gaps, {total_s:.0f} s in all;"
            f" only the {len(shown)} longest are listed.",
            placement=place,
        )


def _report_edges(first: int, stop: int, track: Track, grid: Grid, quality: Quality) -> None:
    """Say when a sensor starts later or ends earlier than the session by more than 2 s."""
    place, rate_hz = track.placement, grid.rate_hz
    begin_s, end_s = grid.start_s + first / rate_hz, grid.start_s + stop / rate_hz
    last_s = grid.start_s + grid.count / rate_hz
    if begin_s - grid.start_s > 2.0:
        quality.add(
            "gap",
            Severity.DEGRADED,
            f"The {place.label} sensor starts {begin_s - grid.start_s:.0f} s into the session.",
            placement=place,
            start_s=grid.start_s,
            end_s=begin_s,
        )
    if last_s - end_s > 2.0:
        quality.add(
            "gap",
            Severity.DEGRADED,
            f"The {place.label} sensor stops {last_s - end_s:.0f} s before the session ends.",
            placement=place,
            start_s=end_s,
            end_s=last_s,
        )


def _report_rate(track: Track, quality: Quality) -> None:
    """Say what a low rate costs."""
    rate_hz = track.source_rate_hz
    if not rate_hz < LOW_RATE_HZ - 1.0:
        return
    quality.add(
        "low_rate",
        Severity.DEGRADED,
        f"The {track.placement.label} sensor logged at {rate_hz:.0f} Hz: hand entries and kick"
        f" peaks are known to about {500.0 / rate_hz:.0f} ms only, and quick kicks read too low.",
        placement=track.placement,
    )


def _report_jitter(stream: Stream, quality: Quality) -> None:
    """Say when time stamps wander by more than a third of a sample period."""
    steps = np.diff(stream.accel.time_s)
    if len(steps) < 10:
        return
    period_s = float(np.median(steps))
    spread_s = 1.4826 * float(np.median(np.abs(steps - period_s)))
    if spread_s > period_s / 3.0:
        quality.add(
            "time_jitter",
            Severity.NOTE,
            f"The time stamps of the {stream.placement.label} sensor wander by about"
            f" {1000.0 * spread_s:.0f} ms from sample to sample; timing is no finer than that.",
            placement=stream.placement,
        )
