"""What a recorder keeps of the radio: append-only segments, and the logs made of them.

A segment is a run of records; each carries its length and a CRC-32C, so that a file that was torn
by a crash is read up to its last whole record. A recorder never appends to a segment of an earlier
run.
"""

from __future__ import annotations

import json
import struct
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field
from enum import IntEnum
from pathlib import Path
from typing import Any, Final

import crc32c
import numpy as np
import pyarrow as pa
import pyarrow.parquet as pq

from sensorswim.errors import LogError
from sensorswim.formats.radio_packets import (
    COUNTS_FULL_SCALE,
    TICK_HZ,
    CountsArray,
    SamplePacket,
    decode_samples,
)
from sensorswim.model.placement import Placement
from sensorswim.model.streams import FloatArray, Samples, Stream
from sensorswim.model.tables import FORMAT
from sensorswim.units import STANDARD_GRAVITY_M_S2, TO_RAD_S

RADIO_FOLDER: Final = "radio"
SUFFIX: Final = ".seg"
_MAGIC: Final = b"SSWR"
_HEAD: Final = struct.Struct("<4sBBHQ")
_SUM: Final = struct.Struct("<I")


class RecordKind(IntEnum):
    """What a record of a segment holds."""

    NOTE = 1
    """JSON: what is known of the sensor, clock exchanges."""
    PACKET = 2
    """A sample packet, byte for byte as it came."""


_KINDS: Final = frozenset(RecordKind)


@dataclass(frozen=True, kw_only=True)
class Record:
    """One record and when it arrived, in microseconds of the computer's time since 1970."""

    kind: RecordKind
    arrived_us: int
    payload: bytes


@dataclass(frozen=True, kw_only=True)
class Segment:
    """The whole records of a file; `torn_bytes` behind them were never finished."""

    records: list[Record]
    torn_bytes: int


@dataclass(frozen=True, kw_only=True)
class SensorLog:
    """Everything kept of one sensor's log.

    Parameters
    ----------
    facts : dict
        All notes merged, the later ones winning.
    packets : dict
        Packet number -> bytes, each once, in rising order.
    """

    serial: int
    log: int
    facts: dict[str, Any] = field(default_factory=dict)
    packets: dict[int, bytes] = field(default_factory=dict)

    @property
    def placement(self) -> Placement | None:
        """Where it was worn, None where that was never settled."""
        name = self.facts.get("placement")
        return Placement(name) if name else None


def frame_record(record: Record) -> bytes:
    """Return a record's bytes as they go into a segment."""
    head = _HEAD.pack(_MAGIC, record.kind, 0, len(record.payload), record.arrived_us)
    body = head + record.payload
    return body + _SUM.pack(crc32c.crc32c(body))


def read_segment(path: Path) -> Segment:
    """Read a segment up to the first misfit.

    Raises
    ------
    LogError
        The file can't be read at all.
    """
    try:
        data = path.read_bytes()
    except OSError as failure:
        raise LogError(f"can't be read: {failure.strerror}", where=path.name) from failure
    records, used = read_records(data)
    return Segment(records=records, torn_bytes=len(data) - used)


def read_records(data: bytes) -> tuple[list[Record], int]:
    """Return the whole records that bytes begin with, and how many bytes they take."""
    records: list[Record] = []
    at = 0
    while (record := _record_at(data, at)) is not None:
        records.append(record)
        at += _HEAD.size + len(record.payload) + _SUM.size
    return records, at


def _record_at(data: bytes, at: int) -> Record | None:
    """Return the whole record that begins here, None where there is none."""
    if at + _HEAD.size + _SUM.size > len(data):
        return None
    magic, kind, _, length, arrived_us = _HEAD.unpack_from(data, at)
    end = at + _HEAD.size + length
    if magic != _MAGIC or kind not in _KINDS or end + _SUM.size > len(data):
        return None
    if _SUM.unpack_from(data, end)[0] != crc32c.crc32c(data[at:end]):
        return None
    payload = data[at + _HEAD.size : end]
    return Record(kind=RecordKind(kind), arrived_us=arrived_us, payload=payload)


def segment_name(serial: int, log: int, number: int) -> str:
    """Return a segment's file name."""
    return f"{serial:016x}-{log:05d}-{number:04d}{SUFFIX}"


