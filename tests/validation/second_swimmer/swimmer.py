"""Who swims, and what: everything that is drawn from the seed before any movement is made."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from .body import SIDES, Build

# Where in the cycle (share, from the left hand's entry) each leg kicks, and how hard.
KICKS: dict[str, dict[str, list[tuple[float, float]]]] = {
    "six": {
        "left": [(0.17, 0.8), (0.50, 1.0), (0.83, 0.85)],
        "right": [(0.0, 1.0), (0.33, 0.85), (0.67, 0.8)],
    },
    "two": {"left": [(0.50, 1.0)], "right": [(0.0, 1.0)]},
    "crossover": {"left": [(0.50, 1.0)], "right": [(0.0, 1.0)]},
    "two_and_two": {
        "left": [(0.50, 1.0), (0.77, 0.75)],
        "right": [(0.02, 1.0), (0.28, 0.75)],
    },
    "three_and_one": {
        "left": [(0.15, 0.7), (0.48, 1.0), (0.80, 0.75)],
        "right": [(0.0, 1.0)],
    },
    "none": {"left": [], "right": []},
}


@dataclass(frozen=True)
class ArmShape:
    """One arm's stroke: shares of the cycle aimed at, angles in rad."""

    shares: tuple[float, float, float, float]
    bend: float
    pull_spread: float
    pull_turn: float
    recovery_bend: float
    recovery_spread: float
    recovery_turn: float
    clearance: float
    hardest: float
    fastest: float


@dataclass(frozen=True)
class Swimmer:
    """One swimmer's habits. Angles in rad, times in s, speeds in m/s."""

    build: Build
    cycles_min: float
    stroke_length: float
    arms: dict[str, ArmShape]
    offset: float
    variation: float
    shoulder_roll: dict[str, float]
    hip_share: float
    leg_share: float
    roll_lag: float
    pitch: float
    surge: float
    bob: float
    kick_lift: float
    kick_bend: float
    kick_uneven: dict[str, float]
    kick_late: float
    knock_m_s2: float
    take_off: float
    glide_drag: float
    breakout_gain: float
    longest_glide: float
    glide_depth: float
    dolphin: int
    quarter: float
    twist_sign: float
    breath_side: str
    breath_turn: float
    breath_extra: float
    breath_hold: float
    head_follow: float


@dataclass(frozen=True)
class Length:
    """One length as set and swum."""

    stroke: str = "front_crawl"
    set_as: str = "swim"
    ending: str = "open"
    kick: str = "six"
    fade: float = 0.0
    breathing: str = "every_2"
    first_arm: str = "left"
    one_arm: str = ""
    rest: float = 0.0
    pace: float = 1.0


@dataclass(frozen=True)
class Plan:
    """One session as set."""

    pool: float
    lengths: tuple[Length, ...]
    knocks: bool
    still: bool
    swimmer: Swimmer


def _arm(
    rng: np.random.Generator, index: float, elbow: float, straight: bool, most: float, rate: float
) -> ArmShape:
    recovery = rng.uniform(0.25, 0.30) if index < 0.0 else rng.uniform(0.24, 0.27)
    power = 0.5 + index + rng.normal(0.0, 0.008)
    pull = min(power * rng.uniform(0.44, 0.55), most)
    return ArmShape(
        shares=(1.0 - recovery - power, pull, power - pull, recovery),
        bend=np.pi - elbow - rng.normal(0.0, 0.05),
        pull_spread=np.radians(rng.uniform(8.0, 22.0)),
        pull_turn=np.radians(rng.uniform(25.0, 60.0)),
        recovery_bend=np.radians(rng.uniform(45.0, 65.0) if straight else rng.uniform(75.0, 110.0)),
        recovery_spread=np.radians(rng.uniform(60.0, 72.0)),
        recovery_turn=np.radians(rng.uniform(75.0, 95.0)),
        clearance=rng.uniform(0.16, 0.23) if straight else rng.uniform(0.10, 0.19),
        hardest=(22.0 + 39.0 * (rate / 60.0) ** 2.6) * rng.uniform(0.94, 1.06),
        fastest=np.radians(420.0 + 560.0 * (rate / 60.0) ** 1.9) * rng.uniform(0.94, 1.06),
    )


