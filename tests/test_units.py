"""How a count is written with its word."""

from __future__ import annotations

from sensorswim.units import counted


def test_one_has_no_plural() -> None:
    assert [counted(n, "kick") for n in (0, 1, 2)] == ["0 kicks", "1 kick", "2 kicks"]
