"""Push-offs out of rest set the clocks of hands and feet where nobody knocked."""

from __future__ import annotations

from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest

from sensorswim.model import Limb, Placement, Quality
from sensorswim.rehearsal import Kit, Length, Plan, Rest, Stand, draw_swim, draw_swimmer, rehearse
from sensorswim.rehearsal.settings import CORE
from sensorswim.signal import start_clocks
from sensorswim.signal.clocks import fit_clocks
from sensorswim.signal.pushes import TRAVEL_RATE_HZ, Travel
from sensorswim.signal.shakes import Moved
from sensorswim.signal.start_clocks import set_by_starts
from sensorswim.signal.starts import (
    Starts,
    body_starts_s,
    feet_starts_s,
    largest_set,
    pushed_off_s,
    shared_starts,
    together_offset,
)

pytestmark = pytest.mark.long

WRIST_S, ANKLE_S, BODY_S = 0.02, 0.05, 0.03


@pytest.fixture(scope="module", params=[11, 12, 13])
def swum(request):
    lengths = (Length(turn="flip"), Length(turn="stop"), Rest(duration_s=11.0))
    plan = Plan(segments=(Stand(), *lengths * 2, Length(turn="stop"), Rest(duration_s=6.0)))
    swimmer = draw_swimmer(np.random.default_rng(request.param))
    return rehearse(plan, swimmer=swimmer, kit=Kit(clock_offset_s=500.0), seed=request.param)


def assert_near(swim, fits, placements, within_s):
    for place in placements:
        at_s = swim.streams[place].accel.time_s[[0, -1]]
        error_s = fits[place].to_session(at_s) - swim.truth_extra["clocks"][place].to_session(at_s)
        assert np.abs(error_s).max() < within_s, place


def test_hands_and_feet_are_put_on_one_clock_without_knocks(swum):
    fits = fit_clocks(swum.streams, Quality())
    assert_near(swum, fits, [Placement.RIGHT_WRIST], WRIST_S)
    assert_near(swum, fits, [Placement.LEFT_ANKLE, Placement.RIGHT_ANKLE], ANKLE_S)


def test_a_lone_wrong_sample_in_a_push_off_moves_no_clock(swum):
    """A logger's spike, at the full scale of 16 g."""
    right = Placement.RIGHT_WRIST
    accel = swum.streams[right].accel
    true = swum.truth_extra["clocks"][right].to_session(accel.time_s)
    values = accel.values.copy()
    for start_s in swum.truth["lengths"]["start_s"]:
        values[np.argmin(np.abs(true - start_s - 0.45)), 0] = 156.9
    spiked = replace(swum.streams[right], accel=replace(accel, values=values))
    fits = fit_clocks(swum.streams | {right: spiked}, Quality())
    assert_near(swum, fits, [right], WRIST_S)


@pytest.mark.parametrize("seed", [11, 12])
def test_hands_are_put_on_a_foots_clock_together(seed):
    """Where an ankle's clock is the session's, the push-offs shared with the feet set the hands."""
    lengths = (Length(turn="flip"), Length(turn="stop"), Rest(duration_s=11.0))
    plan = Plan(segments=(Stand(), *lengths * 2, Rest(duration_s=6.0)))
    kit = Kit(clock_offset_s=500.0, placements=(CORE[2], *CORE[:2], CORE[3]))
    swim = rehearse(plan, swimmer=draw_swimmer(np.random.default_rng(seed)), kit=kit, seed=seed)
    fits = fit_clocks(swim.streams, Quality())
    assert_near(swim, fits, CORE[:2], ANKLE_S)
    left, right = ([f.to_session(60.0) for f in (fits[p], swim.truth_extra["clocks"][p])]
                   for p in CORE[:2])  # fmt: skip
    assert abs((left[0] - left[1]) - (right[0] - right[1])) < WRIST_S
    assert fits[CORE[0]].residual_s > 0.055


@pytest.mark.parametrize("seed", [46, 63, 65, 106])
def test_the_whole_kit_is_put_on_one_clock_without_knocks(seed):
    """In the last a foot gains speed most sharply at another moment than its push-off."""
    swim = draw_swim(seed, kit="full", crawl_only=True)
    fits = fit_clocks(swim.streams, Quality())
    assert len(fits) == 9
    ankles = [p for p in fits if p.limb is Limb.ANKLE]
    assert_near(swim, fits, ankles, ANKLE_S)
    assert_near(swim, fits, [p for p in fits if p not in ankles], BODY_S)


