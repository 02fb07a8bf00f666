"""How deep the hand goes and how bent the elbow is in the pull, and the hand's path.

Everything rests on the wrist's closed path and the shoulder fitted to it (`shoulder`). The elbow
angle is taken from the directions of the two segments, not from the law of cosines (1.3 mm a
degree near straight).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from sensorswim.model.streams import FloatArray
from sensorswim.model.tables import VIEWS
from sensorswim.swim.arm_model import (
    N_PHASES,
    N_UNKNOWNS,
    PHASES,
    ArmPose,
    Curves,
    arm_pose,
    cycle_curves,
    median_curves,
)
from sensorswim.swim.cycle_path import CyclePath
from sensorswim.swim.shoulder import Key, ShoulderFit, fit_cycles

_DEEP_SHARE = 0.2
"""The deepest wrist is sought within this share of the cycle from mid-pull."""

_FLOOR_DEG = 4.0
_STROKE_DEG = 3.0
"""Standard deviations beyond the fit's own: of what the arm model leaves out, alike in all strokes
of a length, and of one stroke's path. Set on synthetic swimmers so that the true value lies within
two standard deviations in 90 % of lengths."""

_ALONG = {"front": 0, "side": 1, "below": 2}
_LEAST_SEEN = 0.1
"""The axis of the pool that each view looks along; a segment that shows less than a tenth of its
length has no direction in the picture."""

_LARGEST_SD_DEG = 20.0
_LARGEST_MISFIT_M = 0.05


@dataclass(frozen=True, kw_only=True)
class Pulls:
    """The pulls of one arm over one length, C cycles.

    Parameters
    ----------
    start_s, end_s : (C,)
        Window of each cycle, reach to reach.
    mid_phase : (C,)
        Phase of mid-pull in the window; NaN where the wrist never passes its shoulder.
    elbow_deg, depth_m, forearm_tilt_deg : (C,)
        Elbow at mid-pull; deepest wrist below the shoulder; forearm from the vertical at
        mid-pull, positive = hand in front of the elbow.
    model_sd_deg, stroke_sd_deg : float
        What is alike in all strokes of the length, and what is each stroke's own.
    misfit_m : float
        Of the length's fit.
    curves, pose : Curves, ArmPose
        The cycles and the joints on them.
    projected_deg : dict
        (C,) by view: the modelled elbow at mid-pull as a picture from there shows it.
    source : str
        What the elbow angle rests on: wrist_model or upper_arm.
    """

    start_s: FloatArray
    end_s: FloatArray
    mid_phase: FloatArray
    elbow_deg: FloatArray
    depth_m: FloatArray
    forearm_tilt_deg: FloatArray
    model_sd_deg: float
    stroke_sd_deg: float
    misfit_m: float
    curves: Curves
    pose: ArmPose
    projected_deg: dict[str, FloatArray]
    source: str = "wrist_model"

    def at(self, time_s: float) -> int | None:
        """Return the cycle whose window holds this moment, None where there is none."""
        held = np.flatnonzero((self.start_s <= time_s) & (time_s <= self.end_s))
        return int(held[0]) if len(held) else None

    def figures(self, time_s: float) -> dict[str, object]:
        """Return the columns of `arm_strokes` for the stroke with this mid-pull."""
        k = self.at(time_s)
        if k is None or not self.solved:
            return {}
        return {
            "pull_depth_m": self.depth_m[k],
            "elbow_angle_deg": self.elbow_deg[k],
            "elbow_sd_deg": float(np.hypot(self.model_sd_deg, self.stroke_sd_deg)),
            "elbow_source": self.source,
        } | {f"elbow_{view}_deg": angle[k] for view, angle in self.projected_deg.items()}

    def length_sd_deg(self) -> float:
        """Return the standard deviation of the length's elbow angle."""
        return float(np.hypot(self.model_sd_deg, self.stroke_sd_deg / np.sqrt(len(self.start_s))))

    @property
    def wrist_from_shoulder_m(self) -> FloatArray:
        """The wrist relative to its own shoulder (C, P, 3), in the axes of the pool."""
        return self.curves.wrist_m - self.pose.shoulder_m

    @property
    def solved(self) -> bool:
        """Whether the arm can be told at all."""
        return self.model_sd_deg <= _LARGEST_SD_DEG and self.misfit_m <= _LARGEST_MISFIT_M


def find_pulls(paths: dict[Key, list[CyclePath]], fits: dict[Key, ShoulderFit]) -> dict[Key, Pulls]:
    """Return the pulls of every arm and length that has a shoulder fit."""
    if not fits:
        return {}
    cycles = {key: cycle_curves(paths[key], key[1]) for key in fits}
    counts = [len(c.sign) for c in cycles.values()]
    unknowns = np.repeat([fits[key].unknowns for key in cycles], counts, axis=0)
    size = next(iter(fits.values())).size
    joints = fit_cycles(Curves.join(list(cycles.values())), unknowns, size)
    ends = np.cumsum(counts)
    return {
        key: _pulls(paths[key], fits[key], cycles[key], joints.take(slice(end - count, end)))
        for key, count, end in zip(cycles, counts, ends, strict=True)
    }


