"""Clocks of several sensors: knocks, movement, as logged, unknown, and what is said."""

from dataclasses import replace

import numpy as np
import pytest
from made_streams import KNOCKS_S, Clock, clock_error_s, session, stream, swims

from sensorswim.model import ClockFit, Placement, Quality, Samples, Settings, Severity
from sensorswim.rehearsal import Knocks, Length, Plan, Rest, Stand, rehearse
from sensorswim.rehearsal.draw import draw_kit, draw_swimmer
from sensorswim.rehearsal.settings import CORE
from sensorswim.signal import prepare
from sensorswim.signal.clocks import (
    _as_logged_if_all_agree,
    _at_one_end,
    _by_both_ends,
    fit_clocks,
)
from sensorswim.signal.envelopes import Lag
from sensorswim.signal.knocks import Shocks, find_shocks
from sensorswim.signal.shakes import Moved

pytestmark = pytest.mark.long

WRIST, OTHER, ANKLE = Placement.LEFT_WRIST, Placement.RIGHT_WRIST, Placement.RIGHT_ANKLE
FIRST = Clock(origin_s=40.0, drift=3e-5)
FAR = Clock(origin_s=5321.7, drift=-4e-5)


def ends(duration_s):
    return KNOCKS_S + tuple(duration_s - 20.0 + k for k in (0.0, 0.5, 1.05))


def fitted(clock, duration_s, knocks_s, *, place=ANKLE, **kwargs):
    quality = Quality()
    streams = {
        WRIST: stream(WRIST, FIRST, duration_s, knocks_s),
        place: stream(place, clock, duration_s, knocks_s, **kwargs),
    }
    return fit_clocks(streams, quality).get(place), quality


def worst_s(fit, clock, duration_s):
    moments_s = np.linspace(0.0, duration_s, 11)
    return np.abs(clock_error_s(fit, clock, FIRST, moments_s)).max()


@pytest.mark.parametrize("rate_hz", [50, 100, 104, 200, 400])
def test_knocks_at_both_ends_hold_the_clock_within_5_ms(rate_hz):
    clock = replace(FAR, rate_hz=rate_hz)
    fit, quality = fitted(clock, 900.0, ends(900.0))
    assert fit.method == "knocks"
    assert worst_s(fit, clock, 900.0) < 0.005
    assert fit.residual_s < 0.01
    assert [row.severity for row in quality] == [Severity.NOTE]


def _hit(place, clock, sizes_m_s2):
    """Return a log with knocks at both ends, each of a size of its own."""
    log = stream(place, clock, 900.0)
    values = log.accel.values.copy()
    for at_s, size_m_s2 in zip(clock.device(ends(900.0)), sizes_m_s2, strict=True):
        pulse = np.exp(-0.5 * ((log.accel.time_s - at_s) / 0.008) ** 2)
        values += np.outer(size_m_s2 * pulse, [0.0, 0.6, 0.8])
    return replace(log, accel=replace(log.accel, values=values))


def test_knocks_that_hit_each_sensor_otherwise_are_knocks_all_the_same():
    streams = {WRIST: _hit(WRIST, FIRST, (40.0, 9.0, 70.0, 7.0, 60.0, 30.0)),
               ANKLE: _hit(ANKLE, FAR, (9.0, 70.0, 30.0, 60.0, 30.0, 6.0))}  # fmt: skip
    fit = fit_clocks(streams, Quality())[ANKLE]
    assert fit.method == "knocks"
    assert worst_s(fit, FAR, 900.0) < 0.006


def test_knocks_at_the_start_only_are_exact_there_and_say_what_the_rest_costs():
    fit, _ = fitted(FAR, 900.0, KNOCKS_S)
    assert fit.method == "knocks"
    assert abs(clock_error_s(fit, FAR, FIRST, KNOCKS_S[1])) < 0.005
    assert worst_s(fit, FAR, 900.0) < 3.0 * fit.residual_s
    assert fit.residual_s > 0.005


@pytest.mark.parametrize("place", [OTHER, ANKLE])
@pytest.mark.parametrize("duration_s", [300.0, 1800.0])
def test_without_knocks_the_movement_does_and_says_how_well(place, duration_s):
    fit, quality = fitted(FAR, duration_s, (), place=place)
    assert fit.method == "movement"
    assert worst_s(fit, FAR, duration_s) < 0.05
    assert 0.05 <= fit.residual_s < 0.2
    (row,) = quality
    assert (row.code, row.severity) == ("clock_from_movement", Severity.DEGRADED)
    assert f"{1000 * fit.residual_s:.0f} ms" in row.text