@pytest.mark.parametrize("seed", [3, 2002, 3031, 4020])
def test_a_rough_offset_that_is_another_strokes_is_mended(seed):
    """Both ankles' are off by 1.4 s, a wrist's by 0.7 or 0.4 s, both ankles' by 0.8 s."""
    swim = draw_swim(seed, kit="core", crawl_only=True)
    fits = fit_clocks(swim.streams, Quality())
    assert_near(swim, fits, [Placement.RIGHT_WRIST], WRIST_S)
    assert_near(swim, fits, [Placement.LEFT_ANKLE, Placement.RIGHT_ANKLE], ANKLE_S)


def test_how_well_it_is_known_is_said(swum):
    fits = fit_clocks(swum.streams, Quality())
    assert fits[Placement.RIGHT_WRIST].residual_s < 0.03
    assert 0.055 <= fits[Placement.LEFT_ANKLE].residual_s < 0.07


def test_the_offset_that_most_push_offs_ask_for_wins():
    body_s = np.array([9.91, 49.91, 90.91])
    feet_s = np.array([109.91, 149.91, 190.91, 148.3])
    offsets_s = together_offset(body_s, feet_s, -100.5, drift=0.0, middle_s=150.0)
    np.testing.assert_allclose(offsets_s, -100.0)


def test_two_offsets_that_are_as_good_decide_nothing():
    body_s, feet_s = np.array([9.91]), np.array([109.91, 108.7])
    assert not len(together_offset(body_s, feet_s, -99.5, drift=0.0, middle_s=109.0))


def test_of_two_offsets_hardly_apart_the_nearer_to_the_rough_one_counts():
    asked_s = np.array([-0.105, -0.015])
    for rough_s, taken_s in ((0.0, -0.015), (-0.12, -0.105)):
        np.testing.assert_allclose(largest_set(asked_s, 0.03, rough_s), [taken_s])
    assert not len(largest_set(np.array([-0.2, 0.0]), 0.03, 0.0))


def test_what_more_sensors_ask_for_beats_what_few_ask_for_often():
    asked_s, by = np.array([-2.72, -2.72, -2.71, -0.06, -0.05]), np.array([0, 0, 0, 0, 1])
    np.testing.assert_allclose(largest_set(asked_s, 0.03, 0.0, by), [-0.06, -0.05])
    np.testing.assert_allclose(largest_set(asked_s, 0.03, 0.0), [-2.72, -2.72, -2.71])


def test_of_two_starts_close_together_the_later_is_the_bodys():
    """Before a push-off the arms stretch out, which looks like one."""
    time_s = np.arange(0.0, 20.0, 1.0 / TRAVEL_RATE_HZ)
    pushes = sum(8.0 * np.exp(-0.5 * ((time_s - at_s) / 0.1) ** 2) for at_s in (8.7, 10.0))
    travel = Travel(
        limb=Limb.WRIST, start_s=0.0, accel=pushes.astype(complex), turn_rad_s=0.0 * time_s
    )
    body_s = body_starts_s(travel, travel, np.array([8.7, 10.0]))
    np.testing.assert_allclose(body_s, [10.0], atol=0.01)


def test_arms_that_stretch_out_and_stop_are_no_push_off():
    time_s = np.arange(0.0, 30.0, 1.0 / TRAVEL_RATE_HZ)
    pulses = ((10.0, 8.0), (20.0, 8.0), (20.6, -8.0))
    accel = sum(size * np.exp(-0.5 * ((time_s - at_s) / 0.1) ** 2) for at_s, size in pulses)
    travel = Travel(limb=Limb.WRIST, start_s=0.0, accel=accel.astype(complex),
                    turn_rad_s=0.0 * time_s)  # fmt: skip
    body_s = body_starts_s(travel, travel, np.array([10.0, 20.0]))
    np.testing.assert_allclose(body_s, [10.0], atol=0.01)


