"""Random swims over the whole range of settings, and the invented sample session."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any, Final

import numpy as np

from sensorswim.errors import InputError
from sensorswim.model import Placement, Side
from sensorswim.rehearsal.sets import mixed, walked
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

KITS: dict[str, tuple[Placement, ...]] = {
    "core": CORE,
    "full": FULL,
    "wrists": CORE[:2],
    "left_wrist": CORE[:1],
    "trunk": (*CORE, Placement.LOWER_BACK, Placement.UPPER_BACK),
    "back_head": (*CORE, Placement.LOWER_BACK, Placement.HEAD),
}
"""Kits by name; the wrists come first, so that the left one gives the session's clock."""


def fitting_speed_m_s(height_m: float, rate_cycles_min: float, lag_pct: float) -> float:
    """Return a swim speed at which the pulling hand slips backwards by a quarter of its way.

    The hand moves some 0.62 body heights backwards along the body in a pull; a hand that moves
    slower than the body would have no catch.
    """
    pull_s = (0.5 + 0.01 * lag_pct) * 60.0 / rate_cycles_min
    return float(np.clip(0.75 * 0.62 * height_m / pull_s, 0.7, 1.85))


def draw_swimmer(rng: np.random.Generator) -> Swimmer:
    """Return a swimmer drawn over the whole range of technique."""
    rate = float(np.exp(rng.uniform(np.log(24), np.log(62))))
    quick = (rate - 24) / 38
    lag = rng.uniform(-18, 15) if quick > 0.3 else rng.uniform(-18, 6)
    height = rng.uniform(1.55, 1.95)
    elbow, roll = rng.uniform(97, 163), rng.uniform(36, 62) - 10 * quick
    hold = 0.0 if rng.random() < 0.3 else rng.uniform(0, 0.8) * (1 - 0.75 * quick)
    lean = rng.normal(0, 5)
    kicks = ["6", "6", "4", "3+1", "2", "crossover", "irregular", "sparse", "none"]
    size = rng.uniform(0.55, 1.1) * (1 - 0.4 * quick)
    return Swimmer(
        name="drawn swimmer (invented)",
        height_m=height,
        speed_m_s=fitting_speed_m_s(height, rate, lag) * rng.uniform(0.9, 1.12),
        stroke_rate_cycles_min=rate,
        coordination_left_pct=lag + rng.normal(0, 2.5),
        coordination_right_pct=lag + rng.normal(0, 2.5),
        arm_offset_pct=rng.normal(0, 1.5),
        recovery_share=rng.uniform(0.23, 0.29) + 0.04 * quick,
        elbow_left_deg=float(np.clip(elbow + rng.normal(0, 7), 95, 165)),
        elbow_right_deg=float(np.clip(elbow + rng.normal(0, 7), 95, 165)),
        pull_lateral_deg=rng.normal(3, 6),
        recovery_elbow_deg=rng.uniform(88, 158),
        reach_tilt_deg=rng.uniform(3, 16),
        pronation_deg=rng.normal(0, 12),
        roll_onto_left_deg=roll + lean,
        roll_onto_right_deg=roll - lean,
        roll_timing=rng.normal(0, 0.02),
        hip_roll_share=rng.uniform(0.5, 0.85),
        hip_lag_s=rng.uniform(0.0, 0.08),
        shank_roll_share=rng.uniform(0.5, 0.9),
        shank_lag_s=rng.uniform(0.02, 0.08),
        breath_every=int(rng.choice([2, 2, 2, 3, 3, 4, -1, 0])),
        breath_side=Side(rng.choice(["left", "right"])),
        breath_hold_s=hold,
        breath_roll_extra_deg=rng.uniform(0, 16),
        hold_delays_cycle=rng.uniform(0.2, 1.0),
        head_turn_deg=rng.uniform(62, 90),
        kick=str(rng.choice(kicks)),
        kick_knee_deg=40 * size,
        kick_hip_deg=16 * size,
        kick_unevenness=rng.uniform(0, 0.7),
        kick_shift=0.06 + rng.normal(0, 0.06),
        kick_jitter=rng.uniform(0.008, 0.035),
        leg_split_deg=rng.uniform(0, 10),
        surge_share=rng.uniform(0.08, 0.2),
        body_pitch_deg=rng.uniform(1, 10),
        heave_m=rng.uniform(0.005, 0.025),
        variation=rng.uniform(0.015, 0.05),
        entry_splash_m_s2=0.0 if rng.random() < 0.25 else rng.uniform(1, 26),
        push_speed_m_s=rng.uniform(1.8, 2.9),
        glide_s=rng.uniform(0.9, 2.2),
        dolphin_kicks=int(rng.choice([0, 0, 0, 1, 2])),
        first_arm=Side(rng.choice(["left", "right"])),
    )


