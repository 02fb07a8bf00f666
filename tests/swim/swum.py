"""A rehearsed swim on its regular grid, and how detected moments are held against the truth."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd

from sensorswim.model import Placement, Quality, Recording, Session, Settings
from sensorswim.model.session import SensorFile
from sensorswim.rehearsal import (
    Kit,
    Knocks,
    Length,
    Plan,
    Rehearsal,
    Rest,
    Stand,
    Swimmer,
    rehearse,
)
from sensorswim.signal import orient, prepare

P = Placement
ANKLES = (P.LEFT_ANKLE, P.RIGHT_ANKLE)
WORN = (*ANKLES, P.LOWER_BACK, P.HEAD)


def swim(
    *, seed: int, lengths: int = 4, kit: dict[str, Any] | None = None, **swimmer: Any
) -> tuple[Rehearsal, Recording]:
    """Return a swim of some lengths with flip turns and stops by turns, oriented."""
    segments: list[Any] = [Knocks(), Stand(duration_s=5.0)]
    for number in range(lengths):
        segments.append(Length(turn="stop" if number % 2 else "flip"))
        segments += [Rest(duration_s=4.0)] if number % 2 else []
    rehearsal = rehearse(
        Plan(segments=(*segments, Knocks())),
        swimmer=Swimmer(**swimmer),
        kit=Kit(**({"placements": WORN, "clock_offset_s": 0.0, "drift_ppm": 0.0} | (kit or {}))),
        seed=seed,
    )
    return rehearsal, oriented(rehearsal)


def oriented(rehearsal: Rehearsal) -> Recording:
    """Return a rehearsal's recording on one clock, with orientation."""
    settings = Settings()
    session = session_of(rehearsal)
    return orient(prepare(session, rehearsal.streams, settings, Quality()), settings)


def session_of(rehearsal: Rehearsal) -> Session:
    """Return the session that a rehearsal's folder would be."""
    return Session(
        folder=Path(),
        swimmer="invented swimmer",
        started_at=datetime(2026, 3, 14, tzinfo=UTC),
        pool_length_m=rehearsal.plan.pool_length_m,
        sensors=tuple(SensorFile(placement=p, file=Path(f"{p}.csv")) for p in rehearsal.streams),
    )


def wearing(recording: Recording, *places: Placement) -> Recording:
    """Return the recording with some of its sensors only."""
    return replace(recording, tracks={p: recording.tracks[p] for p in places})


def f1(truth_s: pd.Series, found_s: pd.Series, within_s: float) -> float:
    """Return F1 of moments matched one to one within a tolerance."""
    left = list(truth_s)
    hits = 0
    for moment in sorted(found_s):
        near = min(left, key=lambda t: abs(t - moment), default=np.inf)
        if abs(near - moment) <= within_s:
            left.remove(near)
            hits += 1
    return 2 * hits / max(1, len(truth_s) + len(found_s))
