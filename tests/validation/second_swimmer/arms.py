"""The crawl arm: a smooth closed movement of its joints, fitted to what a stroke has to do."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from scipy.interpolate import CubicSpline
from scipy.optimize import least_squares

from .body import ARM, NAMES, SIDES, Build, Motion, Skeleton
from .events import ArmPath, Stroke, arm_strokes
from .maths import GRAVITY_M_S2, RATE_HZ, Array
from .swimmer import ArmShape, Swimmer

GRID = 200
HARMONICS = 5
GRID_PHASE = np.arange(GRID) / GRID * 2.0 * np.pi
WINDING = np.array([1.0, 0.0, -1.0, 0.0, 0.0])
HARD_TO_DO = 6.0
FREEDOM = {"reach": 0.22, "spread": 0.20, "turn": 0.28, "elbow": 0.18, "forearm": 0.5}


def _waves(phase: Array) -> Array:
    """Return the harmonics that the joint angles are made of, one in each column."""
    order = np.arange(1, HARMONICS + 1)
    turns = np.multiply.outer(phase, order)
    return np.concatenate([np.ones((phase.size, 1)), np.cos(turns), np.sin(turns)], axis=1)


class ArmCycle:
    """One arm's stroke as a function of its phase in rad (0 = the hand enters)."""

    def __init__(self, shape: ArmShape, weights: Array) -> None:
        self._weights = weights
        self.catch, self.mid_pull, self.exit = 2.0 * np.pi * np.cumsum(shape.shares)[:3]
        self.glide = 0.5 * self.catch
        self.recovery = 0.5 * (self.exit + 2.0 * np.pi)

    def joints(self, phase: Array) -> dict[str, Array]:
        """Return the joint angles: `reach` winds on with the phase, `turn` back as shoulders do."""
        angles = _waves(phase) @ self._weights + np.multiply.outer(phase, WINDING)
        return dict(zip(ARM, angles.T, strict=True))

    def phase_at(self, reach: float) -> float:
        """Return the phase in 0..2 pi at which the upper arm has an angle."""
        grid = np.linspace(0.0, 2.0 * np.pi, 721)
        return float(np.interp(reach, self.joints(grid)["reach"], grid))


def still_pose(count: int) -> Motion:
    """Return a motion of a body stretched out level with every angle and place 0."""
    return {name: np.zeros(count) for name in NAMES}


def set_arm(motion: Motion, side: str, joints: dict[str, Array]) -> None:
    """Put an arm's joint angles into a motion."""
    for joint in ARM:
        motion[f"{side}_{joint}"] = joints[joint]


def _mean_phase(swimmer: Swimmer, *shares: float) -> float:
    """Return a phase of the arms in rad: so much of each of the four parts of the stroke."""
    means = [np.dot(shares, swimmer.arms[side].shares) for side in SIDES]
    return 2.0 * np.pi * float(np.mean(means))


def roll_phase(swimmer: Swimmer) -> float:
    """Return the mean phase at which the trunk is furthest onto its left side, in rad."""
    return _mean_phase(swimmer, 1.0, 1.0, 1.0, 0.5) - np.pi


def plain_roll(swimmer: Swimmer, angle: Array) -> Array:
    """Return the shoulders' roll in rad over the roll's own phase (0 = furthest onto the left)."""
    left, right = swimmer.shoulder_roll["left"], swimmer.shoulder_roll["right"]
    wave = -np.cos(angle) + 0.04 * np.cos(3.0 * angle)
    return 0.5 * (left + right) * wave + 0.5 * (right - left)


def arm_path(
    skeleton: Skeleton, side: str, direction: float, surface: Array, part: slice
) -> ArmPath:
    """Return one wrist's path against the water and the shoulder over a part of a motion."""
    wrist = skeleton.sensor(f"{side}_wrist").place[part]
    shoulder = skeleton.upper_arm(side).place[part]
    return ArmPath(
        time=np.arange(part.start, part.stop) / RATE_HZ,
        ahead=direction * wrist[:, 0],
        height=wrist[:, 2] - surface[part],
        depth_below_shoulder=shoulder[:, 2] - wrist[:, 2],
        ahead_of_shoulder=direction * (wrist[:, 0] - shoulder[:, 0]),
    )


