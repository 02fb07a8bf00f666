"""The body: a chain of rigid segments, where each sensor sits on it, and how it is laid out."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from .maths import Array, turn_x, turn_y, turn_z

SIDES = ("left", "right")
SIGN = {"left": 1.0, "right": -1.0}

# Angles in rad, places in m. `reach` winds on from 0 (overhead) by way of the belly side (90
# degrees) to the hip (180) and over the back (270) to overhead again.
TRUNK = ("heading", "somersault", "twist", "pitch", "shoulder_roll", "hip_roll", "leg_roll")
HEAD = ("head_roll", "head_pitch")
ARM = ("reach", "spread", "turn", "elbow", "forearm")
LEG = ("hip", "open", "knee")
PLACE = ("x", "y", "z")
NAMES = TRUNK + HEAD + tuple(f"{side}_{joint}" for side in SIDES for joint in ARM + LEG) + PLACE

Motion = dict[str, Array]
Pose = dict[str, float]

WRISTS = ("left_wrist", "right_wrist")
ANKLES = ("left_ankle", "right_ankle")
CORE = WRISTS + ANKLES
WHOLE = slice(None)
FULL = (*CORE, "lower_back", "upper_back", "head", "left_upper_arm", "right_upper_arm")


@dataclass(frozen=True)
class Build:
    """Lengths of the segments in m, from the height by the usual shares."""

    height: float

    @property
    def upper_arm(self) -> float:
        return 0.186 * self.height

    @property
    def forearm(self) -> float:
        return 0.146 * self.height

    @property
    def hand(self) -> float:
        return 0.105 * self.height

    @property
    def trunk(self) -> float:
        return 0.288 * self.height

    @property
    def shoulder(self) -> float:
        return 0.108 * self.height

    @property
    def shoulder_slide(self) -> float:
        """How far the shoulder goes forward with the reaching arm, and back with the other."""
        return 0.028 * self.height

    @property
    def hip(self) -> float:
        return 0.052 * self.height

    @property
    def thigh(self) -> float:
        return 0.245 * self.height

    @property
    def shank(self) -> float:
        return 0.240 * self.height

    @property
    def leg(self) -> float:
        return self.thigh + self.shank


@dataclass(frozen=True)
class Segment:
    """One end of a segment (n, 3) in the pool and the segment's axes (n, 3, 3)."""

    place: Array
    axes: Array

    def point(self, x: float, y: float, z: float) -> Array:
        """Return the path of a point given in the segment's axes."""
        return np.asarray(self.place + self.axes @ np.array([x, y, z]))

    def during(self, part: slice) -> Segment:
        """Return some of its samples."""
        return Segment(self.place[part], self.axes[part])


