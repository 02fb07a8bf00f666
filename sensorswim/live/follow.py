"""Follows a recorder's segments as they grow: how any other program sees a session live."""

from __future__ import annotations

import contextlib
import json
import os
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from sensorswim.formats.radio_log import RADIO_FOLDER, SUFFIX, RecordKind, read_records
from sensorswim.formats.radio_packets import SamplePacket, decode_samples


@dataclass
class SensorFollowed:
    """What is known of one sensor so far.

    Parameters
    ----------
    facts : dict
        The notes of its segments, merged: name, placement, ranges, battery, connection.
    fresh : list of SamplePacket
        New packets since `take_fresh` was last called, each number once.
    heard_us : int
        When its newest record was written, by the recorder's clock.
    fresh_us : int or None
        When the oldest of the new packets was, None without one.
    """

    facts: dict[str, Any] = field(default_factory=dict)
    fresh: list[SamplePacket] = field(default_factory=list)
    numbers: set[int] = field(default_factory=set)
    heard_us: int = 0
    fresh_us: int | None = None

    def take_fresh(self) -> list[SamplePacket]:
        """Return the packets since the last call."""
        fresh, self.fresh, self.fresh_us = self.fresh, [], None
        return fresh


class FolderFollower:
    """Reads what is new in a session folder's segments.

    Parameters
    ----------
    folder : Path
    log : int
        The session's log number; segments of other logs are passed over.
    """

    def __init__(self, folder: Path, log: int) -> None:
        self._place, self._log = folder / RADIO_FOLDER, f"-{log:05d}-"
        self._read: dict[str, int] = {}
        self.sensors: dict[int, SensorFollowed] = {}

    def poll(self) -> bool:
        """Read what was appended since the last call; return whether there was anything."""
        grown = self._grown()
        for name in grown:
            self._poll_file(name)
        return bool(grown)

    def _grown(self) -> list[str]:
        with contextlib.suppress(FileNotFoundError), os.scandir(self._place) as entries:
            return sorted(
                entry.name
                for entry in entries
                if entry.name.endswith(SUFFIX)
                and self._log in entry.name
                and entry.stat().st_size > self._read.get(entry.name, 0)
            )
        return []

    def _poll_file(self, name: str) -> None:
        with (self._place / name).open("rb") as file:
            file.seek(self._read.get(name, 0))
            data = file.read()
        sensor = self.sensors.setdefault(int(name[:16], 16), SensorFollowed())
        records, used = read_records(data)
        self._read[name] = self._read.get(name, 0) + used
        for record in records:
            sensor.heard_us = max(sensor.heard_us, record.arrived_us)
            if record.kind is RecordKind.NOTE:
                sensor.facts.update(json.loads(record.payload))
                continue
            packet = decode_samples(record.payload)
            if packet.number not in sensor.numbers:
                sensor.numbers.add(packet.number)
                sensor.fresh.append(packet)
                sensor.fresh_us = min(sensor.fresh_us or record.arrived_us, record.arrived_us)