def test_clocks_that_agree_already_are_left_as_logged():
    fit, quality = fitted(FIRST, 300.0, ())
    assert (fit.method, fit.offset_s, fit.drift) == ("as_logged", 0.0, 0.0)
    assert quality.codes() == {"clock_as_logged"}


def as_logged(*fits, pairs=()):
    shocks = Shocks(
        time_s=np.array([0.0, 300.0]),
        size_m_s2=np.zeros(2),
        triplets_s=np.empty((0, 3)),
        still=np.empty(0, dtype=bool),
        period_s=0.01,
    )
    places = (OTHER, ANKLE, Placement.LEFT_ANKLE)[: len(fits)]
    told = _as_logged_if_all_agree(
        {
            place: ClockFit(offset_s=offset_s, method="movement", residual_s=residual_s)
            for place, (offset_s, residual_s) in zip(places, fits, strict=True)
        },
        dict.fromkeys(places, shocks),
        pairs,
    )
    return [fit.method == "as_logged" for fit in told.values()]


def test_a_kit_is_taken_as_logged_as_a_whole_or_not_at_all():
    assert as_logged((0.02, 0.02), (0.1, 0.09)) == [True, True]
    assert as_logged((0.02, 0.02), (0.2, 0.09)) == [False, False]


def test_a_clock_that_is_not_sure_follows_those_that_are():
    assert as_logged((0.02, 0.02), (0.1, 0.09), (1.1, 0.8)) == [True, True, True]
    assert as_logged((0.2, 0.02), (0.1, 0.09), (0.1, 0.8)) == [False, False, False]


def test_two_ankles_that_are_sure_of_each_other_tell_that_the_kit_was_not_set_to_one_time():
    ankles = ((-0.46, 0.8), (0.26, 0.8))
    pairs = [(ANKLE, Placement.LEFT_ANKLE)]
    assert as_logged((0.02, 0.02), *ankles) == [True, True, True]
    assert as_logged((0.02, 0.02), *ankles, pairs=pairs) == [False, False, False]
    assert as_logged((0.02, 0.02), (0.4, 0.8), (0.45, 0.8), pairs=pairs) == [True, True, True]


def test_knocks_that_the_first_sensor_shows_late_are_told_by_anothers():
    """As between the samples of slow logs: by 20 ms from one to the next, by 40 in all."""
    logs = {}
    for place, clock, late_s in ((WRIST, FIRST, 0.04), (OTHER, FAR, 0.02), (ANKLE, FAR, 0.0)):
        first, second, third, *last = ends(900.0)
        logs[place] = stream(place, clock, 900.0, (first, second, third + late_s, *last))
    fits = fit_clocks(logs, Quality())
    assert [fits[p].method for p in (OTHER, ANKLE)] == ["knocks", "knocks"]
    assert worst_s(fits[ANKLE], FAR, 900.0) < min(0.008, 2.0 * fits[ANKLE].residual_s)
    assert fits[ANKLE].residual_s > fits[OTHER].residual_s
    without = fit_clocks({p: logs[p] for p in (WRIST, ANKLE)}, Quality())[ANKLE]
    assert without.residual_s > 2.0 * fits[ANKLE].residual_s


def _told(first_s, second_s, movement_off_s, *, at_rest=True):
    """Return what an ankle's knocks tell where the movement is off by so much."""
    shocks = {}
    for place, clock, starts_s in ((WRIST, FIRST, first_s), (ANKLE, FAR, second_s)):
        knocks_s = [start_s + k for start_s in starts_s for k in (0.0, 0.5, 1.05)]
        shocks[place] = find_shocks(stream(place, clock, 900.0, knocks_s))
    shocks[ANKLE] = replace(shocks[ANKLE], still=shocks[ANKLE].still & at_rest)
    offset_s = FIRST.origin_s - FAR.origin_s + movement_off_s
    rough = Lag(offset_s=offset_s, correlation=0.7, overlap_s=60.0)
    known = {WRIST: ClockFit(method="reference", residual_s=0.0)}
    return _by_both_ends(known, shocks, {ANKLE: rough}).get(ANKLE)


def test_knocks_at_rest_count_wherever_the_movement_lies_alike():
    """Heads and arms may move alike at an offset that is minutes off."""
    both = (12.0, 880.0)
    assert worst_s(_told(both, both, 148.0), FAR, 900.0) < 0.005
    assert _told(both, both, 148.0, at_rest=False) is None


