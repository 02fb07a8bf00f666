"""The samples of one sensor as far as they have come, as streams over any span."""

from __future__ import annotations

from bisect import bisect_left, insort

from sensorswim.formats.radio_log import Scale, to_stream
from sensorswim.formats.radio_packets import TICK_HZ, SamplePacket
from sensorswim.model import Placement, Stream


class LiveBuffer:
    """Packets of one sensor in the order of their numbers, whenever they come.

    Parameters
    ----------
    placement : Placement
    scale : Scale
        Its `offset_ticks` puts the sensor's ticks onto session time.

    Attributes
    ----------
    first_s : float
        Session time of the first sample, infinity without one.
    newest_s : float
        Session time of the newest sample, minus infinity without one.
    complete_s : float
        Session time up to which no packet is missing, minus infinity where none is whole.
    """

    def __init__(self, placement: Placement, scale: Scale) -> None:
        self.placement, self.scale = placement, scale
        self._packets: dict[int, SamplePacket] = {}
        self._numbers: list[int] = []
        self._whole_to = 0
        self.first_s, self.newest_s, self.complete_s = float("inf"), float("-inf"), float("-inf")

    def take(self, packet: SamplePacket) -> float:
        """Take a packet in; return the session time of its first sample."""
        if packet.number not in self._packets:
            self._packets[packet.number] = packet
            insort(self._numbers, packet.number)
        while self._whole_to in self._packets:
            self.complete_s = self._end_s(self._whole_to)
            self._whole_to += 1
        self.first_s = self._start_s(self._numbers[0])
        self.newest_s = self._end_s(self._numbers[-1])
        return self._start_s(packet.number)

    def stream(self, from_s: float, to_s: float) -> Stream:
        """Return the packets that begin within a span of session time."""
        first = bisect_left(self._numbers, from_s, key=self._start_s)
        last = bisect_left(self._numbers, to_s, key=self._start_s)
        packets = (self._packets[number] for number in self._numbers[first:last])
        return to_stream(packets, self.placement, self.scale)

    def _start_s(self, number: int) -> float:
        return self._time_s(self._packets[number].first_ticks)

    def _end_s(self, number: int) -> float:
        packet = self._packets[number]
        return self._time_s(packet.first_ticks + packet.span_ticks)

    def _time_s(self, ticks: int) -> float:
        return (ticks + self.scale.offset_ticks) / TICK_HZ
