"""How a sensor is told what to do and says how it is: commands, answers, state.

Layouts in ``firmware_notes/packets.md``, as for `radio_packets`.
"""

from __future__ import annotations

import struct
from dataclasses import dataclass
from enum import IntEnum, IntFlag
from typing import Final

from sensorswim.errors import PacketError
from sensorswim.formats.radio_packets import VERSION, Kind, seal, unseal
from sensorswim.model.placement import Placement

SERVICE_UUID: Final = "5fa10000-6d3c-4e0b-9c55-2d1f6e8a7b40"
STREAM_UUID: Final = "5fa10001-6d3c-4e0b-9c55-2d1f6e8a7b40"
CONTROL_UUID: Final = "5fa10002-6d3c-4e0b-9c55-2d1f6e8a7b40"
STATE_UUID: Final = "5fa10003-6d3c-4e0b-9c55-2d1f6e8a7b40"
TRANSFER_UUID: Final = "5fa10004-6d3c-4e0b-9c55-2d1f6e8a7b40"
"""Our own 128-bit numbers: the service and its four characteristics."""

LABELS: Final = (None, *Placement)
"""Code of a sensor's own label: 0 for none, then the nine placements in the contract's order."""

_COMMAND: Final = struct.Struct("<BBBB")
_ANSWER: Final = struct.Struct("<BBBBBBI")
_STATE: Final = struct.Struct("<BBBBHHBBHhBBIIIIQ")
_STATE_FIELDS: Final = (
    "version", "kind", "mode", "label", "log", "rate_hz", "accel_range_g", "battery_pct",
    "gyro_range_deg_s", "temperature", "samples_a_packet", "faults", "oldest", "following",
    "ticks", "free_bytes", "serial",
)  # fmt: skip


class Order(IntEnum):
    """What a sensor can be told."""

    START = 1
    STOP = 2
    ERASE = 3
    IDENTIFY = 4
    CLOCK = 5
    RESEND = 6
    LABEL = 7


ARGUMENTS: Final = {
    Order.START: struct.Struct("<HHBHB"),
    Order.STOP: struct.Struct("<"),
    Order.ERASE: struct.Struct("<H"),
    Order.IDENTIFY: struct.Struct("<B"),
    Order.CLOCK: struct.Struct("<Q"),
    Order.RESEND: struct.Struct("<HII"),
    Order.LABEL: struct.Struct("<B"),
}
"""START: log, rate in Hz, accelerometer range in g, gyroscope range in deg/s, samples a packet.
ERASE: log. IDENTIFY: seconds. CLOCK: the computer's time in microseconds. RESEND: log, first and
last packet. LABEL: code of the placement."""


class Result(IntEnum):
    """How a command ended."""

    DONE = 0
    UNKNOWN = 1
    BAD_VALUE = 2
    WRONG_MODE = 3
    BUSY = 4
    NOT_HELD = 5
    BAD_CHECKSUM = 6
    LOG_FULL = 7


class Mode(IntEnum):
    """What a sensor is doing."""

    IDLE = 0
    RECORDING = 1
    FULL = 2
    FAULT = 3


class Fault(IntFlag):
    """What is wrong with a sensor."""

    MOTION = 1
    FLASH = 2
    SAMPLES_LOST = 4
    BATTERY_LOW = 8
    WATER_INSIDE = 16


NO_FAULT: Final = Fault(0)


@dataclass(frozen=True, kw_only=True)
class Command:
    """One order with its numbers; `token` comes back in the answer."""

    order: int
    token: int
    values: tuple[int, ...] = ()


@dataclass(frozen=True, kw_only=True)
class Answer:
    """What became of a command, and the sensor's ticks at its arrival."""

    order: int
    token: int
    result: Result
    ticks: int


@dataclass(frozen=True, kw_only=True)
class State:
    """How a sensor is.

    Parameters
    ----------
    mode : Mode
    label : Placement or None
        Where the sensor itself believes to be worn.
    log, oldest, following : int
        The log it holds, its oldest packet still held, and the number the next packet will get.
    rate_hz, accel_range_g, gyro_range_deg_s, samples_a_packet : int
    battery_pct : int
    temperature_c : float
        To 0.01.
    ticks : int
        Ticks of 1/32768 s since the log began, at the time of sending.
    free_bytes : int
        Room left for the log.
    serial : int
        Of the device, 64 bit, never 0.
    """

    mode: Mode
    label: Placement | None
    log: int
    oldest: int
    following: int
    rate_hz: int
    accel_range_g: int
    gyro_range_deg_s: int
    samples_a_packet: int
    battery_pct: int
    temperature_c: float
    ticks: int
    free_bytes: int
    serial: int
    faults: Fault = NO_FAULT