def draw_swimmer(rng: np.random.Generator) -> Swimmer:
    """Return a swimmer drawn from the whole range of heights, rates and habits."""
    rate = rng.uniform(24.0, 62.0)
    fast = (rate - 24.0) / 38.0
    index = float(np.clip(-0.20 + 0.23 * fast + rng.normal(0.0, 0.05), -0.25, 0.08))
    elbow = np.radians(np.clip(rng.normal(120.0, 18.0), 95.0, 165.0))
    straight = rng.random() < 0.3
    height = float(rng.uniform(1.5, 1.95))
    # The hand can't slip forwards: what the body travels while it pulls is shorter than its path.
    longest = (0.53 * height - 0.07) / (0.5 + index)
    roll = np.radians(np.clip(rng.normal(50.0 - 12.0 * fast, 7.0), 25.0, 60.0))
    uneven = np.radians(rng.normal(0.0, 4.0))
    limits = np.radians([25.0, 60.0])
    length = min(2.35 - 0.5 * fast + rng.uniform(-0.25, 0.2), longest)
    return Swimmer(
        build=Build(height),
        cycles_min=rate,
        stroke_length=length,
        arms={
            side: _arm(rng, index, elbow, straight, 0.235 * height / length, rate) for side in SIDES
        },
        offset=rng.normal(0.0, 0.12),
        variation=rng.uniform(0.02, 0.05),
        shoulder_roll={
            "left": float(np.clip(roll + uneven, *limits)),
            "right": float(np.clip(roll - uneven, *limits)),
        },
        hip_share=rng.uniform(0.45, 0.85),
        leg_share=rng.uniform(0.6, 0.9),
        roll_lag=rng.uniform(0.02, 0.06),
        pitch=np.radians(rng.uniform(-7.0, -2.0)),
        surge=rng.uniform(0.12, 0.26),
        bob=rng.uniform(0.005, 0.02),
        kick_lift=np.radians(rng.uniform(7.0, 13.0)),
        kick_bend=np.radians(rng.uniform(22.0, 42.0)),
        kick_uneven={side: rng.uniform(0.8, 1.2) for side in SIDES},
        kick_late=2.0 * np.pi * rng.uniform(0.03, 0.08),
        knock_m_s2=rng.uniform(15.0, 60.0),
        take_off=rng.uniform(2.0, 3.0),
        glide_drag=rng.uniform(0.13, 0.24),
        breakout_gain=rng.uniform(1.05, 1.25),
        longest_glide=rng.uniform(1.8, 3.4),
        glide_depth=rng.uniform(0.35, 0.6),
        dolphin=int(rng.choice([0, 0, 2, 3, 4])),
        quarter=np.radians(rng.uniform(0.0, 90.0)),
        twist_sign=rng.choice([-1.0, 1.0]),
        breath_side=str(rng.choice(SIDES)),
        breath_turn=np.radians(rng.uniform(66.0, 90.0)),
        breath_extra=np.radians(rng.uniform(3.0, 11.0)),
        breath_hold=float(rng.choice([0.0, rng.uniform(0.05, 0.6)], p=[0.25, 0.75])),
        head_follow=rng.uniform(0.0, 0.2),
    )


def draw_plan(rng: np.random.Generator) -> Plan:
    """Return a session drawn from the seed: 4 to 8 lengths of 25 m, at times 50 m or 25 yd."""
    swimmer = draw_swimmer(rng)
    pool = float(rng.choice([25.0, 22.86, 50.0], p=[0.72, 0.16, 0.12]))
    count = int(rng.integers(4, 6) if pool == 50.0 else rng.integers(4, 9))
    habit = Length(
        ending=str(rng.choice(["flip", "open"], p=[0.6, 0.4])),
        kick=str(
            rng.choice(
                ["six", "two", "crossover", "two_and_two", "three_and_one", "irregular"],
                p=[0.36, 0.22, 0.08, 0.12, 0.12, 0.10],
            )
        ),
        breathing=str(
            rng.choice(["every_2", "every_3", "every_4", "irregular"], p=[0.42, 0.33, 0.15, 0.10])
        ),
        first_arm=str(rng.choice(SIDES)),
    )
    kinds = _kinds(rng, count)
    lengths = [_length(rng, habit, kind, last=k == count - 1) for k, kind in enumerate(kinds)]
    for k, ahead in enumerate(kinds[1:]):
        if ahead != kinds[k] and lengths[k].rest == 0.0:
            rest = float(rng.uniform(8.0, 16.0))
            lengths[k] = replace(lengths[k], ending="touch", rest=rest)
    return Plan(
        pool=pool,
        lengths=tuple(lengths),
        knocks=bool(rng.random() < 0.67),
        still=bool(rng.random() < 0.85),
        swimmer=swimmer,
    )


def _kinds(rng: np.random.Generator, count: int) -> list[str]:
    kinds = ["crawl"] * count
    if rng.random() < 0.55:
        others = ["backstroke", "breaststroke", "butterfly", "board", "pull", "none"]
        kinds[int(rng.integers(1, count))] = str(rng.choice(others))
    if rng.random() < 0.33:
        first = int(rng.integers(1, count - 1))
        for k in range(first, min(first + int(rng.integers(1, 3)), count)):
            kinds[k] = "drill"
    return kinds


def _length(rng: np.random.Generator, habit: Length, kind: str, last: bool) -> Length:
    rest = float(rng.uniform(6.0, 20.0)) if rng.random() < 0.3 or last else 0.0
    ending = "touch" if rest else habit.ending
    one = replace(habit, rest=rest, ending=ending, pace=rng.normal(1.0, 0.02))
    fading = rng.random() < 0.12
    if kind == "crawl":
        return replace(one, fade=float(rng.uniform(0.3, 0.7)) if fading else 0.0)
    if kind == "none":
        return replace(one, breathing="none", pace=1.05)
    if kind == "pull":
        return replace(one, kick="none", set_as="pull")
    open_end = "touch" if rest else "open"
    if kind == "drill":
        arm = str(rng.choice(SIDES))
        return replace(
            one, set_as="drill", one_arm=arm, first_arm=arm, ending=open_end, breathing="every_2"
        )
    if kind == "board":
        return replace(one, stroke="kick", set_as="kick", ending="touch", rest=rest or 5.0)
    return replace(one, stroke=kind, ending="touch", rest=rest or 6.0)