def read_radio(folder: Path) -> list[SensorLog]:
    """Read every segment of a session folder, sensors in the order of their serial numbers."""
    logs: dict[tuple[int, int], tuple[dict[str, Any], dict[int, bytes]]] = {}
    for path in sorted((folder / RADIO_FOLDER).glob(f"*{SUFFIX}")):
        serial, log = int(path.name[:16], 16), int(path.name[17:22])
        facts, packets = logs.setdefault((serial, log), ({}, {}))
        for record in read_segment(path).records:
            if record.kind is RecordKind.NOTE:
                facts.update(json.loads(record.payload))
            else:
                packets.setdefault(decode_samples(record.payload).number, record.payload)
    return [
        SensorLog(serial=serial, log=log, facts=facts, packets=dict(sorted(packets.items())))
        for (serial, log), (facts, packets) in sorted(logs.items())
    ]


@dataclass(frozen=True, kw_only=True)
class Scale:
    """Full scale of a sensor, and where its ticks begin in session time."""

    accel_range_g: float
    gyro_range_deg_s: float
    offset_ticks: int = 0

    @staticmethod
    def of(facts: dict[str, Any]) -> Scale:
        """Return the scale that a sensor's notes tell."""
        return Scale(
            accel_range_g=facts["accel_range_g"],
            gyro_range_deg_s=facts["gyro_range_deg_s"],
            offset_ticks=facts.get("offset_ticks", 0),
        )

    def accel_g(self, counts: CountsArray) -> FloatArray:
        """Return (N, 3) in g: exact, where the range is a power of two."""
        return counts[:, :3].astype(np.float64) * (self.accel_range_g / COUNTS_FULL_SCALE)

    def gyro_deg_s(self, counts: CountsArray) -> FloatArray:
        """Return (N, 3) in deg/s: exact for ranges of whole numbers."""
        return counts[:, 3:].astype(np.float64) * (self.gyro_range_deg_s / COUNTS_FULL_SCALE)

    def time_s(self, ticks: FloatArray) -> FloatArray:
        """Return the times of a log in seconds."""
        return (ticks + self.offset_ticks) / TICK_HZ


def stack(packets: Iterable[SamplePacket]) -> tuple[FloatArray, CountsArray]:
    """Return ticks (N,) and counts (N, 6) of packets in rising order."""
    held = list(packets)
    if not held:
        return np.zeros(0), np.zeros((0, 6), dtype=np.int16)
    sizes = np.array([len(p.counts) for p in held])
    firsts = np.array([p.first_ticks for p in held], dtype=np.float64)
    steps = np.array([p.span_ticks for p in held]) / np.maximum(sizes - 1, 1)
    within = np.arange(sizes.sum()) - np.repeat(np.cumsum(sizes) - sizes, sizes)
    ticks = np.repeat(firsts, sizes) + within * np.repeat(steps, sizes)
    return ticks, np.concatenate([p.counts for p in held])


def to_stream(packets: Iterable[SamplePacket], placement: Placement, scale: Scale) -> Stream:
    """Return packets in rising order as a stream: SI units, sensor frame."""
    ticks, counts = stack(packets)
    time_s = scale.time_s(ticks)
    return Stream(
        placement=placement,
        accel=Samples(time_s=time_s, values=scale.accel_g(counts) * STANDARD_GRAVITY_M_S2),
        gyro=Samples(time_s=time_s, values=scale.gyro_deg_s(counts) * TO_RAD_S["deg_s"]),
        accel_range_m_s2=scale.accel_range_g * STANDARD_GRAVITY_M_S2,
        gyro_range_rad_s=scale.gyro_range_deg_s * TO_RAD_S["deg_s"],
    )


def decoded(log: SensorLog) -> Iterator[SamplePacket]:
    """Return the packets of a kept log in rising order."""
    return (decode_samples(data) for data in log.packets.values())


def write_log(log: SensorLog, path: Path) -> int:
    """Write a kept log as Parquet with the contract's columns; return the number of samples.

    The values are the sensor's counts times full scale over 32768 (in g and deg/s) and its ticks
    over 32768 (in s): exact in binary, so that the counts can be had back bit for bit. The file is
    swapped in whole.
    """
    ticks, counts = stack(decoded(log))
    scale = Scale.of(log.facts)
    columns = {"time_s": scale.time_s(ticks)}
    accel, gyro = scale.accel_g(counts), scale.gyro_deg_s(counts)
    columns |= {f"accel_{axis}_g": accel[:, k] for k, axis in enumerate("xyz")}
    columns |= {f"gyro_{axis}_deg_s": gyro[:, k] for k, axis in enumerate("xyz")}
    table = pa.table(columns).replace_schema_metadata({"format": str(FORMAT)})
    part = path.with_name(f"{path.name}.part")
    pq.write_table(table, part)
    part.replace(path)
    return len(ticks)