def test_claps_as_far_apart_as_others_count_not_beside_a_knock_where_the_movement_is():
    """Those at the second and third place lie as far apart on both, 300 s too early on one."""
    first_s, second_s = (12.0, 640.0, 880.0), (12.0, 340.0, 580.0)
    assert _told(first_s, second_s, 0.0) is None
    assert _told(first_s[1:], second_s[1:], 0.0) is not None


def test_claps_of_one_sensor_at_rest_do_not_pass_for_knocks():
    claps_s = (21.0, 21.5, 22.05)
    streams = {
        WRIST: stream(WRIST, FIRST, 600.0, ends(600.0)),
        ANKLE: stream(ANKLE, FAR, 600.0, (*ends(600.0), *claps_s)),
    }
    fit = fit_clocks(streams, Quality())[ANKLE]
    assert worst_s(fit, FAR, 600.0) < 0.005


def _kicked(log, clock, late_s):
    """Return a log with three kicks in each of eight swims, felt so late, in shaken water."""
    values, rng = log.accel.values.copy(), np.random.default_rng(8)
    for start_s, _ in swims(900.0)[:8]:
        for at_s in start_s + late_s + np.array([8.0, 8.32, 8.59]):
            pulse = np.exp(-0.5 * ((log.accel.time_s - clock.device(at_s)) / 0.012) ** 2)
            values += np.outer(16.0 * pulse, [0.6, 0.0, 0.8])
        shaken = np.abs(log.accel.time_s - clock.device(start_s + late_s + 8.3)) < 2.0
        values[shaken] += rng.normal(size=(shaken.sum(), 3))
    return replace(log, accel=replace(log.accel, values=values))


def test_kicks_that_come_in_threes_time_and_again_do_not_pass_for_knocks():
    """One leg's threes fall together with the other's at a wrong offset, more often than knocks."""
    streams = {WRIST: _kicked(stream(WRIST, FIRST, 900.0, ends(900.0)), FIRST, 0.0),
               ANKLE: _kicked(stream(ANKLE, FAR, 900.0, ends(900.0)), FAR, 2.6)}  # fmt: skip
    fit = fit_clocks(streams, Quality())[ANKLE]
    assert fit.method == "knocks"
    assert worst_s(fit, FAR, 900.0) < 0.006


def test_claps_that_no_other_sensor_feels_leave_the_clock_to_the_movement():
    streams = {
        WRIST: stream(WRIST, FIRST, 600.0, (12.0, 12.5, 13.0)),
        ANKLE: stream(ANKLE, FAR, 600.0, (180.0, 180.5, 181.0)),
    }
    fit = fit_clocks(streams, Quality())[ANKLE]
    assert fit.method == "movement"
    assert worst_s(fit, FAR, 600.0) < 0.05


def test_a_late_start_and_a_hole_do_no_harm():
    fit, _ = fitted(FAR, 900.0, ends(900.0), start_true_s=120.0, cut=((300.0, 340.0),))
    assert fit.method == "knocks"
    assert worst_s(fit, FAR, 900.0) < 3.0 * fit.residual_s


def test_moving_the_other_clock_moves_the_offset_and_nothing_else():
    a, _ = fitted(FAR, 300.0, ends(300.0))
    moved = replace(FAR, origin_s=FAR.origin_s + 1000.0)
    b, _ = fitted(moved, 300.0, ends(300.0))
    at_s = np.array([6000.0])
    assert b.to_session(at_s + 1000.0)[0] == pytest.approx(a.to_session(at_s)[0], abs=1e-4)


def test_the_first_sensor_keeps_its_numbers():
    streams = {WRIST: stream(WRIST, FIRST, 90.0), ANKLE: stream(ANKLE, FAR, 90.0)}
    recording = prepare(session(WRIST, ANKLE), streams, Settings(), Quality())
    assert recording.clocks[WRIST].method == "reference"
    assert recording.time_s[0] == streams[WRIST].accel.time_s[0]


def test_the_order_of_the_session_decides_which_clock_counts():
    streams = {WRIST: stream(WRIST, FIRST, 90.0), ANKLE: stream(ANKLE, FAR, 90.0)}
    recording = prepare(session(ANKLE, WRIST), streams, Settings(), Quality())
    assert recording.clocks[ANKLE].method == "reference"


def still(place, start_s, seconds=60.0):
    log = stream(place, Clock(), seconds)
    time_s = start_s + np.arange(len(log.accel)) / 100.0
    rest = np.tile([0.0, 0.0, 9.80665], (len(time_s), 1))
    return replace(
        log,
        accel=Samples(time_s=time_s, values=rest),
        gyro=Samples(time_s=time_s, values=0.0 * rest),
    )


