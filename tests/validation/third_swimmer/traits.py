"""What is drawn before anything moves: the swimmer and the plan of the session."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np

Side = Literal["left", "right"]
Kit = Literal["core", "full"]
SIDES: tuple[Side, Side] = ("left", "right")
CORE = ("left_wrist", "right_wrist", "left_ankle", "right_ankle")
FULL = (*CORE, "lower_back", "upper_back", "head", "left_upper_arm", "right_upper_arm")
CRAWL_LIKE = ("front_crawl", "drill")


def sign(side: Side) -> float:
    """+1 for left (y to the left), -1 for right."""
    return 1.0 if side == "left" else -1.0


def other(side: Side) -> Side:
    """The other side."""
    return "right" if side == "left" else "left"


@dataclass(frozen=True)
class Build:
    """Lengths of the segments (m); shoulder and hip are half widths."""

    height_m: float
    upper_arm_m: float
    forearm_m: float
    hand_m: float
    trunk_m: float
    shoulder_m: float
    hip_m: float
    thigh_m: float
    shank_m: float

    @property
    def arm_m(self) -> float:
        """Shoulder to wrist."""
        return self.upper_arm_m + self.forearm_m

    @property
    def leg_m(self) -> float:
        """Hip to ankle."""
        return self.thigh_m + self.shank_m


@dataclass(frozen=True)
class Swimmer(Build):
    """Build and technique of one swimmer; angles in degrees, fractions of the arm cycle."""

    rate_cycles_min: float
    variation: float
    propulsion_fraction: float
    recovery_fraction: float
    elbow_deg: float
    pull_across: float
    straight_recovery: bool
    recovery_height: float
    roll_left_up_deg: float
    roll_right_up_deg: float
    hip_share: float
    leg_share: float
    breath_extra_roll: float
    breath_hold_s: float
    kick_beat: int
    kick_pattern: tuple[float, ...]
    kick_strength: float
    kick_phase: float
    crossover: bool
    arm_asymmetry: float
    pitch_deg: float
    yaw_sway_deg: float
    push_speed_m_s: float


@dataclass(frozen=True)
class LengthPlan:
    """One length as set: stroke, breathing, turn at its end and the rest after it."""

    activity: str
    breathing: str
    pull_buoy: bool
    single_arm: Side | None
    first_side: Side
    underwater: Literal["glide", "dolphin", "flutter"]
    flip_turn: bool
    rest_s: float


@dataclass(frozen=True)
class SessionPlan:
    """Everything about a session that is not the swimmer."""

    kit: Kit
    placements: tuple[str, ...]
    pool_length_m: float
    knocks: bool
    standing_s: float
    idle_s: float
    clocks_near_zero: bool
    file_suffix: str
    units: str
    lengths: tuple[LengthPlan, ...]


def spread(seed: int, channel: int) -> float:
    """Uniform value in 0..1 that covers the range within any 20 seeds in a row."""
    step = np.sqrt((2, 3, 5, 7, 11, 13, 17, 19, 23, 29)[channel]) % 1.0
    return float(((seed + 1) * step) % 1.0)


def _pick(seed: int, channel: int, choices: dict[str, float]) -> str:
    """A choice by its weight, spread over the seeds."""
    edges = np.cumsum(list(choices.values()))
    place = np.searchsorted(edges, spread(seed, channel) * edges[-1], side="right")
    return list(choices)[int(place)]


def draw_swimmer(rng: np.random.Generator, seed: int) -> Swimmer:
    """Draw a swimmer; slow rates go with catch-up timing, as they do in the pool."""
    rate = 24.0 + 38.0 * spread(seed, 0)
    quick = (rate - 24.0) / 38.0
    propulsion = float(np.clip(0.33 + 0.29 * quick + rng.normal(0.0, 0.04), 0.28, 0.64))
    recovery = float(np.clip(0.22 + 0.08 * quick + rng.normal(0.0, 0.02), 0.2, 0.34))
    recovery = max(min(recovery, 0.89 - propulsion), 0.31 * rate / 60.0)
    beat = int(_pick(seed, 1, {"2": 0.3, "4": 0.22, "6": 0.33, "0": 0.15}))
    pattern = rng.uniform(0.65, 1.2, 6) if rng.random() < 0.6 else np.ones(6)
    roll = 27.0 + 33.0 * spread(seed, 2)
    lean = float(rng.normal(0.0, 0.09))
    hold = 0.0 if rng.random() < 0.3 else float(rng.uniform(0.05, 0.5))
    height = float(rng.uniform(1.56, 1.94))
    return Swimmer(
        height_m=height,
        upper_arm_m=0.182 * height,
        forearm_m=0.148 * height,
        hand_m=0.105 * height,
        trunk_m=0.292 * height,
        shoulder_m=0.108 * height,
        hip_m=0.052 * height,
        thigh_m=0.242 * height,
        shank_m=0.244 * height,
        rate_cycles_min=rate,
        variation=float(rng.uniform(0.02, 0.05)),
        propulsion_fraction=propulsion,
        recovery_fraction=recovery,
        elbow_deg=97.0 + 71.0 * spread(seed, 3),
        pull_across=float(rng.uniform(-0.15, 0.3)),
        straight_recovery=spread(seed, 4) < 0.35,
        recovery_height=float(rng.uniform(0.0, 1.0)),
        roll_left_up_deg=float(np.clip(roll * (1.0 + lean), 25.0, 65.0)),
        roll_right_up_deg=float(np.clip(roll * (1.0 - lean), 25.0, 65.0)),
        hip_share=float(rng.uniform(0.55, 0.9)),
        leg_share=float(rng.uniform(0.65, 0.95)),
        breath_extra_roll=0.0 if rng.random() < 0.3 else float(rng.uniform(0.03, 0.3)),
        breath_hold_s=hold * float(np.clip(60.0 / rate / 1.6, 0.5, 1.2)),
        kick_beat=beat,
        kick_pattern=tuple(float(p) for p in pattern),
        kick_strength=0.3 + 0.7 * spread(seed, 5),
        kick_phase=float(rng.uniform(0.03, 0.12)),
        crossover=bool(beat == 2 and rng.random() < 0.5),
        arm_asymmetry=float(rng.normal(0.0, 0.02)),
        pitch_deg=float(rng.uniform(-7.0, -1.0)),
        yaw_sway_deg=float(rng.uniform(1.0, 5.0)),
        push_speed_m_s=float(rng.uniform(2.5, 3.0)),
    )


def _special_lengths(rng: np.random.Generator, count: int, seed: int) -> dict[int, str]:
    """Which lengths are something else than plain crawl (never the first two)."""
    kinds = ("backstroke", "breaststroke", "butterfly", "kick", "drill", "buoy")
    first = _pick(seed, 6, {"": 3.0} | dict.fromkeys(kinds, 1.0))
    if not first:
        return {}
    rest = [kind for kind in kinds if kind != first]
    picked = np.array([first, *rng.choice(rest, size=int(rng.integers(0, 2)), replace=False)])
    places = rng.choice(np.arange(2, count), size=picked.size, replace=False)
    return {int(place): str(kind) for place, kind in zip(places, picked, strict=True)}


def draw_plan(rng: np.random.Generator, kit: Kit, seed: int) -> SessionPlan:
    """Draw the plan of a session."""
    pool = float(rng.choice([25.0, 50.0, 22.86], p=[0.6, 0.2, 0.2]))
    count = int(rng.integers(4, 9)) if pool < 30.0 else int(rng.integers(4, 6))
    special = _special_lengths(rng, count, seed)
    usual = _pick(seed, 7, {"2 left": 1.0, "2 right": 1.0, "3": 1.4, "4": 0.8, "free": 1.0})
    flips = spread(seed, 9) < 0.6
    first = SIDES[int(rng.integers(2))]
    lengths = []
    for index in range(count):
        kind = special.get(index, "front_crawl")
        changes = rng.random() < 0.3
        breathing = str(rng.choice(["2 left", "2 right", "3", "4", "free", "none"]))
        crawl_next = special.get(index + 1, "front_crawl") in ("front_crawl", "buoy")
        flip = flips and kind in ("front_crawl", "buoy") and crawl_next and rng.random() < 0.85
        lengths.append(
            LengthPlan(
                activity="front_crawl" if kind == "buoy" else kind,
                breathing=breathing if changes else usual,
                pull_buoy=kind == "buoy",
                single_arm=SIDES[int(rng.integers(2))] if kind == "drill" else None,
                first_side=first if rng.random() < 0.8 else other(first),
                underwater=("glide", "dolphin", "flutter")[int(rng.choice(3, p=[0.45, 0.3, 0.25]))],
                flip_turn=bool(flip and index < count - 1),
                rest_s=float(rng.uniform(*((6.0, 14.0) if rng.random() < 0.6 else (1.6, 2.6)))),
            )
        )
    return SessionPlan(
        kit=kit,
        placements=tuple(str(p) for p in rng.permutation(CORE if kit == "core" else FULL)),
        pool_length_m=pool,
        knocks=spread(seed, 8) < 0.66,
        standing_s=float(rng.uniform(8.0, 12.0) if rng.random() < 0.75 else rng.uniform(1.0, 2.0)),
        idle_s=float(rng.uniform(5.0, 12.0)),
        clocks_near_zero=bool(rng.random() < 0.2),
        file_suffix=str(rng.choice([".csv", ".csv.gz", ".parquet"], p=[0.4, 0.2, 0.4])),
        units=str(rng.choice(["si", "g_rad"], p=[0.8, 0.2])),
        lengths=tuple(lengths),
    )
