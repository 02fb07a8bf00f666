"""Which packets are there: ranges against a plain set."""

from __future__ import annotations

from itertools import pairwise

from hypothesis import given
from hypothesis import strategies as st

from sensorswim.live.ledger import Ledger

RANGES = st.lists(st.tuples(st.integers(0, 60), st.integers(0, 8)), max_size=30)


@given(RANGES, st.integers(0, 80))
def test_ranges_say_what_a_set_of_numbers_says(ranges: list[tuple[int, int]], upto: int) -> None:
    ledger, plain = Ledger(), set()
    for first, length in ranges:
        assert ledger.add(first) == (first not in plain)
        ledger.add_range(first, first + length)
        plain |= set(range(first, first + length + 1))
    assert {n for n in range(90) if n in ledger} == plain
    assert len(ledger) == len(plain)
    assert ledger.following == max(plain, default=-1) + 1
    holes = ledger.missing(upto)
    assert [n for a, b in holes for n in range(a, b + 1)] == sorted(set(range(upto)) - plain)
    assert all(b + 1 < a for (_, b), (a, _) in pairwise(holes))