def _pulls(paths: list[CyclePath], fit: ShoulderFit, curves: Curves, pose: ArmPose) -> Pulls:
    phase = mid_pull_phase(curves, pose)
    tilt = np.degrees(np.arctan2(pose.forearm[..., 0], -pose.forearm[..., 2]))
    return Pulls(
        start_s=np.array([p.time_s[0] for p in paths]),
        end_s=np.array([p.time_s[-1] for p in paths]),
        mid_phase=phase,
        elbow_deg=at_phase(pose.elbow_deg, phase),
        depth_m=_depth(curves, pose, phase),
        forearm_tilt_deg=at_phase(tilt, phase),
        model_sd_deg=float(np.hypot(_FLOOR_DEG, _fit_sd(median_curves([curves]), fit))),
        stroke_sd_deg=_STROKE_DEG,
        misfit_m=fit.residual_m,
        curves=curves,
        pose=pose,
        projected_deg={view: at_phase(projected_elbow_deg(pose, view), phase) for view in VIEWS},
    )


def projected_elbow_deg(pose: ArmPose, view: str) -> FloatArray:
    """Return the elbow angle (C, P) as a picture from a distance shows it, one of `VIEWS`.

    NaN where a segment points at the camera.
    """
    across = [k for k in range(3) if k != _ALONG[view]]
    upper, forearm = (pose.shoulder_m - pose.elbow_m)[..., across], pose.forearm[..., across]
    sizes = np.linalg.norm(upper, axis=-1), np.linalg.norm(forearm, axis=-1)
    whole = np.linalg.norm(pose.shoulder_m - pose.elbow_m, axis=-1)
    with np.errstate(invalid="ignore", divide="ignore"):
        cosine = (upper * forearm).sum(axis=-1) / (sizes[0] * sizes[1])
    angle = np.degrees(np.arccos(cosine.clip(-1.0, 1.0)))
    seen = (sizes[0] > _LEAST_SEEN * whole) & (sizes[1] > _LEAST_SEEN)
    return np.where(seen, angle, np.nan)


def mid_pull_phase(curves: Curves, pose: ArmPose) -> FloatArray:
    """Return the phase (C,) at which the wrist passes its shoulder going back, below it."""
    rel = curves.wrist_m - pose.shoulder_m
    ahead, low = rel[..., 0], rel[..., 2] < 0
    passes = (ahead[:, :-1] > 0) & (ahead[:, 1:] <= 0) & low[:, :-1]
    first = passes.argmax(axis=1)
    row = np.arange(len(first))
    before, after = ahead[row, first], ahead[row, first + 1]
    with np.errstate(invalid="ignore", divide="ignore"):
        phase = (first + before / (before - after)) / N_PHASES
    return np.where(passes.any(axis=1), phase, np.nan)


def at_phase(values: FloatArray, phase: FloatArray) -> FloatArray:
    """Return each row of values (C, P) at its own phase (C,); NaN where the phase is."""
    wanted = np.nan_to_num(phase) * N_PHASES
    first = np.floor(wanted).astype(int).clip(0, N_PHASES - 2)
    row, share = np.arange(len(values)), wanted - first
    found = values[row, first] * (1.0 - share) + values[row, first + 1] * share
    return np.where(np.isfinite(phase), found, np.nan)


def _depth(curves: Curves, pose: ArmPose, phase: FloatArray) -> FloatArray:
    below = (pose.shoulder_m - curves.wrist_m)[..., 2]
    near = np.abs(PHASES - phase[:, None]) <= _DEEP_SHARE
    deepest = np.where(near, below, -np.inf).max(axis=1)
    return np.where(np.isfinite(deepest), deepest, np.nan)


def _fit_sd(median: Curves, fit: ShoulderFit) -> float:
    """Return the elbow's standard deviation (deg) at mid-pull from the fit's covariance."""
    step = np.minimum(0.2 * np.sqrt(np.diag(fit.covariance)), 0.01)
    moved = fit.unknowns + np.vstack([np.zeros(N_UNKNOWNS), np.diag(step)])
    pose = arm_pose(moved, median.repeat(N_UNKNOWNS + 1), fit.size)
    phase = mid_pull_phase(median.repeat(N_UNKNOWNS + 1), pose)
    angle = at_phase(pose.elbow_deg, np.full(N_UNKNOWNS + 1, phase[0]))
    slope = (angle[1:] - angle[0]) / step
    variance = slope @ fit.covariance @ slope
    return float(np.sqrt(variance)) if np.isfinite(variance) else float("inf")