def encode_command(command: Command) -> bytes:
    """Return a command's bytes, at most 20.

    Raises
    ------
    PacketError
        A number doesn't fit its field, or there are too many or too few.
    """
    layout = ARGUMENTS[Order(command.order)]
    try:
        values = layout.pack(*command.values)
    except struct.error as failure:
        raise PacketError("value", f"numbers of a command: {failure}") from failure
    return seal(_COMMAND.pack(VERSION, Kind.COMMAND, command.order, command.token) + values)


def decode_command(data: bytes) -> Command:
    """Read a command; one that isn't known keeps its number and has no values.

    Raises
    ------
    PacketError
        See `unseal`; ``length`` where the numbers don't fit the order.
    """
    body = unseal(data, Kind.COMMAND, least=_COMMAND.size)
    _, _, order, token = _COMMAND.unpack_from(body)
    if order not in ARGUMENTS:
        return Command(order=order, token=token)
    layout = ARGUMENTS[Order(order)]
    if len(body) != _COMMAND.size + layout.size:
        raise PacketError("length", f"{len(data)} bytes don't fit order {order}")
    return Command(order=order, token=token, values=layout.unpack_from(body, _COMMAND.size))


def encode_answer(answer: Answer) -> bytes:
    """Return an answer's 14 bytes."""
    return seal(
        _ANSWER.pack(
            VERSION, Kind.ANSWER, answer.order, answer.token, answer.result, 0, answer.ticks
        )
    )


def decode_answer(data: bytes) -> Answer:
    """Read an answer; see `unseal` for the errors, and ``value`` for a result not known."""
    body = unseal(data, Kind.ANSWER, least=_ANSWER.size)
    if len(body) != _ANSWER.size:
        raise PacketError("length", f"{len(data)} bytes are no answer")
    _, _, order, token, result, _, ticks = _ANSWER.unpack(body)
    if result not in list(Result):
        raise PacketError("value", f"result {result} isn't known")
    return Answer(order=order, token=token, result=Result(result), ticks=ticks)


def encode_state(state: State) -> bytes:
    """Return a state's 44 bytes."""
    return seal(
        _STATE.pack(
            VERSION,
            Kind.STATE,
            state.mode,
            LABELS.index(state.label),
            state.log,
            state.rate_hz,
            state.accel_range_g,
            state.battery_pct,
            state.gyro_range_deg_s,
            round(100.0 * state.temperature_c),
            state.samples_a_packet,
            state.faults,
            state.oldest,
            state.following,
            state.ticks,
            state.free_bytes,
            state.serial,
        )
    )


def decode_state(data: bytes) -> State:
    """Read a state.

    Raises
    ------
    PacketError
        See `unseal`; ``value`` for a mode or label not known, a battery above 100 %, no range, or
        an oldest packet behind the next.
    """
    body = unseal(data, Kind.STATE, least=_STATE.size)
    if len(body) != _STATE.size:
        raise PacketError("length", f"{len(data)} bytes are no state")
    raw = dict(zip(_STATE_FIELDS, _STATE.unpack(body), strict=True))
    if raw["mode"] > Mode.FAULT or raw["label"] >= len(LABELS) or raw["battery_pct"] > 100:
        raise PacketError("value", "a state that can't be")
    if min(raw["rate_hz"], raw["accel_range_g"], raw["gyro_range_deg_s"]) == 0:
        raise PacketError("value", "a state without rate or range")
    if raw["oldest"] > raw["following"]:
        raise PacketError("value", "the oldest packet lies behind the next")
    return State(
        mode=Mode(raw.pop("mode")),
        label=LABELS[raw.pop("label")],
        temperature_c=raw.pop("temperature") / 100.0,
        faults=Fault(raw.pop("faults")),
        **{name: raw[name] for name in _STATE_FIELDS[2:] if name in raw},
    )