def test_a_sensor_that_shares_nothing_is_left_out_and_said():
    quality = Quality()
    streams = {WRIST: still(WRIST, 0.0), ANKLE: still(ANKLE, 9000.0)}
    recording = prepare(session(WRIST, ANKLE), streams, Settings(), quality)
    assert list(recording.tracks) == [WRIST]
    assert [(r.code, r.severity) for r in quality] == [("clock_unknown", Severity.LOST)]


def test_still_sensors_that_overlap_are_taken_as_logged_with_a_warning():
    quality = Quality()
    fits = fit_clocks({WRIST: still(WRIST, 0.0), ANKLE: still(ANKLE, 5.0)}, quality)
    assert fits[ANKLE].method == "as_logged"
    assert np.isnan(fits[ANKLE].residual_s)
    assert [(r.code, r.severity) for r in quality] == [("clock_unknown", Severity.DEGRADED)]


def test_one_sensor_needs_no_other():
    quality = Quality()
    assert list(fit_clocks({WRIST: stream(WRIST, FIRST, 60.0)}, quality)) == [WRIST]
    assert len(quality) == 0


@pytest.fixture(scope="module", params=[True, False], ids=["knocks", "no knocks"])
def swum(request):
    ends = (Knocks(),) if request.param else ()
    lengths = (
        Length(turn="open"), Length(turn="flip"), Length(turn="stop"),
        Rest(duration_s=12.0), Length(turn="open"), Length(turn="stop"),
    )  # fmt: skip
    plan = Plan(segments=(Stand(), *ends, *lengths, Rest(duration_s=6.0), *ends))
    return request.param, rehearse(plan, seed=5)


def test_the_synthetic_swimmers_clocks_are_found(swum):
    knocked, rehearsal = swum
    fits = fit_clocks(rehearsal.streams, Quality())
    for place, fit in list(fits.items())[1:]:
        at_s = rehearsal.streams[place].accel.time_s[[0, -1]]
        truth_s = rehearsal.truth_extra["clocks"][place].to_session(at_s)
        error_s = np.abs(fit.to_session(at_s) - truth_s).max()
        assert fit.method == ("knocks" if knocked else "movement")
        assert error_s < (0.005 if knocked else 2.5 * fit.residual_s)


@pytest.mark.parametrize("seed", [2, 8, 16])
def test_drawn_swimmers_without_knocks_are_put_on_one_clock_by_their_push_offs(seed):
    rng = np.random.default_rng(seed)
    swimmer = draw_swimmer(rng)
    kit = draw_kit(rng, CORE)
    lengths = (*[Length(turn="flip")] * 2, *[Length(turn="open")] * 2, Length(turn="stop"))
    rehearsal = rehearse(
        Plan(segments=(Stand(), *lengths, Rest(duration_s=5.0))),
        swimmer=swimmer, kit=kit, seed=seed,
    )  # fmt: skip
    fits = fit_clocks(rehearsal.streams, Quality())
    for place, fit in list(fits.items())[1:]:
        at_s = rehearsal.streams[place].accel.time_s[[0, -1]]
        truth_s = rehearsal.truth_extra["clocks"][place].to_session(at_s)
        assert np.abs(fit.to_session(at_s) - truth_s).max() < 0.2


def knocked(at_s, *, still):
    time_s = np.arange(0.0, 60.0, 0.01)
    triplet_s = at_s + np.array([0.0, 0.5, 1.05])
    size = 0.01 + 40.0 * np.exp(-0.5 * ((time_s[:, None] - triplet_s) / 0.005) ** 2).sum(axis=1)
    return Shocks(time_s=time_s, size_m_s2=size, triplets_s=triplet_s[None],
                  still=np.array([still]), period_s=0.01)  # fmt: skip


@pytest.mark.parametrize(
    ("off_s", "sure", "still", "counts"),
    [
        (0.05, True, (False, False), True),
        (0.6, True, (False, False), False),
        (0.6, True, (True, False), False),
        (0.6, True, (True, True), True),
        (0.6, False, (False, False), False),
        (0.6, False, (True, False), True),
        (0.6, False, (False, True), True),
        (1.6, True, (True, True), False),
    ],
)
def test_a_single_knock_counts_by_how_sure_the_movement_is_and_who_was_at_rest(
    off_s, sure, still, counts
):
    moved = Moved(middle_s=30.0, level_s=5.0, level_error_s=0.01, floor_s=0.01, sure=sure)
    first, second = knocked(25.0 + off_s, still=still[0]), knocked(20.0, still=still[1])
    found = _at_one_end(first, second, moved)
    assert [m.offset_s for m in found] == ([pytest.approx(5.0 + off_s, abs=0.002)] * counts)
