"""Push-offs out of rest set the clocks of hands and feet where nobody knocked."""

from __future__ import annotations

import numpy as np
import pytest

from sensorswim.model import Limb, Placement, Quality
from sensorswim.rehearsal import Kit, Length, Plan, Rest, Stand, draw_swim, draw_swimmer, rehearse
from sensorswim.signal.clocks import fit_clocks
from sensorswim.signal.starts import feet_offset

WRIST_S, ANKLE_S, BODY_S = 0.02, 0.05, 0.03


@pytest.fixture(scope="module", params=[11, 12, 13])
def swum(request):
    lengths = (Length(turn="flip"), Length(turn="stop"), Rest(duration_s=11.0))
    plan = Plan(segments=(Stand(), *lengths * 2, Length(turn="stop"), Rest(duration_s=6.0)))
    swimmer = draw_swimmer(np.random.default_rng(request.param))
    return rehearse(plan, swimmer=swimmer, kit=Kit(clock_offset_s=500.0), seed=request.param)


def test_hands_and_feet_are_put_on_one_clock_without_knocks(swum):
    fits = fit_clocks(swum.streams, Quality())
    for place, fit in list(fits.items())[1:]:
        at_s = swum.streams[place].accel.time_s[[0, -1]]
        error_s = fit.to_session(at_s) - swum.truth_extra["clocks"][place].to_session(at_s)
        assert np.abs(error_s).max() < (WRIST_S if place.limb is Limb.WRIST else ANKLE_S)


@pytest.mark.parametrize("seed", [46, 75, 106])
def test_what_the_trunk_carries_is_put_on_the_wrists_clock_without_knocks(seed):
    """The rough offset of the trunk is off by 0.3 s, 1.4 s and 1.5 s in these."""
    swim = draw_swim(seed, kit="full")
    fits = fit_clocks(swim.streams, Quality())
    for place in (p for p in fits if p.limb not in (Limb.WRIST, Limb.ANKLE)):
        at_s = swim.streams[place].accel.time_s[[0, -1]]
        error_s = fits[place].to_session(at_s) - swim.truth_extra["clocks"][place].to_session(at_s)
        assert np.abs(error_s).max() < BODY_S


def test_how_well_it_is_known_is_said(swum):
    fits = fit_clocks(swum.streams, Quality())
    assert fits[Placement.RIGHT_WRIST].residual_s < 0.03
    assert 0.085 <= fits[Placement.LEFT_ANKLE].residual_s < 0.1


def test_the_offset_that_most_push_offs_ask_for_wins():
    body_s = np.array([10.0, 50.0, 91.0])
    feet_s = np.array([109.91, 149.91, 190.91, 148.3])
    offsets_s = feet_offset(body_s, feet_s, -100.5, drift=0.0, middle_s=150.0)
    np.testing.assert_allclose(offsets_s, -100.0)


def test_two_offsets_that_are_as_good_decide_nothing():
    body_s, feet_s = np.array([10.0]), np.array([109.91, 108.7])
    assert not len(feet_offset(body_s, feet_s, -99.5, drift=0.0, middle_s=109.0))