def float_height(swimmer: Swimmer, build: Build) -> float:
    """Return the hips' height in m at which the shoulders float just under the surface."""
    return -0.075 + build.trunk * float(np.sin(swimmer.pitch))


def surges(swimmer: Swimmer, phase: Array) -> Array:
    """Return the body's speed over the mean phase of the arms, as a share of its mean."""
    off = phase - _mean_phase(swimmer, 1.0, 1.0, 0.3, 0.0)
    return 1.0 + 0.5 * swimmer.surge * (np.cos(2.0 * (off - 0.3)) + 0.25 * np.cos(off))


def swimming(swimmer: Swimmer, phase: Array) -> Motion:
    """Return a trunk in even swimming over the arms' mean phase, kept in one place."""
    motion = still_pose(phase.size)
    motion["z"] += float_height(swimmer, swimmer.build)
    motion["pitch"] += swimmer.pitch
    motion["shoulder_roll"] = plain_roll(swimmer, phase - roll_phase(swimmer))
    return motion


def trial(swimmer: Swimmer, cycles: dict[str, ArmCycle]) -> dict[str, Stroke]:
    """Return one stroke of each arm in even swimming."""
    period = 60.0 / swimmer.cycles_min
    count = int(3.2 * period * RATE_HZ)
    phase = np.arange(count) / RATE_HZ / period * 2.0 * np.pi
    motion = swimming(swimmer, phase)
    speed = surges(swimmer, phase) * swimmer.stroke_length / period
    motion["x"] = np.cumsum(speed) / RATE_HZ
    for side, shift in (("left", 0.0), ("right", np.pi)):
        set_arm(motion, side, cycles[side].joints(phase + shift))
    skeleton = Skeleton(motion, swimmer.build)
    found = {}
    for side in SIDES:
        path = arm_path(skeleton, side, 1.0, np.zeros(count), slice(0, count))
        for stroke in arm_strokes(path):
            if not np.isnan(_edges(stroke)).any():
                found[side] = stroke
    return found


def _edges(stroke: Stroke) -> Array:
    return np.array([stroke.entry, stroke.catch, stroke.mid_pull, stroke.exit, stroke.next_entry])


