"""An arm on a rolling trunk: elbow and shoulder over a cycle from the wrist's path.

The elbow is the wrist minus the forearm; it stays one upper arm's length from a shoulder that the
trunk carries: up and down with the roll, forward and back with the reach of the shoulder blade and
the surge of the body. All cycles of a session are evaluated at once.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import IntEnum
from typing import TYPE_CHECKING

import numpy as np
import numpy.typing as npt

from sensorswim.model.streams import FloatArray

if TYPE_CHECKING:
    from sensorswim.model import Side
    from sensorswim.swim.cycle_path import CyclePath

N_PHASES = 40
PHASES = np.arange(N_PHASES) / N_PHASES

ABOVE_WRIST_M = 0.03
OVER_BONE_M = 0.02
"""A sensor sits some 3 cm above the wrist joint and 2 cm over the forearm's axis, as a watch does
(common practice, no source)."""


class Of(IntEnum):
    """The unknowns of the arm, in order."""

    CENTRE_X = 0
    CENTRE_Y = 1
    CENTRE_Z = 2
    LOG_SIZE = 3
    ROLL_COS = 4
    ROLL_SIN = 5
    REACH_COS = 6
    REACH_SIN = 7
    LEAN = 8
    TILT_ACROSS_LEFT = 9
    TILT_SKIN_LEFT = 10
    TILT_ACROSS_RIGHT = 11
    TILT_SKIN_RIGHT = 12
    SURGE_COS = 13
    SURGE_SIN = 14


N_UNKNOWNS = len(Of)


@dataclass(frozen=True, kw_only=True)
class ArmSize:
    """Limb lengths that the path is read with.

    Parameters
    ----------
    upper_arm_m, forearm_m, shoulder_half_width_m : float
        Forearm: elbow to wrist. Segment ratios of body height by Drillis & Contini (1966), as
        in Winter, *Biomechanics and Motor Control of Human Movement*: 0.186, 0.146, 0.129.
    """

    upper_arm_m: float
    forearm_m: float
    shoulder_half_width_m: float

    @classmethod
    def of_height(cls, height_m: float) -> ArmSize:
        """Return the sizes that a body height suggests."""
        return cls(
            upper_arm_m=0.186 * height_m,
            forearm_m=0.146 * height_m,
            shoulder_half_width_m=0.129 * height_m,
        )


@dataclass(frozen=True, kw_only=True)
class Curves:
    """Cycles of wrists at `PHASES`, reach to reach, K of them.

    Parameters
    ----------
    wrist_m : (K, P, 3)
    forearm, skin : (K, P, 3)
        Unit vectors elbow to wrist and out of the back of the wrist.
    across : (K, P, 3)
        skin x forearm.
    sign : (K,)
        +1 for a left arm.
    """

    wrist_m: FloatArray
    forearm: FloatArray
    skin: FloatArray
    across: FloatArray
    sign: FloatArray

    def repeat(self, count: int) -> Curves:
        """Return every cycle `count` times in a row."""
        return Curves(
            **{name: np.repeat(value, count, axis=0) for name, value in vars(self).items()}
        )

    @classmethod
    def join(cls, parts: list[Curves]) -> Curves:
        """Return the cycles of all parts in a row."""
        return cls(
            **{name: np.concatenate([getattr(p, name) for p in parts]) for name in vars(parts[0])}
        )

    def take(self, index: npt.NDArray[np.intp] | slice) -> Curves:
        """Return some of the cycles."""
        return Curves(**{name: value[index] for name, value in vars(self).items()})


def _unit(vectors: FloatArray) -> FloatArray:
    return vectors / np.sqrt((vectors * vectors).sum(axis=-1, keepdims=True))


def _curves(wrist: FloatArray, forearm: FloatArray, skin: FloatArray, sign: FloatArray) -> Curves:
    forearm = _unit(forearm)
    skin = _unit(skin - forearm * (skin * forearm).sum(axis=-1, keepdims=True))
    return Curves(
        wrist_m=wrist, forearm=forearm, skin=skin, across=np.cross(skin, forearm), sign=sign
    )


def cycle_curves(paths: list[CyclePath], side: Side) -> Curves:
    """Return the cycles of one arm over a length."""
    wrist, forearm, skin = (
        np.array(rows) for rows in zip(*(p.at_phase(PHASES) for p in paths), strict=True)
    )
    return _curves(wrist, forearm, skin, np.full(len(paths), float(side.sign)))


def median_curves(cycles: list[Curves]) -> Curves:
    """Return one median cycle for each length.

    The median keeps breathing strokes from pulling the fit into a wrong minimum.
    """
    return _curves(
        np.array([np.median(c.wrist_m, axis=0) for c in cycles]),
        np.array([np.median(c.forearm, axis=0) for c in cycles]),
        np.array([np.median(c.skin, axis=0) for c in cycles]),
        np.array([c.sign[0] for c in cycles]),
    )


@dataclass(frozen=True, kw_only=True)
class ArmPose:
    """Joints over the cycles, (K, P, 3) each, and how far the elbow is from where it must be.

    Parameters
    ----------
    misfit_m : (K, P)
        Elbow-to-shoulder distance minus the upper arm.
    upper_arm, forearm : (K, P, 3)
        Unit vectors shoulder to elbow and elbow to wrist.
    roll_rad : (K, P)
        Of the trunk, own side up.
    """

    shoulder_m: FloatArray
    elbow_m: FloatArray
    misfit_m: FloatArray
    upper_arm: FloatArray
    forearm: FloatArray
    roll_rad: FloatArray

    @classmethod
    def join(cls, parts: list[ArmPose]) -> ArmPose:
        """Return the cycles of all parts in a row."""
        return cls(
            **{name: np.concatenate([getattr(p, name) for p in parts]) for name in vars(parts[0])}
        )

    def take(self, rows: slice) -> ArmPose:
        """Return some of the cycles."""
        return ArmPose(**{name: value[rows] for name, value in vars(self).items()})

    @property
    def elbow_deg(self) -> FloatArray:
        """The elbow angle (K, P), 180 = straight, from the directions of the two segments."""
        cosine = (self.upper_arm * self.forearm).sum(axis=-1).clip(-1.0, 1.0)
        return 180.0 - np.degrees(np.arccos(cosine))


def roll_of(unknowns: FloatArray, sign: FloatArray, phase: FloatArray) -> FloatArray:
    """Return the trunk's roll (K, P) in rad, the arm's own side up, at phases (P,) or (K, P)."""
    x, angle = unknowns[:, :, None], 2 * np.pi * phase
    wave = x[:, Of.ROLL_COS] * np.cos(angle) + x[:, Of.ROLL_SIN] * np.sin(angle)
    return np.asarray(wave + sign[:, None] * x[:, Of.LEAN])


def shoulder_of(
    unknowns: FloatArray, sign: FloatArray, size: ArmSize, phase: FloatArray
) -> FloatArray:
    """Return the shoulder's path (K, P, 3) at phases (P,) or (K, P)."""
    x, angle = unknowns[:, :, None], 2 * np.pi * phase
    roll = roll_of(unknowns, sign, phase)
    half = size.shoulder_half_width_m * np.exp(x[:, Of.LOG_SIZE])
    forward = x[:, Of.REACH_COS] * np.cos(angle) + x[:, Of.REACH_SIN] * np.sin(angle)
    forward += x[:, Of.SURGE_COS] * np.cos(2 * angle) + x[:, Of.SURGE_SIN] * np.sin(2 * angle)
    return np.stack(
        [
            x[:, Of.CENTRE_X] + forward,
            x[:, Of.CENTRE_Y] + sign[:, None] * half * (np.cos(roll) - 1.0),
            x[:, Of.CENTRE_Z] + half * np.sin(roll),
        ],
        axis=-1,
    )


