"""One sensor at the poolside: connected for ever again, asked for whatever is missing."""

from __future__ import annotations

import asyncio
import contextlib
import random
from collections.abc import Awaitable, Callable
from dataclasses import dataclass
from typing import Any, Final, TypeVar

from sensorswim.errors import PacketError, SensorswimError
from sensorswim.formats.radio_control import (
    Answer,
    Command,
    Mode,
    Order,
    Result,
    State,
    decode_answer,
    decode_state,
    encode_command,
)
from sensorswim.formats.radio_packets import TICK_HZ, Joiner, Kind, decode_range_end
from sensorswim.live.book import SensorBook
from sensorswim.live.clock import HostClock
from sensorswim.live.link import Channel, Link, LinkLostError
from sensorswim.model.placement import Placement

Told = TypeVar("Told")
ANSWER_S: Final = 3.0
"""A command not answered within this time means a dead link."""
SILENCE_S: Final = 6.0
"""A sensor tells its state every 2 s; after three misses the link counts as lost."""
CLOCK_EVERY_S: Final = 60.0
BACK_OFF_S: Final = (0.25, 5.0)
"""First and longest wait before the next try to connect (radio at a pool, no source)."""
RANGE_PACKETS: Final = 256
RESEND_S: Final = 10.0
"""A resending that brought nothing for so long is asked for again."""


@dataclass(frozen=True, kw_only=True)
class StartOrder:
    """How sensors are to record."""

    log: int
    rate_hz: int = 104
    accel_range_g: int = 16
    gyro_range_deg_s: int = 2000
    samples_a_packet: int = 13
    erase: bool = False
    """Stop and erase a log of another session that a sensor still holds."""

    @property
    def values(self) -> tuple[int, ...]:
        """The numbers of the start command."""
        return (
            self.log,
            self.rate_hz,
            self.accel_range_g,
            self.gyro_range_deg_s,
            self.samples_a_packet,
        )


@dataclass(kw_only=True)
class _Resending:
    first: int
    last: int
    heard_s: float


