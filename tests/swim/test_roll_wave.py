"""The shoulders' roll over an arm cycle, read from the trunk or from the shanks."""

from __future__ import annotations

import numpy as np
import pytest

from sensorswim.model import Side
from sensorswim.model.tables import empty
from sensorswim.swim.cycle_path import CyclePath
from sensorswim.swim.roll import RollResult
from sensorswim.swim.roll_wave import RollWave, shoulders_wave

PERIOD_S, LEAN_DEG = 1.6, 6.0
TIME_S = np.arange(0.0, 40.0, 0.01)


def _paths(first_s: float) -> list[CyclePath]:
    """Return ten cycles, reach to reach."""
    paths = []
    for k in range(10):
        own_s = TIME_S[(first_s + k * PERIOD_S <= TIME_S) & (first_s + (k + 1) * PERIOD_S > TIME_S)]
        none = np.zeros((len(own_s), 3))
        paths.append(
            CyclePath(time_s=own_s, position_m=none, velocity_m_s=none, forearm=none, skin=none)
        )
    return paths


def _told(size_deg: float, late_s: float, source: str, middle_deg: float = 0.0) -> RollWave | None:
    """Return the wave of a swimmer whose left side is lowest 0.2 s after the left arm's reach."""
    swing = -np.cos(2.0 * np.pi * (TIME_S - 5.0 - 0.2 - late_s) / PERIOD_S)
    roll = RollResult(
        signals_deg={source: size_deg * swing + middle_deg}, table=empty("roll"), best_source=source
    )
    paths = {(1, Side.LEFT): _paths(5.0), (1, Side.RIGHT): _paths(5.0 + 0.5 * PERIOD_S)}
    return shoulders_wave(roll, TIME_S, paths)


def test_the_upper_backs_roll_is_the_shoulders() -> None:
    wave = _told(40.0, 0.0, "upper_back", LEAN_DEG)
    assert wave is not None
    phase = 2.0 * np.pi * 0.2 / PERIOD_S
    assert wave.cosine == pytest.approx(-np.radians(40.0) * np.cos(phase), abs=0.02)
    assert wave.sine == pytest.approx(-np.radians(40.0) * np.sin(phase), abs=0.02)
    assert wave.lean == pytest.approx(np.radians(LEAN_DEG), abs=0.01)


def test_the_shanks_tell_when_and_how_lopsided_but_not_how_far() -> None:
    small, large = (_told(size, 0.06, "ankles", LEAN_DEG) for size in (12.0, 25.0))
    assert small is not None and large is not None
    assert (small.cosine, small.sine) == pytest.approx((large.cosine, large.sine), abs=0.01)
    body = _told(46.0, 0.0, "upper_back")
    assert body is not None
    assert (small.cosine, small.sine) == pytest.approx((body.cosine, body.sine), abs=0.1)
    assert small.lean > np.radians(LEAN_DEG)


def test_a_body_on_its_back_and_one_that_hardly_rolls_tell_nothing() -> None:
    assert _told(40.0, 0.0, "upper_back", middle_deg=180.0) is None
    assert _told(1.0, 0.0, "ankles") is None
