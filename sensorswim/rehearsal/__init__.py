"""The synthetic swimmer: sessions with known truth, for demo, tests and live rehearsals."""

from sensorswim.rehearsal.draw import draw_swim, draw_swimmer, sample_session
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
from sensorswim.rehearsal.swimmers import swimmers

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
    "draw_swim",
    "draw_swimmer",
    "rehearse",
    "sample_session",
    "swimmers",
]
