"""The arm on its trunk: worked examples of a planar two-link arm, slopes, lost and found places."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from sensorswim.model import Side
from sensorswim.swim.arm_model import (
    ABOVE_WRIST_M,
    N_PHASES,
    N_UNKNOWNS,
    OVER_BONE_M,
    PHASES,
    ArmSize,
    Curves,
    Of,
    arm_pose,
    misfit_slopes,
    shoulder_of,
)
from sensorswim.swim.pull import mid_pull_phase, projected_elbow_deg
from sensorswim.swim.shoulder import _fit, _problem

SIZE = ArmSize.of_height(1.8)


def planar_arm(elbow_deg: float, upper_deg: float) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Return wrist, elbow and forearm of an arm in the plane x-z, shoulder at the origin.

    The upper arm points `upper_deg` below level; the elbow bends the forearm backwards.
    """
    upper = Rotation.from_euler("y", upper_deg, degrees=True).apply([1.0, 0.0, 0.0])
    turn = Rotation.from_euler("y", 180.0 - elbow_deg, degrees=True)
    forearm = turn.apply(upper)
    elbow = SIZE.upper_arm_m * upper
    return elbow + SIZE.forearm_m * forearm, elbow, forearm


def worn(wrist: np.ndarray, forearm: np.ndarray, sign: float) -> Curves:
    """Return cycles as a sensor above the wrist sees them, skin out of the plane."""
    skin = np.broadcast_to([0.0, sign, 0.0], forearm.shape)
    sensor = wrist - ABOVE_WRIST_M * forearm + OVER_BONE_M * skin
    return Curves(
        wrist_m=sensor[None], forearm=forearm[None], skin=skin[None],
        across=np.cross(skin, forearm)[None], sign=np.array([sign]),
    )  # fmt: skip


def swept(elbow_deg: np.ndarray, sign: float = 1.0) -> tuple[Curves, np.ndarray]:
    """Return one cycle of an arm that turns once round a still shoulder."""
    parts = [planar_arm(e, 360.0 * p) for e, p in zip(elbow_deg, PHASES, strict=True)]
    wrist, _, forearm = (np.array(v) for v in zip(*parts, strict=True))
    return worn(wrist, forearm, sign), np.array([p[1] for p in parts])


def test_handbook_ratios_give_the_limbs_of_a_height() -> None:
    """Drillis & Contini 1966 in Winter: upper arm 0.186, forearm 0.146 of height."""
    assert SIZE.upper_arm_m == pytest.approx(0.3348)
    assert SIZE.forearm_m == pytest.approx(0.2628)


@pytest.mark.parametrize("elbow_deg", [95.0, 120.0, 150.0, 179.0])
def test_a_planar_arm_gives_its_own_elbow_angle(elbow_deg: float) -> None:
    """Two links by hand: the law of cosines must give the wrist's distance as well."""
    curves, elbow = swept(np.full(N_PHASES, elbow_deg))
    pose = arm_pose(np.zeros((1, N_UNKNOWNS)), curves, SIZE)
    assert np.allclose(pose.elbow_deg, elbow_deg, atol=1e-6)
    assert np.allclose(pose.elbow_m[0], elbow, atol=1e-12)
    assert np.allclose(pose.misfit_m, 0.0, atol=1e-12)
    wrist = planar_arm(elbow_deg, 30.0)[0]
    a, b = SIZE.upper_arm_m, SIZE.forearm_m
    by_cosines = np.sqrt(a**2 + b**2 - 2 * a * b * np.cos(np.radians(elbow_deg)))
    assert np.linalg.norm(wrist) == pytest.approx(by_cosines)


def test_a_picture_shows_the_projection_of_the_elbow() -> None:
    """A plane arm from the side shows its angle; edge on, from below, 0 or 180 degrees."""
    curves, _ = swept(np.full(N_PHASES, 115.0))
    pose = arm_pose(np.zeros((1, N_UNKNOWNS)), curves, SIZE)
    assert np.allclose(projected_elbow_deg(pose, "side"), 115.0, atol=1e-6)
    for view in ("front", "below"):
        flat = projected_elbow_deg(pose, view)
        flat = flat[np.isfinite(flat)]
        assert len(flat)
        assert np.allclose(np.abs(flat - 90.0), 90.0, atol=1e-4)


@pytest.mark.parametrize("sign", [1.0, -1.0])
def test_the_slopes_are_those_of_small_steps(sign: float) -> None:
    rng = np.random.default_rng(4)
    curves, _ = swept(130.0 + 20.0 * np.sin(2 * np.pi * PHASES), sign)
    at = 0.03 * rng.standard_normal((1, N_UNKNOWNS))
    pose = arm_pose(at, curves, SIZE)
    slopes = misfit_slopes(at, curves, SIZE, pose)[0]
    for n in range(N_UNKNOWNS):
        step = np.zeros((1, N_UNKNOWNS))
        step[0, n] = 1e-6
        ahead, behind = (arm_pose(at + d, curves, SIZE).misfit_m[0] for d in (step, -step))
        assert np.allclose(slopes[:, n], (ahead - behind) / 2e-6, atol=2e-3), Of(n).name


def test_a_rolling_trunk_lowers_its_own_shoulder() -> None:
    unknowns = np.zeros((2, N_UNKNOWNS))
    unknowns[:, Of.LEAN] = np.radians(30.0)
    left, right = shoulder_of(unknowns, np.array([1.0, -1.0]), SIZE, PHASES)
    half = SIZE.shoulder_half_width_m
    assert left[0, 2] == pytest.approx(0.5 * half)
    assert right[0, 2] == pytest.approx(-0.5 * half)


def test_a_shoulder_that_was_moved_is_found_again() -> None:
    """Wherever the path starts, the shoulder is found within the prior's pull."""
    curves, _ = swept(125.0 + 25.0 * np.cos(2 * np.pi * PHASES))
    place = np.array([0.4, 0.0, -0.2])
    moved = Curves(**(vars(curves) | {"wrist_m": curves.wrist_m + place}))
    state = _fit(_problem(moved, SIZE, frozenset(Side), None, shared=False))
    found = shoulder_of(state.unknowns, moved.sign, SIZE, PHASES)[0].mean(axis=0)
    assert np.abs(found - place)[[0, 2]].max() < 0.06


def test_mid_pull_is_where_the_wrist_passes_under_the_shoulder() -> None:
    curves, _ = swept(np.full(N_PHASES, 178.0))
    pose = arm_pose(np.zeros((1, N_UNKNOWNS)), curves, SIZE)
    assert mid_pull_phase(curves, pose)[0] == pytest.approx(0.25, abs=0.01)