def draw_kit(rng: np.random.Generator, placements: tuple[Placement, ...]) -> Kit:
    """Return a kit drawn over usual straps, clocks, rates and errors."""
    some = rng.random
    return Kit(
        placements=placements,
        rate_hz=float(rng.choice([50.0, 100.0, 100.0, 104.0, 104.0, 200.0])),
        strap_deg=rng.uniform(3, 25),
        wrong_way_up=tuple(p for p in placements if some() < 0.04),
        swapped=tuple(limb for limb in ("wrist", "ankle") if some() < 0.04),
        clock_offset_s=1000.0 if some() < 0.5 else 3.0,
        drift_ppm=rng.uniform(0, 50),
        jitter_s=rng.uniform(0, 0.0008),
        gyro_noise_deg_s=rng.uniform(0.004, 0.03),
        accel_noise_m_s2=rng.uniform(0.001, 0.005),
        gyro_bias_deg_s=rng.uniform(0, 1),
        accel_bias_g=rng.uniform(0, 0.05),
        scale_error=rng.uniform(0, 0.01),
        wobble=rng.uniform(0.3, 2.0),
        turbulence_m_s2=rng.uniform(0.1, 1.2),
        gaps=int(rng.choice([0, 0, 0, 1])),
    )


def draw_plan(rng: np.random.Generator) -> Plan:
    """Return 4 to 8 lengths of crawl with random turns and rests, usually with knocks."""
    knocks, stand = rng.random() < 0.8, rng.random() < 0.85
    segments: list[Segment] = [Knocks(strength_m_s2=rng.uniform(25, 70))] if knocks else []
    segments.append(Stand(duration_s=rng.uniform(7, 12) if stand else 1.0))
    style = rng.choice(["flip", "open", "mixed"])
    count = int(rng.integers(4, 9))
    for i in range(count):
        turn = str(rng.choice(["flip", "open"])) if style == "mixed" else str(style)
        stop = i == count - 1 or rng.random() < 0.3
        segments.append(Length(turn="stop" if stop else turn))
        if stop and i < count - 1:
            segments.append(Rest(duration_s=rng.uniform(5, 20)))
    segments.append(Rest(duration_s=rng.uniform(3, 8)))
    if knocks:
        segments.append(Knocks(strength_m_s2=rng.uniform(25, 70)))
    pool = float(rng.choice([25.0, 25.0, 25.0, 25.0, 50.0, 22.86]))
    return Plan(segments=tuple(segments), pool_length_m=pool)


RARE_RATES_HZ: Final = (25.0, 52.0, 400.0)
"""The slowest and the quickest that the file contract accepts, and a usual one of small sensors."""


def burdened(kit: Kit, rng: np.random.Generator) -> Kit:
    """Return a kit that may log at a rarer rate, in a small range or with damaged rows."""
    rare, small, damaged = rng.random(3) < (0.3, 0.15, 0.25)
    rate_hz, share = float(rng.choice(RARE_RATES_HZ)), float(10 ** rng.uniform(-3.3, -2))
    accel_g, gyro_deg_s = ((4.0, 2000.0), (8.0, 1000.0), (16.0, 500.0))[int(rng.integers(3))]
    changes: dict[str, Any] = {"rate_hz": rate_hz} if rare else {}
    if small:
        changes |= {"accel_range_g": accel_g, "gyro_range_deg_s": gyro_deg_s}
    if damaged:
        changes["damaged_rows"] = share
    return replace(kit, **changes)


@dataclass(frozen=True, kw_only=True)
class Drawn:
    """What a random swim is rehearsed from."""

    swimmer: Swimmer
    kit: Kit
    plan: Plan
    seed: int

    def rehearse(self) -> Rehearsal:
        """Simulate it."""
        return rehearse(self.plan, swimmer=self.swimmer, kit=self.kit, seed=self.seed)


