"""One sensor's packets as they come: checked, counted, kept, each once."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable
from pathlib import Path
from typing import Any

from sensorswim.errors import PacketError
from sensorswim.formats.radio_log import SensorLog
from sensorswim.formats.radio_packets import SamplePacket, decode_samples
from sensorswim.live.ledger import Ledger
from sensorswim.live.store import SegmentWriter

Sink = Callable[[SamplePacket], None]


class SensorBook:
    """What has been kept of one sensor in this session.

    Parameters
    ----------
    folder : Path
        Session folder.
    serial, log : int
    kept : SensorLog, optional
        What earlier runs kept; its packets count as arrived.
    """

    def __init__(
        self, folder: Path, serial: int, log: int, *, kept: SensorLog | None = None
    ) -> None:
        self.serial, self.log = serial, log
        self.facts: dict[str, Any] = {}
        self.ledger = Ledger()
        self.not_held = Ledger()
        self.counts: Counter[str] = Counter()
        self.sinks: list[Sink] = []
        self.announced = 0
        self.newest_ticks = 0
        self.writer = SegmentWriter(folder, serial, log)
        self._earlier = kept
        if kept is not None:
            self.note(kept.facts, 0)
            for number in kept.packets:
                self.ledger.add(number)

    def note(self, facts: dict[str, Any], arrived_us: int) -> None:
        """Keep what became known of the sensor."""
        self.facts |= facts
        self.writer.note(facts, arrived_us)

    def listen(self, sink: Sink) -> None:
        """Give every packet to `sink`, once each: first those of earlier runs, then new ones."""
        if self._earlier is not None:
            for data in self._earlier.packets.values():
                self._pass(decode_samples(data), [sink])
        self.sinks.append(sink)

    def take(self, data: bytes, arrived_us: int) -> bool:
        """Take what a notification brought; return whether it was a new packet of this log."""
        try:
            packet = decode_samples(data)
        except PacketError as refusal:
            self.counts[f"refused_{refusal.reason}"] += 1
            return False
        if packet.log != self.log:
            self.counts["other_log"] += 1
            return False
        if not self.ledger.add(packet.number):
            self.counts["second_copies"] += 1
            return False
        self.counts["packets"] += 1
        self.writer.packet(data, arrived_us)
        self._pass(packet, self.sinks)
        return True

    def _pass(self, packet: SamplePacket, sinks: list[Sink]) -> None:
        self.newest_ticks = max(self.newest_ticks, packet.first_ticks + packet.span_ticks)
        for sink in sinks:
            sink(packet)

    def announce(self, following: int) -> None:
        """Note how far the sensor says its log reaches."""
        self.announced = max(self.announced, following)

    @property
    def following(self) -> int:
        """One more than the newest packet known of."""
        return max(self.announced, self.ledger.following)

    def missing(self) -> list[tuple[int, int]]:
        """Return the ranges to ask for, oldest first; what the sensor doesn't hold is left out."""
        known = Ledger()
        for ledger in (self.ledger, self.not_held):
            known.join(ledger)
        return known.missing(self.following)

    @property
    def behind(self) -> int:
        """How many packets are known of and haven't come."""
        return sum(last - first + 1 for first, last in self.missing())

    def missing_in(self, first: int, last: int) -> int:
        """Return how many packets from first to last haven't come."""
        holes = self.ledger.missing(last + 1)
        return sum(b - max(a, first) + 1 for a, b in holes if b >= first)

    def give_up(self, first: int, last: int) -> None:
        """Stop asking for a range that the sensor doesn't hold."""
        for a, b in self.ledger.missing(last + 1):
            if b >= first:
                self.not_held.add_range(max(a, first), b)