def test_a_single_push_off_far_from_a_sure_clock_is_another_movement():
    wrists = {p: _kicked_off(Limb.WRIST, 10.0, 8.0)
              for p in (Placement.LEFT_WRIST, Placement.RIGHT_WRIST)}  # fmt: skip
    for away_s, taken in ((0.3, True), (1.7, False)):
        feet = {Placement.LEFT_ANKLE: _kicked_off(Limb.ANKLE, 10.108 + away_s, 12.0)}
        rough = {p: Moved(middle_s=10.0, level_s=0.0, level_error_s=0.08, sure=True) for p in feet}
        told = set_by_starts(wrists, feet, rough)[Placement.LEFT_ANKLE]
        assert told.level_s == pytest.approx(-away_s if taken else 0.0, abs=0.02)
        assert told.sure is not taken


@pytest.mark.parametrize(("rise_s", "half_s"), [(0.06, 0.147), (0.2, 0.163)])
def test_feet_that_leave_the_wall_slowly_follow_hardly_later(rise_s: float, half_s: float):
    """The lag is that of half of the speed, whether the heels rise long before or snap off.

    As in synthetic swimmers of two builds, where the sharpest gain lies 0.03 and 0.09 s later.
    """
    time_s = np.arange(0.0, 30.0, 1.0 / TRAVEL_RATE_HZ)
    body_s = body_starts_s(*[_kicked_off(Limb.WRIST, 10.0, 9.0).travel] * 2, np.array([10.0]))
    long = np.interp(time_s, [0.0, 10.0, 10.0 + rise_s, 10.06 + rise_s], [0.0, 0.0, 1.0, 0.0])
    gained = np.cumsum(long)
    late_s = time_s[np.searchsorted(gained, 0.5 * gained[-1])] - 10.0 - half_s
    accel = np.interp(time_s + late_s, time_s, long) * 2.0 / (gained[-1] / TRAVEL_RATE_HZ)
    ankle = Travel(limb=Limb.ANKLE, start_s=0.0, accel=accel.astype(complex),
                   turn_rad_s=0.0 * time_s)  # fmt: skip
    feet_s = pushed_off_s(ankle)
    np.testing.assert_allclose(feet_s, body_s, atol=0.03)


def test_a_push_off_after_a_turn_tells_no_clock_of_the_feet():
    """Arms that swam until then share the push-off; the feet's sharpest moment is another."""
    time_s = np.arange(0.0, 40.0, 1.0 / TRAVEL_RATE_HZ)
    pushes = sum(8.0 * np.exp(-0.5 * ((time_s - at_s) / 0.1) ** 2) for at_s in (10.0, 30.0))
    strokes = 6.0 * np.sin(2 * np.pi * 0.8 * time_s) * ((time_s > 12.0) & (time_s < 28.5))
    accel = (pushes + strokes).astype(complex)
    travel = Travel(limb=Limb.WRIST, start_s=0.0, accel=accel, turn_rad_s=0.0 * time_s)
    body_s = body_starts_s(travel, travel, np.array([10.0, 30.0]))
    np.testing.assert_allclose(body_s, [10.0], atol=0.01)


def _feet(push_m_s2: float) -> Travel:
    """Return an ankle that is carried off the wall at 3, 13 and 23 s."""
    time_s = np.arange(0.0, 30.0, 1.0 / TRAVEL_RATE_HZ)
    pulses = sum(np.exp(-0.5 * ((time_s - at_s) / 0.1) ** 2) for at_s in (3.0, 13.0, 23.0))
    accel = (push_m_s2 * pulses).astype(complex)
    return Travel(limb=Limb.ANKLE, start_s=0.0, accel=accel, turn_rad_s=0.0 * time_s)


def test_soft_push_offs_of_the_feet_count_near_the_rough_offset_only():
    soft = _feet(7.0)
    assert not len(feet_starts_s(soft))
    feet_s = feet_starts_s(soft, faint=True)
    np.testing.assert_allclose(feet_s, [3.0, 13.0, 23.0], atol=0.02)
    near = together_offset(feet_s + 5.0, feet_s, 5.1, drift=0.0, middle_s=13.0, near=True)
    np.testing.assert_allclose(near, 5.0)
    assert not len(together_offset(feet_s + 5.0, feet_s, 5.6, drift=0.0, middle_s=13.0, near=True))
    assert len(feet_starts_s(_feet(12.0))) == 3


