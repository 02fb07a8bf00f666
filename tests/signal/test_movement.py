"""Clocks from the movement alone: where the rough offset comes from, and what rests on it."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from scipy.stats import norm

from sensorswim.model import Limb, Placement
from sensorswim.rehearsal import Kit, Length, Plan, Rest, Stand, rehearse
from sensorswim.signal import movement, start_clocks
from sensorswim.signal.envelopes import ENVELOPE_RATE_HZ, Envelope, best_lag
from sensorswim.signal.movement import place_by_movement
from sensorswim.signal.pushes import TRAVEL_RATE_HZ, Travel
from sensorswim.signal.shakes import Moved
from sensorswim.signal.start_clocks import set_by_starts
from sensorswim.signal.starts import Starts
from sensorswim.signal.views import Sensor

P = Placement
LEFT, RIGHT = P.LEFT_WRIST, P.RIGHT_WRIST


def _envelope(
    rng: np.random.Generator, start_s: float, *busy: tuple[float, float], some: float = 0.0
) -> Envelope:
    """Return the envelope of 400 s of rest but for some lengths, and some movement in two."""
    time_s = np.arange(0.0, 400.0, 1.0 / ENVELOPE_RATE_HZ)
    values = 0.4 * rng.standard_normal(len(time_s))
    for from_s, to_s in busy:
        values[(time_s > from_s) & (time_s < to_s)] += 2.0
    values[(time_s > 60.0) & (time_s < 150.0)] += some
    values = (values - values.mean()) / values.std()
    return Envelope(start_s=start_s, values=values, weight=np.ones(len(values)))


def test_legs_that_work_while_the_arms_rest_are_not_the_arms_of_other_lengths() -> None:
    """Two swum lengths with little kick, then two kicked ones; the logs begin with the session."""
    rng = np.random.default_rng(1)
    both = ((5.0, 15.0), (380.0, 392.0))
    arms = _envelope(rng, 50.0, *both, (60.0, 100.0), (112.0, 150.0))
    legs = _envelope(rng, 950.0, *both, (240.0, 280.0), (292.0, 330.0), some=1.0)
    lag = best_lag(arms, legs)
    assert lag is not None
    assert lag.offset_s == pytest.approx(-900.0, abs=1.0)


def test_a_log_that_began_late_is_found_by_what_both_saw() -> None:
    rng = np.random.default_rng(2)
    lengths = ((60.0, 100.0), (112.0, 150.0), (170.0, 205.0), (260.0, 300.0))
    early = _envelope(rng, 0.0, *lengths)
    late = _envelope(rng, 7000.0, *((a - 50.0, b - 50.0) for a, b in lengths))
    assert best_lag(early, late).offset_s == pytest.approx(50.0 - 7000.0, abs=1.0)


def _still(limb: Limb) -> Travel:
    count = int(60.0 * TRAVEL_RATE_HZ)
    return Travel(limb=limb, start_s=0.0, accel=np.zeros(count, dtype=complex),
                  turn_rad_s=np.zeros(count))  # fmt: skip


@pytest.mark.parametrize(("spread_s", "taken"), [(0.005, True), (0.04, False)])
def test_strokes_that_are_alike_half_a_cycle_away_are_no_shared_push_offs(
    monkeypatch: pytest.MonkeyPatch, spread_s: float, taken: bool
) -> None:
    """Push-offs agree to 0.01 s; after a long glide every stroke looks like one, and they don't."""
    asked_s = 0.05 + spread_s * norm.ppf((np.arange(40) + 0.5) / 40)
    strokes = Starts(moments_s=np.linspace(5.0, 50.0, 40), offsets_s=asked_s)
    none = Starts(moments_s=np.empty(0), offsets_s=np.empty(0))
    monkeypatch.setattr(start_clocks, "shared_starts", lambda *_, **__: strokes)
    monkeypatch.setattr(start_clocks, "glide_starts", lambda *_: none)
    placed, free = ({p: type("Own", (), {"travel": _still(Limb.WRIST), "middle_s": 30.0})()}
                    for p in (LEFT, RIGHT))  # fmt: skip
    rough = {RIGHT: Moved(middle_s=30.0, level_s=0.0, level_error_s=0.05, sure=True)}
    told = set_by_starts(placed, free, rough)[RIGHT]
    assert (told.level_s == pytest.approx(0.05, abs=0.01)) is taken


def test_feet_that_were_placed_by_a_wrist_half_a_cycle_off_are_placed_anew(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    segments = (Stand(), Length(turn="flip"), Length(turn="stop"), Rest(duration_s=8.0))
    kit = Kit(clock_offset_s=0.0, drift_ppm=0.0)
    swim = rehearse(Plan(segments=segments), kit=kit, seed=4)
    sensors = {p: Sensor(stream=s) for p, s in swim.streams.items()}
    seen: list[set[Placement]] = []

    def moved_once(placed, free, rough):  # type: ignore[no-untyped-def]
        seen.append(set(placed))
        if RIGHT not in rough:
            return rough
        own = rough[RIGHT]
        return rough | {RIGHT: replace(own, level_s=own.level_s + 1.2, sure=True)}

    monkeypatch.setattr(movement, "set_by_starts", moved_once)
    told = place_by_movement({LEFT: sensors.pop(LEFT)}, sensors)
    assert seen == [{LEFT}, {LEFT, RIGHT}]
    assert set(told) == {RIGHT, P.LEFT_ANKLE, P.RIGHT_ANKLE}
    assert told[RIGHT].level_s == pytest.approx(1.2, abs=0.3)


@pytest.mark.parametrize(("least", "paired"), [(movement.SURE_MARGIN, True), (99.0, False)])
def test_two_ankles_that_agree_on_one_offset_only_are_sure_of_each_other(
    monkeypatch: pytest.MonkeyPatch, least: float, paired: bool
) -> None:
    segments = (Stand(), *[Length(turn="flip")] * 5, Length(turn="stop"))
    kit = Kit(clock_offset_s=5.0, drift_ppm=0.0)
    swim = rehearse(Plan(segments=segments), kit=kit, seed=4)
    sensors = {p: Sensor(stream=s) for p, s in swim.streams.items()}
    monkeypatch.setattr(movement, "SURE_MARGIN", least)
    told = place_by_movement({LEFT: sensors.pop(LEFT)}, sensors)
    assert [told[p].paired for p in (P.LEFT_ANKLE, P.RIGHT_ANKLE)] == [paired, paired]
