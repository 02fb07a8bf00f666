"""From the sensors' own logs to a recording: one clock, one regular grid."""

from __future__ import annotations

from sensorswim.errors import LogError
from sensorswim.model import (
    ClockFit,
    Placement,
    Quality,
    Recording,
    Session,
    Settings,
    Severity,
    Stream,
)
from sensorswim.signal.clocks import fit_clocks
from sensorswim.signal.regular import (
    GRID_RATE_HZ,
    regular_track,
    report_rates,
    report_regularity,
    session_grid,
)


def prepare(
    session: Session,
    streams: dict[Placement, Stream],
    settings: Settings,
    quality: Quality,
    *,
    clocks: dict[Placement, ClockFit] | None = None,
) -> Recording:
    """Bring all sensors to session time and to one regular grid.

    Parameters
    ----------
    session : Session
        Its order of sensors decides which clock is session time.
    streams : dict
        The logs, SI units, each on its own clock. Sensors without two samples of each kind are
        left out and reported.
    settings : Settings
        `max_gap_bridged_s` is used.
    quality : Quality
        Gets rows on clocks, gaps, rates and jitter.
    clocks : dict, optional
        Clocks that are known already, of every stream; fitted here where left out.

    Returns
    -------
    Recording
        At 100 Hz, without orientation.

    Raises
    ------
    LogError
        No sensor has data.
    """
    usable = _usable(session, streams, quality)
    if clocks is None:
        clocks = fit_clocks(usable, quality)
    kept = {place: usable[place] for place in clocks if place in usable}
    grid = session_grid(kept, clocks, GRID_RATE_HZ)
    tracks = {}
    for place, stream in kept.items():
        track = regular_track(stream, clocks[place], grid, settings.max_gap_bridged_s)
        if not track.valid.any():
            _lost(place, "has no data within the session and was left out", quality)
            continue
        report_regularity(track, stream, grid, quality)
        tracks[place] = track
    report_rates(tracks, quality)
    return Recording(rate_hz=grid.rate_hz, time_s=grid.time_s, tracks=tracks, clocks=clocks)


def _usable(
    session: Session, streams: dict[Placement, Stream], quality: Quality
) -> dict[Placement, Stream]:
    """Return the streams with data, in the session's order."""
    listed = [sensor.placement for sensor in session.sensors if sensor.placement in streams]
    order = [*listed, *(place for place in streams if place not in listed)]
    usable = {}
    for place in order:
        if min(len(streams[place].accel), len(streams[place].gyro)) < 2:
            _lost(place, "holds no data and was left out", quality)
        else:
            usable[place] = streams[place]
    if not usable:
        raise LogError("no sensor holds any data", mend="check that the loggers were recording")
    return usable


def _lost(place: Placement, what: str, quality: Quality) -> None:
    """Say that a sensor is missing from the result."""
    quality.add("sensor_lost", Severity.LOST, f"The {place.label} sensor {what}.", placement=place)
