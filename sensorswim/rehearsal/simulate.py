"""Runs a plan: from knots to curves, poses, sensor logs and truth."""

from __future__ import annotations

from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd

from sensorswim.model import ClockFit, Limb, Placement, Side, Stream
from sensorswim.model.streams import FloatArray
from sensorswim.rehearsal import truth
from sensorswim.rehearsal.body import Body, Pose
from sensorswim.rehearsal.director import direct
from sensorswim.rehearsal.film import skeleton
from sensorswim.rehearsal.legs import drawn_up, leg_curves
from sensorswim.rehearsal.sensors import Pulse, ideal, soften, wear
from sensorswim.rehearsal.settings import Kit, Plan, Swimmer
from sensorswim.rehearsal.stage import WALL_M, Stage
from sensorswim.rehearsal.timeline import RATE_HZ, smooth_noise
from sensorswim.rehearsal.write import session_toml, write_session

DEPTH_STEP = round(RATE_HZ / 50)


@dataclass(frozen=True, kw_only=True)
class Rehearsal:
    """A simulated session and the truth about it.

    Parameters
    ----------
    streams : dict
        One log a placement, each on its own device clock.
    session_toml : str
        The session's description, as `write` puts it into the folder.
    truth : dict
        The contract's tables, in session time, found on the simulated geometry.
    truth_extra : dict
        ``clocks`` (placement -> `ClockFit`), ``straps`` (placement -> (3, 3) segment from
        sensor), ``hand_path`` (DataFrame at 100 Hz: time, side, wrist relative to the shoulder
        in the pool frame), ``body_speed`` (DataFrame at 50 Hz), ``wrist_depth``, ``depth``
        (DataFrame at 50 Hz: session time and how far below the surface each place is, in m),
        ``skeleton`` (`film.Skeleton`, for drawing).
    """

    plan: Plan
    swimmer: Swimmer
    kit: Kit
    streams: dict[Placement, Stream]
    session_toml: str
    truth: dict[str, pd.DataFrame]
    truth_extra: dict[str, Any] = field(default_factory=dict)
    seed: int = 0

    def write(self, folder: Path | str, *, file_format: str = "parquet") -> Path:
        """Write the session folder with a `truth` subfolder; see `write.write_session`."""
        return write_session(self, Path(folder), file_format=file_format)


def rehearse(
    plan: Plan, *, swimmer: Swimmer | None = None, kit: Kit | None = None, seed: int = 0
) -> Rehearsal:
    """Simulate a session.

    Parameters
    ----------
    plan : Plan
    swimmer : Swimmer, optional
    kit : Kit, optional
    seed : int
        The same seed gives the same session.

    Returns
    -------
    Rehearsal

    Raises
    ------
    InputError
        An activity or a turn that isn't known.
    """
    swimmer, kit = swimmer or Swimmer(), kit or Kit()
    rng = np.random.default_rng(seed)
    stage = direct(plan, swimmer, rng)
    body = embody(stage, rng)
    clocks = _clocks(kit, rng)
    first = clocks[kit.placements[0]]
    scene = truth.Scene(body=body, score=stage.score, pool_length_m=plan.pool_length_m)
    streams: dict[Placement, Stream] = {}
    straps: dict[Placement, FloatArray] = {}
    heights: dict[str, FloatArray] = {"time_s": _session(body.time_s[::DEPTH_STEP], first)}
    for placement, pose in body.poses():
        scene.see(placement, pose)
        heights[placement.value] = -pose.position_m[::DEPTH_STEP, 2]
        if placement not in kit.placements:
            continue
        signal = ideal(pose, _pulses(stage, placement, pose, rng))
        signal = soften(signal, pose, placement, kit, rng)
        name = _worn_as(placement, kit)
        worn = wear(pose, signal, body.time_s, placement, kit, clocks[name], rng)
        streams[name], straps[name] = _renamed(worn.stream, name), worn.strap
    tables, extra = truth.tables(scene, kit, to_session=lambda t: _session(t, first))
    extra |= {
        "clocks": {p: _relative(clocks[p], first) for p in kit.placements},
        "straps": straps,
        "depth": pd.DataFrame(heights),
        "skeleton": skeleton(body, to_session=lambda t: _session(t, first)),
    }
    text = session_toml(stage.score, swimmer, kit, plan, tables["lengths"])
    ordered = {p: streams[p] for p in kit.placements}
    return Rehearsal(
        plan=plan, swimmer=swimmer, kit=kit, streams=ordered, session_toml=text,
        truth=tables, truth_extra=extra, seed=seed,
    )  # fmt: skip


