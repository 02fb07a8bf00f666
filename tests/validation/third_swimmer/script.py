"""The script of a session: knots and constraints that the body follows."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np

from .curves import Array, Track
from .traits import SIDES, LengthPlan, Side, sign

Vector = tuple[float, float, float]
Pairs = Sequence[tuple[float, float]]


@dataclass(frozen=True)
class Turning:
    """A change of the base orientation, as yaw, pitch and roll tracks (deg) from 0."""

    start_s: float
    end_s: float
    yaw: Track
    pitch: Track
    roll: Track


@dataclass(frozen=True)
class Anchor:
    """A wrist or ankle held at a place of the pool (m) between two blends.

    With a heading the foot rolls off the wall: the ankle follows the hip once the leg is long.
    """

    limb: str
    approach_s: float
    on_s: float
    off_s: float
    gone_s: float
    point_m: Vector
    heading: float = 0.0


@dataclass(frozen=True)
class LengthRecord:
    """Where a length lies in time; events inside it are measured from the geometry."""

    plan: LengthPlan
    heading: float
    push_s: float
    stroke_s: float
    end_s: float
    flip: bool


@dataclass
class Script:
    """All tracks. Arms: x, y, z from the level shoulder (m), elbow and back-of-hand directions.
    Legs: hip flexion, knee flexion, abduction (deg). The rest in m and deg."""

    arms: dict[Side, Track] = field(default_factory=lambda: {s: Track() for s in SIDES})
    legs: dict[Side, Track] = field(default_factory=lambda: {s: Track() for s in SIDES})
    roll: Track = field(default_factory=Track)
    pitch: Track = field(default_factory=Track)
    yaw: Track = field(default_factory=Track)
    face_roll: Track = field(default_factory=Track)
    face_pitch: Track = field(default_factory=Track)
    height: Track = field(default_factory=Track)
    advance: list[tuple[Array, Array]] = field(default_factory=list)
    turnings: list[Turning] = field(default_factory=list)
    anchors: list[Anchor] = field(default_factory=list)
    lengths: list[LengthRecord] = field(default_factory=list)
    in_water_s: float = 0.0
    out_of_water_s: float = 0.0

    def hand(self, time_s: float, side: Side, place: Vector, elbow: Vector, dorsal: Vector) -> None:
        """Add a knot of one hand; y of all three vectors is outward."""
        s = sign(side)
        self.arms[side].add(
            time_s,
            place[0], s * place[1], place[2],
            elbow[0], s * elbow[1], elbow[2],
            dorsal[0], s * dorsal[1], dorsal[2],
        )  # fmt: skip

    def both_hands(self, time_s: float, place: Vector, elbow: Vector, dorsal: Vector) -> None:
        """The same knot for both hands."""
        for side in SIDES:
            self.hand(time_s, side, place, elbow, dorsal)

    def both_legs(self, time_s: float, hip: float, knee: float, abduction: float = 0.0) -> None:
        """The same knot for both legs (deg); abduction is outward."""
        for side in SIDES:
            self.legs[side].add(time_s, hip, knee, sign(side) * abduction)

    def turn(
        self, start_s: float, end_s: float, yaw: Pairs = (), pitch: Pairs = (), roll: Pairs = ()
    ) -> None:
        """Add a change of the base orientation from (time, deg) knots."""
        tracks = (
            Track([t for t, _ in pairs], [np.array([angle]) for _, angle in pairs])
            for pairs in (yaw, pitch, roll)
        )
        self.turnings.append(Turning(start_s, end_s, *tracks))

    def level(self, time_s: float) -> None:
        """No roll, pitch, sway or turn of the face against the base."""
        for track in (self.roll, self.pitch, self.yaw, self.face_pitch):
            track.add(time_s, 0.0)

    def streamline(self, time_s: float, arm_m: float, shoulder_m: float) -> None:
        """Both hands overhead, one on the other."""
        place = (0.95 * arm_m, 0.06 - shoulder_m, 0.0)
        self.both_hands(time_s, place, (0.0, 0.7, 0.7), (0.0, 0.1, 1.0))

    def arms_down(self, time_s: float, arm_m: float) -> None:
        """Both arms along the trunk."""
        self.both_hands(time_s, (-0.96 * arm_m, 0.09, -0.06), (0.0, 0.4, 0.9), (0.0, 1.0, 0.1))
