"""Which packets have arrived: what is a second copy, and what to ask for again."""

from __future__ import annotations

from bisect import bisect_left, bisect_right


class Ledger:
    """Packet numbers that are there, as ranges that don't touch."""

    def __init__(self) -> None:
        self._firsts: list[int] = []
        self._lasts: list[int] = []

    def __contains__(self, number: int) -> bool:
        at = bisect_right(self._firsts, number) - 1
        return at >= 0 and number <= self._lasts[at]

    def __len__(self) -> int:
        return sum(b - a + 1 for a, b in zip(self._firsts, self._lasts, strict=True))

    @property
    def following(self) -> int:
        """One more than the highest number there is."""
        return self._lasts[-1] + 1 if self._lasts else 0

    def add(self, number: int) -> bool:
        """Take a number in; return False where it was there already."""
        if number in self:
            return False
        self.add_range(number, number)
        return True

    def add_range(self, first: int, last: int) -> None:
        """Take in every number from first to last."""
        low = bisect_left(self._lasts, first - 1)
        high = bisect_right(self._firsts, last + 1)
        if low < high:
            first = min(first, self._firsts[low])
            last = max(last, self._lasts[high - 1])
        self._firsts[low:high], self._lasts[low:high] = [first], [last]

    def join(self, other: Ledger) -> None:
        """Take in every number of another ledger."""
        for first, last in zip(other._firsts, other._lasts, strict=True):
            self.add_range(first, last)

    def missing(self, following: int) -> list[tuple[int, int]]:
        """Return the ranges (first, last) below `following` that aren't there."""
        holes = []
        start = 0
        for first, last in zip(self._firsts, self._lasts, strict=True):
            if first >= following:
                break
            if first > start:
                holes.append((start, first - 1))
            start = last + 1
        if start < following:
            holes.append((start, following - 1))
        return holes
