"""A sensor in software: takes samples, logs packets, answers commands, sends and resends."""

from __future__ import annotations

from collections import deque
from collections.abc import Callable
from dataclasses import dataclass
from typing import Final

import numpy as np

from sensorswim.errors import PacketError
from sensorswim.formats.radio_control import (
    Answer,
    Command,
    Mode,
    Order,
    Result,
    State,
    decode_command,
    encode_answer,
    encode_state,
)
from sensorswim.formats.radio_packets import (
    MOST_SAMPLES,
    TICK_HZ,
    CountsArray,
    RangeEnd,
    SamplePacket,
    cut,
    encode_range_end,
    encode_samples,
)
from sensorswim.live.emulated.flash import Flash
from sensorswim.live.link import Channel
from sensorswim.model import Placement
from sensorswim.model.streams import FloatArray

ATT_HEAD: Final = 3
BUFFER_S: Final = 2.0
"""Stream packets that couldn't be sent for so long are left to resending."""
STATE_EVERY_S: Final = 2.0
LOG_BYTES: Final = 16_000_000
RATES_HZ: Final = (52, 104, 208)


@dataclass(frozen=True, kw_only=True)
class Motion:
    """What a sensor would read, on its own clock.

    Parameters
    ----------
    time_s : (N,)
        Device time of each sample.
    counts : (N, 6) int16
    rate_hz, accel_range_g, gyro_range_deg_s : int
    """

    time_s: FloatArray
    counts: CountsArray
    rate_hz: int = 104
    accel_range_g: int = 16
    gyro_range_deg_s: int = 2000


def name_of(serial: int) -> str:
    """Return what a sensor of this serial number advertises."""
    return f"SSW-{serial & 0xFFFF:04X}"


