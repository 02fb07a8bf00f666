"""What happens besides swimming: standing, walking, climbing in and out, resting at the wall."""

from __future__ import annotations

import numpy as np

from .body import NAMES, SIDES, Build, Motion, Pose
from .crossing import FOOT_GAP, PUSH_BEND, STREAMLINE, WALL_DEPTH
from .maths import RATE_HZ, Array, ease, smooth_noise

DECK_M = 0.25
FLOOR_M = -1.30


def standing(build: Build, ground: float) -> Pose:
    """Return the pose of standing upright with the arms by the sides."""
    pose = dict.fromkeys(NAMES, 0.0)
    pose["pitch"] = -0.5 * np.pi
    pose["z"] = ground + build.leg + 0.09
    for side in SIDES:
        pose[f"{side}_reach"] = np.pi
        pose[f"{side}_spread"] = -0.10
        pose[f"{side}_elbow"] = 0.18
        pose[f"{side}_forearm"] = -0.5 * np.pi
    return pose


def on_wall(build: Build, pool: float, far: bool) -> Pose:
    """Return the pose of crouching on a wall with stretched arms, ready for the push."""
    pose = dict.fromkeys(NAMES, 0.0)
    away = FOOT_GAP + PUSH_BEND * build.leg
    thigh, shank, reach = build.thigh, build.shank, PUSH_BEND * build.leg
    pose["x"] = pool - away if far else away
    pose["z"] = WALL_DEPTH
    for side in SIDES:
        pose[f"{side}_hip"] = np.arccos((thigh**2 + reach**2 - shank**2) / (2 * thigh * reach))
        inside = np.arccos((thigh**2 + shank**2 - reach**2) / (2 * thigh * shank))
        pose[f"{side}_knee"] = np.pi - inside
        pose |= {f"{side}_{joint}": value for joint, value in STREAMLINE.items()}
    return pose


def move(start: Pose, stages: list[tuple[float, Pose]]) -> tuple[Motion, Pose]:
    """Go through poses one after the other, each reached at rest after its time in s."""
    seconds = sum(stage[0] for stage in stages)
    t = np.arange(round(seconds * RATE_HZ)) / RATE_HZ
    motion = {name: np.full(t.size, start[name]) for name in NAMES}
    now, pose = 0.0, dict(start)
    for length, target in stages:
        step = ease(t, now, now + length)
        for name, value in target.items():
            motion[name] += (value - pose[name]) * step
        pose = pose | target
        now += length
    return motion, pose


def sway(motion: Motion, rng: np.random.Generator, size: float) -> Motion:
    """Add the small unrest of a body that is never quite still (rad), fading at both ends."""
    count = motion["x"].size
    t = np.arange(count) / RATE_HZ
    over = ease(t, 0.0, 0.6) * (1.0 - ease(t, t[-1] - 0.6, t[-1]))
    for name in ("pitch", "shoulder_roll", "head_roll"):
        motion[name] = motion[name] + over * 0.3 * size * smooth_noise(rng, count, 1.6)
    for side in SIDES:
        for joint in ("reach", "spread", "elbow", "forearm"):
            name = f"{side}_{joint}"
            motion[name] = motion[name] + over * size * smooth_noise(rng, count, 1.2)
    return motion


def walk(start: Pose, metres: float, rng: np.random.Generator) -> tuple[Motion, Pose]:
    """Walk some metres straight on at about 1.2 m/s with swinging arms and legs."""
    pace = rng.uniform(0.95, 1.3)
    motion, pose = move(start, [(abs(metres) / pace + 1.2, {"x": start["x"] + metres})])
    t = np.arange(motion["x"].size) / RATE_HZ
    over = ease(t, 0.0, 0.9) * (1.0 - ease(t, t[-1] - 0.9, t[-1]))
    stride = 2.0 * np.pi * rng.uniform(0.75, 0.95) * t
    for side, half in (("left", 0.0), ("right", np.pi)):
        swing = np.sin(stride + half)
        motion[f"{side}_hip"] += over * 0.38 * swing
        motion[f"{side}_knee"] += over * 0.45 * (1.0 + np.sin(stride + half + 1.3))
        motion[f"{side}_reach"] += over * rng.uniform(0.2, 0.4) * swing
        motion[f"{side}_elbow"] += over * 0.12 * (1.0 - swing)
    motion["z"] += over * 0.02 * np.cos(2.0 * stride)
    motion["shoulder_roll"] += over * 0.06 * np.sin(stride)
    return motion, pose


def idle(start: Pose, seconds: float, rng: np.random.Generator) -> tuple[Motion, Pose]:
    """Stand in the water by the wall: talk, put the goggles straight, drink, or do nothing."""
    home = dict(start)
    face = {"reach": 1.45, "spread": -0.15, "turn": -0.5, "elbow": 2.3, "forearm": 0.3}
    stages: list[tuple[float, Pose]] = []
    left = seconds
    while left > 0.5:
        kind = str(rng.choice(["goggles", "drink", "talk", "nothing"]))
        sides = SIDES if kind in {"goggles", "talk"} else (str(rng.choice(SIDES)),)
        length = float(rng.uniform(0.9, 1.6))
        if kind in {"goggles", "drink"}:
            stages += [
                (length, {f"{side}_{j}": v for side in sides for j, v in face.items()}),
                (0.8 * length, {}),
                (length, {f"{side}_{j}": home[f"{side}_{j}"] for side in sides for j in face}),
            ]
            left -= 2.8 * length
        elif kind == "talk":
            for _ in range(3):
                swing = {f"{s}_elbow": float(rng.uniform(0.2, 1.5)) for s in sides}
                stages.append((0.6 * length, swing))
            stages.append((length, {f"{s}_elbow": home[f"{s}_elbow"] for s in sides}))
            left -= 2.8 * length
        else:
            stages.append((1.5 * length, {}))
            left -= 1.5 * length
    motion, pose = move(start, stages)
    return sway(motion, rng, 0.05), pose


def mount(start: Pose, target: Pose, seconds: float) -> tuple[Motion, Pose]:
    """Go from beside a wall to crouching on it: tuck, turn, feet on the wall, arms in front."""
    tuck = {f"{side}_{j}": v for side in SIDES for j, v in (("hip", 1.7), ("knee", 1.9))}
    arms = {f"{side}_{j}": v for side in SIDES for j, v in (("reach", 1.3), ("elbow", 1.4))}
    first, pose = move(start, [(seconds, target)])
    t = np.arange(first["x"].size) / RATE_HZ
    bump: Array = ease(t, 0.0, 0.5 * seconds) * (1.0 - ease(t, 0.5 * seconds, seconds - 0.05))
    for name, value in (tuck | arms).items():
        first[name] = first[name] + bump * (value - first[name])
    first["pitch"] -= 0.3 * bump
    return first, pose
