"""The other sample sessions of the invented swimmer: a first visit, a follow-up, every sensor.

Five weeks lie between the first visit and the follow-up, and both hold the same check set. By then
half of her faults are put right: the breath holds her on the side for less and the kick is steady;
the pull is as straight as it was.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import Any, Final

from sensorswim.model import Placement
from sensorswim.rehearsal.draw import SAMPLE_SWIMMER, sample_session
from sensorswim.rehearsal.season import on_day
from sensorswim.rehearsal.settings import (
    CORE,
    FULL,
    BlockStart,
    Kit,
    Knocks,
    Length,
    Plan,
    Rest,
    Segment,
    Stand,
    Swimmer,
)
from sensorswim.rehearsal.simulate import Rehearsal, rehearse

_FIRST: Final = replace(SAMPLE_SWIMMER, breath_hold_s=0.45)
_LATER: Final = replace(SAMPLE_SWIMMER, breath_hold_s=0.16, kick="6", kick_jitter=0.015)


def _check_set(
    swimmer: Swimmer,
    *,
    day: int,
    lengths: int,
    felt: dict[str, Any],
    placements: tuple[Placement, ...],
    seed: int,
) -> Rehearsal:
    """Swim one check set between two knocks, `day` days from the drill and swim session."""
    last = lengths - 1
    segments: list[Segment] = [Knocks(), Stand(duration_s=10.0), Rest(duration_s=4.0)]
    segments.append(BlockStart(label=f"check set {lengths} x 25", keys=felt))
    segments += [Length(turn="stop" if i == last else "open") for i in range(lengths)]
    segments += [Rest(duration_s=5.0), Stand(duration_s=3.0), Knocks()]
    kit = Kit(placements=placements, rate_hz=52.0, clock_offset_s=40.0)
    whole = rehearse(Plan(segments=tuple(segments)), swimmer=swimmer, kit=kit, seed=seed)
    return replace(whole, session_toml=on_day(whole.session_toml, day))


def first_visit(*, placements: tuple[Placement, ...] = CORE, seed: int = 2026) -> Rehearsal:
    """Return the first visit: three weeks before the drill and swim session, all faults there."""
    felt = {"felt_kick_beat": 4, "felt_side_hold_s": 0.5}
    return _check_set(_FIRST, day=-21, lengths=5, felt=felt, placements=placements, seed=seed)


def follow_up(*, placements: tuple[Placement, ...] = CORE, seed: int = 2026) -> Rehearsal:
    """Return the follow-up, five weeks after the first visit: the same set, half corrected."""
    felt = {"felt_kick_beat": 6, "felt_side_hold_s": 0.6}
    return _check_set(_LATER, day=14, lengths=5, felt=felt, placements=placements, seed=seed + 1)


def every_sensor(*, placements: tuple[Placement, ...] = CORE, seed: int = 2026) -> Rehearsal:
    """Return a session with all nine sensors on, two weeks after the follow-up.

    `placements` is not looked at: this session is about all of them.
    """
    return _check_set(_LATER, day=28, lengths=3, felt={}, placements=FULL, seed=seed + 2)


SAMPLES: Final[dict[str, Callable[..., Rehearsal]]] = {
    "sample": sample_session,
    "sample-first-visit": first_visit,
    "sample-follow-up": follow_up,
    "sample-every-sensor": every_sensor,
}
"""What makes each sample session, by the name that the command line takes."""
