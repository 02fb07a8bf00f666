"""The synthetic swimmer: sessions with known truth, for demo, tests and live rehearsals."""

from sensorswim.rehearsal.settings import (
    CORE,
    FULL,
    BlockStart,
    Kit,
    Knocks,
    Length,
    Plan,
    Rest,
    Stand,
    Swimmer,
)
from sensorswim.rehearsal.simulate import Rehearsal, rehearse

__all__ = [
    "CORE",
    "FULL",
    "BlockStart",
    "Kit",
    "Knocks",
    "Length",
    "Plan",
    "Rehearsal",
    "Rest",
    "Stand",
    "Swimmer",
    "rehearse",
]
