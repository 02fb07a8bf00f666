"""What an emulated sensor keeps when its power goes: its log, and how it was recording."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from sensorswim.formats.radio_log import RADIO_FOLDER, SUFFIX, SensorLog, read_radio
from sensorswim.live.store import SegmentWriter


class Flash:
    """One sensor's memory, kept in segments such as a recorder writes.

    Parameters
    ----------
    folder : Path
        Of all sensors of a rehearsal.
    serial : int
    """

    def __init__(self, folder: Path, serial: int) -> None:
        self._folder, self._serial = folder, serial
        self._writer: SegmentWriter | None = None

    def held(self) -> SensorLog | None:
        """Return the log that was being recorded or waits to be fetched, None where none is."""
        logs = [log for log in read_radio(self._folder) if log.serial == self._serial]
        return logs[-1] if logs else None

    def begin(self, log: int, facts: dict[str, Any]) -> None:
        """Empty the memory and begin a log."""
        self.erase()
        self.go_on(log, facts)

    def go_on(self, log: int, facts: dict[str, Any]) -> None:
        """Go on with a log after power came back."""
        self._writer = SegmentWriter(self._folder, self._serial, log)
        self._writer.note(facts, 0)

    def note(self, facts: dict[str, Any]) -> None:
        """Keep what changed about the log."""
        if self._writer is not None:
            self._writer.note(facts, 0)

    def packet(self, data: bytes) -> None:
        """Keep a packet."""
        if self._writer is not None:
            self._writer.packet(data, 0)

    def erase(self) -> None:
        """Empty the memory."""
        if self._writer is not None:
            self._writer.close()
            self._writer = None
        for path in (self._folder / RADIO_FOLDER).glob(f"{self._serial:016x}-*{SUFFIX}"):
            path.unlink()
