"""What a sensor sends, byte by byte: sample packets, pieces of them, and the end of a resending.

The layouts are described for firmware engineers in ``firmware_notes/packets.md``; its example
bytes are the tests of this module and of the C reference beside it. All numbers are little-endian.
"""

from __future__ import annotations

import struct
from dataclasses import dataclass
from enum import IntEnum, IntFlag
from typing import Final

import crc32c
import numpy as np
import numpy.typing as npt

from sensorswim.errors import PacketError
from sensorswim.model.streams import FloatArray

CountsArray = npt.NDArray[np.int16]

VERSION: Final = 1
TICK_HZ: Final = 32768
"""Rate of a sensor's own clock: a watch crystal's."""
MOST_SAMPLES: Final = 13
"""In one packet: 176 bytes, which fit an MTU of 185."""
PIECE_BYTES: Final = 14
"""Bytes of a packet in one piece, so that a piece fits the smallest MTU of 23."""
COUNTS_FULL_SCALE: Final = 32768
"""A reading of this size (in counts) would be the range's end."""

_HEAD: Final = struct.Struct("<BBBBHHII")
_PIECE: Final = struct.Struct("<BBBBH")
_RANGE_END: Final = struct.Struct("<BBHIIHH")
_SUM: Final = struct.Struct("<I")


class Kind(IntEnum):
    """The second byte of every packet."""

    SAMPLES = 1
    PIECE = 2
    RANGE_END = 3
    STATE = 16
    ANSWER = 17
    COMMAND = 18


class SampleFlag(IntFlag):
    """What a sample packet says of its own samples."""

    ACCEL_CLIPPED = 1
    GYRO_CLIPPED = 2
    LOST_BEFORE = 4
    """The sensor itself lost samples between the packet before and this one."""


NO_FLAG: Final = SampleFlag(0)


@dataclass(frozen=True, kw_only=True)
class SamplePacket:
    """Readings of one sensor that follow each other evenly.

    Parameters
    ----------
    log : int
        Number of the recording, 16 bit; set by the start command.
    number : int
        Of the packet within its log, from 0, 32 bit: what tells a packet from all others.
    first_ticks : int
        When the first sample was taken: ticks of 1/32768 s since the log began.
    span_ticks : int
        From the first sample to the last; 0 with a single one.
    counts : (N, 6) int16
        Accelerometer x y z, gyroscope x y z, N from 1 to 13.
    flags : SampleFlag
    """

    log: int
    number: int
    first_ticks: int
    span_ticks: int
    counts: CountsArray
    flags: SampleFlag = NO_FLAG

    @property
    def ticks(self) -> FloatArray:
        """When each sample was taken, in ticks since the log began, (N,)."""
        steps = max(1, len(self.counts) - 1)
        ticks = self.first_ticks + np.arange(len(self.counts)) * (self.span_ticks / steps)
        return ticks.astype(np.float64)


@dataclass(frozen=True, kw_only=True)
class Piece:
    """A part of any packet, for links whose packets are too small for the whole."""

    index: int
    pieces: int
    number: int
    data: bytes


@dataclass(frozen=True, kw_only=True)
class RangeEnd:
    """The sensor has sent what it holds of the packets `first` to `last` of a log."""

    log: int
    first: int
    last: int
    sent: int
    not_held: int


def seal(body: bytes) -> bytes:
    """Return the bytes with their CRC-32C (Castagnoli, RFC 3720) behind them."""
    return body + _SUM.pack(crc32c.crc32c(body))


def unseal(data: bytes, kind: Kind, *, least: int) -> bytes:
    """Check version, kind and checksum of a packet and return it without its checksum.

    Raises
    ------
    PacketError
        Its `reason` is ``short``, ``version``, ``kind`` or ``checksum``, looked for in this order.
    """
    if len(data) < least + _SUM.size:
        raise PacketError("short", f"{len(data)} bytes are too few")
    if data[0] != VERSION:
        raise PacketError("version", f"version {data[0]} isn't known", mend="update sensorswim")
    if data[1] != kind:
        raise PacketError("kind", f"kind {data[1]} where {int(kind)} was expected")
    body = data[: -_SUM.size]
    if _SUM.unpack(data[-_SUM.size :])[0] != crc32c.crc32c(body):
        raise PacketError("checksum", "the checksum doesn't fit")
    return body


def encode_samples(packet: SamplePacket) -> bytes:
    """Return a sample packet's bytes, 20 + 12 N of them.

    Raises
    ------
    PacketError
        No samples, or more than 13.
    """
    count = len(packet.counts)
    _check_count(count, packet.span_ticks)
    head = _HEAD.pack(
        VERSION,
        Kind.SAMPLES,
        count,
        packet.flags,
        packet.log,
        packet.span_ticks,
        packet.number,
        packet.first_ticks,
    )
    return seal(head + packet.counts.astype("<i2").tobytes())


