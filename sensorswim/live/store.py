"""Segments on disk: append-only, whole up to the last record whatever happens."""

from __future__ import annotations

import contextlib
import json
import os
from collections import deque
from pathlib import Path
from typing import Any, Final

from sensorswim.formats.radio_log import (
    RADIO_FOLDER,
    Record,
    RecordKind,
    frame_record,
    segment_name,
)

SEGMENT_BYTES: Final = 4_000_000


class SegmentWriter:
    """Appends records of one sensor's log; begins a new segment in each run.

    A record that can't be written (disk full, read only) waits in memory and is tried again with
    the next one or at `sync`; `waiting` counts those.

    Parameters
    ----------
    folder : Path
        Session folder.
    serial, log : int
    segment_bytes : int
        Size at which the next segment begins.
    """

    def __init__(
        self, folder: Path, serial: int, log: int, *, segment_bytes: int = SEGMENT_BYTES
    ) -> None:
        self._folder = folder / RADIO_FOLDER
        self._serial, self._log, self._segment_bytes = serial, log, segment_bytes
        self._file = -1
        self._size = 0
        self._unsynced = False
        self._facts: dict[str, Any] = {}
        self._pending: deque[bytes] = deque()
        self.problem = ""
        """Why the last writing failed, empty where it didn't."""

    @property
    def waiting(self) -> int:
        """How many records aren't on disk."""
        return len(self._pending)

    def note(self, facts: dict[str, Any], arrived_us: int) -> None:
        """Keep facts of the sensor; each segment begins with all of them."""
        self._facts |= facts
        self._append(_note(facts, arrived_us))

    def packet(self, data: bytes, arrived_us: int) -> None:
        """Keep a packet as it came."""
        self._append(
            frame_record(Record(kind=RecordKind.PACKET, arrived_us=arrived_us, payload=data))
        )

    def sync(self) -> None:
        """Try what waits again and put everything on the disk itself."""
        self._drain()
        if self._unsynced and self._file >= 0:
            try:
                os.fdatasync(self._file)
            except OSError as failure:
                self._failed(failure)
            else:
                self._unsynced = False

    def close(self) -> None:
        """Write what can be written and close the segment."""
        self.sync()
        self._close_file()

    def _append(self, framed: bytes) -> None:
        self._pending.append(framed)
        self._drain()

    def _drain(self) -> None:
        while self._pending:
            try:
                self._open_if_needed()
                self._write(self._pending[0])
            except OSError as failure:
                self._failed(failure)
                return
            self._pending.popleft()
        self.problem = ""

    def _write(self, framed: bytes) -> None:
        """Write a record whole, or take back what was written of it."""
        written = 0
        try:
            while written < len(framed):
                written += os.write(self._file, framed[written:])
        except OSError:
            with contextlib.suppress(OSError):
                os.ftruncate(self._file, self._size)
            raise
        self._size += written
        self._unsynced = True

    def _open_if_needed(self) -> None:
        if self._file >= 0 and self._size < self._segment_bytes:
            return
        self._close_file()
        self._folder.mkdir(parents=True, exist_ok=True)
        number = 0
        flags = os.O_WRONLY | os.O_CREAT | os.O_EXCL | os.O_APPEND
        while self._file < 0:
            with contextlib.suppress(FileExistsError):
                name = segment_name(self._serial, self._log, number)
                self._file = os.open(self._folder / name, flags, 0o644)
            number += 1
        self._size = 0
        _sync_folder(self._folder)
        self._write(_note(self._facts, 0))

    def _close_file(self) -> None:
        if self._file >= 0:
            with contextlib.suppress(OSError):
                os.fdatasync(self._file)
            os.close(self._file)
            self._file = -1

    def _failed(self, failure: OSError) -> None:
        self.problem = failure.strerror or "unknown"


def _note(facts: dict[str, Any], arrived_us: int) -> bytes:
    payload = json.dumps(facts).encode()
    return frame_record(Record(kind=RecordKind.NOTE, arrived_us=arrived_us, payload=payload))


def _sync_folder(folder: Path) -> None:
    handle = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)
