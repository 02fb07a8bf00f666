"""The chain of segments: smooth curves in, positions and rotations of every sensor out.

World frame: x along the lane, y left of it, z up, water surface at z = 0. Segment lengths are
shares of the body height after Drillis & Contini (1966), upper arm 0.186 and forearm 0.146.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from sensorswim.model import Limb, Placement, Side
from sensorswim.model.streams import FloatArray
from sensorswim.rehearsal import rotations as rot
from sensorswim.rehearsal.timeline import RATE_HZ, Timeline
from sensorswim.units import STANDARD_GRAVITY_M_S2

UPPER_ARM, FOREARM, THIGH, SHANK = 0.186, 0.146, 0.245, 0.246
TRUNK, HALF_SHOULDERS, HALF_HIPS = 0.255, 0.105, 0.048
UP = np.array([0.0, 0.0, 1.0])


@dataclass(frozen=True, kw_only=True)
class Pose:
    """Where one sensor is and how it is turned: (N, 3) and (N, 3, 3), world from sensor."""

    position_m: FloatArray
    rotation: FloatArray


@dataclass(frozen=True, kw_only=True)
class ArmPath:
    """One arm's joints in the world, (N, 3) each, and its elbow angle (N,) in degrees."""

    shoulder_m: FloatArray
    elbow_m: FloatArray
    wrist_m: FloatArray
    elbow_deg: FloatArray


@dataclass(frozen=True, kw_only=True)
class LegPath:
    """One leg's joints in the world, (N, 3) each, and the rotation of its shank (N, 3, 3)."""

    hip_m: FloatArray
    knee_m: FloatArray
    ankle_m: FloatArray
    shank: FloatArray


