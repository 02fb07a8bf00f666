"""The computer's time, so that a rehearsal can run faster than a pool."""

from __future__ import annotations

import asyncio
import time
from typing import Final


def _steady_s() -> float:
    """Return seconds that never run backwards and go on while a laptop sleeps, where they can."""
    boot = getattr(time, "CLOCK_BOOTTIME", None)
    return time.monotonic() if boot is None else time.clock_gettime(boot)


class HostClock:
    """Seconds that never run backwards, and the wall clock they began at.

    Parameters
    ----------
    speed : float
        1 at a pool; a rehearsal may let time run faster.
    """

    def __init__(self, *, speed: float = 1.0) -> None:
        self.speed: Final = speed
        self.begin()

    def begin(self) -> None:
        """Set the clock to 0, now."""
        self._began_s = _steady_s()
        self._wall_us = time.time_ns() // 1000

    def follow(self, other: HostClock) -> None:
        """Tell the time of another clock, of this machine and this speed."""
        self._began_s, self._wall_us = other._began_s, other._wall_us

    def now_s(self) -> float:
        """Return seconds since this clock was made."""
        return (_steady_s() - self._began_s) * self.speed

    def now_us(self) -> int:
        """Return microseconds since 1970 by the wall clock at the start, never running back."""
        return self._wall_us + round(1e6 * self.now_s())

    async def sleep(self, seconds: float) -> None:
        """Let others run for so many seconds of this clock."""
        await asyncio.sleep(seconds / self.speed)