def test_feet_that_come_to_the_wall_or_walk_push_nothing_off() -> None:
    """Before one push-off they are drawn up and stop; before the other the swimmer walks."""
    time_s = np.arange(0.0, 60.0, 1.0 / TRAVEL_RATE_HZ)
    drawn = ((18.9, 12.0), (19.2, -9.0))
    steps = tuple((30.0 + 1.1 * k, 12.0) for k in range(8))
    pulses = (*drawn, (20.0, 12.0), *steps, (50.0, 12.0))
    accel = sum(size * np.exp(-0.5 * ((time_s - at_s) / 0.08) ** 2) for at_s, size in pulses)
    ankle = Travel(limb=Limb.ANKLE, start_s=0.0, accel=accel.astype(complex),
                   turn_rad_s=0.0 * time_s)  # fmt: skip
    starts_s = feet_starts_s(ankle)
    np.testing.assert_allclose(starts_s, [18.9, 20.0, 50.0], atol=0.02)
    np.testing.assert_allclose(pushed_off_s(ankle), [19.86, 49.86], atol=0.02)


def test_a_soft_push_off_of_feet_that_stood_still_counts_not_their_coming_to_the_wall() -> None:
    """They come hard, stand for half a second and follow softly; later a soft kick is none."""
    time_s = np.arange(0.0, 60.0, 1.0 / TRAVEL_RATE_HZ)
    pulses = (
        (18.9, 12.0, 0.12), (19.4, -1.0, 0.2), (20.0, 3.6, 0.08), (21.4, 3.6, 0.08),
        (40.0, 3.6, 0.08),
    )  # fmt: skip
    shakes = 2.0 * np.sin(2.0 * np.pi * 1.5 * time_s) * (np.abs(time_s - 39.6) < 0.3)
    accel = sum(
        size * np.exp(-0.5 * ((time_s - at_s) / width_s) ** 2) for at_s, size, width_s in pulses
    )
    ankle = Travel(limb=Limb.ANKLE, start_s=0.0, accel=(accel + shakes).astype(complex),
                   turn_rad_s=0.0 * time_s)  # fmt: skip
    assert not len(pushed_off_s(ankle))
    np.testing.assert_allclose(pushed_off_s(ankle, faint=True), [19.8], atol=0.05)


def test_a_push_off_that_grows_slowly_counts_not_the_feet_being_drawn_up_before_it() -> None:
    """It takes a third of a second to its top, which is lower than that of drawing them up."""
    time_s = np.arange(0.0, 40.0, 1.0 / TRAVEL_RATE_HZ)
    accel = np.interp(time_s, [20.0, 20.35, 20.5], [0.0, 8.0, 0.0], left=0.0, right=0.0)
    accel += 9.0 * np.exp(-0.5 * ((time_s - 19.5) / 0.08) ** 2)
    ankle = Travel(limb=Limb.ANKLE, start_s=0.0, accel=accel.astype(complex),
                   turn_rad_s=0.0 * time_s)  # fmt: skip
    np.testing.assert_allclose(pushed_off_s(ankle, faint=True), [20.15], atol=0.05)


def test_a_kick_swings_back_before_it_and_is_no_push_off_that_grows_slowly() -> None:
    time_s = np.arange(0.0, 40.0, 1.0 / TRAVEL_RATE_HZ)
    pulses = ((20.0, 12.0, 0.1), (20.7, -4.0, 0.06), (21.0, 11.0, 0.06))
    accel = sum(size * np.exp(-0.5 * ((time_s - at_s) / w) ** 2) for at_s, size, w in pulses)
    ankle = Travel(limb=Limb.ANKLE, start_s=0.0, accel=accel.astype(complex),
                   turn_rad_s=0.0 * time_s)  # fmt: skip
    np.testing.assert_allclose(pushed_off_s(ankle), [19.89], atol=0.05)


