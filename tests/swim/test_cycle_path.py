"""The height of each cycle of a wrist against the others."""

from __future__ import annotations

from types import SimpleNamespace
from typing import cast

import numpy as np
import pytest

from sensorswim.swim.arms import WristMotion
from sensorswim.swim.cycle_path import cycle_paths

_PERIOD_S, _CYCLES, _REACH_M = 1.5, 14, 0.3


def _motion(sway_m: float, drift_m_s2: float = 0.0) -> WristMotion:
    """Return a wrist that goes up and down once a cycle, on a body that does every other."""
    time_s = np.arange(0.0, _CYCLES * _PERIOD_S, 0.01)
    turn = 2.0 * np.pi / _PERIOD_S
    up = -_REACH_M * turn**2 * np.sin(turn * time_s)
    up -= sway_m * (0.5 * turn) ** 2 * np.sin(0.5 * turn * time_s)
    ahead = -_REACH_M * turn**2 * np.cos(turn * time_s)
    axis = np.tile([1.0, 0.0, 0.0], (len(time_s), 1))
    motion = SimpleNamespace(
        time_s=time_s,
        accel_m_s2=np.stack([ahead, 0.0 * ahead, up + drift_m_s2], axis=1),
        forearm=axis,
        skin=axis,
        valid=np.ones(len(time_s), dtype=bool),
        period=SimpleNamespace(period_s=_PERIOD_S),
        reaches_s=_PERIOD_S * np.arange(_CYCLES),
    )
    return cast("WristMotion", motion)


def _means_m(motion: WristMotion) -> np.ndarray:
    return np.array([path.position_m[:, 2].mean() for path in cycle_paths(motion)])


@pytest.mark.parametrize("drift_m_s2", [0.0, 0.05])
def test_a_cycle_that_lies_higher_than_the_one_before_is_seen_higher(drift_m_s2: float) -> None:
    """The mean of half a sine is 2 / pi of its height; what drifts slowly is no height."""
    apart_m = np.diff(_means_m(_motion(0.15, drift_m_s2)))[2:-2]
    np.testing.assert_allclose(np.abs(apart_m), 2 * 0.15 * 2 / np.pi, rtol=0.2)
    assert (np.sign(apart_m[1:]) == -np.sign(apart_m[:-1])).all()


def test_heights_that_may_be_error_are_left_alone() -> None:
    np.testing.assert_allclose(_means_m(_motion(0.02)), 0.0, atol=0.004)
