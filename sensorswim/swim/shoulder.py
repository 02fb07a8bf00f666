"""Where the shoulder is relative to a wrist's path, from the length of the upper arm.

The median cycles of all lengths are fitted together (see `arm_model`): a place of the shoulder
for each length and arm; one scale of the limbs, one roll, one reach, one surge and one remaining
tilt of each strap for the session. Robust residuals, priors from anatomy on what the data don't
decide (the sideways place has a mirror solution), analytic slopes, and a Levenberg-Marquardt step
in which the lengths' own unknowns are eliminated first (Schur complement).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from sensorswim.model import Side
from sensorswim.model.streams import BoolArray, FloatArray
from sensorswim.swim.arm_model import (
    N_PHASES,
    N_UNKNOWNS,
    ArmPose,
    ArmSize,
    Curves,
    Of,
    arm_pose,
    cycle_curves,
    median_curves,
    misfit_slopes,
    shoulder_of,
)
from sensorswim.swim.cycle_path import CyclePath
from sensorswim.swim.roll_wave import RollWave

Key = tuple[int, Side]

_OWN = 3
"""The first unknowns, those of a length alone; the others are the session's."""

_FITS_M = 0.03
_INDEPENDENT = 10.0
"""Spread of the misfit, and how many independent phases a median cycle is worth: its errors are
drawn out over neighbouring phases. Picked on the synthetic swimmer."""

_ELBOW_OUT = 0.27
_ELBOW_OUT_SD = 0.15
"""Mean place of the elbow outside of the shoulder over a cycle, in upper arms: it goes wide in
the recovery, is bent outwards in the pull and comes near the shoulder's line in the reach. No
source; it decides between the solution and its mirror image."""

_USUAL = np.zeros(N_UNKNOWNS)
_USUAL[[Of.ROLL_COS, Of.REACH_COS]] = -0.8, 0.04
_SPREAD = np.array(
    [0.3, 0.3, 0.3, 0.03, 0.25, 0.3, 0.03, 0.03, 0.1, 0.05, 0.05, 0.05, 0.05, 0.02, 0.02]
)
"""Priors, see `Of`: a roll of some 45 degrees with the arm's own side down in the reach, a few
centimetres of reach and surge, 3 % of limb length, 3 degrees of strap (common practice, no
source)."""

_HANG_LEAN_RAD = 0.15
"""A relaxed forearm hangs some 8 degrees in front of the vertical, because the elbow rests slightly
bent; standing takes it as vertical (common practice, no source)."""

_UNSURE_TILT_RAD = 0.15
"""Spread of the strap's tilt where nobody stood still."""

_TILTS = {
    Side.LEFT: [Of.TILT_ACROSS_LEFT, Of.TILT_SKIN_LEFT],
    Side.RIGHT: [Of.TILT_ACROSS_RIGHT, Of.TILT_SKIN_RIGHT],
}
_FIXED = 1e-4
_BETWEEN_CYCLES = np.full(N_UNKNOWNS, _FIXED)
_BETWEEN_CYCLES[:_OWN] = 0.05
_BETWEEN_CYCLES[[Of.ROLL_COS, Of.ROLL_SIN, Of.LEAN]] = 0.2, 0.2, 0.15
_BETWEEN_CYCLES[[Of.REACH_COS, Of.REACH_SIN, Of.SURGE_COS, Of.SURGE_SIN]] = 0.03
"""How far one cycle may lie from its length: breaths roll more, and a closed path drifts by some
centimetres. Picked on the synthetic swimmer."""

_PRONE_RESIDUAL_M = 0.05
_ROUNDS = 40
_CYCLE_ROUNDS = 2
_TOGETHER = 256
"""So many single cycles are fitted at once: more would only take memory."""

SHOULDER_DEPTH_M = 0.085
"""Mean depth of the shoulder joint below the surface in level swimming: what ties the wrist's path
to the water line. No source; anatomically plausible, picked on an early version of the synthetic
swimmer, so entry and exit carry a bias on other bodies."""