def test_arms_on_their_way_tell_when_the_body_is_pushed_off_but_no_clock_of_a_wrist() -> None:
    """They are brought up half a second before; who brings them up and stays has not pushed."""
    time_s = np.arange(0.0, 60.0, 1.0 / TRAVEL_RATE_HZ)
    pulses = (
        *(
            (at_s, size)
            for up_s in (19.4, 39.4)
            for at_s, size in ((up_s, 12.0), (up_s + 0.2, -12))
        ),
        (20.0, 8.0),
    )
    accel = sum(size * np.exp(-0.5 * ((time_s - at_s) / 0.08) ** 2) for at_s, size in pulses)
    wrist = Travel(limb=Limb.WRIST, start_s=0.0, accel=accel.astype(complex),
                   turn_rad_s=0.0 * time_s)  # fmt: skip
    assert not len(shared_starts(wrist, wrist, 0.0).moments_s)
    starts = shared_starts(wrist, wrist, 0.0, rested=False)
    np.testing.assert_allclose(body_starts_s(wrist, wrist, starts.moments_s), [20.0], atol=0.02)


def _wrist(
    push_s: tuple[float, ...], stroke_s: tuple[float, ...], sign: float = 1.0
) -> SimpleNamespace:
    """Return a wrist that is pushed off at these moments and swims for 6 s after some of them."""
    time_s = np.arange(0.0, 60.0, 1.0 / TRAVEL_RATE_HZ)
    accel = sum((8.0 * np.exp(-0.5 * ((time_s - at_s) / 0.1) ** 2) for at_s in push_s),
                np.zeros_like(time_s))  # fmt: skip
    for at_s in stroke_s:
        swims = (time_s > at_s + 0.35) & (time_s < at_s + 6.0)
        accel = accel + sign * 7.0 * np.sin(2 * np.pi * 0.8 * (time_s - at_s)) * swims
    travel = Travel(limb=Limb.WRIST, start_s=0.0, accel=accel.astype(complex),
                    turn_rad_s=0.0 * time_s)  # fmt: skip
    return SimpleNamespace(travel=travel)


def test_one_glide_that_asks_for_another_offset_is_outvoted_by_more_push_offs():
    shared = (10.0, 20.0, 30.0)
    placed = {Placement.LEFT_WRIST: _wrist((*shared, 50.0), shared)}
    free = {Placement.RIGHT_WRIST: _wrist((*shared, 51.0), shared, -1.0)}
    rough = {p: Moved(middle_s=30.0, level_s=0.0, level_error_s=0.08, sure=True) for p in free}
    told = set_by_starts(placed, free, rough)[Placement.RIGHT_WRIST]
    assert told.level_s == pytest.approx(0.0, abs=0.01)
    few = {Placement.LEFT_WRIST: _wrist((10.0, 50.0), (10.0,))}
    free = {Placement.RIGHT_WRIST: _wrist((10.0, 51.0), (10.0,), -1.0)}
    told = set_by_starts(few, free, rough)[Placement.RIGHT_WRIST]
    assert told.level_s == pytest.approx(-1.0, abs=0.01)


@pytest.mark.parametrize(("every_s", "asked_s"), [(2.6, -1.0), (9.0, 0.0)])
def test_strokes_that_are_alike_half_a_cycle_away_do_not_outvote_a_glide(
    monkeypatch: pytest.MonkeyPatch, every_s: float, asked_s: float
) -> None:
    """Push-offs lie a length apart, strokes seconds."""
    near_s, glide_s = np.arange(8.0, 40.0, every_s), np.array([50.0])
    near = Starts(moments_s=near_s, offsets_s=0.0 * near_s)
    glide = Starts(moments_s=glide_s, offsets_s=np.array([-1.0]))
    monkeypatch.setattr(start_clocks, "shared_starts", lambda *_, **__: near)
    monkeypatch.setattr(start_clocks, "glide_starts", lambda *_: glide)
    placed = {Placement.LEFT_WRIST: _wrist((), ())}
    rough = {Placement.RIGHT_WRIST: Moved(middle_s=30.0, level_s=0.0, level_error_s=0.08)}
    told = set_by_starts(placed, {p: _wrist((), ()) for p in rough}, rough)
    assert told[Placement.RIGHT_WRIST].level_s == pytest.approx(asked_s, abs=0.01)


