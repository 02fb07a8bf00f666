"""Figures of the arms: elbow, depth, how one arm takes over from the other."""

from __future__ import annotations

import numpy as np
import pandas as pd

from sensorswim.findings.evidence import Measured, Swum, apart, by_side, typical
from sensorswim.swim.coordination import StrokeTimes

ARMS = ("left", "right")
_BEST_FIRST = ("upper_arm", "video", "wrist_model")
_ENOUGH_STROKES = 3
SEGMENTS_OF_HEIGHT = (0.186, 0.146)
"""Upper arm and forearm in body heights (Drillis & Contini 1966)."""


def elbow_angle_deg(swum: Swum) -> list[Measured]:
    """Elbow at mid-pull of each arm, 180 = straight.

    From one source: the best that gave at least three strokes, else the one with most of them.
    """
    found = []
    for arm in ARMS:
        own = by_side(swum.strokes, arm).dropna(
            subset=["elbow_angle_deg", "elbow_source", "mid_pull_s"]
        )
        counts = own["elbow_source"].value_counts()
        if counts.empty:
            continue
        enough = [s for s in _BEST_FIRST if counts.get(s, 0) >= _ENOUGH_STROKES]
        source = enough[0] if enough else str(counts.index[0])
        own = own.loc[own["elbow_source"].eq(source)]
        stated = own["elbow_sd_deg"] if source == "video" else swum.lengths[f"elbow_sd_{arm}_deg"]
        figure = typical(
            own, "elbow_angle_deg", "mid_pull_s", source=source, side=arm,
            stated=float(stated.astype(float).median()),
            each_sd=own["elbow_sd_deg"].to_numpy(dtype=float),
        )  # fmt: skip
        found += [] if figure is None else [figure]
    return found


def elbow_difference_deg(swum: Swum) -> list[Measured]:
    """How much straighter one arm is than the other; ``side`` is the straighter one."""
    return apart(elbow_angle_deg(swum))


def pull_depth_pct(swum: Swum) -> list[Measured]:
    """Deepest wrist below the shoulder, in % of the arm from shoulder to wrist."""
    arm_m = _arm_m(swum)
    if arm_m is None:
        return []
    strokes = swum.strokes.assign(depth=100.0 * swum.strokes["pull_depth_m"] / arm_m)
    found = []
    for arm in ARMS:
        figure = typical(by_side(strokes, arm), "depth", "mid_pull_s", source="wrist", side=arm)
        found += [] if figure is None else [figure]
    return found


def _arm_m(swum: Swum) -> float | None:
    session = swum.session
    if session.upper_arm_m is not None and session.forearm_m is not None:
        return session.upper_arm_m + session.forearm_m
    return None if session.height_m is None else session.height_m * sum(SEGMENTS_OF_HEIGHT)


def _waits(swum: Swum) -> pd.DataFrame:
    """Return how long the other arm waits after each exit, in % of its length's mean cycle."""
    parts = [
        (number, own.lags(), own.cycle_s)
        for number, own in StrokeTimes.of_lengths(swum.strokes).items()
    ]
    left = np.concatenate([np.zeros(0, dtype=bool), *(lags.left for _, lags, _ in parts)])
    return pd.DataFrame(
        {
            "length_no": np.repeat([n for n, _, _ in parts], [len(lags) for _, lags, _ in parts]),
            "at_s": np.concatenate([np.zeros(0), *(lags.at_s for _, lags, _ in parts)]),
            "side": np.where(left, "left", "right"),
            "wait_pct": np.concatenate(
                [np.zeros(0), *(-100.0 * lags.lag_s / cycle_s for _, lags, cycle_s in parts)]
            ),
        }
    )


def lag_pct(swum: Swum) -> list[Measured]:
    """Mean lag of both arms in % of the cycle, cycle by cycle; negative is a gap."""
    cycles = swum.cycles
    figure = typical(cycles, "index_of_coordination_pct", "start_s", source="wrists")
    return [] if figure is None else [figure]


def lag_difference_pct(swum: Swum) -> list[Measured]:
    """How much more one arm waits than the other, in % of the cycle.

    ``side`` is the arm whose exit is followed by the longer wait.
    """
    waits = _waits(swum)
    arms = [
        typical(by_side(waits, arm), "wait_pct", "at_s", source="wrists", side=arm) for arm in ARMS
    ]
    return apart([arm for arm in arms if arm is not None])
