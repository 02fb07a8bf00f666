"""An invented season: the same check set at every visit, and a breath that gets shorter.

Visits come in pairs two days apart, three weeks between the pairs. Between the visits of a pair
nothing changes but the straps, the clocks and the day; from pair to pair the breath to the right
holds the body on its side for less, and the swimmer feels the kick better.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any, Final

import numpy as np
import tomlkit

from sensorswim.rehearsal.draw import SAMPLE_SWIMMER
from sensorswim.rehearsal.settings import (
    BlockStart,
    Kit,
    Knocks,
    Length,
    Plan,
    Rest,
    Segment,
    Stand,
)
from sensorswim.rehearsal.simulate import Rehearsal, rehearse
from sensorswim.rehearsal.write import STARTED_AT

_HOLDS_S: Final = (0.45, 0.3, 0.18, 0.12)
"""Extra time of a breath in each pair of visits; the last stays."""
_FELT_BEATS: Final = (4, 5, 6, 6)
_DRILL: Final[dict[str, Any]] = {"breath_every": 3, "breath_hold_s": 0.1}


def visit(number: int, *, seed: int = 2026) -> Rehearsal:
    """Return visit `number` (from 0) of the season."""
    stage = min(number // 2, len(_HOLDS_S) - 1)
    rng = np.random.default_rng([seed, number])
    day = 1.0 + 0.01 * rng.standard_normal()
    swimmer = replace(
        SAMPLE_SWIMMER,
        breath_hold_s=_HOLDS_S[stage],
        kick="6",
        stroke_rate_cycles_min=SAMPLE_SWIMMER.stroke_rate_cycles_min * day,
    )
    felt = {"felt_kick_beat": _FELT_BEATS[stage], "felt_side_hold_s": 0.6}
    segments: list[Segment] = [Knocks(), Stand(), Rest(duration_s=6.0)]
    segments.append(BlockStart(label="check set 6 x 25", keys=felt))
    segments += [Length(turn="stop" if i == 5 else "open") for i in range(6)]
    segments += [Rest(duration_s=20.0)]
    segments.append(
        BlockStart(label="6 x 25 drill and swim", keys={"drill": "bilateral-breathing"})
    )
    for i in range(6):
        changes, set_as = ({}, "swim") if i % 2 else (_DRILL, "drill")
        turn = "stop" if i == 5 else "open"
        segments.append(Length(turn=turn, set_as=set_as, changes=changes))
    segments += [Rest(duration_s=6.0), Stand(duration_s=3.0), Knocks()]
    kit = Kit(rate_hz=100.0, clock_offset_s=40.0)
    whole = rehearse(Plan(segments=tuple(segments)), swimmer=swimmer, kit=kit, seed=seed + number)
    return replace(whole, session_toml=on_day(whole.session_toml, day_of(number)))


def day_of(number: int) -> int:
    """Return the day of a visit, counted from the first."""
    return 21 * (number // 2) + 2 * (number % 2)


def on_day(text: str, day: int) -> str:
    """Return session.toml moved by `day` days from the sample session's day."""
    document = tomlkit.parse(text)
    started = datetime.fromisoformat(STARTED_AT) + timedelta(days=day)
    document["started_at"] = tomlkit.datetime(started.isoformat())
    return tomlkit.dumps(document)


def write_season(
    folder: Path, visits: int, *, seed: int = 2026, progress: Callable[[str], None] | None = None
) -> list[Path]:
    """Write the first `visits` of the season, one session folder each, and return them.

    Raises
    ------
    OutputError
        One of the folders holds a session already.
    """
    places = []
    for number in range(visits):
        if progress is not None:
            progress(f"visit {number + 1} of {visits}")
        started = datetime.fromisoformat(STARTED_AT) + timedelta(days=day_of(number))
        place = folder / f"{started:%Y-%m-%d}"
        places.append(visit(number, seed=seed).write(place, file_format="parquet"))
    return places