def decode_samples(data: bytes) -> SamplePacket:
    """Read a sample packet.

    Raises
    ------
    PacketError
        It isn't a whole sample packet of this version; `reason` says why.
    """
    body = unseal(data, Kind.SAMPLES, least=_HEAD.size)
    _, _, count, flags, log, span_ticks, number, first_ticks = _HEAD.unpack_from(body)
    _check_count(count, span_ticks)
    if len(body) != _HEAD.size + 12 * count:
        raise PacketError("length", f"{len(data)} bytes don't hold {count} samples")
    counts = np.frombuffer(body, dtype="<i2", offset=_HEAD.size).astype(np.int16).reshape(-1, 6)
    return SamplePacket(
        log=log,
        number=number,
        first_ticks=first_ticks,
        span_ticks=span_ticks,
        counts=counts,
        flags=SampleFlag(flags),
    )


def _check_count(count: int, span_ticks: int) -> None:
    if not 1 <= count <= MOST_SAMPLES:
        raise PacketError("value", f"{count} samples in a packet", mend="send 1 to 13")
    if (count == 1) != (span_ticks == 0):
        raise PacketError("value", f"a span of {span_ticks} ticks over {count} samples")


def encode_range_end(end: RangeEnd) -> bytes:
    """Return the 20 bytes that end a resending."""
    return seal(
        _RANGE_END.pack(
            VERSION, Kind.RANGE_END, end.log, end.first, end.last, end.sent, end.not_held
        )
    )


def decode_range_end(data: bytes) -> RangeEnd:
    """Read the end of a resending; see `unseal` for the errors."""
    body = unseal(data, Kind.RANGE_END, least=_RANGE_END.size)
    if len(body) != _RANGE_END.size:
        raise PacketError("length", f"{len(data)} bytes aren't the end of a range")
    _, _, log, first, last, sent, not_held = _RANGE_END.unpack(body)
    if last < first:
        raise PacketError("value", f"the range {first} to {last} runs backwards")
    return RangeEnd(log=log, first=first, last=last, sent=sent, not_held=not_held)


def cut(data: bytes, number: int) -> list[bytes]:
    """Cut a whole packet into pieces of at most 20 bytes.

    Parameters
    ----------
    data : bytes
        A packet with its checksum.
    number : int
        A count that goes up by one with each packet that is cut, 16 bit.
    """
    parts = [data[i : i + PIECE_BYTES] for i in range(0, len(data), PIECE_BYTES)]
    heads = (
        _PIECE.pack(VERSION, Kind.PIECE, index, len(parts), number & 0xFFFF)
        for index in range(len(parts))
    )
    return [head + part for head, part in zip(heads, parts, strict=True)]


def decode_piece(data: bytes) -> Piece:
    """Read one piece; it has no checksum of its own, the whole has.

    Raises
    ------
    PacketError
        Too short or long, of another version or kind, or an index beyond the pieces' number.
    """
    if not _PIECE.size < len(data) <= _PIECE.size + PIECE_BYTES:
        raise PacketError("short", f"{len(data)} bytes are no piece")
    version, kind, index, pieces, number = _PIECE.unpack_from(data)
    if version != VERSION:
        raise PacketError("version", f"version {version} isn't known", mend="update sensorswim")
    if kind != Kind.PIECE:
        raise PacketError("kind", f"kind {kind} where a piece was expected")
    if index >= pieces:
        raise PacketError("value", f"piece {index} of {pieces}")
    return Piece(index=index, pieces=pieces, number=number, data=data[_PIECE.size :])


class Joiner:
    """Puts pieces together again; whole packets pass through.

    Pieces of a packet follow each other; a missing one loses the packet, which the recorder
    then asks for again.
    """

    def __init__(self) -> None:
        self._number = -1
        self._parts: list[bytes] = []

    def feed(self, data: bytes) -> bytes | None:
        """Take what one notification brought; return a whole packet as soon as there is one.

        Raises
        ------
        PacketError
            A piece that can't be read.
        """
        if len(data) < 2 or data[1] != Kind.PIECE:
            return data
        piece = decode_piece(data)
        if piece.index == 0:
            self._number, self._parts = piece.number, []
        if piece.number != self._number or piece.index != len(self._parts):
            self._number, self._parts = -1, []
            return None
        self._parts.append(piece.data)
        return b"".join(self._parts) if len(self._parts) == piece.pieces else None
