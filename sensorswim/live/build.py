"""From a recorder's segments to an ordinary session folder."""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

from sensorswim.errors import SessionError
from sensorswim.formats.radio_log import SensorLog, decoded, read_radio, write_log
from sensorswim.formats.radio_packets import TICK_HZ
from sensorswim.formats.recording_json import RecordingFacts, read_recording
from sensorswim.formats.session_toml import SESSION_FILE, read_session
from sensorswim.formats.session_write import write_session
from sensorswim.model import Placement, Quality, SensorFile, Session


@dataclass(frozen=True, kw_only=True)
class Built:
    """What a session folder was built of.

    Parameters
    ----------
    samples : dict
        Number of samples in each placement's log.
    missing_packets : dict
        Packets that the sensor said it took and that never came.
    unplaced : tuple of int
        Serial numbers of sensors whose place on the body isn't known; they are left out.
    """

    samples: dict[Placement, int]
    missing_packets: dict[Placement, int]
    unplaced: tuple[int, ...] = ()


def build_session(folder: Path) -> Built:
    """Write the logs and session.toml from the segments; can be done again at any time.

    Files are swapped in whole, and blocks, videos and other keys of a session.toml that is there
    already stay.

    Raises
    ------
    SessionError
        Nothing was recorded here, or no sensor with a known place has sent anything.
    """
    facts = read_recording(folder)
    if facts is None:
        raise SessionError("nothing was recorded here", where=str(folder), mend="see 'record'")
    logs = [log for log in read_radio(folder) if log.log == facts.log and log.packets]
    placed = _placed(logs, facts)
    if not placed:
        raise SessionError(
            "no sensor with a known place has sent anything", where=str(folder),
            mend="check the sensors' labels",
        )  # fmt: skip
    first = next(iter(placed.values()))
    samples, missing = {}, {}
    for placement, log in placed.items():
        offset = offset_ticks(log.facts, first.facts)
        aligned = replace(log, facts=log.facts | {"offset_ticks": offset})
        samples[placement] = write_log(aligned, _log_path(folder, placement))
        known = max(log.facts.get("following", 0), max(log.packets) + 1)
        missing[placement] = known - len(log.packets)
    write_session(_session(folder, facts, placed, first), folder)
    unplaced = tuple(log.serial for log in logs if log.placement is None)
    return Built(samples=samples, missing_packets=missing, unplaced=unplaced)


def offset_ticks(facts: dict[str, Any], first: dict[str, Any]) -> int:
    """Return where a sensor's ticks begin on the first sensor's clock, by the radio's exchange."""
    later_us = facts.get("began_us", 0) - first.get("began_us", 0)
    return round(later_us * TICK_HZ / 1_000_000)


def session_time_s(first: dict[str, Any], now_us: int) -> float | None:
    """Return session time at a moment of the computer's clock, by the last clock exchange.

    Parameters
    ----------
    first : dict
        What is known of the session's first sensor.
    now_us : int
        Microseconds since 1970.

    Returns
    -------
    float or None
        None before that sensor has started.
    """
    if "began_us" not in first:
        return None
    known_us = first.get("clock_us", first["began_us"])
    return float(first.get("clock_ticks", 0) / TICK_HZ + 1e-6 * (now_us - known_us))


def _placed(logs: list[SensorLog], facts: RecordingFacts) -> dict[Placement, SensorLog]:
    """Return the logs by placement: the session's clock first, then in the contract's order."""
    by_place = {log.placement: log for log in logs if log.placement is not None}
    order = list(Placement)
    ranked = sorted(
        by_place, key=lambda place: (by_place[place].serial != facts.reference, order.index(place))
    )
    return {place: by_place[place] for place in ranked}


def _log_path(folder: Path, placement: Placement) -> Path:
    return folder / f"{placement}.parquet"


def _session(
    folder: Path, facts: RecordingFacts, placed: dict[Placement, SensorLog], first: SensorLog
) -> Session:
    before = next(decoded(first)).first_ticks / TICK_HZ
    began = datetime.fromtimestamp(first.facts.get("began_us", 0) / 1e6, UTC)
    files = tuple(
        SensorFile(
            placement=placement,
            file=_log_path(folder, placement),
            accel_range_g=float(log.facts["accel_range_g"]),
            gyro_range_deg_s=float(log.facts["gyro_range_deg_s"]),
        )
        for placement, log in placed.items()
    )
    new = Session(
        folder=folder,
        started_at=began + timedelta(seconds=before),
        swimmer=facts.swimmer,
        pool_length_m=facts.pool_length_m,
        sensors=files,
        height_m=facts.height_m,
        session_id=facts.session_id,
        extra=dict(facts.extra),
    )
    if not (folder / SESSION_FILE).exists():
        return new
    held = read_session(folder, Quality())
    return replace(held, started_at=new.started_at, sensors=files)