def test_push_offs_outvote_glides_though_the_strokes_between_them_have_no_say(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    near_s = np.append(np.arange(10.0, 22.0), [28.5, 35.0, 42.0, 49.0, 56.0])
    glide_s = np.array([5.0, 55.0])
    near = Starts(moments_s=near_s, offsets_s=0.0 * near_s)
    glide = Starts(moments_s=glide_s, offsets_s=np.array([-1.0, -1.01]))
    monkeypatch.setattr(start_clocks, "shared_starts", lambda *_, **__: near)
    monkeypatch.setattr(start_clocks, "glide_starts", lambda *_: glide)
    placed = {Placement.LEFT_WRIST: _wrist((), ())}
    rough = {Placement.RIGHT_WRIST: Moved(middle_s=30.0, level_s=0.0, level_error_s=0.08)}
    told = set_by_starts(placed, {p: _wrist((), ()) for p in rough}, rough)
    assert told[Placement.RIGHT_WRIST].level_s == pytest.approx(0.0, abs=0.01)


def _kicked_off(limb: Limb, at_s: float, push_m_s2: float) -> SimpleNamespace:
    """Return a sensor that a push-off moves, and nothing else."""
    time_s = np.arange(0.0, 30.0, 1.0 / TRAVEL_RATE_HZ)
    pulse = push_m_s2 * np.exp(-0.5 * ((time_s - at_s) / 0.1) ** 2)
    travel = Travel(limb=limb, start_s=0.0, accel=pulse.astype(complex), turn_rad_s=0.0 * time_s)
    return SimpleNamespace(travel=travel)


@pytest.mark.parametrize(("apart_s", "sure"), [(0.01, True), (0.2, False)])
def test_a_soft_push_off_that_both_feet_agree_on_makes_unsure_clocks_sure(apart_s, sure):
    wrists = {p: _kicked_off(Limb.WRIST, 10.0, 8.0)
              for p in (Placement.LEFT_WRIST, Placement.RIGHT_WRIST)}  # fmt: skip
    feet = {Placement.LEFT_ANKLE: _kicked_off(Limb.ANKLE, 10.17, 7.0),
            Placement.RIGHT_ANKLE: _kicked_off(Limb.ANKLE, 10.17 + apart_s, 7.0)}  # fmt: skip
    rough = {p: Moved(middle_s=10.0, level_s=0.0, level_error_s=0.08) for p in feet}
    told = set_by_starts(wrists, feet, rough)
    assert [told[p].sure for p in feet] == [sure, sure]
    if sure:
        assert told[Placement.LEFT_ANKLE].level_s == pytest.approx(0.0, abs=0.02)


def _foot(strong_s, soft_s):
    """Return an ankle that is carried off the wall hard and softly."""
    time_s = np.arange(0.0, 60.0, 1.0 / TRAVEL_RATE_HZ)
    accel = sum(
        size * np.exp(-0.5 * ((time_s - at_s) / 0.1) ** 2)
        for size, own_s in ((12.0, strong_s), (7.0, soft_s))
        for at_s in own_s
    )
    travel = Travel(limb=Limb.ANKLE, start_s=0.0, accel=accel.astype(complex),
                    turn_rad_s=0.0 * time_s)  # fmt: skip
    return SimpleNamespace(travel=travel, middle_s=20.0)


@pytest.mark.parametrize("paired", [True, False])
def test_what_a_pair_is_sure_of_has_a_vote_against_as_many_strong_push_offs(paired):
    """The feet share soft push-offs where the pair has them, and strong ones 0.3 s away."""
    placed = {Placement.RIGHT_ANKLE: _foot((3.3, 23.3), (13.0, 33.0))}
    free = {Placement.LEFT_ANKLE: _foot((3.0, 23.0), (13.0, 33.0))}
    moved = Moved(middle_s=20.0, level_s=0.0, level_error_s=0.05, sure=True, paired=paired)
    told = set_by_starts(placed, free, {Placement.LEFT_ANKLE: moved})
    expected_s = 0.0 if paired else 0.3
    assert told[Placement.LEFT_ANKLE].level_s == pytest.approx(expected_s, abs=0.02)


@pytest.mark.parametrize(
    ("theirs_s", "sure"), [((3.0, 18.0, 33.0, 48.0), True), ((8.0, 21.0, 39.0, 52.0), False)]
)
def test_two_feet_that_share_no_push_off_are_not_sure_of_each_other(theirs_s, sure):
    placed = {Placement.RIGHT_ANKLE: _foot((), (3.0, 18.0, 33.0, 48.0))}
    free = {Placement.LEFT_ANKLE: _foot((), theirs_s)}
    moved = Moved(middle_s=20.0, level_s=0.0, level_error_s=0.05, sure=True, paired=True)
    assert (
        set_by_starts(placed, free, {Placement.LEFT_ANKLE: moved})[Placement.LEFT_ANKLE].sure
        is sure
    )


@pytest.mark.parametrize(("sure", "told_s"), [(True, 0.08), (False, 0.1)])
def test_a_single_soft_push_off_moves_a_sure_clock_by_a_part(sure, told_s):
    """Both err by 0.08 and 0.04 s: four fifths of the way."""
    wrists = {p: _kicked_off(Limb.WRIST, 10.0, 8.0)
              for p in (Placement.LEFT_WRIST, Placement.RIGHT_WRIST)}  # fmt: skip
    feet = {p: _kicked_off(Limb.ANKLE, 10.07, 7.0)
            for p in (Placement.LEFT_ANKLE, Placement.RIGHT_ANKLE)}  # fmt: skip
    rough = {p: Moved(middle_s=10.0, level_s=0.0, level_error_s=0.08, floor_s=0.0, sure=sure)
             for p in feet}  # fmt: skip
    told = set_by_starts(wrists, feet, rough)
    assert told[Placement.LEFT_ANKLE].level_s == pytest.approx(told_s, abs=0.015)


@pytest.mark.parametrize("pushed", [True, False])
def test_what_shares_no_push_off_moves_along_with_the_arms_that_do_against_a_foot(pushed):
    wrists = {p: _kicked_off(Limb.WRIST, 10.0, 8.0)
              for p in (Placement.LEFT_WRIST, Placement.RIGHT_WRIST)}  # fmt: skip
    back = {Placement.UPPER_BACK: _kicked_off(Limb.UPPER_BACK, 10.0, 0.0)}
    foot = _kicked_off(Limb.ANKLE, 10.12, 12.0 if pushed else 0.0)
    placed = {Placement.LEFT_ANKLE: SimpleNamespace(travel=foot.travel, middle_s=10.0)}
    rough = {p: Moved(middle_s=10.0, level_s=0.2, level_error_s=0.05, sure=True)
             for p in (*wrists, *back)}  # fmt: skip
    told = set_by_starts(placed, wrists | back, rough)
    expected_s = 0.0 if pushed else 0.2
    assert told[Placement.LEFT_WRIST].level_s == pytest.approx(expected_s, abs=0.03)
    assert told[Placement.UPPER_BACK].level_s == pytest.approx(expected_s, abs=0.03)
    assert pushed or told[Placement.UPPER_BACK] == rough[Placement.UPPER_BACK]


def test_three_soft_push_offs_of_both_feet_count_before_how_their_kicks_pair():
    at_s = (10.0, 30.0, 50.0)
    left, right = (_foot((), tuple(s + late_s for s in at_s)) for late_s in (0.0, 0.1))
    moved = Moved(middle_s=30.0, level_s=0.0, level_error_s=0.01, sure=True, paired=True)
    own = start_clocks._Known(travel=right.travel, moved=moved)
    other = start_clocks._Known(travel=left.travel, moved=replace(moved, paired=False))
    told = start_clocks._by_other_foot(own, other)
    assert told is not None
    assert told.level_s == pytest.approx(-0.1, abs=0.02)


@pytest.mark.parametrize(("paired", "told_s"), [(True, 0.0), (False, -0.22)])
def test_kicks_out_of_stillness_do_not_outvote_push_offs_that_a_pair_bears_out(paired, told_s):
    kicks_s = np.array([10.0, 13.0, 16.0, 19.0])
    left = _foot((3.0, 27.0), kicks_s + 0.22).travel
    right = _foot((3.0, 27.0), kicks_s + 0.44).travel
    moved = Moved(middle_s=20.0, level_s=0.0, level_error_s=0.02, sure=True, paired=paired)
    own = start_clocks._Known(travel=right, moved=moved)
    other = start_clocks._Known(travel=left, moved=replace(moved, paired=False))
    told = start_clocks._by_other_foot(own, other)
    assert told is not None
    assert told.level_s == pytest.approx(told_s, abs=0.02)
