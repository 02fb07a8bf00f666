"""Lays a plan out in time: segments become knots on the timeline and lines in the score."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from sensorswim.errors import InputError
from sensorswim.model import Side
from sensorswim.rehearsal import walls
from sensorswim.rehearsal.arms import HANG, set_pose
from sensorswim.rehearsal.score import LengthScore, Score
from sensorswim.rehearsal.settings import (
    BlockStart,
    Knocks,
    Length,
    Plan,
    Rest,
    Stand,
    Swimmer,
)
from sensorswim.rehearsal.stage import Stage
from sensorswim.rehearsal.swimming import STROKES, swim


def direct(plan: Plan, swimmer: Swimmer, rng: np.random.Generator) -> Stage:
    """Lay out the whole plan.

    Raises
    ------
    InputError
        A length whose activity or turn isn't known.
    """
    stage = Stage(swimmer=swimmer, pool_length_m=plan.pool_length_m, rng=rng)
    stage.upright()
    for side in Side:
        set_pose(stage.timeline, side, 0.0, HANG)
    for segment in plan.segments:
        if isinstance(segment, Stand):
            walls.stand(stage, segment.duration_s)
        elif isinstance(segment, Knocks):
            _knock(stage, segment)
        elif isinstance(segment, Rest):
            walls.rest(stage, segment)
        elif isinstance(segment, BlockStart):
            number = len(stage.score.lengths) + 1
            stage.score.blocks.append((segment.label, dict(segment.keys), number))
        else:
            _length(stage, segment, swimmer)
    walls.stand(stage, 1.5)
    stage.score.end_s = stage.time_s
    return stage


def _knock(stage: Stage, knocks: Knocks) -> None:
    score: Score = stage.score
    for i in range(knocks.count):
        moment = stage.time_s + 1.0 + i * knocks.spacing_s * (1 + 0.06 * stage.rng.normal())
        score.knocks.append((moment, knocks.strength_m_s2 * stage.rng.uniform(0.7, 1.3)))
    walls.stand(stage, 2.0 + knocks.count * knocks.spacing_s)


def _length(stage: Stage, length: Length, swimmer: Swimmer) -> None:
    if length.activity not in STROKES:
        raise InputError(
            f"no activity {length.activity!r}", mend=f"use one of {', '.join(STROKES)}"
        )
    if length.turn not in walls.TURNS:
        raise InputError(f"no turn {length.turn!r}", mend=f"use one of {', '.join(walls.TURNS)}")
    stage.swimmer = replace(swimmer, **length.changes)
    walls.get_ready(stage)
    score = LengthScore(
        length_no=len(stage.score.lengths) + 1,
        activity=length.activity,
        set_as=length.set_as,
        start_s=stage.time_s,
    )
    stage.score.lengths.append(score)
    swim(stage, score, length)