class Skeleton:
    """Forward kinematics of one motion: joint angles in, segments in the pool out."""

    def __init__(self, motion: Motion, build: Build) -> None:
        self.motion = motion
        self.build = build
        self.root = np.stack([motion[name] for name in PLACE], axis=1)
        self._base = turn_z(motion["heading"]) @ turn_y(motion["somersault"])
        self._base = self._base @ turn_x(motion["twist"]) @ turn_y(motion["pitch"])
        self._made: dict[str, Segment] = {}
        self.thorax = Segment(self.root, self._base @ turn_x(motion["shoulder_roll"]))

    def _once(self, name: str, make: Callable[[str], Segment], side: str) -> Segment:
        key = f"{side}_{name}"
        if key not in self._made:
            self._made[key] = make(side)
        return self._made[key]

    @property
    def pelvis(self) -> Segment:
        return Segment(self.root, self._base @ turn_x(self.motion["hip_roll"]))

    @property
    def head(self) -> Segment:
        nod = turn_y(self.motion["head_pitch"])
        neck = self.thorax.point(1.08 * self.build.trunk, 0.0, 0.0)
        return Segment(neck, self._base @ nod @ turn_x(self.motion["head_roll"]))

    def upper_arm(self, side: str) -> Segment:
        """Return the upper arm from its shoulder, x towards the elbow."""
        return self._once("upper_arm", self._upper_arm, side)

    def _upper_arm(self, side: str) -> Segment:
        sign, m = SIGN[side], self.motion
        shoulder = self.thorax.point(self.build.trunk, sign * self.build.shoulder, 0.0)
        slides = self.build.shoulder_slide * np.cos(m[f"{side}_reach"])
        shoulder = shoulder + slides[:, None] * self.thorax.axes[:, :, 0]
        axes = self.thorax.axes @ turn_y(m[f"{side}_reach"]) @ turn_z(sign * m[f"{side}_spread"])
        return Segment(shoulder, axes @ turn_x(sign * m[f"{side}_turn"]))

    def forearm(self, side: str) -> Segment:
        """Return the forearm from its elbow, x towards the fingers, z out of the wrist's back."""
        return self._once("forearm", self._forearm, side)

    def _forearm(self, side: str) -> Segment:
        upper = self.upper_arm(side)
        bend = turn_y(self.motion[f"{side}_elbow"])
        axes = upper.axes @ bend @ turn_x(SIGN[side] * self.motion[f"{side}_forearm"])
        return Segment(upper.point(self.build.upper_arm, 0.0, 0.0), axes)

    def shank(self, side: str) -> Segment:
        """Return the shank from its knee; x towards the head, z to the calf."""
        return self._once("shank", self._shank, side)

    def _shank(self, side: str) -> Segment:
        sign, m = SIGN[side], self.motion
        legs = Segment(self.root, self._base @ turn_x(m["leg_roll"]))
        hip = legs.point(0.0, sign * self.build.hip, 0.0)
        spread = turn_y(-m[f"{side}_hip"]) @ turn_z(-sign * m[f"{side}_open"])
        thigh = Segment(hip, legs.axes @ spread)
        return Segment(
            thigh.point(-self.build.thigh, 0.0, 0.0), thigh.axes @ turn_y(m[f"{side}_knee"])
        )

    def ankle_joint(self, side: str, part: slice = WHOLE) -> Array:
        """Return the path of the ankle joint (n, 3)."""
        return self.shank(side).during(part).point(-self.build.shank, 0.0, 0.0)

    def fingertip(self, side: str, part: slice = WHOLE) -> Array:
        """Return the path of the fingertips (n, 3)."""
        whole_hand = self.build.forearm + self.build.hand
        return self.forearm(side).during(part).point(whole_hand, 0.0, 0.0)

    def sensor(self, placement: str) -> Segment:
        """Return the sensor as ideally strapped: its path and its axes by the contract."""
        side, _, part = placement.partition("_")
        if part == "wrist":
            arm = self.forearm(side)
            return Segment(arm.point(0.97 * self.build.forearm, 0.0, 0.025), arm.axes)
        if part == "upper_arm":
            upper, sign = self.upper_arm(side), SIGN[side]
            axes = _columns(upper.axes, ("x", 1.0), ("z", -sign), ("y", sign))
            return Segment(upper.point(0.6 * self.build.upper_arm, sign * 0.05, 0.0), axes)
        if part == "ankle":
            shank, sign = self.shank(side), SIGN[side]
            axes = _columns(shank.axes, ("x", -1.0), ("z", sign), ("y", sign))
            return Segment(shank.point(-0.88 * self.build.shank, sign * 0.035, 0.0), axes)
        if placement == "lower_back":
            return Segment(self.pelvis.point(0.04, 0.0, 0.11), self.pelvis.axes)
        if placement == "upper_back":
            spot = self.thorax.point(0.8 * self.build.trunk, 0.0, 0.12)
            return Segment(spot, self.thorax.axes)
        return Segment(self.head.point(0.12, 0.0, 0.10), self.head.axes)


def _columns(axes: Array, *picks: tuple[str, float]) -> Array:
    order = {"x": 0, "y": 1, "z": 2}
    return np.stack([sign * axes[:, :, order[name]] for name, sign in picks], axis=2)


def leg_bend(distance: Array, build: Build) -> tuple[Array, Array]:
    """Return hip and knee flexion (rad) that put the ankle straight below the hip at a distance."""
    thigh, shank = build.thigh, build.shank
    inside = (thigh**2 + shank**2 - distance**2) / (2.0 * thigh * shank)
    at_hip = (thigh**2 + distance**2 - shank**2) / (2.0 * thigh * distance)
    return np.arccos(np.clip(at_hip, -1.0, 1.0)), np.pi - np.arccos(np.clip(inside, -1.0, 1.0))


def join(acts: list[Motion]) -> Motion:
    """Return motions one after the other."""
    return {name: np.concatenate([act[name] for act in acts]) for name in NAMES}
