"""Where the shoulder is relative to a wrist's path, from the length of the upper arm.

The elbow is the wrist minus the forearm; it stays one upper arm's length from a shoulder that is
carried by the rolling trunk. Fitted to the median cycle of a length, robustly, with priors from
anatomy on what the data don't decide (the sideways place has a mirror solution).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from scipy.optimize import least_squares

from sensorswim.model import Side
from sensorswim.model.streams import FloatArray

if TYPE_CHECKING:
    from sensorswim.swim.arms import ArmSize, CyclePath

_PHASES = np.linspace(0.0, 1.0, 61)
_FREE = np.array([0.30, 0.10, 0.30, 0.35, 0.35, 0.04, 0.04])
_NEAR = np.array([0.03, 0.03, 0.03, 0.10, 0.10, 0.02, 0.02])
"""Spread of the parameters about the anatomical guess, and between a swimmer's lengths."""

_REACH_M = 0.05
"""Typical forward travel of the shoulder about its mean (common practice, no source)."""

SHOULDER_DEPTH_M = 0.08
"""Mean depth of the shoulder joint below the surface in level swimming: what ties the wrist's path
to the water line. No source; anatomically plausible, picked on an early version of the synthetic
swimmer, so entry and exit carry a bias on other bodies."""


@dataclass(frozen=True, kw_only=True)
class ShoulderFit:
    """The shoulder in the frame of a cycle path.

    Parameters
    ----------
    centre_m : (3,)
        Mean place of the joint.
    roll_m : float
        Half of its up-and-down travel with the roll.
    surface_m : float
        Height of the water line.
    residual_m : float
        Robust spread of elbow-to-shoulder distance.
    path_m : (61, 3)
        Shoulder over the cycle.
    wrist_travel_m : (3,)
        Range of the wrist's path forward, sideways and up.
    parameters : (7,)
        Of the fit: centre, roll (cosine, sine), forward travel (cosine, sine).
    """

    centre_m: FloatArray
    roll_m: float
    surface_m: float
    residual_m: float
    path_m: FloatArray
    wrist_travel_m: FloatArray
    parameters: FloatArray

    def forward_at(self, size: int) -> FloatArray:
        """Return the shoulder's forward place on `size` regular samples of a cycle."""
        return np.interp(np.linspace(0, 1, size), _PHASES, self.path_m[:, 0])


def fit_shoulder(
    paths: list[CyclePath], size: ArmSize, side: Side, usual: FloatArray | None = None
) -> ShoulderFit:
    """Return the shoulder fit of a length.

    Parameters
    ----------
    paths : list of CyclePath
        At least one.
    size : ArmSize
    side : Side
        The arm; its shoulder lies to that side of the trunk.
    usual : (7,), optional
        Parameters of the swimmer's other lengths; the fit then stays near them.
    """
    both = [path.at_phase(_PHASES) for path in paths]
    wrist = np.median([b[0] for b in both], axis=0)
    forearm = np.median([b[1] for b in both], axis=0)
    forearm /= np.linalg.norm(forearm, axis=1, keepdims=True)
    elbow = wrist - size.forearm_m * forearm

    def shoulder_path(x: FloatArray) -> FloatArray:
        angle = 2 * np.pi * _PHASES
        turn = x[3] * np.cos(angle) + x[4] * np.sin(angle)
        half = size.shoulder_half_width_m
        path = np.empty((len(_PHASES), 3))
        path[:, 0] = x[0] + x[5] * np.cos(angle) + x[6] * np.sin(angle)
        path[:, 1] = x[1] + side.sign * half * (np.cos(turn) - 1.0)
        path[:, 2] = x[2] + half * np.sin(turn)
        return path

    start = _start(wrist, size) if usual is None else usual
    spread = _FREE if usual is None else _NEAR

    def misfit(x: FloatArray) -> FloatArray:
        distance = np.linalg.norm(elbow - shoulder_path(x), axis=1) - size.upper_arm_m
        return np.concatenate([distance / 0.03, (x - start) / spread])

    fit = least_squares(misfit, start, loss="soft_l1")
    path = shoulder_path(fit.x)
    residual = np.median(np.abs(np.linalg.norm(elbow - path, axis=1) - size.upper_arm_m))
    return ShoulderFit(
        centre_m=path.mean(axis=0),
        roll_m=float(np.hypot(fit.x[3], fit.x[4]) * size.shoulder_half_width_m),
        surface_m=float(path[:, 2].mean() + SHOULDER_DEPTH_M),
        residual_m=float(1.4826 * residual),
        path_m=path,
        wrist_travel_m=np.ptp(wrist, axis=0),
        parameters=fit.x,
    )


def _start(wrist: FloatArray, size: ArmSize) -> FloatArray:
    """Return the anatomical guess: in the middle of the wrist's travel, low in the reach.

    The cycle runs from reach to reach, so the arm's own side is down at phase 0.
    """
    arm = size.upper_arm_m + size.forearm_m
    middle = 0.5 * (wrist[:, 0].max() + wrist[:, 0].min())
    low = wrist[:, 2].min() + 0.85 * arm
    sideways = np.median(wrist[:, 1])
    return np.array([middle, sideways, low, -0.7, 0.0, _REACH_M, 0.0])