def embody(stage: Stage, rng: np.random.Generator) -> Body:
    """Turn the knots into a body that moves on the internal grid."""
    count = int(np.ceil(stage.score.end_s * RATE_HZ)) + 1
    time_s = np.arange(count) / RATE_HZ
    line = stage.timeline
    speed = line.curve("speed", time_s, smooth_s=0.035)
    x = WALL_M + np.cumsum(speed) / RATE_HZ
    z = line.curve("z", time_s, smooth_s=0.08)
    sway = _wander(rng, count)
    position = np.stack([x + 0.004 * sway(), 0.02 * sway(), z + 0.003 * sway()], axis=1)
    crouch = line.curve("crouch", time_s, smooth_s=0.03)
    legs = {}
    for side in Side:
        hip, knee = leg_curves(stage.score.kick_sizes[side], time_s)
        stride = line.curve(f"{side}_stride", time_s, smooth_s=0.06)
        thigh, bend = drawn_up(crouch)
        legs[side] = (
            hip + thigh + 1.2 * sway() + stride,
            knee + bend + 1.5 * sway() + 0.6 * np.abs(stride),
        )
    ripple = {
        "roll_shoulders": 0.8 * sway(), "roll_hips": 0.7 * sway(), "roll_legs": 0.6 * sway(),
        "pitch": 0.7 * sway(), "yaw": 1.2 * sway(), "head_roll": sway(), "head_pitch": sway(),
    }  # fmt: skip
    for side in Side:
        swing = line.curve(f"{side}_swing", time_s, smooth_s=0.06)
        ripple |= {
            f"{side}_psi": 0.8 * sway() + swing,
            f"{side}_lam": 0.8 * sway(),
            f"{side}_elbow": 0.8 * sway(),
            f"{side}_pron": 3.0 * sway(),
        }
    return Body(
        line,
        time_s,
        position,
        height_m=stage.swimmer.height_m,
        arm_smooth_s=float(np.clip(1.7 / stage.swimmer.stroke_rate_cycles_min, 0.028, 0.055)),
        legs=legs,
        ripple=ripple,
    )


def _wander(rng: np.random.Generator, count: int) -> Any:
    """Return a maker of slow noise, (count,) with standard deviation 1, below about 1 Hz."""
    return lambda: smooth_noise(rng, count, low_hz=0.05, high_hz=0.8, rate_hz=RATE_HZ)


def _pulses(
    stage: Stage, placement: Placement, pose: Pose, rng: np.random.Generator
) -> list[Pulse]:
    """Return the knocks that reach this sensor: clock knocks, walls, the water at entry."""
    pulses = []
    direction = np.array([0.35, 0.25, 0.9])
    for moment, strength in stage.score.knocks:
        size = strength * (direction + 0.15 * rng.standard_normal(3))
        pulses.append(Pulse(time_s=moment, width_s=0.022, size_m_s2=size))
    for moment, part, strength in stage.score.contacts:
        near = 1.0 if part == "feet" and placement.limb is Limb.ANKLE else 0.15
        if part.endswith("_hand"):
            near = 1.0 if placement == Placement.of(Limb.WRIST, Side(part[:-5])) else 0.1
        size = near * strength * np.array([-0.9, 0.2, 0.3]) * (1 + 0.2 * rng.standard_normal(3))
        pulses.append(Pulse(time_s=moment, width_s=rng.uniform(0.015, 0.035), size_m_s2=size))
    if placement.limb is Limb.WRIST:
        pulses += _splashes(stage, pose, rng)
    return pulses


def _splashes(stage: Stage, pose: Pose, rng: np.random.Generator) -> list[Pulse]:
    """Return one pulse a hand entry, against the hand's way through the water."""
    z = pose.position_m[:, 2]
    pulses = []
    for i in np.flatnonzero((z[:-1] >= 0) & (z[1:] < 0)):
        if not any(s.swim_from_s < i / RATE_HZ < s.end_s for s in stage.score.lengths):
            continue
        way = pose.position_m[i + 1] - pose.position_m[i]
        push = -(pose.rotation[i].T @ way) / np.linalg.norm(way)
        strength = stage.swimmer.entry_splash_m_s2 * rng.gamma(4.0, 0.25)
        pulses.append(
            Pulse(
                time_s=i / RATE_HZ,
                width_s=rng.uniform(0.012, 0.03),
                size_m_s2=strength * (push + 0.3 * rng.standard_normal(3)),
            )
        )
    return pulses


def _clocks(kit: Kit, rng: np.random.Generator) -> dict[Placement, ClockFit]:
    """Return how each device clock maps to true time."""
    return {
        placement: ClockFit(
            offset_s=kit.clock_offset_s * rng.uniform(-1, 1),
            drift=1e-6 * kit.drift_ppm * rng.uniform(-1, 1),
            method="truth",
            residual_s=0.0,
        )
        for placement in kit.placements
    }


def _session(true_s: FloatArray, first: ClockFit) -> FloatArray:
    """Map true time to session time, the clock of the first sensor."""
    return (true_s - first.offset_s) / (1.0 + first.drift)


def _relative(clock: ClockFit, first: ClockFit) -> ClockFit:
    scale = (1.0 + clock.drift) / (1.0 + first.drift)
    offset = (clock.offset_s - first.offset_s) / (1.0 + first.drift)
    return ClockFit(offset_s=offset, drift=scale - 1.0, method="truth", residual_s=0.0)


def _worn_as(placement: Placement, kit: Kit) -> Placement:
    """Return the name the log gets: the partner's where the pair was swapped."""
    partner = placement.partner
    swapped = placement.limb.value in kit.swapped and partner in kit.placements
    return partner if swapped and partner is not None else placement


def _renamed(stream: Stream, name: Placement) -> Stream:
    return Stream(
        placement=name, accel=stream.accel, gyro=stream.gyro, magn=stream.magn,
        pressure=stream.pressure, accel_range_m_s2=stream.accel_range_m_s2,
        gyro_range_rad_s=stream.gyro_range_rad_s,
    )  # fmt: skip