@dataclass(frozen=True, kw_only=True)
class ShoulderFit:
    """The shoulder in the frame of the cycle paths of one length and arm.

    Parameters
    ----------
    side : Side
    size : ArmSize
    unknowns : (15,)
        See `arm_model.Of`.
    covariance : (15, 15)
        Of the unknowns.
    residual_m : float
        Robust spread of elbow-to-shoulder distance.
    wrist_travel_m : (3,)
        Range of the wrist's path forward, sideways and up.
    line_shift_m : float
        How much higher the water line is than the shoulder puts it, where anything tells.
    """

    side: Side
    size: ArmSize
    unknowns: FloatArray
    covariance: FloatArray
    residual_m: float
    wrist_travel_m: FloatArray
    line_shift_m: float = 0.0

    def path_at(self, phase: FloatArray) -> FloatArray:
        """Return the shoulder's path (P, 3) at phases 0..1 of a cycle."""
        sign = np.array([float(self.side.sign)])
        return shoulder_of(self.unknowns[None], sign, self.size, phase)[0]

    @property
    def surface_m(self) -> float:
        """Height of the water line."""
        return float(self.unknowns[Of.CENTRE_Z]) + SHOULDER_DEPTH_M + self.line_shift_m

    @property
    def prone(self) -> bool:
        """Whether this is the arm of a prone swimmer."""
        return self.residual_m < _PRONE_RESIDUAL_M


@dataclass(frozen=True, kw_only=True)
class _State:
    """A fit under way: unknowns (K, 15), normal equations, cost (K,) and the joints."""

    unknowns: FloatArray
    matrix: FloatArray
    vector: FloatArray
    cost: FloatArray
    pose: ArmPose


@dataclass(frozen=True, kw_only=True)
class _Problem:
    """What is fitted: median cycles, limb lengths, the session's spread of the priors."""

    curves: Curves
    size: ArmSize
    start: FloatArray
    spread: FloatArray
    shared: bool

    def state(self, unknowns: FloatArray) -> _State:
        """Return cost and normal equations at these unknowns."""
        pose = arm_pose(unknowns, self.curves, self.size)
        slopes = misfit_slopes(unknowns, self.curves, self.size, pose)
        worth = _INDEPENDENT / N_PHASES
        ratio = pose.misfit_m / _FITS_M
        stretch = np.sqrt(1.0 + ratio * ratio)
        weight = worth / (stretch * _FITS_M**2)
        weighted = slopes * weight[..., None]
        matrix = np.swapaxes(weighted, 1, 2) @ slopes
        vector = (weighted * pose.misfit_m[..., None]).sum(axis=1)
        cost = 2.0 * worth * (stretch - 1.0).sum(axis=1)
        self._add_priors(unknowns, pose, matrix, vector, cost)
        return _State(unknowns=unknowns, matrix=matrix, vector=vector, cost=cost, pose=pose)

    def _add_priors(
        self,
        unknowns: FloatArray,
        pose: ArmPose,
        matrix: FloatArray,
        vector: FloatArray,
        cost: FloatArray,
    ) -> None:
        """Add the priors; those of the session count once, spread over its lengths."""
        precision = 1.0 / self.spread**2
        if self.shared:
            precision[_OWN:] /= len(unknowns)
        off = unknowns - self.start
        matrix += np.diag(precision)
        vector += precision * off
        cost += (precision * off * off).sum(axis=1)
        sign, upper = self.curves.sign, self.size.upper_arm_m
        outside = sign * (pose.elbow_m - pose.shoulder_m)[..., 1].mean(axis=1)
        off = (outside / upper - _ELBOW_OUT) / _ELBOW_OUT_SD
        slope = 1.0 / (upper * _ELBOW_OUT_SD)
        matrix[:, Of.CENTRE_Y, Of.CENTRE_Y] += slope**2
        vector[:, Of.CENTRE_Y] -= sign * slope * off
        cost += off**2


