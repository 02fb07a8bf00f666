"""From the script to the movement of every segment (pool frame, m), at 1 kHz."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.interpolate import PchipInterpolator

from .curves import RATE_HZ, Array, Track, bump, smooth
from .rotations import about, across, apply, euler, frame, unit
from .script import Anchor, Script
from .traits import SIDES, Side, Swimmer, sign
from .wall import LONG_LEG

_HIP_LAG_S = 0.04
_LEG_LAG_S = 0.04
_ROLL_OFF_M = 0.05
_BLEND_S = 0.12


@dataclass
class Motion:
    """Poses over time: `axes` (N, 3, 3) of the segments and `points` (N, 3) of the joints.

    Limb axes follow the sensor convention of the contract (x down the limb, z out of the skin);
    trunk and head axes are body axes (x to the head, y left, z out of the back).
    """

    time_s: Array
    axes: dict[str, Array] = field(default_factory=dict)
    points: dict[str, Array] = field(default_factory=dict)

    def index(self, time_s: ArrayLike) -> NDArray[np.intp]:
        """Samples at or next after moments (s)."""
        return np.clip(np.searchsorted(self.time_s, time_s), 0, self.time_s.size - 1)

    def span(self, start_s: float, end_s: float) -> slice:
        """Samples from one moment (s) to another."""
        return slice(int(self.index(start_s)), int(self.index(end_s)))


def _radians(track: Track, time_s: Array, sigma_s: float) -> Array:
    return np.radians(track.curve(time_s, sigma_s))


def _base(script: Script, time_s: Array) -> Array:
    """Orientation of the body without the roll, sway and undulation of swimming."""
    base = np.empty((time_s.size, 3, 3))
    settled = np.eye(3)
    done = 0
    for turning in sorted(script.turnings, key=lambda t: t.start_s):
        edges = [turning.start_s - _BLEND_S, turning.end_s + _BLEND_S]
        first, last = np.searchsorted(time_s, edges)
        base[done:first] = settled
        window = time_s[first:last]
        angles = [
            _radians(track, window, 0.03) if track.times_s else np.zeros(window.size)
            for track in (turning.yaw, turning.pitch, turning.roll)
        ]
        base[first:last] = settled @ euler(*angles)
        settled = base[last - 1]
        done = last
    base[done:] = settled
    return base


def _soft_limits(distance: Array, lowest: float, highest: float) -> Array:
    """Keep a joint distance between limits without a corner."""
    narrow, wide = 0.012 * highest, 0.03 * highest
    held = highest - narrow * np.logaddexp(0.0, (highest - distance) / narrow)
    return np.asarray(lowest + wide * np.logaddexp(0.0, (held - lowest) / wide))


def _two_bones(
    root: Array, target: Array, bones: tuple[float, float], bend: Array, longest: float
) -> tuple[Array, Array, Array]:
    """Middle joint and end of two bones towards `target`, and the direction of the bend."""
    first, second = bones
    span = target - root
    distance = np.linalg.norm(span, axis=1)
    ahead = span / distance[:, None]
    reach = _soft_limits(distance, 0.25 * (first + second), longest * (first + second))[:, None]
    out = smooth(across(bend, ahead), 0.04)
    out = across(out, ahead)
    cosine = (first**2 + reach**2 - second**2) / (2.0 * first * reach)
    middle = root + first * (cosine * ahead + np.sqrt(1.0 - cosine**2) * out)
    return middle, root + reach * ahead, out


def _held(anchors: list[Anchor], limb: str, time_s: Array, hip_x: Array,
          long_m: float) -> tuple[Array, Array]:  # fmt: skip
    """Weight (N, 1) and place (N, 3) of the anchors of a limb."""
    weight = np.zeros((time_s.size, 1))
    place = np.zeros((time_s.size, 3))
    for anchor in (a for a in anchors if a.limb == limb):
        near = (time_s > anchor.approach_s - 0.2) & (time_s < anchor.gone_s + 0.2)
        times = (anchor.approach_s, anchor.on_s, anchor.off_s, anchor.gone_s)
        weight[near, 0] = bump(time_s[near], *times)
        place[near] = anchor.point_m
        if anchor.heading:
            beyond = anchor.heading * (hip_x[near] - anchor.point_m[0]) - long_m
            rolled = _ROLL_OFF_M * np.logaddexp(0.0, beyond / _ROLL_OFF_M)
            place[near, 0] += anchor.heading * rolled
    return weight, place


def _add_arm(
    motion: Motion, script: Script, swimmer: Swimmer, side: Side, base: Array, chest: Array
) -> None:
    s, hip = sign(side), motion.points["hip"]
    knots = script.arms[side].curve(motion.time_s, 0.032)
    level = np.array([swimmer.trunk_m, s * swimmer.shoulder_m, 0.0])
    reach = np.clip(knots[:, 0] / swimmer.arm_m, 0.0, 1.0)
    joint = np.zeros((motion.time_s.size, 3)) + level
    joint[:, 0] += 0.04 * reach**2 * (3.0 - 2.0 * reach)
    shoulder = hip + apply(chest, joint)
    target = hip + apply(base, level + knots[:, 0:3])
    weight, place = _held(script.anchors, f"{side}_wrist", motion.time_s, hip[:, 0], 0.0)
    target = target + weight * (place - target)
    elbow, wrist, out = _two_bones(
        shoulder, target, (swimmer.upper_arm_m, swimmer.forearm_m),
        apply(base, knots[:, 3:6]), 0.99,
    )  # fmt: skip
    forearm = unit(wrist - elbow)
    dorsal = across(smooth(across(apply(base, knots[:, 6:9]), forearm), 0.04), forearm)
    upper = unit(elbow - shoulder)
    motion.axes[f"{side}_wrist"] = frame(forearm, dorsal)
    motion.axes[f"{side}_upper_arm"] = frame(upper, s * np.cross(upper, across(out, upper)))
    motion.points |= {
        f"{side}_shoulder": shoulder, f"{side}_elbow": elbow, f"{side}_wrist": wrist,
        f"{side}_fingertips": wrist + swimmer.hand_m * forearm,
    }  # fmt: skip


def _add_leg(
    motion: Motion, script: Script, swimmer: Swimmer, side: Side, pelvis: Array, hips: Array
) -> None:
    s, time_s = sign(side), motion.time_s
    flexion, knee_bend, outward = _radians(script.legs[side], time_s, 0.02).T
    root = motion.points["hip"] + apply(pelvis, (0.0, s * swimmer.hip_m, 0.0))
    thigh_axes = hips @ about(2, -outward) @ about(1, -flexion)
    thigh = -thigh_axes[:, :, 0]
    shank = -(thigh_axes @ about(1, knee_bend))[:, :, 0]
    long_m = LONG_LEG * swimmer.leg_m
    weight, place = _held(
        script.anchors, f"{side}_ankle", time_s, motion.points["hip"][:, 0], long_m
    )
    held = weight[:, 0] > 0.0
    if held.any():
        knee, ankle, _ = _two_bones(
            root[held], place[held], (swimmer.thigh_m, swimmer.shank_m), -hips[held, :, 2], 0.985
        )
        w = weight[held]
        thigh[held] = unit((1.0 - w) * thigh[held] + w * unit(knee - root[held]))
        shank[held] = unit((1.0 - w) * shank[held] + w * unit(ankle - knee))
    knee = root + swimmer.thigh_m * thigh
    lateral = across(s * hips[:, :, 1], shank)
    motion.axes[f"{side}_ankle"] = frame(shank, lateral)
    motion.points |= {
        f"{side}_hip": root, f"{side}_knee": knee,
        f"{side}_ankle": knee + swimmer.shank_m * shank,
    }  # fmt: skip


def move_body(script: Script, swimmer: Swimmer) -> Motion:
    """Run curves through the script and chain the segments from the hips outward."""
    end_s = max(float(times[-1]) for times, _ in script.advance)
    end_s = max(end_s, script.height.last_s(), script.arms["left"].last_s())
    time_s = np.arange(int((end_s + 1.0) * RATE_HZ)) / RATE_HZ
    known = np.concatenate([times for times, _ in script.advance])
    places = np.concatenate([x for _, x in script.advance])
    known, keep = np.unique(known, return_index=True)
    inside = np.clip(time_s, known[0], known[-1])
    hip = np.zeros((time_s.size, 3))
    hip[:, 0] = smooth(PchipInterpolator(known, places[keep])(inside), 0.02)
    hip[:, 2] = script.height.curve(time_s, 0.05)
    base = _base(script, time_s)
    roll = _radians(script.roll, time_s, 0.04)
    pitch, yaw = _radians(script.pitch, time_s, 0.05), _radians(script.yaw, time_s, 0.06)
    hip_roll = swimmer.hip_share * np.interp(time_s - _HIP_LAG_S, time_s, roll)
    leg_roll = swimmer.leg_share * np.interp(time_s - _LEG_LAG_S, time_s, hip_roll)
    chest, pelvis = base @ euler(yaw, pitch, roll), base @ euler(yaw, pitch, hip_roll)
    hips = base @ euler(-0.5 * yaw, pitch, leg_roll)
    motion = Motion(time_s)
    motion.points["hip"] = hip
    neck = hip + apply(chest, (1.1 * swimmer.trunk_m, 0.0, 0.0))
    face_pitch = _radians(script.face_pitch, time_s, 0.05)
    head = base @ euler(0.3 * yaw, face_pitch, _radians(script.face_roll, time_s, 0.05))
    motion.axes |= {"upper_back": chest, "lower_back": pelvis, "head": head}
    motion.points |= {
        "lower_back": hip + apply(pelvis, (0.05, 0.0, 0.1)),
        "upper_back": hip + apply(chest, (0.85 * swimmer.trunk_m, 0.0, 0.11)),
        "head": neck + apply(head, (0.14, 0.0, 0.09)),
        "crown": neck + apply(head, (0.24, 0.0, 0.0)),
        "mouth": neck + apply(head, (0.06, 0.0, -0.1)),
    }
    for side in SIDES:
        _add_arm(motion, script, swimmer, side, base, chest)
        _add_leg(motion, script, swimmer, side, pelvis, hips)
    return motion


def sensor_pose(motion: Motion, placement: str) -> tuple[Array, Array]:
    """Axes (N, 3, 3) and place (N, 3) of a perfectly strapped sensor."""
    axes = motion.axes[placement]
    if placement in ("lower_back", "upper_back", "head"):
        return axes, motion.points[placement]
    if placement.endswith("upper_arm"):
        side = placement.split("_", maxsplit=1)[0]
        return axes, motion.points[f"{side}_elbow"] + apply(axes, (-0.15, 0.0, 0.045))
    return axes, motion.points[placement] + apply(axes, (-0.03, 0.0, 0.025))