class SensorTask:
    """Keeps one sensor recording and fetches everything it took.

    Parameters
    ----------
    link : Link
    clock : HostClock
    book_for : callable
        Makes or finds the sensor's `SensorBook` once its serial number is known.
    order : StartOrder
    tell : callable
        Called with one line for people when something changes.
    """

    def __init__(
        self,
        link: Link,
        clock: HostClock,
        book_for: Callable[[State], SensorBook],
        order: StartOrder,
        tell: Callable[[str], None] = lambda _line: None,
    ) -> None:
        self.link, self.order = link, order
        self.state: State | None = None
        self.book: SensorBook | None = None
        self.connected = False
        self.heard_s = float("-inf")
        self.connections = 0
        self.refused: SensorswimError | None = None
        self._clock, self._book_for, self._tell = clock, book_for, tell
        self._joiners = {channel: Joiner() for channel in Channel}
        self._answers: dict[int, asyncio.Future[Answer]] = {}
        self._early: list[tuple[bytes, int]] = []
        """What came before it was known whose it is, and when."""
        self._token = 0
        self._resending: _Resending | None = None
        self._gone = asyncio.Event()
        self._wake = asyncio.Event()
        self._clock_due_s = float("-inf")
        self._stopping = False
        self._stopped = False

    async def run(self) -> None:
        """Connect, record, fetch; return when told to finish and nothing is missing any more."""
        back_off_s = BACK_OFF_S[0]
        while self.refused is None:
            before = self.connections
            try:
                if await self._one_connection():
                    return
            except (LinkLostError, PacketError):
                pass
            except SensorswimError as refusal:
                self.refused = refusal
            finally:
                await self._let_go()
            back_off_s = BACK_OFF_S[0] if self.connections > before else back_off_s
            await self._clock.sleep(back_off_s * random.uniform(0.7, 1.3))
            back_off_s = min(2.0 * back_off_s, BACK_OFF_S[1])

    def finish(self) -> None:
        """Stop the sensor at the next chance, fetch the rest, and then end `run`."""
        self._stopping = True

    async def identify(self, seconds: int = 5) -> None:
        """Let the sensor blink."""
        await self._order(Order.IDENTIFY, seconds)

    async def label(self, placement: Placement) -> None:
        """Tell the sensor where it is worn."""
        await self._order(Order.LABEL, 1 + list(Placement).index(placement))

    async def _one_connection(self) -> bool:
        """Return True when all is done; raise `LinkLostError` when the link ends."""
        self._gone.clear()
        await self.link.connect(self._notified, self._dropped)
        self.connected = True
        self.connections += 1
        self.heard_s = self._clock.now_s()
        self._resending = None
        state = await self._read_state()
        await self._begin(state)
        while True:
            await self._ask_for_missing()
            if self._clock.now_s() >= self._clock_due_s:
                await self._exchange_clocks()
                self._clock_due_s = self._clock.now_s() + CLOCK_EVERY_S
            if self._stopping and not self._stopped:
                await self._stop()
            if self._stopped and self._resending is None and not self._missing():
                return True
            await self._pause(0.1)

    def _dropped(self) -> None:
        self._gone.set()
        self._wake.set()

    async def _let_go(self) -> None:
        if self.connected:
            self._tell(f"{self.link.name}: link closed")
        self.connected = False
        for future in self._answers.values():
            future.cancel()
        self._answers.clear()
        await self.link.close()

    # --- what the sensor says ---

    def _notified(self, channel: Channel, data: bytes) -> None:
        self.heard_s = self._clock.now_s()
        try:
            whole = self._joiners[channel].feed(data)
            if whole is not None:
                self._whole(channel, whole)
        except PacketError as refusal:
            if self.book is not None:
                self.book.counts[f"refused_{refusal.reason}"] += 1

    def _whole(self, channel: Channel, data: bytes) -> None:
        if channel is Channel.CONTROL:
            answer = decode_answer(data)
            waiting = self._answers.pop(answer.token, None)
            if waiting is not None and not waiting.done():
                waiting.set_result(answer)
        elif channel is Channel.STATE:
            self._told_state(decode_state(data))
        elif channel is Channel.TRANSFER and data[1:2] == bytes([Kind.RANGE_END]):
            self._range_ended(data)
        elif self.book is None:
            self._early.append((data, self._clock.now_us()))
        else:
            self.book.take(data, self._clock.now_us())
            if channel is Channel.TRANSFER and self._resending is not None:
                self._resending.heard_s = self.heard_s

    def _told_state(self, state: State) -> None:
        self.state = state
        if self.book is not None and state.log == self.book.log:
            self.book.announce(state.following)

    def _range_ended(self, data: bytes) -> None:
        end = decode_range_end(data)
        if self.book is None or end.log != self.book.log:
            return
        if end.not_held and self.book.missing_in(end.first, end.last) == end.not_held:
            self.book.give_up(end.first, end.last)
        self._resending = None
        self._wake.set()

    # --- what the sensor is told ---

    async def _begin(self, state: State) -> None:
        """Start the sensor, or go on with a log that this session has begun."""
        self.state = state
        if state.log == self.order.log and (state.mode is not Mode.IDLE or state.following):
            self._open_book(state, None)
            return
        if self._held_by_another(state):
            if not self.order.erase:
                raise SensorswimError(
                    f"holds {state.following} packets of another session (log {state.log})",
                    where=self.link.name,
                    mend="fetch them in that session's folder, or give --erase",
                )
            await self._order(Order.STOP)
            await self._order(Order.ERASE, state.log)
        before_us = self._clock.now_us()
        await self._order(Order.START, *self.order.values)
        began_us = (before_us + self._clock.now_us()) // 2
        self._open_book(await self._read_state(), began_us)
        self._tell(f"{self.link.name}: recording")

    @staticmethod
    def _held_by_another(state: State) -> bool:
        return state.mode is not Mode.IDLE or state.following > state.oldest

    def _open_book(self, state: State, began_us: int | None) -> None:
        if self.book is None:
            self.book = self._book_for(state)
        if began_us is not None:
            self.book.note({"began_us": began_us}, began_us)
        for data, arrived_us in self._early:
            self.book.take(data, arrived_us)
        self._early.clear()
        self._told_state(state)

    async def _exchange_clocks(self) -> None:
        before_us = self._clock.now_us()
        answer = await self._order(Order.CLOCK, before_us)
        after_us = self._clock.now_us()
        if self.book is None:
            return
        facts: dict[str, Any] = {
            "clock_us": (before_us + after_us) // 2,
            "clock_error_us": (after_us - before_us) // 2,
            "clock_ticks": answer.ticks,
        }
        if "began_us" not in self.book.facts:
            facts["began_us"] = facts["clock_us"] - round(1e6 * answer.ticks / TICK_HZ)
        self.book.note(facts, after_us)

    async def _stop(self) -> None:
        await self._order(Order.STOP)
        await self._read_state()
        self._stopped = True

    def _missing(self) -> list[tuple[int, int]]:
        return [] if self.book is None else self.book.missing()

    async def _ask_for_missing(self) -> None:
        """Ask for the oldest missing range, one at a time, again where nothing came of it."""
        now_s = self._clock.now_s()
        if self._resending is not None and now_s - self._resending.heard_s < RESEND_S:
            return
        holes = self._missing()
        if not holes or self.book is None:
            self._resending = None
            return
        first = holes[0][0]
        last = min(holes[0][1], first + RANGE_PACKETS - 1)
        self._resending = _Resending(first=first, last=last, heard_s=now_s)
        answer = await self._order(Order.RESEND, self.book.log, first, last, accept=True)
        if answer.result is Result.NOT_HELD:
            self.book.give_up(first, last)
            self._resending = None

    async def _order(self, order: Order, *values: int, accept: bool = False) -> Answer:
        """Tell the sensor something and wait for the answer."""
        self._token = (self._token + 1) % 256
        future: asyncio.Future[Answer] = asyncio.get_running_loop().create_future()
        self._answers[self._token] = future
        command = Command(order=order, token=self._token, values=values)
        await self._or_gone(self.link.write(encode_command(command)))
        answer = await self._or_gone(future)
        if answer.result is not Result.DONE and not accept:
            raise SensorswimError(
                f"refused to {order.name.lower()}: {answer.result.name.lower().replace('_', ' ')}",
                where=self.link.name,
                mend="take it off the charger, or switch it off and on",
            )
        return answer

    async def _read_state(self) -> State:
        state = decode_state(await self._or_gone(self.link.read_state()))
        self._told_state(state)
        return state

    async def _or_gone(self, wanted: Awaitable[Told]) -> Told:
        """Wait for something, but not longer than the link lives."""
        task = asyncio.ensure_future(wanted)
        gone = asyncio.ensure_future(self._gone.wait())
        limit_s = ANSWER_S / self._clock.speed + 1.0
        done, _ = await asyncio.wait({task, gone}, timeout=limit_s, return_when="FIRST_COMPLETED")
        gone.cancel()
        if task not in done:
            task.cancel()
            raise LinkLostError("the link ended while waiting for an answer")
        return task.result()

    async def _pause(self, seconds: float) -> None:
        """Let packets come; raise where the link is gone or has fallen silent."""
        self._wake.clear()
        with contextlib.suppress(TimeoutError):
            await asyncio.wait_for(self._wake.wait(), seconds / self._clock.speed)
        if self._gone.is_set():
            raise LinkLostError("the sensor dropped the link")
        if self._clock.now_s() - self.heard_s > SILENCE_S:
            raise LinkLostError("the sensor fell silent")
