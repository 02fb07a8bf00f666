"""Arm poses and the knots of the arm cycles.

A pose gives the direction from shoulder to wrist (``psi``: 0 ahead, -90 towards the belly, -180
along the body, -270 over the back; ``lam``: outwards), the elbow angle, where the elbow points
(``px``, ``py`` outwards, ``pz``), the forearm's turn (``pron``) and the shoulder's reach.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from sensorswim.model import Side
from sensorswim.rehearsal.settings import Swimmer
from sensorswim.rehearsal.timeline import Timeline

CHANNELS = ("psi", "lam", "elbow", "px", "py", "pz", "pron", "reach")
Pose = tuple[float, float, float, float, float, float, float, float]

STREAMLINE: Pose = (-1, -12, 168, 0, 0.9, 0.45, 25, 0.09)
HANG: Pose = (-178, 5, 166, 0, 0.15, 1, 10, 0)
AT_SIDE: Pose = (-176, 9, 164, 0, 0.5, 0.85, 5, -0.02)
AHEAD: Pose = (2, -4, 165, 0, 0.9, 0.45, 25, 0.06)
BOARD: Pose = (9, -4, 165, 0, 0.9, 0.45, 25, 0.06)
"""Hands on a board that floats: wrists at the surface."""


@dataclass(frozen=True, kw_only=True)
class StrokeTimes:
    """Aimed moments of one arm stroke; `entry_s` is None out of the streamline."""

    side: Side
    entry_s: float | None
    catch_s: float
    mid_pull_s: float
    exit_s: float
    next_entry_s: float
    next_is_entry: bool = True


def set_pose(
    timeline: Timeline, side: Side, time_s: float, pose: Pose, *, turns: float = 0.0
) -> None:
    """Set all channels of one arm; `turns` full cycles have been swum so far."""
    values = dict(zip(CHANNELS, pose, strict=True))
    values["psi"] -= 360.0 * turns
    timeline.key(time_s, **{f"{side}_{name}": value for name, value in values.items()})


def hold_pose(timeline: Timeline, side: Side, time_s: float) -> None:
    """Keep the arm as it is until this moment."""
    timeline.hold(time_s, *(f"{side}_{name}" for name in CHANNELS))


def crawl_stroke(
    timeline: Timeline,
    swimmer: Swimmer,
    times: StrokeTimes,
    *,
    turns: float,
    rng: np.random.Generator,
) -> None:
    """Lay the knots of one crawl stroke from its entry to just before the next one."""
    elbow = swimmer.elbow_left_deg if times.side is Side.LEFT else swimmer.elbow_right_deg
    spread = 100.0 * swimmer.variation
    bend = elbow + rng.normal(0, 1.2 * spread)
    out = swimmer.pull_lateral_deg + rng.normal(0, 0.6 * spread)
    tilt = swimmer.reach_tilt_deg + rng.normal(0, 0.5 * spread)
    turn = swimmer.pronation_deg

    def put(time_s: float, pose: Pose) -> None:
        set_pose(timeline, times.side, time_s, pose, turns=turns)

    catch, middle, leave = times.catch_s, times.mid_pull_s, times.exit_s
    if times.entry_s is not None:
        put(times.entry_s, (11, 3, 150, 0, 0.9, 0.45, turn - 12, 0.05))
        put(times.entry_s + 0.45 * (catch - times.entry_s),
            (0.35 * -tilt + 3, 3, 165, 0, 0.95, 0.35, turn - 8, 0.09))  # fmt: skip
    else:
        put(catch - 0.75, (-11, -5, 168, 0, 0.95, 0.35, turn + 8, 0.09))
        put(catch - 0.3, (-11, -2, 167, 0, 0.95, 0.35, turn + 8, 0.09))
    put(
        catch,
        (
            -tilt - 7 - 4 * (times.entry_s is None),
            5,
            min(160, bend + 40),
            0.05,
            0.95,
            0.35,
            turn,
            0.085,
        ),
    )
    put(catch + 0.45 * (middle - catch),
        (-46, 0.6 * out + 6, min(162, bend + 16), 0.2, 0.95, 0.4, turn - 5, 0.05))  # fmt: skip
    put(middle, (-90, out, bend, 0.3, 0.95, 0.25, turn - 10, 0.01))
    put(middle + 0.55 * (leave - middle),
        (-136, 0.5 * out + 5, min(160, bend + 14), 0.1, 0.75, 0.6, turn - 12, -0.03))  # fmt: skip
    put(leave, (-170, 12, 148, 0, 0.45, 0.9, 0, -0.04))
    _recovery(timeline, swimmer, times, turns=turns, jitter=rng.normal(0, spread, 3))


def _recovery(
    timeline: Timeline, swimmer: Swimmer, times: StrokeTimes, *, turns: float, jitter: np.ndarray
) -> None:
    """Lay the way through the air: high and wide elbow, or nearly straight."""
    span = times.next_entry_s - times.exit_s
    bend = swimmer.recovery_elbow_deg
    straight = np.clip((bend - 95.0) / 65.0, 0.0, 1.0)
    wide = 63.0 - 20.0 * straight
    poses: tuple[tuple[float, Pose], ...] = (
        (0.24, (-199 - jitter[0], 0.58 * wide, min(165, bend + 18), -0.05, 0.1, 1, -10, -0.02)),
        (0.51, (-260 - jitter[1], wide + jitter[2], bend, -0.3, -0.35, 0.9, -24, 0.02)),
        (0.77, (-317 - jitter[2], 0.52 * wide, 0.6 * bend + 53, -0.2, 0.3, 0.9, -26, 0.04)),
    )
    for share, pose in poses:
        set_pose(timeline, times.side, times.exit_s + share * span, pose, turns=turns)
