"""Invented swimmers without a fault, and the same with one fault planted, for the findings board.

What counts as clean is our own choice of an unremarkable stroke, inside every band of the rules
with room to spare; a planted fault lies well outside of its band. Clocks have knocks.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field, replace
from typing import Any, Final

import numpy as np

from sensorswim.model import Placement, Side
from sensorswim.rehearsal.draw import KITS, draw_kit, fitting_speed_m_s
from sensorswim.rehearsal.settings import (
    CORE,
    BlockStart,
    Knocks,
    Length,
    Plan,
    Rest,
    Segment,
    Stand,
    Swimmer,
)
from sensorswim.rehearsal.simulate import Rehearsal, rehearse

LENGTHS: Final = 6
TRUNK: Final = KITS["trunk"]
HEAD: Final = (*TRUNK, Placement.HEAD)


@dataclass(frozen=True, kw_only=True)
class Planted:
    """One fault: the findings that name it, what is changed, and the kit that can see it."""

    finds: tuple[str, ...]
    change: Callable[[np.random.Generator, Swimmer], dict[str, Any]]
    kit: tuple[Placement, ...] = CORE
    drift: dict[str, float] = field(default_factory=dict)
    felt: dict[str, float] = field(default_factory=dict)


def _hold(rng: np.random.Generator, swimmer: Swimmer) -> dict[str, Any]:
    slow = 33.0 / swimmer.stroke_rate_cycles_min
    return {
        "breath_hold_s": rng.uniform(0.4, 0.6) * min(1.0, slow),
        "hold_delays_cycle": rng.uniform(0.5, 0.9),
    }


def _uneven_roll(rng: np.random.Generator, _: Swimmer) -> dict[str, Any]:
    sizes = [rng.uniform(54, 60), rng.uniform(28, 34)]
    rng.shuffle(sizes)
    return {"roll_onto_left_deg": sizes[0], "roll_onto_right_deg": sizes[1]}


def _uneven_arms(rng: np.random.Generator, _: Swimmer) -> dict[str, Any]:
    lags = [rng.uniform(-16, -13), rng.uniform(0, 3)]
    rng.shuffle(lags)
    return {"coordination_left_pct": lags[0], "coordination_right_pct": lags[1]}


def _both_rolls(low: float, high: float) -> Callable[[np.random.Generator, Swimmer], Any]:
    def change(rng: np.random.Generator, _: Swimmer) -> dict[str, Any]:
        size = rng.uniform(low, high)
        return {"roll_onto_left_deg": size, "roll_onto_right_deg": size}

    return change


def _both_elbows(rng: np.random.Generator, _: Swimmer) -> dict[str, Any]:
    bend = rng.uniform(152, 163)
    return {"elbow_left_deg": bend, "elbow_right_deg": bend + rng.uniform(-4, 2)}


def _gap(rng: np.random.Generator, swimmer: Swimmer) -> dict[str, Any]:
    lag = rng.uniform(-22, -18)
    return {
        "coordination_left_pct": lag,
        "coordination_right_pct": lag + rng.normal(0, 1),
        "speed_m_s": fitting_speed_m_s(swimmer.height_m, swimmer.stroke_rate_cycles_min, lag),
    }


FAULTS: Final[dict[str, Planted]] = {
    "long on the side": Planted(finds=("long-on-side", "slow-breath"), change=_hold),
    "late breath": Planted(
        finds=("late-breath",),
        change=lambda rng, _: {"roll_timing": rng.uniform(0.14, 0.18)},
        kit=HEAD,
    ),
    "over-rotation": Planted(finds=("roll-too-far",), change=_both_rolls(66, 74), kit=TRUNK),
    "flat roll": Planted(finds=("roll-too-flat",), change=_both_rolls(14, 22), kit=TRUNK),
    "lopsided roll": Planted(finds=("roll-lopsided",), change=_uneven_roll),
    "dropping lead arm": Planted(
        finds=("lead-arm-drops",),
        change=lambda rng, _: {"reach_tilt_deg": rng.uniform(28, 34)},
        kit=HEAD,
    ),
    "legs split on the breath": Planted(
        finds=("legs-split-on-breath",),
        change=lambda rng, _: (
            {
                "breath_kick_extra": rng.uniform(0.8, 1.1),
                "breath_every": 3,
                "kick": "6",
            }
        ),
        kit=HEAD,
    ),
    "sparse kick": Planted(
        finds=("kick-sparse", "kick-irregular"), change=lambda _rng, _s: {"kick": "sparse"}
    ),
    "irregular kick": Planted(
        finds=("kick-irregular", "kick-out-of-time"),
        change=lambda _rng, _s: {"kick": "irregular"},
    ),
    "kick out of time": Planted(
        finds=("kick-out-of-time", "kick-irregular"),
        change=lambda rng, _: {"kick": "2", "kick_jitter": rng.uniform(0.1, 0.14)},
    ),
    "gap between the arms": Planted(finds=("arm-gap",), change=_gap),
    "arms unlike": Planted(finds=("arms-differ",), change=_uneven_arms),
    "straight pull": Planted(finds=("pull-straight", "pull-deep"), change=_both_elbows),
    "rate drifts": Planted(
        finds=("rate-drift",), change=lambda _rng, _s: {}, drift={"stroke_rate_cycles_min": -0.16}
    ),
    "felt apart": Planted(
        finds=("felt-apart",), change=lambda _rng, _s: {"kick": "2"}, felt={"kick_beat": 6}
    ),
}
"""By the words that the board prints."""


def draw_clean(rng: np.random.Generator) -> Swimmer:
    """Return an invented swimmer inside all bands."""
    rate, height = rng.uniform(26, 44), rng.uniform(1.6, 1.92)
    lag, elbow, roll = rng.uniform(-9, -1), rng.uniform(104, 116), rng.uniform(42, 51)
    lean = rng.normal(0, 1)
    return Swimmer(
        name="drawn swimmer (invented)",
        height_m=height,
        stroke_rate_cycles_min=rate,
        speed_m_s=fitting_speed_m_s(height, rate, lag) * rng.uniform(0.95, 1.05),
        coordination_left_pct=lag + rng.normal(0, 0.8),
        coordination_right_pct=lag + rng.normal(0, 0.8),
        arm_offset_pct=rng.normal(0, 0.4),
        recovery_share=rng.uniform(0.24, 0.28),
        elbow_left_deg=elbow + rng.normal(0, 2),
        elbow_right_deg=elbow + rng.normal(0, 2),
        pull_lateral_deg=rng.normal(3, 3),
        recovery_elbow_deg=rng.uniform(92, 125),
        reach_tilt_deg=rng.uniform(3, 8),
        pronation_deg=rng.normal(0, 8),
        roll_onto_left_deg=roll + lean,
        roll_onto_right_deg=roll - lean,
        roll_timing=rng.normal(0, 0.01),
        hip_roll_share=rng.uniform(0.6, 0.8),
        hip_lag_s=rng.uniform(0.0, 0.06),
        shank_roll_share=rng.uniform(0.6, 0.85),
        breath_every=int(rng.choice([2, 3, 3, 4])),
        breath_side=Side(rng.choice(["left", "right"])),
        breath_hold_s=rng.uniform(0.0, 0.1),
        breath_roll_extra_deg=rng.uniform(0, 7),
        hold_delays_cycle=rng.uniform(0.3, 0.8),
        kick=str(rng.choice(["6", "6", "4", "2"])),
        kick_knee_deg=rng.uniform(33, 40),
        kick_hip_deg=rng.uniform(13, 16),
        kick_unevenness=rng.uniform(0.1, 0.4),
        kick_shift=0.06 + rng.normal(0, 0.02),
        kick_jitter=rng.uniform(0.008, 0.02),
        leg_split_deg=rng.uniform(0, 4),
        variation=rng.uniform(0.015, 0.028),
        entry_splash_m_s2=rng.uniform(2, 15),
        first_arm=Side(rng.choice(["left", "right"])),
    )


def draw_planted(seed: int, fault: str | None) -> Rehearsal:
    """Return one swim of a clean swimmer, or of one with a fault of `FAULTS`."""
    rng = np.random.default_rng([seed, 20_261_125])
    swimmer, planted = draw_clean(rng), FAULTS.get(fault or "")
    kit = CORE
    if planted is not None:
        swimmer, kit = replace(swimmer, **planted.change(rng, swimmer)), planted.kit
    worn = replace(draw_kit(rng, kit), gaps=0, rate_hz=float(rng.choice([100.0, 104.0])))
    plan = _plan(rng, swimmer, planted)
    return rehearse(plan, swimmer=swimmer, kit=worn, seed=seed)


def _plan(rng: np.random.Generator, swimmer: Swimmer, planted: Planted | None) -> Plan:
    segments: list[Segment] = [Knocks(), Stand(duration_s=8.0)]
    if planted is not None and planted.felt:
        felt = {f"felt_{column}": value for column, value in planted.felt.items()}
        segments.append(BlockStart(label="main set", keys=felt))
    turn = str(rng.choice(["flip", "open"]))
    for i in range(LENGTHS):
        stop = i == LENGTHS - 1 or i % 2 == 1
        share = i / (LENGTHS - 1)
        drift = {} if planted is None else planted.drift
        changes = {name: getattr(swimmer, name) * (1 + by * share) for name, by in drift.items()}
        segments.append(Length(turn="stop" if stop else turn, changes=changes))
        if stop and i < LENGTHS - 1:
            segments.append(Rest(duration_s=8.0))
    segments += [Rest(duration_s=4.0), Knocks()]
    return Plan(segments=tuple(segments), pool_length_m=25.0)