def fit_shoulders(
    cycles: dict[Key, list[CyclePath]],
    size: ArmSize,
    *,
    unsure: frozenset[Side] = frozenset(),
    wave: RollWave | None = None,
) -> dict[Key, ShoulderFit]:
    """Return the shoulder fit of every length and arm.

    Parameters
    ----------
    cycles : dict
        By (length_no, side), at least one path each.
    size : ArmSize
    unsure : set of Side
        Arms whose strap was not checked by standing.
    wave : RollWave, optional
        The shoulders' roll as other sensors tell it.

    Returns
    -------
    dict
        Lengths that no prone swimmer's arm fits (backstroke) keep a fit of their own, with a
        large `residual_m`.
    """
    if not cycles:
        return {}
    keys = list(cycles)
    curves = median_curves([cycle_curves(cycles[k], k[1]) for k in keys])
    problem = _problem(curves, size, unsure, wave, shared=False)
    alone = _fit(problem)
    fits = _answers(problem, alone, keys)
    prone = np.flatnonzero(_residual(alone) < _PRONE_RESIDUAL_M)
    if len(prone):
        problem = _problem(curves.take(prone), size, unsure, wave, shared=True)
        fits |= _answers(problem, _fit(problem), [keys[n] for n in prone])
    return fits


def fit_cycles(curves: Curves, unknowns: FloatArray, size: ArmSize) -> ArmPose:
    """Return the joints of single cycles, each allowed a little way from its length's fit.

    Parameters
    ----------
    curves : Curves
        C cycles.
    unknowns : (C, 15)
        Those of each cycle's length.
    """
    poses = []
    for first in range(0, len(unknowns), _TOGETHER):
        rows = slice(first, first + _TOGETHER)
        problem = _Problem(
            curves=curves.take(rows),
            size=size,
            start=unknowns[rows],
            spread=_BETWEEN_CYCLES,
            shared=False,
        )
        poses.append(_fit(problem, _CYCLE_ROUNDS).pose)
    return ArmPose.join(poses)


def _residual(state: _State) -> FloatArray:
    return np.asarray(1.4826 * np.median(np.abs(state.pose.misfit_m), axis=1))


def _problem(
    curves: Curves,
    size: ArmSize,
    unsure: frozenset[Side],
    wave: RollWave | None,
    *,
    shared: bool,
) -> _Problem:
    start, spread = _start(curves, size), _SPREAD.copy()
    if wave is not None:
        rolls = [Of.ROLL_COS, Of.ROLL_SIN, Of.LEAN]
        start[:, rolls] = wave.cosine, wave.sine, wave.lean
        spread[rolls] = wave.wave_sd, wave.wave_sd, wave.lean_sd
    for side, tilts in _TILTS.items():
        if side in unsure:
            spread[tilts] = _UNSURE_TILT_RAD
        else:
            start[:, tilts[0]] = -_HANG_LEAN_RAD
    return _Problem(curves=curves, size=size, start=start, spread=spread, shared=shared)


def _start(curves: Curves, size: ArmSize) -> FloatArray:
    """Return the anatomical guess (K, 15): in the middle of the wrist's travel, low in the reach.

    The cycle runs from reach to reach, so the arm's own side is down at phase 0.
    """
    start = np.tile(_USUAL, (len(curves.sign), 1))
    arm = size.upper_arm_m + size.forearm_m
    wrist = curves.wrist_m
    start[:, 0] = 0.5 * (wrist[..., 0].max(axis=1) + wrist[..., 0].min(axis=1))
    start[:, 1] = np.median(wrist[..., 1], axis=1)
    start[:, 2] = wrist[..., 2].min(axis=1) + 0.85 * arm
    return start