class _Fit:
    """What one arm of one swimmer has to do, and how far a movement is from doing it."""

    def __init__(self, swimmer: Swimmer, side: str) -> None:
        self.swimmer, self.side = swimmer, side
        self.shape = swimmer.arms[side]
        self.step = 60.0 / swimmer.cycles_min / GRID
        # The other arm's phase is half a cycle on; the trunk goes by the left arm's.
        mean = GRID_PHASE - (np.pi if side == "right" else 0.0)
        self.trunk = swimming(swimmer, mean)
        pace = swimmer.stroke_length * swimmer.cycles_min / 60.0
        self.speed = pace * surges(swimmer, mean)
        self.surge = _rate(self.speed, self.step)
        self.waves = _waves(GRID_PHASE)
        self.usual = self._usual()
        self.edges = np.cumsum(self.shape.shares)[:3]

    def _usual(self) -> Array:
        """Return the joints of a plain stroke, (GRID, 5), that the fit stays near to."""
        s = self.shape
        catch, middle, leaves = np.cumsum(s.shares)[:3]
        turn, over = -s.pull_turn, s.recovery_turn - 2.0 * np.pi
        poses = [
            (0.0, -0.20, 0.12, 0.25, 0.45, -0.1),
            (0.5 * catch, 0.14, 0.06, 0.0, 0.15, 0.0),
            (catch, 0.65, 0.5 * s.pull_spread, 0.4 * turn, 0.4 * s.bend, -0.3 * turn),
            (middle, 1.57 - 0.43 * s.bend, s.pull_spread, turn, s.bend, -0.7 * turn),
            (leaves, 3.10, 0.30, -2.1, 0.5, 0.0),
            (0.5 + 0.5 * leaves, 4.60, s.recovery_spread, over, s.recovery_bend, -0.2),
        ]
        table = np.array([*poses, poses[0]])
        table[:-1, 1:] -= 2.0 * np.pi * np.multiply.outer(table[:-1, 0], WINDING)
        table[-1] = table[0]
        table[-1, 0] = 1.0
        at = np.array(GRID_PHASE / (2.0 * np.pi))
        return np.asarray(CubicSpline(table[:, 0], table[:, 1:], bc_type="periodic")(at))

    def misses(self, weights: Array) -> Array:
        """Return the residuals of movements, (movements, residuals); weights (movements, ...)."""
        many = weights.shape[0]
        angles = self.waves @ weights
        wound = angles + np.multiply.outer(GRID_PHASE, WINDING)
        joints = {joint: wound[:, :, k].ravel() for k, joint in enumerate(ARM)}
        motion = {name: np.tile(value, many) for name, value in self.trunk.items()}
        set_arm(motion, self.side, joints)
        skeleton = Skeleton(motion, self.swimmer.build)
        wrist = skeleton.sensor(f"{self.side}_wrist")
        path = wrist.place.reshape(many, GRID, 3)
        shoulder = skeleton.upper_arm(self.side).place.reshape(many, GRID, 3)
        moving = _rate(path, self.step)
        force = _rate(moving, self.step) + np.array([0.0, 0.0, GRAVITY_M_S2])
        force[:, :, 0] += self.surge
        size = np.linalg.norm(force, axis=2)
        turning = wrist.axes.reshape(many, GRID, 3, 3)
        spin = np.linalg.norm(_rate(turning, self.step), axis=(2, 3)) / np.sqrt(2.0)
        rows = [
            self._events(path, shoulder, moving, angles),
            self._ways(path, moving, angles),
            ((angles - self.usual) / np.array(list(FREEDOM.values()))).reshape(many, -1) * 0.05,
            size / self.shape.hardest * 0.18,
            spin / self.shape.fastest * 0.05,
            (_top(size) / self.shape.hardest - 1.0) * 8.0,
            (_top(spin) / self.shape.fastest - 1.0) * 2.5,
            _rate(_rate(angles, 2 * np.pi / GRID), 2 * np.pi / GRID).reshape(many, -1) * 0.004,
        ]
        return np.concatenate(rows, axis=1)

    def _at(self, value: Array, share: float) -> Array:
        """Return values (movements, GRID) at one moment of the cycle."""
        place = share % 1.0 * GRID
        k, part = int(place), place % 1.0
        return (1.0 - part) * value[:, k % GRID] + part * value[:, (k + 1) % GRID]

    def _events(self, path: Array, shoulder: Array, moving: Array, angles: Array) -> Array:
        s, (catch, middle, leaves) = self.shape, self.edges
        height, ahead = path[:, :, 2], path[:, :, 0] - shoulder[:, :, 0]
        arm = self.swimmer.build.upper_arm + self.swimmer.build.forearm
        slip = self.speed + moving[:, :, 0]
        fall = moving[:, :, 2]
        return np.stack(
            [
                self._at(height, 0.0) / 0.006,
                self._at(height, leaves) / 0.006,
                self._at(slip, catch) / 0.02,
                self._at(ahead, middle) / 0.006,
                (self._at(angles[:, :, 3], middle) - s.bend) / 0.015,
                (self._at(ahead, 0.0) - 0.78 * arm) / 0.05,
                (self._at(path[:, :, 0], leaves) + 0.05) / 0.05,
                (self._at(height, 0.5 + 0.5 * leaves) - s.clearance) / 0.01,
                _over(self._at(fall, 0.0) + 0.5) / 0.05,
                _over(0.5 - self._at(fall, leaves)) / 0.05,
            ],
            axis=1,
        )

    def _ways(self, path: Array, moving: Array, angles: Array) -> Array:
        """Return what goes wrong between the events: out of the water, slipping, overstretched."""
        catch, _, leaves = self.edges
        at = GRID_PHASE / (2.0 * np.pi)
        over = np.clip((at - leaves) / (1.0 - leaves), 0.0, 1.0)
        under = np.clip(at / leaves, 0.0, 1.0)
        pulling = np.clip((at - catch) / (leaves - catch), 0.0, 1.0)
        reaching = np.clip(at / catch, 0.0, 1.0)
        height, slip = path[:, :, 2], self.speed + moving[:, :, 0]
        wet, dry, pressing = at < leaves, at > leaves, (pulling > 0.0) & (pulling < 0.85)
        rows = [
            _over(0.8 * self.shape.clearance * np.sin(np.pi * over) - height) * dry / 0.01,
            _over(height - self.shape.clearance - 0.01) / 0.01,
            _over(height + np.minimum(0.10, np.minimum(under, 1.0 - under))) * wet / 0.01,
            _over(slip + 3.0 * pulling * (0.85 - pulling)) * pressing / 0.05,
            _over(0.6 * (1.0 - reaching) - slip) * (reaching < 1.0) / 0.05,
            _over(0.09 - angles[:, :, 3]) / 0.01,
            _over(angles[:, :, 3] - 2.1) / 0.03,
            _over(angles[:, :, 1] - 1.35) / 0.03,
            _over(-0.9 - _rate(angles[:, :, 0], 2.0 * np.pi / GRID)) / 0.03,
        ]
        return np.concatenate(rows, axis=1) * 0.3