class Body:
    """One swimmer's whole movement on the grid `time_s`.

    Parameters
    ----------
    timeline : Timeline
        Knots of all joints, degrees and metres.
    time_s : (N,)
        Regular grid at `RATE_HZ`.
    position_m : (N, 3)
        The pelvis in the world.
    arm_smooth_s : float
        Width of the smoothing of the arm's joints.
    legs : dict
        Thigh swing and knee bend (N,) of each leg, degrees.
    ripple : dict
        Slow wandering of a joint, added to its curve, degrees.
    """

    def __init__(
        self,
        timeline: Timeline,
        time_s: FloatArray,
        position_m: FloatArray,
        *,
        height_m: float,
        arm_smooth_s: float,
        legs: dict[Side, tuple[FloatArray, FloatArray]],
        ripple: dict[str, FloatArray],
    ) -> None:
        self.time_s, self.pelvis_m, self.height_m = time_s, position_m, height_m
        self._arm_smooth_s = arm_smooth_s
        self._timeline, self._legs, self._ripple = timeline, legs, ripple
        self._arms: dict[Side, tuple[ArmPath, FloatArray]] = {}

    def _deg(self, channel: str, *, smooth_s: float = 0.03) -> FloatArray:
        curve = self._timeline.curve(channel, self.time_s, smooth_s=smooth_s)
        return curve + self._ripple.get(channel, 0.0)

    def _rad(self, channel: str, *, smooth_s: float = 0.03) -> FloatArray:
        return np.radians(self._deg(channel, smooth_s=smooth_s))

    @cached_property
    def carrier(self) -> FloatArray:
        """The body without its swimming movements: heading, somersault and half twist."""
        yaw = rot.about_z(self._rad("yaw", smooth_s=0.06))
        pitch = rot.about_y(self._rad("somersault", smooth_s=0.05))
        return yaw @ pitch @ rot.about_x(self._rad("twist", smooth_s=0.06))

    def _trunk_part(self, roll: str) -> FloatArray:
        level = self.carrier @ rot.about_y(self._rad("pitch", smooth_s=0.05))
        return level @ rot.about_x(self._rad(roll, smooth_s=0.05))

    @cached_property
    def pelvis(self) -> FloatArray:
        """Rotation of the pelvis."""
        return self._trunk_part("roll_hips")

    @cached_property
    def thorax(self) -> FloatArray:
        """Rotation of the upper trunk."""
        return self._trunk_part("roll_shoulders")

    @cached_property
    def thorax_m(self) -> FloatArray:
        """Middle between the shoulders."""
        spine = 0.5 * (self.pelvis[:, :, 0] + self.thorax[:, :, 0])
        return self.pelvis_m + TRUNK * self.height_m * spine

    def arm(self, side: Side) -> tuple[ArmPath, FloatArray]:
        """Return the joints of one arm and the elbow's hinge direction that points outwards."""
        if side not in self._arms:
            self._arms[side] = self._arm(side)
        return self._arms[side]

    def _joint(self, channel: str) -> FloatArray:
        return self._rad(channel, smooth_s=self._arm_smooth_s)

    def _arm(self, side: Side) -> tuple[ArmPath, FloatArray]:
        sign, height = side.sign, self.height_m
        psi, lam = self._joint(f"{side}_psi"), self._joint(f"{side}_lam")
        flexion = self._joint(f"{side}_elbow")
        upper, fore = UPPER_ARM * height, FOREARM * height
        reach = self._timeline.curve(f"{side}_reach", self.time_s, smooth_s=0.05)
        ones = np.ones_like(psi)
        base = np.stack([reach - 0.02, sign * HALF_SHOULDERS * height * ones, 0 * ones], axis=1)
        shoulder = self.thorax_m + rot.apply(self.thorax, base)
        toward = np.stack(
            [np.cos(lam) * np.cos(psi), sign * np.sin(lam), np.cos(lam) * np.sin(psi)], axis=1
        )
        soft = self._arm_smooth_s
        across = [self._deg(f"{side}_p{axis}", smooth_s=soft) for axis in "xyz"]
        pole = np.stack([across[0], sign * across[1], across[2]], axis=1)
        toward, pole = rot.apply(self.carrier, toward), rot.apply(self.carrier, pole)
        pole = rot.unit(pole - np.sum(pole * toward, axis=1, keepdims=True) * toward)
        span = np.sqrt(upper**2 + fore**2 - 2 * upper * fore * np.cos(flexion))
        along = (upper**2 + span**2 - fore**2) / (2 * span)
        aside = upper * fore * np.sin(flexion) / span
        elbow = shoulder + along[:, None] * toward + aside[:, None] * pole
        wrist = shoulder + span[:, None] * toward
        hinge = sign * rot.unit(np.cross(elbow - shoulder, pole))
        path = ArmPath(
            shoulder_m=shoulder, elbow_m=elbow, wrist_m=wrist, elbow_deg=np.degrees(flexion)
        )
        return path, hinge

    def arm_poses(self, side: Side) -> Iterator[tuple[Placement, Pose]]:
        """Yield the sensors on the upper arm and on the back of the wrist."""
        path, hinge = self.arm(side)
        upper = rot.from_axes(path.elbow_m - path.shoulder_m, hinge)
        middle = 0.5 * (path.shoulder_m + path.elbow_m) + 0.045 * upper[:, :, 2]
        yield Placement.of(Limb.UPPER_ARM, side), Pose(position_m=middle, rotation=upper)
        axis = rot.unit(path.wrist_m - path.elbow_m)
        outward = rot.unit(hinge - np.sum(hinge * axis, axis=1, keepdims=True) * axis)
        turned = rot.turn_about(outward, axis, side.sign * self._joint(f"{side}_pron"))
        frame = rot.from_axes(axis, turned)
        place = path.wrist_m - 0.03 * axis + 0.022 * frame[:, :, 2]
        yield Placement.of(Limb.WRIST, side), Pose(position_m=place, rotation=frame)

    def leg(self, side: Side) -> LegPath:
        """Return the joints of one leg and how its shank is turned."""
        height = self.height_m
        hip, knee = self._legs[side]
        roll = self.carrier @ rot.about_x(self._rad("roll_legs", smooth_s=0.05))
        thigh = roll @ rot.about_y(np.radians(-hip))
        thigh = thigh @ rot.about_z(self._rad(f"{side}_spread", smooth_s=0.08))
        shank = thigh @ rot.about_y(np.radians(knee))
        joint = self.pelvis_m + rot.apply(
            self.pelvis, np.array([-0.03, side.sign * HALF_HIPS * height, 0.0])
        )
        knee_m = joint - THIGH * height * thigh[:, :, 0]
        ankle_m = knee_m - SHANK * height * shank[:, :, 0]
        return LegPath(hip_m=joint, knee_m=knee_m, ankle_m=ankle_m, shank=shank)

    def ankle_pose(self, side: Side) -> Pose:
        """Return the sensor on the outer side of the shank, just above the ankle."""
        leg = self.leg(side)
        above = 0.9 * leg.ankle_m + 0.1 * leg.knee_m
        place = above + side.sign * 0.045 * leg.shank[:, :, 1]
        frame = rot.from_axes(-leg.shank[:, :, 0], side.sign * leg.shank[:, :, 1])
        return Pose(position_m=place, rotation=frame)

    @cached_property
    def head_m(self) -> FloatArray:
        """Middle of the head."""
        neck = self.thorax_m + 0.11 * self.thorax[:, :, 0]
        return neck + 0.1 * self._head[:, :, 0]

    @cached_property
    def _head(self) -> FloatArray:
        turned = self.carrier @ rot.about_x(self._rad("head_roll", smooth_s=0.05))
        return turned @ rot.about_y(self._rad("head_pitch", smooth_s=0.06))

    def trunk_poses(self) -> Iterator[tuple[Placement, Pose]]:
        """Yield the sensors on the lower back, the upper back and the head."""
        low = self.pelvis_m + 0.11 * self.pelvis[:, :, 2] + 0.05 * self.pelvis[:, :, 0]
        yield Placement.LOWER_BACK, Pose(position_m=low, rotation=self.pelvis)
        high = self.thorax_m + 0.1 * self.thorax[:, :, 2] - 0.06 * self.thorax[:, :, 0]
        yield Placement.UPPER_BACK, Pose(position_m=high, rotation=self.thorax)
        crown = self.head_m + 0.1 * self._head[:, :, 2]
        yield Placement.HEAD, Pose(position_m=crown, rotation=self._head)

    def poses(self) -> Iterator[tuple[Placement, Pose]]:
        """Yield every placement once."""
        yield from self.trunk_poses()
        for side in Side:
            yield Placement.of(Limb.ANKLE, side), self.ankle_pose(side)
            yield from self.arm_poses(side)


def specific_force(pose: Pose) -> FloatArray:
    """Return what an ideal accelerometer reads, (N, 3) m/s^2 in the sensor's frame."""
    motion = np.gradient(np.gradient(pose.position_m, axis=0), axis=0) * RATE_HZ**2
    return np.einsum("nji,nj->ni", pose.rotation, motion + STANDARD_GRAVITY_M_S2 * UP)