def draw(
    seed: int,
    *,
    kit: str = "core",
    crawl_only: bool = False,
    rate_hz: float | None = None,
    **changes: Any,
) -> Drawn:
    """Draw a random swim over the whole range, without simulating it.

    Crawl with sound logs is drawn from a random stream of its own: what is mixed in beside it
    changes nothing about a swim that stays crawl but its rate, range, rests and damage.

    Parameters
    ----------
    seed : int
    kit : str
        A key of `KITS`.
    crawl_only : bool
        Leave out other strokes, drills, kick and pull, walking, rare rates, small ranges and
        damaged rows.
    rate_hz : float, optional
        The rate of all sensors, instead of the drawn one.
    **changes
        Settings of the swimmer that are not left to chance.

    Raises
    ------
    InputError
        A kit that isn't known.
    """
    if kit not in KITS:
        raise InputError(f"no kit {kit!r}", mend=f"use one of {', '.join(KITS)}")
    rng = np.random.default_rng([seed, 20_260_314])
    swimmer = replace(draw_swimmer(rng), **changes)
    worn, plan = draw_kit(rng, KITS[kit]), draw_plan(rng)
    if not crawl_only:
        more = np.random.default_rng([seed, 20_261_201])
        worn = burdened(worn, more)
        plan = walked(plan, more) if more.random() < 0.4 else plan
        plan = mixed(plan, swimmer, more) if more.random() < 0.4 else plan
    if rate_hz is not None:
        worn = replace(worn, rate_hz=rate_hz)
    return Drawn(swimmer=swimmer, kit=worn, plan=plan, seed=seed)


def draw_swim(seed: int, **choices: Any) -> Rehearsal:
    """Simulate one random swim over the whole range, for scoreboards; see `draw`."""
    return draw(seed, **choices).rehearse()


SAMPLE_SWIMMER = Swimmer(
    name="Mira (invented)",
    height_m=1.72,
    stroke_rate_cycles_min=29.0,
    speed_m_s=0.95,
    coordination_left_pct=-14.0,
    coordination_right_pct=-7.0,
    elbow_left_deg=150.0,
    elbow_right_deg=143.0,
    reach_tilt_deg=10.0,
    recovery_elbow_deg=122.0,
    roll_onto_left_deg=50.0,
    roll_onto_right_deg=44.0,
    breath_every=2,
    breath_side=Side.RIGHT,
    breath_hold_s=0.38,
    breath_roll_extra_deg=11.0,
    hold_delays_cycle=0.75,
    kick="sparse",
    kick_knee_deg=30.0,
    kick_hip_deg=12.0,
    kick_jitter=0.03,
    body_pitch_deg=7.0,
    glide_s=1.3,
)
"""An invented swimmer whose breath holds her on the side, whose kick is sparse and out of time
and whose pull is deep and nearly straight."""


def sample_session(*, placements: tuple[Placement, ...] = CORE, seed: int = 2026) -> Rehearsal:
    """Return the invented sample session: twelve lengths in two blocks with a rest between.

    In the first block swim and drill alternate: on the drill lengths she breathes every three
    with a shorter hold and kicks four to the cycle. The second block is swum freely.
    """
    better: dict[str, Any] = {
        "breath_every": 3,
        "breath_hold_s": 0.12,
        "kick": "4",
        "kick_jitter": 0.015,
        "stroke_rate_cycles_min": 27.0,
    }
    between = {"breath_hold_s": 0.28, "kick": "irregular"}
    segments: list[Segment] = [Knocks(), Stand(duration_s=10.0), Rest(duration_s=6.0)]
    segments.append(
        BlockStart(
            label="8 x 25 drill and swim",
            keys={
                "drill": "bilateral-breathing",
                "breathing": "every 2 right",
                "felt_kick_beat": 4,
                "felt_side_hold_s": 0.5,
            },
        )
    )
    for i in range(8):
        drill = i % 2 == 0
        segments.append(
            Length(
                turn="stop" if i % 2 else "open",
                set_as="drill" if drill else "swim",
                changes=better if drill else {},
            )
        )
        if i % 2:
            segments.append(Rest(duration_s=12.0 if i < 7 else 30.0))
    segments.append(BlockStart(label="4 x 25 easy", keys={"felt_stroke_rate_cycles_min": 32.0}))
    turns = ("open", "open", "open", "stop")
    segments += [Length(turn=turn, changes=between) for turn in turns]
    segments += [Rest(duration_s=6.0), Stand(duration_s=3.0), Knocks()]
    kit = Kit(placements=placements, rate_hz=104.0, clock_offset_s=40.0)
    return rehearse(Plan(segments=tuple(segments)), swimmer=SAMPLE_SWIMMER, kit=kit, seed=seed)
