"""Cycles of one wrist are counted once, however it is strapped and wherever it heads."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.spatial.transform import Rotation

from sensorswim.model import Placement, Recording, Settings, Track
from sensorswim.signal import orient
from sensorswim.swim.periodicity import (
    cut_cycles,
    find_period,
    rotation_autocorrelation,
    sliding_periods,
)

G = 9.80665
CYCLE_S = 1.5
CYCLES = 20


def turning_arm(rate_hz, *, cycle_s=CYCLE_S, cycles=CYCLES):
    """Return times and rotations of a wrist that rocks once and pitches twice a cycle."""
    time_s = np.arange(int(cycles * cycle_s * rate_hz)) / rate_hz
    phase = 2 * np.pi * time_s / cycle_s
    angles = np.stack([0.4 * np.sin(phase), 0.9 * np.sin(2 * phase + 0.4)], axis=1)
    return time_s, Rotation.from_euler("xy", angles)


def flat(turns):
    return turns.as_matrix().reshape(-1, 9)


def worn(rate_hz):
    """Return the oriented recording of that wrist, one sensor only, with two surges a cycle."""
    time_s, turns = turning_arm(rate_hz)
    force = np.tile([0.0, 0.0, G], (len(time_s), 1))
    force[:, 0] = -6.0 * np.sin(4 * np.pi * time_s / CYCLE_S + 0.4)
    gyro = np.zeros((len(time_s), 3))
    gyro[1:] = (turns[:-1].inv() * turns[1:]).as_rotvec() * rate_hz
    track = Track(
        placement=Placement.LEFT_WRIST,
        accel_m_s2=turns.inv().apply(force),
        gyro_rad_s=gyro,
        valid=np.ones(len(time_s), dtype=bool),
        source_rate_hz=rate_hz,
    )
    tracks = {Placement.LEFT_WRIST: track}
    return orient(Recording(rate_hz=rate_hz, time_s=time_s, tracks=tracks), Settings())


def strongest_line_hz(accel, rate_hz):
    """Return where the spectrum of the acceleration, summed over the axes, is largest."""
    power = np.sum(np.abs(np.fft.rfft(accel - accel.mean(axis=0), axis=0)) ** 2, axis=1)
    return np.fft.rfftfreq(len(accel), 1 / rate_hz)[np.argmax(power)]


@pytest.mark.parametrize("rate_hz", [25.0, 30.0, 52.0])
def test_a_wrist_whose_strongest_line_lies_at_twice_the_rate_is_counted_once(rate_hz):
    recording = worn(rate_hz)
    track = recording.tracks[Placement.LEFT_WRIST]
    assert strongest_line_hz(track.accel_m_s2, rate_hz) == pytest.approx(2 / CYCLE_S, rel=0.03)
    rotations = flat(Rotation.from_quat(track.q_world_from_sensor, scalar_first=True))
    same = rotation_autocorrelation(rotations, int(4.6 * rate_hz) + 2)
    period = find_period(same, rate_hz, shortest_s=0.6, longest_s=4.6)
    assert period.period_s == pytest.approx(CYCLE_S, abs=1.0 / rate_hz)
    assert period.strength > 0.9
    train = cut_cycles(recording.time_s, rotations, period.period_s)
    assert abs(len(train.cut_s) - CYCLES) <= 1
    np.testing.assert_allclose(np.diff(train.cut_s)[1:-1], CYCLE_S, atol=2.5 / rate_hz)


def test_the_pitch_alone_would_be_counted_twice():
    time_s, _ = turning_arm(52.0)
    pitch = Rotation.from_rotvec(np.outer(np.sin(4 * np.pi * time_s / CYCLE_S), [0.0, 0.9, 0.0]))
    same = rotation_autocorrelation(flat(pitch), 240)
    period = find_period(same, 52.0, shortest_s=0.6, longest_s=4.6)
    assert period.period_s == pytest.approx(CYCLE_S / 2, abs=1 / 52.0)


quaternions = st.tuples(*[st.floats(-1.0, 1.0)] * 4).filter(lambda q: math.hypot(*q) > 0.1)


@settings(max_examples=30, deadline=None)
@given(strap=quaternions, heading_rad=st.floats(-math.pi, math.pi))
def test_autocorrelation_knows_neither_strap_nor_heading(strap, heading_rad):
    _, turns = turning_arm(30.0, cycles=6)
    heading = Rotation.from_euler("z", heading_rad)
    moved = heading * turns * Rotation.from_quat(strap)
    plain = rotation_autocorrelation(flat(turns), 100)
    np.testing.assert_allclose(rotation_autocorrelation(flat(moved), 100), plain, atol=1e-9)


def test_autocorrelation_is_the_mean_trace_written_out():
    _, turns = turning_arm(25.0, cycles=3)
    matrices = turns.as_matrix()
    slow = [
        np.mean(np.einsum("nij,nij->n", matrices[: len(matrices) - lag], matrices[lag:]))
        for lag in range(40)
    ]
    np.testing.assert_allclose(rotation_autocorrelation(flat(turns), 39), slow, atol=1e-9)


@pytest.mark.parametrize("count", [0, 1, 7, 100])
def test_a_bout_shorter_than_the_window_has_no_periods(count):
    still = np.tile(np.eye(3).ravel(), (count, 1))
    centres, periods = sliding_periods(still, 50.0, window_s=6.0, hop_s=1.0)
    assert len(centres) == 0
    assert periods == []


@pytest.mark.parametrize("length", [0, 1, 2, 5])
def test_too_few_lags_give_no_period(length):
    found = find_period(np.full(length, 3.0), 50.0, shortest_s=0.9, longest_s=4.6)
    assert math.isnan(found.period_s)
    assert found.strength == 0.0


def test_a_resting_wrist_has_no_period():
    same = rotation_autocorrelation(np.tile(np.eye(3).ravel(), (500, 1)), 240)
    assert math.isnan(find_period(same, 50.0, shortest_s=0.9, longest_s=4.6).period_s)
