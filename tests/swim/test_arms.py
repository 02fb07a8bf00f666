"""A wrist followed over a length: which way is forward."""

from __future__ import annotations

from types import SimpleNamespace

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from sensorswim.model import Side
from sensorswim.swim.arms import follow_wrist
from sensorswim.units import STANDARD_GRAVITY_M_S2

_RATE_HZ, _PERIOD_S, _GLIDE_S, _END_S = 100.0, 1.2, 1.6, 14.0


def _round_arm(way_rad: np.ndarray) -> tuple[Rotation, np.ndarray]:
    """Return attitude and place of a wrist that goes as far sideways as it goes to and fro."""
    ahead, side, up = np.cos(way_rad), np.sin(way_rad), -np.sin(way_rad)
    zero = 0.0 * way_rad
    forearm = np.stack([ahead, zero, up], axis=1)
    axes = [forearm, np.stack([zero, zero + 1.0, zero], axis=1),
            np.stack([-up, zero, ahead], axis=1)]  # fmt: skip
    return Rotation.from_matrix(np.stack(axes, axis=2)), 0.5 * np.stack([ahead, side, up], axis=1)


@pytest.mark.parametrize("broken_s", [0.0, 2.5, 3.6, 7.0])
@pytest.mark.parametrize("turned_deg", [0.0, 70.0])
def test_a_gap_turns_no_arm_about_that_is_slow_behind_and_quick_in_front(
    broken_s: float, turned_deg: float
) -> None:
    """Behind the gap no glide tells which way it reaches, and seen from above its path is round."""
    time_s = np.arange(0.0, _END_S, 1.0 / _RATE_HZ)
    pulling = np.clip(time_s - _GLIDE_S, 0.0, None)
    half = np.pi * pulling / _PERIOD_S
    turns = np.floor(half / np.pi + 0.5)
    way_rad = 2.0 * (np.arctan(3.0 * np.tan(half - np.pi * turns)) + np.pi * turns)
    attitude, place_m = _round_arm(way_rad)
    behind = time_s > broken_s
    world = Rotation.from_rotvec(np.outer(np.radians(turned_deg) * behind, [0.0, 0.0, 1.0]))
    felt = np.gradient(np.gradient(place_m, time_s, axis=0), time_s, axis=0)
    felt[:, 2] += STANDARD_GRAVITY_M_S2
    track = SimpleNamespace(
        valid=np.abs(time_s - broken_s) > 0.1,
        accel_m_s2=attitude.inv().apply(felt),
        gyro_rad_s=np.outer(-np.gradient(way_rad, time_s), [0.0, 1.0, 0.0]),
        q_world_from_sensor=(world * attitude).as_quat(scalar_first=True),
    )
    recording = SimpleNamespace(time_s=time_s, rate_hz=_RATE_HZ)
    found = follow_wrist(recording, track, Side.RIGHT, np.eye(3), start_s=0.0, end_s=_END_S)
    over_s = np.interp(np.pi * np.arange(1.5, 19.0, 2.0), way_rad, time_s)
    apart_s = np.abs(over_s[:, None] - found.recoveries_s).min(axis=1)
    clear = np.abs(over_s - broken_s) > 0.5 * _PERIOD_S
    assert (apart_s[clear] < 0.05).all()
    assert abs(len(found.recoveries_s) - len(over_s)) <= 1


@pytest.mark.parametrize("pushed", [True, False])
@pytest.mark.parametrize(("turned_rad", "takes_s"), [(np.pi, 0.6), (2.0 * np.pi, 1.2)])
def test_arms_that_come_overhead_in_a_turn_bring_no_stroke(
    turned_rad: float, takes_s: float, pushed: bool
) -> None:
    """They lay along the body until after the push-off, or are drawn back and come over then."""
    time_s = np.arange(0.0, _END_S, 1.0 / _RATE_HZ)
    overhead = turned_rad * (np.clip((time_s - 0.1) / takes_s, 0.0, 1.0) - 1.0)
    way_rad = 2.0 * np.pi * np.clip(time_s - 2.0, 0.0, None) / _PERIOD_S + overhead
    attitude, place_m = _round_arm(way_rad)
    felt = np.gradient(np.gradient(place_m, time_s, axis=0), time_s, axis=0)
    felt[:, 2] += STANDARD_GRAVITY_M_S2
    track = SimpleNamespace(
        valid=np.ones(len(time_s), dtype=bool),
        accel_m_s2=attitude.inv().apply(felt),
        gyro_rad_s=np.outer(-np.gradient(way_rad, time_s), [0.0, 1.0, 0.0]),
        q_world_from_sensor=attitude.as_quat(scalar_first=True),
    )
    recording = SimpleNamespace(time_s=time_s, rate_hz=_RATE_HZ)
    found = follow_wrist(
        recording, track, Side.RIGHT, np.eye(3), start_s=0.0, end_s=_END_S, pushed=pushed
    )
    over_s = 0.1 + takes_s
    assert bool(found.recoveries_s[0] < over_s) is not pushed
    assert bool(found.backs_s[0] < over_s) is (turned_rad > np.pi and not pushed)
    later_s = found.recoveries_s[found.recoveries_s > over_s]
    assert later_s[0] == pytest.approx(2.0 + 0.75 * _PERIOD_S, abs=0.1)
