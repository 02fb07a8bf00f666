"""The water's knock on the hand: told from the arm's own movements, and what entries gain by it."""

from __future__ import annotations

from dataclasses import replace
from functools import cache

import numpy as np
import pytest

from sensorswim.model import Placement, Quality, Side
from sensorswim.signal.standing import who_stands
from sensorswim.swim.arm_model import Of
from sensorswim.swim.arms import WristMotion
from sensorswim.swim.roll import estimate_roll
from sensorswim.swim.splash import Knocks, find_calms, find_knocks
from sensorswim.swim.strokes import ArmResult, StrokeFinder, follow_wrists
from sensorswim.swim.water_line import _by_recovery, with_water_line
from sensorswim.swim.wrist_strap import align_wrist
from tests.swim.swum import session_of, swim

WRISTS = (Placement.LEFT_WRIST, Placement.RIGHT_WRIST)
NO_KNOCKS = Knocks(start_s=np.empty(0), sharpness=np.empty(0))


@cache
def arms(splash_m_s2: float) -> tuple[ArmResult, dict[Side, np.ndarray]]:
    """Return what four lengths say of the arms, and the true entries."""
    rehearsal, recording = swim(
        seed=11,
        kit={"placements": WRISTS, "rate_hz": 104.0},
        entry_splash_m_s2=splash_m_s2,
        stroke_rate_cycles_min=32.0,
    )
    lengths = rehearsal.truth["lengths"]
    share = who_stands(recording, lengths)
    straps = {
        p: align_wrist(recording, recording.tracks[p], lengths, share, Quality()) for p in WRISTS
    }
    motions = follow_wrists(recording, lengths, straps)
    no_roll = estimate_roll(recording, lengths, {}, Quality())
    found = StrokeFinder(session=session_of(rehearsal)).find(recording, lengths, motions, no_roll)
    strokes = rehearsal.truth["arm_strokes"]
    true = {s: strokes.loc[strokes["side"] == str(s), "entry_s"].dropna().to_numpy() for s in Side}
    return found, true


def errors_s(splash_m_s2: float) -> np.ndarray:
    """Return how far each true entry is from the nearest that was found."""
    found, true = arms(splash_m_s2)
    strokes = found.arm_strokes
    own = {s: strokes.loc[strokes["side"] == str(s), "entry_s"].dropna().to_numpy() for s in Side}
    return np.concatenate([np.abs(own[s][:, None] - true[s]).min(axis=0) for s in Side])


def test_entries_with_a_splash_are_told_to_a_sample_or_so() -> None:
    with_splash, without = errors_s(18.0), errors_s(0.0)
    assert np.median(with_splash) < 0.008
    assert np.median(with_splash) < 0.5 * np.median(without)
    assert np.percentile(with_splash, 90) < 0.05


def test_an_arm_without_splash_shows_no_knocks_in_its_strokes() -> None:
    found, true = arms(0.0)
    knocks = np.concatenate([find_knocks(m).start_s for m in found.motions.values()])
    entries = np.concatenate(list(true.values()))
    assert (np.abs(knocks[:, None] - entries) < 0.15).any(axis=0).mean() < 0.02
    fits, told = with_water_line(found.motions, found.paths, found.shoulders)
    assert not told
    assert all(abs(fit.line_shift_m) < 0.06 for fit in fits.values())


def test_of_several_knocks_about_an_entry_the_likeliest_is_its_own() -> None:
    """A somewhat sharper one in the reach does not count, a much sharper one does."""
    knocks = Knocks(start_s=np.array([1.02, 1.12, 3.03, 3.1]), sharpness=np.array([4, 6, 4, 40]))
    assert knocks.near(1.0) == 1.02
    assert knocks.near(3.0) == 3.1
    assert knocks.near(2.0) is None


def still(count: int = 600, rate_hz: float = 100.0) -> WristMotion:
    """Return a wrist that swings slowly, nothing more."""
    found, _ = arms(0.0)
    motion = next(iter(found.motions.values()))
    time_s = np.arange(count) / rate_hz
    swing = 8.0 * np.sin(2.0 * np.pi * time_s[:, None] / 1.8 + np.arange(3))
    return replace(motion, time_s=time_s, accel_m_s2=swing, valid=np.ones(count, dtype=bool))


def knocked(motion: WristMotion, moment_s: float, size_m_s2: float) -> WristMotion:
    """Return the motion with a pulse of 25 ms that begins at a moment."""
    share = ((motion.time_s - moment_s) / 0.025).clip(0.0, 1.0)
    pulse = size_m_s2 * np.sin(np.pi * share) ** 2
    return replace(motion, accel_m_s2=motion.accel_m_s2 + pulse[:, None] * [0.3, 0.2, 0.9])