class EmulatedDevice:
    """One sensor; `advance` lets it catch up with its own clock.

    Parameters
    ----------
    serial : int
    label : Placement or None
    motion : Motion
    device_s : callable
        Returns device time now, in s.
    mtu : int
        Of the link; small ones have packets cut.
    flash : Flash, optional
        Outlives this object; a log that it holds is gone on with.
    """

    def __init__(
        self,
        serial: int,
        label: Placement | None,
        motion: Motion,
        device_s: Callable[[], float],
        *,
        mtu: int = 247,
        flash: Flash | None = None,
    ) -> None:
        self.serial, self.label, self.motion, self.mtu = serial, label, motion, mtu
        self.mode = Mode.IDLE
        self.log_number = 0
        self.log: list[bytes] = []
        self.oldest = 0
        self.battery_pct = 90
        self.blinking_s = 0
        self.outbox: deque[tuple[Channel, bytes, float]] = deque()
        self._device_s = device_s
        self._next = 0
        self._began_s = 0.0
        self._a_packet = MOST_SAMPLES
        self._stream_on = False
        self._resend: deque[int] = deque()
        self._resend_end: RangeEnd | None = None
        self._cut_number = 0
        self._state_due_s = 0.0
        self._flash = flash
        if flash is not None:
            self._wake(flash)

    @property
    def name(self) -> str:
        """What it advertises."""
        return name_of(self.serial)

    def state(self) -> bytes:
        """Return the state's bytes."""
        self._take_samples()
        used = sum(map(len, self.log[-1:])) * len(self.log)
        return encode_state(
            State(
                mode=self.mode,
                label=self.label,
                log=self.log_number,
                oldest=self.oldest,
                following=len(self.log),
                rate_hz=self.motion.rate_hz,
                accel_range_g=self.motion.accel_range_g,
                gyro_range_deg_s=self.motion.gyro_range_deg_s,
                samples_a_packet=self._a_packet,
                battery_pct=self.battery_pct,
                temperature_c=27.5,
                ticks=self._ticks(),
                free_bytes=max(0, LOG_BYTES - used),
                serial=self.serial,
            )
        )

    def connected(self) -> None:
        """Begin a connection: nothing of an earlier one is sent."""
        self.outbox.clear()
        self._resend.clear()
        self._resend_end = None
        self._stream_on = True
        self._state_due_s = self._device_s() + STATE_EVERY_S

    def disconnected(self) -> None:
        """End a connection; the log goes on."""
        self._stream_on = False
        self.outbox.clear()

    def advance(self) -> None:
        """Take samples up to now and queue what is to be sent."""
        self._take_samples()
        now_s = self._device_s()
        if self._stream_on and now_s >= self._state_due_s:
            self._state_due_s = now_s + STATE_EVERY_S
            self._queue(Channel.STATE, self.state())
        while self.outbox and now_s - self.outbox[0][2] > BUFFER_S:
            self.outbox.popleft()

    def next_notification(self) -> tuple[Channel, bytes] | None:
        """Return what is to be sent next, new samples before resending; None where nothing is."""
        if not self.outbox:
            self._resend_one()
        if not self.outbox:
            return None
        channel, data, _ = self.outbox.popleft()
        return channel, data

    def command(self, data: bytes) -> None:
        """Carry a command out and queue its answer."""
        ticks = self._ticks()
        try:
            command = decode_command(data)
        except PacketError as refusal:
            if refusal.reason == "checksum":
                self._answer(Command(order=data[2], token=data[3]), Result.BAD_CHECKSUM, ticks)
            elif refusal.reason == "length":
                self._answer(Command(order=data[2], token=data[3]), Result.BAD_VALUE, ticks)
            return
        doing: dict[Order, Callable[..., Result]] = {
            Order.START: self._start,
            Order.STOP: self._stop,
            Order.ERASE: self._erase,
            Order.IDENTIFY: self._identify,
            Order.CLOCK: lambda _now_us: Result.DONE,
            Order.RESEND: self._begin_resend,
            Order.LABEL: self._set_label,
        }
        if command.order not in list(Order):
            self._answer(command, Result.UNKNOWN, ticks)
            return
        result = doing[Order(command.order)](*command.values)
        self._answer(command, result, ticks)

    def _wake(self, flash: Flash) -> None:
        """Go on with the log of before; what was to be sampled without power is lost."""
        held = flash.held()
        if held is None:
            return
        self.log_number, self.log = held.log, list(held.packets.values())
        self._began_s, self._a_packet = held.facts["began_s"], held.facts["samples_a_packet"]
        self.mode = Mode.RECORDING if held.facts["recording"] else Mode.IDLE
        self._next = int(np.searchsorted(self.motion.time_s, self._device_s()))
        flash.go_on(held.log, held.facts)

    # --- commands ---

    def _start(self, log: int, rate: int, accel: int, gyro: int, a_packet: int) -> Result:
        if self.mode is not Mode.IDLE or (self.log and log != self.log_number):
            return Result.WRONG_MODE
        wanted = (rate, accel, gyro)
        own = (self.motion.rate_hz, self.motion.accel_range_g, self.motion.gyro_range_deg_s)
        if wanted != own or not 1 <= a_packet <= MOST_SAMPLES:
            return Result.BAD_VALUE
        self.log_number, self._a_packet = log, a_packet
        self.log, self.oldest = [], 0
        self.mode = Mode.RECORDING
        self._began_s = self._device_s()
        self._next = int(np.searchsorted(self.motion.time_s, self._began_s))
        if self._flash is not None:
            facts = {"began_s": self._began_s, "samples_a_packet": a_packet, "recording": True}
            self._flash.begin(log, facts)
        return Result.DONE

    def _stop(self) -> Result:
        if self.mode is Mode.RECORDING:
            self._take_samples()
            last = int(np.searchsorted(self.motion.time_s, self._device_s()))
            if last > self._next:
                self._close_packet(last)
            self.mode = Mode.IDLE
            if self._flash is not None:
                self._flash.note({"recording": False})
            self._queue(Channel.STATE, self.state())
        return Result.DONE

    def _erase(self, log: int) -> Result:
        if self.mode is Mode.RECORDING:
            return Result.WRONG_MODE
        if log != self.log_number:
            return Result.BAD_VALUE
        self.log, self.oldest, self.mode = [], 0, Mode.IDLE
        if self._flash is not None:
            self._flash.erase()
        return Result.DONE

    def _identify(self, seconds: int) -> Result:
        self.blinking_s = seconds
        return Result.DONE

    def _set_label(self, code: int) -> Result:
        if not 1 <= code <= len(Placement):
            return Result.BAD_VALUE
        self.label = list(Placement)[code - 1]
        return Result.DONE

    def _begin_resend(self, log: int, first: int, last: int) -> Result:
        if self._resend_end is not None:
            return Result.BUSY
        if last < first or last - first >= 256:
            return Result.BAD_VALUE
        numbers = range(max(first, self.oldest), min(last + 1, len(self.log)))
        if log != self.log_number or not numbers:
            return Result.NOT_HELD
        self._resend.extend(numbers)
        self._resend_end = RangeEnd(
            log=log,
            first=first,
            last=last,
            sent=len(numbers),
            not_held=last - first + 1 - len(numbers),
        )
        return Result.DONE

    # --- sampling and sending ---

    def _ticks(self) -> int:
        return max(0, round((self._device_s() - self._began_s) * TICK_HZ)) & 0xFFFFFFFF

    def _take_samples(self) -> None:
        if self.mode is not Mode.RECORDING:
            return
        last = int(np.searchsorted(self.motion.time_s, self._device_s()))
        while last - self._next >= self._a_packet:
            self._close_packet(self._next + self._a_packet)

    def _close_packet(self, stop: int) -> None:
        times = self.motion.time_s[self._next : stop] - self._began_s
        first = max(0, round(float(times[0]) * TICK_HZ))
        packet = SamplePacket(
            log=self.log_number,
            number=len(self.log),
            first_ticks=first,
            span_ticks=round(float(times[-1]) * TICK_HZ) - first,
            counts=self.motion.counts[self._next : stop],
        )
        self._next = stop
        self.log.append(encode_samples(packet))
        if self._flash is not None:
            self._flash.packet(self.log[-1])
        if self._stream_on:
            self._queue(Channel.STREAM, self.log[-1])

    def _resend_one(self) -> None:
        if self._resend:
            self._queue(Channel.TRANSFER, self.log[self._resend.popleft()])
        elif self._resend_end is not None:
            self._queue(Channel.TRANSFER, encode_range_end(self._resend_end))
            self._resend_end = None

    def _answer(self, command: Command, result: Result, ticks: int) -> None:
        answer = Answer(order=command.order, token=command.token, result=result, ticks=ticks)
        self._queue(Channel.CONTROL, encode_answer(answer))

    def _queue(self, channel: Channel, data: bytes) -> None:
        now_s = self._device_s()
        parts = [data]
        if len(data) > self.mtu - ATT_HEAD:
            self._cut_number += 1
            parts = cut(data, self._cut_number)
        self.outbox.extend((channel, part, now_s) for part in parts)
