"""A part of the findings board: one swim of each of the commonest faults, and two clean ones.

The full measure is `python -m tests.validation.findings_board`.
"""

from __future__ import annotations

import pytest

from sensorswim.formats.rules_toml import read_rules
from tests.validation.findings_board import CLEAN, Swim, measure, table
from tests.validation.planted import FAULTS

pytestmark = pytest.mark.long


@pytest.mark.parametrize(
    "fault",
    ["long on the side", "lopsided roll", "sparse kick", "gap between the arms", CLEAN],
)
def test_a_planted_fault_is_among_the_first_two_and_a_clean_swim_has_none(fault: str) -> None:
    swim = measure(fault, 7)
    assert swim.right, swim.found


def test_the_board_sees_a_fault_that_is_missed_and_a_clean_swim_that_is_blamed() -> None:
    found = ("arm-gap", "rate-drift", "kick-sparse")
    missed = Swim(fault="sparse kick", seed=0, found=found, aims=("arm-gap", "kick-sparse"))
    blamed = Swim(fault=CLEAN, seed=0, found=("arm-gap",), aims=())
    assert not missed.right
    assert missed.aimed
    assert blamed.aimed
    assert not blamed.right
    board = table([missed, blamed])
    assert "| sparse kick | 1 | 0 | 100 | arm-gap, rate-drift (1) |" in board
    assert board.count("falls short") == 2


def test_every_planted_fault_names_rules_that_exist() -> None:
    ids = {rule.id for rule in read_rules().rules}
    assert all(set(fault.finds) <= ids for fault in FAULTS.values())