@pytest.mark.parametrize("moment_s", [2.0, 2.497, 3.333])
def test_a_knock_is_told_where_it_begins_and_a_swing_is_none(moment_s: float) -> None:
    motion = still()
    assert not len(find_knocks(motion).start_s)
    knocks = find_knocks(knocked(motion, moment_s, 6.0))
    assert knocks.start_s == pytest.approx([moment_s], abs=0.01)
    assert knocks.near(moment_s + 0.1) == knocks.start_s[0]
    assert knocks.near(moment_s + 0.3) is None
    assert knocks.first(moment_s - 0.2, moment_s - 0.05) == knocks.start_s[0]
    assert knocks.first(moment_s + 0.05, moment_s + 0.3) is None


def test_the_edge_of_a_gap_is_no_knock() -> None:
    motion = knocked(still(), 2.5, 6.0)
    valid = motion.valid & ~((motion.time_s > 2.55) & (motion.time_s < 2.6))
    assert not len(find_knocks(replace(motion, valid=valid)).start_s)


@pytest.mark.parametrize(("kept", "scattered_s"), [(0.08, 0.0), (1.0, 0.12)])
def test_few_knocks_and_scattered_ones_leave_the_water_line_to_the_calm_hand(
    kept: float, scattered_s: float, monkeypatch: pytest.MonkeyPatch
) -> None:
    found, _ = arms(18.0)
    fits = {k: replace(f, line_shift_m=0.0) for k, f in found.shoulders.items()}
    assert with_water_line(found.motions, found.paths, fits)[1].keys() == fits.keys()
    rng = np.random.default_rng(3)

    def spoiled(motion: WristMotion) -> Knocks:
        knocks = find_knocks(motion)
        some = rng.random(len(knocks.start_s)) < kept
        moved = knocks.start_s + rng.uniform(-scattered_s, scattered_s, len(some))
        return replace(knocks, start_s=moved[some], sharpness=knocks.sharpness[some])

    line = with_water_line(found.motions, found.paths, fits)[0]
    monkeypatch.setattr("sensorswim.swim.water_line.find_knocks", spoiled)
    calm, told = with_water_line(found.motions, found.paths, fits)
    assert not told
    shifts = np.array([[f[k].line_shift_m for f in (line, calm)] for k in fits])
    assert np.abs(shifts[:, 0] - shifts[:, 1]).max() < 0.04
    monkeypatch.setattr("sensorswim.swim.water_line.find_calms", lambda _: NO_KNOCKS)
    moved, told = with_water_line(found.motions, found.paths, fits)
    assert not told
    assert all(abs(fit.line_shift_m) < 0.06 for fit in moved.values())


@pytest.mark.parametrize(("other_m", "expected_m"), [(None, -0.05), (-0.09, -0.09)])
def test_a_hand_that_hovers_is_over_the_line_for_as_long_as_a_recovery_takes(
    other_m: float | None, expected_m: float
) -> None:
    """It passes 4 cm under the shoulder's line for 0.28 of the cycle, then far below it."""
    found, _ = arms(0.0)
    key = next(iter(found.paths))
    fit = replace(found.shoulders[key], line_shift_m=0.0)
    hovering = []
    for path in found.paths[key]:
        over_m = np.where(np.abs(path.phase - 0.5) < 0.14, -0.04, -0.4)
        place = np.column_stack([path.position_m[:, :2], fit.surface_m + over_m])
        hovering.append(replace(path, position_m=place))
    shift_m = _by_recovery([key], {key: hovering}, {key: fit}, other_m)
    assert shift_m == pytest.approx(expected_m, abs=0.015)


def test_a_shoulder_that_is_fitted_off_in_one_length_moves_its_water_line_by_half() -> None:
    """An arm swims much alike in all lengths: the others tell where its line is."""
    found, _ = arms(0.0)
    lines_m = []
    for off_m in (0.0, 0.04):
        fits = {key: replace(fit, line_shift_m=0.0) for key, fit in found.shoulders.items()}
        odd = min(fits, key=str)
        unknowns = fits[odd].unknowns.copy()
        unknowns[Of.CENTRE_Z] += off_m
        fits[odd] = replace(fits[odd], unknowns=unknowns)
        told, _ = with_water_line(found.motions, found.paths, fits)
        lines_m.append(told[odd].surface_m)
    assert lines_m[1] - lines_m[0] == pytest.approx(0.02, abs=0.008)


def test_a_hand_that_is_shaken_until_it_is_under_calms_down() -> None:
    rng = np.random.default_rng(5)
    motion = still()
    shaken = ((motion.time_s > 2.0) & (motion.time_s < 2.6))[:, None]
    noise = np.where(shaken, 6.0, 0.1) * rng.standard_normal(motion.accel_m_s2.shape)
    calms = find_calms(replace(motion, accel_m_s2=motion.accel_m_s2 + noise))
    told_s = calms.start_s[np.argmax(calms.sharpness)]
    assert told_s == pytest.approx(2.6 - 0.05, abs=0.03)
    assert not len(find_calms(replace(motion, accel_m_s2=motion.accel_m_s2 + 0.1)).start_s)
