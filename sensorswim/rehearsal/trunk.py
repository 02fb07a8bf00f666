"""Roll of shoulders, hips and legs, breaths, head, pitch and heave of a length of crawl."""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING

import numpy as np

from sensorswim.model import Side
from sensorswim.rehearsal.arms import StrokeTimes
from sensorswim.rehearsal.score import LengthScore
from sensorswim.rehearsal.settings import Swimmer
from sensorswim.rehearsal.stage import Stage

if TYPE_CHECKING:
    from sensorswim.rehearsal.swimming import Rhythm


def breathing_plan(swimmer: Swimmer, rng: np.random.Generator) -> Callable[[int, Side], bool]:
    """Return a function of stroke number and the side that is up: breathe there or not."""
    state = {"next": int(rng.integers(2, 5)), "seen": False}

    def wants(i: int, up: Side) -> bool:
        every = swimmer.breath_every
        if every == 0 or i < state["next"]:
            return False
        if (every % 2 == 0 or not state["seen"]) and every > 0 and up is not swimmer.breath_side:
            return False
        gap = int(rng.choice([2, 2, 3, 3, 4, 5])) if every < 0 else every
        state.update(next=i + gap, seen=True)
        return True

    return wants


def lay_trunk(stage: Stage, score: LengthScore, rhythm: Rhythm, times: list[StrokeTimes]) -> None:
    """Lay the knots of the trunk for every half cycle.

    The body rolls onto the side of the arm that reaches; at a breath it stays there for
    `breath_hold_s` longer, and part of that time delays the next entry.
    """
    swimmer, rng = stage.swimmer, stage.rng
    for i, stroke in enumerate(times):
        period, breath = rhythm.period_s(i), rhythm.breath[i]
        down, up = stroke.side, stroke.side.other
        size = (
            swimmer.roll_onto_left_deg if down is Side.LEFT else swimmer.roll_onto_right_deg
        ) * (1 + 1.2 * rng.normal(0, swimmer.variation))
        hold = swimmer.breath_hold_s * (1 + 0.1 * rng.normal()) if breath else 0.0
        peak = rhythm.entry_s[i] + (0.2 + swimmer.roll_timing) * period
        peak += 0.5 * rhythm.delay_s[i] + 0.3 * period * rng.normal(0, swimmer.variation)
        if breath:
            size += swimmer.breath_roll_extra_deg * (1 + 0.2 * rng.normal())
            score.breaths.append((up, peak))
        if i == 0:
            size *= 0.7
        signed = -down.sign * size * (-1 if score.activity == "backstroke" else 1)
        if score.activity == "single_arm":
            signed *= 1.0 if down is not rhythm.first else 0.45
        _roll(stage, peak, hold, signed, rng)
        _head(stage, peak, hold, period, signed, up if breath else None)
        stage.timeline.key(
            peak,
            pitch=-swimmer.body_pitch_deg * (score.activity != "backstroke") + rng.normal(0, 0.8),
            z=(-0.21, -0.15, -0.11)[min(i, 2)]
            + swimmer.heave_m * (0.6 * rng.normal() + (0.5 if breath else -0.2)),
        )
        spread = swimmer.leg_split_deg * (1.0 + 1.5 * breath) * abs(rng.normal(0.5, 0.4))
        for side in Side:
            stage.timeline.key(peak, **{f"{side}_spread": -side.sign * spread})
            stage.timeline.key(peak + 0.25 * period, **{f"{side}_spread": 0.0})


def _roll(
    stage: Stage, peak_s: float, hold_s: float, signed_deg: float, rng: np.random.Generator
) -> None:
    """Lay one half wave for shoulders, hips and legs, each smaller and later than the one above."""
    swimmer, size, lag = stage.swimmer, signed_deg, 0.0
    steps = (
        ("roll_shoulders", 1.0, 0.0),
        ("roll_hips", swimmer.hip_roll_share, swimmer.hip_lag_s),
        ("roll_legs", swimmer.shank_roll_share, swimmer.shank_lag_s),
    )
    for name, share, later in steps:
        size, lag = size * share * (1 + 0.02 * rng.normal()), lag + later
        if hold_s > 0.05:
            lean = 0.03 * rng.normal()
            for part, level in ((-0.5, 0.97 - lean), (0.0, 1.0), (0.5, 0.97 + lean)):
                stage.timeline.key(peak_s + lag + part * hold_s, **{name: level * size})
        else:
            stage.timeline.key(peak_s + lag, **{name: size})


def _head(
    stage: Stage, peak_s: float, hold_s: float, period_s: float, roll_deg: float, to: Side | None
) -> None:
    """Face down, or turned to one side for a breath and back before the hand enters."""
    rng, swimmer = stage.rng, stage.swimmer
    if to is None:
        stage.timeline.key(peak_s, head_roll=0.12 * roll_deg, head_pitch=rng.normal(2, 2))
        return
    turn = to.sign * swimmer.head_turn_deg * (1 + 0.06 * rng.normal())
    before, after = 0.5 * hold_s + 0.05 * period_s, 0.5 * hold_s + 0.04 * period_s
    stage.timeline.key(peak_s - before - 0.17 * period_s, head_roll=0.0)
    stage.timeline.key(peak_s - before, head_roll=0.96 * turn, head_pitch=rng.normal(-3, 2))
    stage.timeline.key(peak_s + after, head_roll=turn)
    stage.timeline.key(peak_s + after + 0.2 * period_s, head_roll=0.0)