def _rate(value: Array, step: float) -> Array:
    """Return the rate of change of values over one closed cycle (first axis but one of many)."""
    axis = 0 if value.ndim == 1 else 1
    return (np.roll(value, -1, axis=axis) - np.roll(value, 1, axis=axis)) / (2.0 * step)


def _top(size: Array) -> Array:
    """Return the mean of the largest 2 % of each movement's values."""
    return np.sort(size, axis=1)[:, -GRID // 50 :].mean(axis=1, keepdims=True)


def _over(value: Array) -> Array:
    return np.maximum(value, 0.0)


def fitted(swimmer: Swimmer, side: str) -> tuple[ArmCycle, float]:
    """Return one arm's stroke, near a plain one and smooth, and how much it falls short."""
    fit = _Fit(swimmer, side)
    first, *_ = np.linalg.lstsq(fit.waves, fit.usual, rcond=None)
    shape, small = first.shape, 1e-5

    def misses(flat: Array) -> Array:
        return fit.misses(flat.reshape(1, *shape))[0]

    def slopes(flat: Array) -> Array:
        moved = flat + small * np.eye(flat.size)
        every = fit.misses(np.concatenate([flat[None], moved]).reshape(-1, *shape))
        return np.asarray((every[1:] - every[0]).T / small)

    best = least_squares(misses, first.ravel(), slopes, max_nfev=60)
    return ArmCycle(swimmer.arms[side], best.x.reshape(shape)), float(best.cost)


def settled(swimmer: Swimmer) -> tuple[Swimmer, dict[str, ArmCycle]]:
    """Return the swimmer with both arms; slower, and the hand higher, if they can't do it all."""
    while True:
        fits = {side: fitted(swimmer, side) for side in SIDES}
        if max(cost for _, cost in fits.values()) < HARD_TO_DO:
            return swimmer, {side: cycle for side, (cycle, _) in fits.items()}
        arms = {
            side: replace(
                arm, clearance=min(arm.clearance + 0.02, 0.23), hardest=1.03 * arm.hardest
            )
            for side, arm in swimmer.arms.items()
        }
        swimmer = replace(swimmer, arms=arms, stroke_length=0.96 * swimmer.stroke_length)