def _tilts(unknowns: FloatArray, sign: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Return the strap's remaining tilt of each arm (K,), across (mirrored) and out of the skin."""
    left = sign > 0
    across = np.where(left, unknowns[:, Of.TILT_ACROSS_LEFT], unknowns[:, Of.TILT_ACROSS_RIGHT])
    skin = np.where(left, unknowns[:, Of.TILT_SKIN_LEFT], unknowns[:, Of.TILT_SKIN_RIGHT])
    return sign * across, skin


def tilted_forearm(
    forearm: FloatArray, skin: FloatArray, unknowns: FloatArray, side: Side
) -> FloatArray:
    """Return one arm's forearm directions (N, 3) with the strap's fitted tilt taken off."""
    across, out = _tilts(unknowns[None], np.array([float(side.sign)]))
    return _unit(forearm + across * np.cross(skin, forearm) + out * skin)


def arm_pose(unknowns: FloatArray, curves: Curves, size: ArmSize) -> ArmPose:
    """Return the joints for unknowns (K, 15), see `Of`."""
    across, skin = _tilts(unknowns, curves.sign)
    forearm = _unit(
        curves.forearm
        + across[:, None, None] * curves.across
        + skin[:, None, None] * curves.skin
    )  # fmt: skip
    scale = np.exp(unknowns[:, Of.LOG_SIZE])[:, None]
    lever = (size.forearm_m * scale - ABOVE_WRIST_M)[..., None]
    elbow = curves.wrist_m - lever * forearm - OVER_BONE_M * curves.skin
    shoulder = shoulder_of(unknowns, curves.sign, size, PHASES)
    between = elbow - shoulder
    distance = np.sqrt((between * between).sum(axis=-1))
    return ArmPose(
        shoulder_m=shoulder,
        elbow_m=elbow,
        misfit_m=distance - size.upper_arm_m * scale,
        upper_arm=between / distance[..., None],
        forearm=forearm,
        roll_rad=roll_of(unknowns, curves.sign, PHASES),
    )


def misfit_slopes(unknowns: FloatArray, curves: Curves, size: ArmSize, pose: ArmPose) -> FloatArray:
    """Return the derivatives (K, P, 15) of `ArmPose.misfit_m`."""
    out, forearm, sign = pose.upper_arm, pose.forearm, curves.sign[:, None]
    scale = np.exp(unknowns[:, Of.LOG_SIZE])[:, None]
    half = size.shoulder_half_width_m * scale
    sine, cosine = np.sin(pose.roll_rad), np.cos(pose.roll_rad)
    turn = half * (sign * out[..., 1] * sine - out[..., 2] * cosine)
    angle = 2 * np.pi * PHASES
    slopes = np.zeros((*pose.misfit_m.shape, N_UNKNOWNS))
    slopes[..., :3] = -out
    slopes[..., Of.LOG_SIZE] = (
        -size.forearm_m * scale * (out * forearm).sum(axis=-1)
        - size.upper_arm_m * scale
        - half * (sign * out[..., 1] * (cosine - 1.0) + out[..., 2] * sine)
    )
    slopes[..., Of.ROLL_COS] = turn * np.cos(angle)
    slopes[..., Of.ROLL_SIN] = turn * np.sin(angle)
    slopes[..., Of.LEAN] = turn * sign
    for order, first in ((1, Of.REACH_COS), (2, Of.SURGE_COS)):
        slopes[..., first] = -out[..., 0] * np.cos(order * angle)
        slopes[..., first + 1] = -out[..., 0] * np.sin(order * angle)
    _tilt_slopes(slopes, curves, size.forearm_m * scale - ABOVE_WRIST_M, pose)
    return slopes


def _tilt_slopes(slopes: FloatArray, curves: Curves, lever_m: FloatArray, pose: ArmPose) -> None:
    """Fill in how the misfit changes with the strap's tilt."""
    left = (curves.sign > 0)[:, None]
    along = (pose.upper_arm * pose.forearm).sum(axis=-1)
    for axis, sign, of_left, of_right in (
        (curves.across, curves.sign[:, None], Of.TILT_ACROSS_LEFT, Of.TILT_ACROSS_RIGHT),
        (curves.skin, 1.0, Of.TILT_SKIN_LEFT, Of.TILT_SKIN_RIGHT),
    ):
        aside = (pose.upper_arm * axis).sum(axis=-1) - (axis * pose.forearm).sum(axis=-1) * along
        slope = -lever_m * sign * aside
        slopes[..., of_left] = slope * left
        slopes[..., of_right] = slope * ~left
