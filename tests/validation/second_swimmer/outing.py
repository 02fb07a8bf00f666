"""A whole session as one movement: from the bench to the water, the lengths, and back again."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from .arms import settled
from .body import NAMES, SIDES, Build, Motion, Pose, join
from .crossing import Crossing, cross
from .deck import DECK_M, FLOOR_M, idle, mount, move, on_wall, standing, sway, walk
from .maths import RATE_HZ
from .swimmer import Length, Plan


@dataclass(frozen=True)
class Swum:
    """One length of the session and the sample at which its push begins."""

    crossing: Crossing
    start: int


@dataclass(frozen=True)
class Outing:
    """One session as moved; times in s of true time."""

    plan: Plan
    motion: Motion
    swum: tuple[Swum, ...]
    worn_from: float
    worn_to: float
    knocks: tuple[float, ...]


class _Reel:
    """Acts one after the other, each starting in the pose in which the last one ended."""

    def __init__(self, pose: Pose, build: Build) -> None:
        self.build = build
        self.pose = pose
        self.acts: list[Motion] = []
        self.count = 0

    def add(self, act: tuple[Motion, Pose]) -> None:
        motion, self.pose = act
        self.acts.append(motion)
        self.count += motion["x"].size

    def stages(self, *stages: tuple[float, Pose]) -> None:
        self.add(move(self.pose, list(stages)))

    @property
    def now(self) -> float:
        return self.count / RATE_HZ


def go_swimming(plan: Plan, rng: np.random.Generator) -> Outing:
    """Return the movement of a whole session."""
    build = plan.swimmer.build
    reel = _Reel(standing(build, DECK_M) | {"x": -4.0}, build)
    first = rng.uniform(4.0, 8.0)
    knocks = _knocks(rng, first) if plan.knocks else []
    _stand(reel, first + rng.uniform(14.0, 19.0), rng, 0.03)
    worn_from = reel.now - 6.0
    if plan.still:
        _stand(reel, rng.uniform(9.0, 12.0), rng, 0.008)
    reel.add(walk(reel.pose, 3.4, rng))
    _climb(reel, 0.62, FLOOR_M)
    reel.add(idle(reel.pose, rng.uniform(3.0, 8.0), rng))
    swimmer, cycles = settled(plan.swimmer)
    swum = []
    for number, spec in enumerate(plan.lengths):
        _get_ready(reel, plan, number, rng)
        crossing = cross(swimmer, cycles, spec, plan.pool, reel.pose, rng)
        swum.append(Swum(crossing, reel.count))
        reel.add((crossing.motion, dict.fromkeys(NAMES, 0.0) | crossing.end_pose))
        _after(reel, plan, spec, rng)
    out = float(np.sign(reel.pose["x"] - 0.5 * plan.pool))
    edge = plan.pool if out > 0.0 else 0.0
    away = 0.0 if out > 0.0 else np.pi
    facing = away + 2.0 * np.pi * round((reel.pose["heading"] - away) / (2.0 * np.pi))
    reel.stages((1.0, {"heading": facing}))
    _climb(reel, edge + 0.5 * out, DECK_M)
    reel.add(walk(reel.pose, 3.0 * out, rng))
    _stand(reel, rng.uniform(6.0, 10.0), rng, 0.01)
    worn_to = reel.now - 1.0
    if plan.knocks:
        knocks += _knocks(rng, reel.now + rng.uniform(6.0, 8.0))
    _stand(reel, rng.uniform(13.0, 16.0), rng, 0.03)
    return Outing(plan, join(reel.acts), tuple(swum), worn_from, worn_to, tuple(knocks))


def _knocks(rng: np.random.Generator, first: float) -> list[float]:
    return [float(first + 0.5 * k + rng.normal(0.0, 0.03)) for k in range(3)]


def _stand(reel: _Reel, seconds: float, rng: np.random.Generator, size: float) -> None:
    motion, pose = move(reel.pose, [(seconds, {})])
    reel.add((sway(motion, rng, size), pose))


def _climb(reel: _Reel, x: float, ground: float) -> None:
    """Climb in or out over the edge: legs bent, hands holding on, then upright again."""
    build, pose = reel.build, reel.pose
    upright = standing(build, ground)
    bent = {f"{side}_{j}": v for side in SIDES for j, v in (("hip", 1.3), ("knee", 1.4))}
    arms = {f"{side}_{j}": v for side in SIDES for j, v in (("reach", 2.2), ("elbow", 0.9))}
    half = {"x": 0.5 * (pose["x"] + x), "z": 0.5 * (pose["z"] + upright["z"]), "pitch": -1.2}
    back = {f"{side}_{j}": upright[f"{side}_{j}"] for side in SIDES for j in ("hip", "knee")}
    down = {f"{side}_{j}": upright[f"{side}_{j}"] for side in SIDES for j in ("reach", "elbow")}
    reel.stages(
        (1.6, half | bent | arms),
        (1.8, {"x": x, "z": upright["z"], "pitch": -0.5 * np.pi} | back | down),
    )


def _get_ready(reel: _Reel, plan: Plan, number: int, rng: np.random.Generator) -> None:
    """Bring the swimmer onto the wall, unless a flip turn has done that already."""
    build = plan.swimmer.build
    before = plan.lengths[number - 1] if number else Length(ending="touch")
    if before.ending == "flip":
        pose = reel.pose
        twist = np.pi + pose["twist"]
        pose |= {
            "heading": pose["heading"] + np.pi,
            "somersault": 0.0,
            "twist": twist - 2.0 * np.pi * (twist > np.pi),
        }
        return
    quick = before.ending == "open"
    heading = reel.pose["heading"] + (np.pi * plan.swimmer.twist_sign if number else 0.0)
    target = on_wall(build, plan.pool, far=number % 2 == 1) | {"heading": heading}
    if quick:
        target["twist"] = 1.2 * plan.swimmer.twist_sign
    reel.add(mount(reel.pose, target, 0.95 if quick else rng.uniform(1.3, 1.9)))
    reel.stages((0.08 if quick else rng.uniform(0.2, 0.7), {}))


def _after(reel: _Reel, plan: Plan, spec: Length, rng: np.random.Generator) -> None:
    """Stand up and rest after a length that ends with a touch."""
    if spec.ending != "touch":
        return
    upright = standing(plan.swimmer.build, FLOOR_M)
    stay = {name: reel.pose[name] for name in ("x", "heading")}
    reel.stages((1.0, upright | stay))
    reel.add(idle(reel.pose, max(spec.rest, 3.0), rng))