def _fit(problem: _Problem, rounds: int = _ROUNDS) -> _State:
    """Return the minimum of the cost, for each length alone or for all together."""
    state = problem.state(problem.start)
    damping = np.full(len(state.cost), 1e-3)
    open_ = np.ones(len(state.cost), dtype=bool)
    for _ in range(rounds):
        step = (_shared_step if problem.shared else _own_step)(state, damping)
        trial = problem.state(state.unknowns + step)
        gain = state.cost - trial.cost
        if problem.shared:
            gain = np.full(len(gain), gain.sum())
        better = gain > 0
        small = np.abs(gain) < 1e-4 * (state.cost.sum() if problem.shared else state.cost)
        state = _chosen(better, trial, state)
        damping = np.where(better, damping / 5.0, damping * 5.0)
        open_ &= ~(small & better) & (damping < 1e4)
        if not open_.any():
            break
    return state


def _chosen(better: BoolArray, new: _State, old: _State) -> _State:
    if better.all():
        return new
    rows = np.flatnonzero(better)

    def mixed(name: str, source: object, other: object) -> FloatArray:
        out = np.array(getattr(other, name))
        out[rows] = getattr(source, name)[rows]
        return out

    pose = ArmPose(**{name: mixed(name, new.pose, old.pose) for name in vars(old.pose)})
    names = ("unknowns", "matrix", "vector", "cost")
    return _State(pose=pose, **{name: mixed(name, new, old) for name in names})


def _damped(matrix: FloatArray, damping: FloatArray) -> FloatArray:
    out = matrix.copy()
    index = np.arange(matrix.shape[-1])
    out[..., index, index] *= 1.0 + damping[..., None]
    return out


def _inverse(matrices: FloatArray) -> FloatArray:
    return np.linalg.inv(matrices).astype(np.float64)


def _own_step(state: _State, damping: FloatArray) -> FloatArray:
    return -(_inverse(_damped(state.matrix, damping)) @ state.vector[..., None])[..., 0]


def _shared_step(state: _State, damping: FloatArray) -> FloatArray:
    """Return the step in which all lengths move the session's unknowns alike."""
    matrix = _damped(state.matrix, damping)
    own = _inverse(matrix[:, :_OWN, :_OWN])
    cross = matrix[:, :_OWN, _OWN:]
    reduced, _ = _reduced(matrix, own)
    right = state.vector[:, _OWN:].sum(axis=0)
    right -= np.einsum("kij,kil,kl->j", cross, own, state.vector[:, :_OWN])
    session = -np.linalg.solve(reduced, right)
    lengths = -np.einsum("kij,kj->ki", own, state.vector[:, :_OWN] + cross @ session)
    return np.concatenate([lengths, np.tile(session, (len(lengths), 1))], axis=1)


def _reduced(matrix: FloatArray, own: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Return the session's matrix without the lengths' own unknowns, and how those follow it."""
    cross = matrix[:, :_OWN, _OWN:]
    follow = -own @ cross
    return matrix[:, _OWN:, _OWN:].sum(axis=0) + np.einsum("kij,kil->jl", cross, follow), follow


def _covariances(state: _State, *, shared: bool) -> FloatArray:
    """Return the covariance (K, 15, 15) of the unknowns of each length."""
    if not shared:
        return _inverse(state.matrix)
    own = _inverse(state.matrix[:, :_OWN, :_OWN])
    reduced, follow = _reduced(state.matrix, own)
    session = _inverse(reduced)
    out = np.empty_like(state.matrix)
    mixed = follow @ session
    out[:, _OWN:, _OWN:] = session
    out[:, :_OWN, _OWN:] = mixed
    out[:, _OWN:, :_OWN] = np.swapaxes(mixed, 1, 2)
    out[:, :_OWN, :_OWN] = own + mixed @ np.swapaxes(follow, 1, 2)
    return out


def _answers(problem: _Problem, state: _State, keys: list[Key]) -> dict[Key, ShoulderFit]:
    covariances = _covariances(state, shared=problem.shared)
    residuals = _residual(state)
    travel = np.ptp(problem.curves.wrist_m, axis=1)
    return {
        key: ShoulderFit(
            side=key[1],
            size=problem.size,
            unknowns=state.unknowns[n],
            covariance=covariances[n],
            residual_m=float(residuals[n]),
            wrist_travel_m=travel[n],
        )
        for n, key in enumerate(keys)
    }
