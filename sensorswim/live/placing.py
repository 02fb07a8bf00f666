"""Which sensor is worn where, where its own label doesn't tell: the wearer moves one limb."""

from __future__ import annotations

from collections import deque
from collections.abc import Callable
from typing import Final

import numpy as np

from sensorswim.formats.radio_packets import COUNTS_FULL_SCALE, SamplePacket
from sensorswim.live.book import SensorBook
from sensorswim.model import Placement

PACKETS: Final = 16
"""Two seconds at 104 Hz."""
LEAST_DEG_S: Final = 40.0
CLEARLY: Final = 3.0
"""The limb that moves turns this many times as much as any other (common practice, no source)."""
ASKED: Final = (
    Placement.LEFT_WRIST,
    Placement.RIGHT_WRIST,
    Placement.LEFT_ANKLE,
    Placement.RIGHT_ANKLE,
)
"""Places that are asked for, in this order; others are given by name or by the sensor's label."""


def who_moved(turning_deg_s: dict[int, float]) -> int | None:
    """Return the serial number of the one sensor that turned clearly more than all others.

    Parameters
    ----------
    turning_deg_s : dict
        Root mean square of the turning rate over the last two seconds, by serial number.
    """
    ranked = sorted(turning_deg_s, key=lambda serial: turning_deg_s[serial], reverse=True)
    if not ranked or turning_deg_s[ranked[0]] < LEAST_DEG_S:
        return None
    if len(ranked) > 1 and turning_deg_s[ranked[0]] < CLEARLY * turning_deg_s[ranked[1]]:
        return None
    return ranked[0]


class Placer:
    """Asks one swimmer to move one limb after the other until every sensor has its place.

    Parameters
    ----------
    tell : callable
        Called with what the wearer is to do.
    """

    def __init__(self, tell: Callable[[str], None]) -> None:
        self._tell = tell
        self._newest: dict[int, deque[SamplePacket]] = {}
        self._asked: Placement | None = None

    def step(self, books: dict[int, SensorBook]) -> tuple[int, Placement] | None:
        """Look at the newest movement; return who is worn where, as soon as that is clear."""
        for serial, book in books.items():
            if serial not in self._newest:
                self._newest[serial] = deque(maxlen=PACKETS)
                book.listen(self._newest[serial].append)
        unplaced = {s: b for s, b in books.items() if not b.facts.get("placement") and b.facts}
        taken = {b.facts.get("placement") for b in books.values()}
        free = [place for place in ASKED if str(place) not in taken]
        if not unplaced or not free:
            return None
        if self._asked != free[0]:
            self._asked = free[0]
            for packets in self._newest.values():
                packets.clear()
            self._tell(f"Move only the {free[0].label}, up and down, until the next line")
        moved = who_moved({s: self._turning_deg_s(s, b) for s, b in books.items()})
        return (moved, free[0]) if moved in unplaced else None

    def _turning_deg_s(self, serial: int, book: SensorBook) -> float:
        packets = self._newest[serial]
        if len(packets) < PACKETS:
            return 0.0
        counts = np.concatenate([p.counts[:, 3:] for p in packets]).astype(np.float64)
        turning = counts * (book.facts["gyro_range_deg_s"] / COUNTS_FULL_SCALE)
        return float(np.sqrt((turning**2).sum(axis=1).mean()))
