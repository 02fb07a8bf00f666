"""Push-offs: on movements laid down here by hand."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from sensorswim.model import Track
from sensorswim.model.streams import FloatArray
from sensorswim.swim.wall_signals import pulse_of, worn_signs
from sensorswim.swim.walls import WallFinder
from tests.swim.limbs import RATE_HZ, G, askew, limb, recording_of
from tests.swim.swum import P

_WRISTS = (P.LEFT_WRIST, P.RIGHT_WRIST)


def test_of_two_gains_of_a_lone_arm_that_near_the_turn_is_the_push_off() -> None:
    """A stroke before a quick turn gains more speed than the push, and the arm rests after it."""
    time_s = np.arange(0.0, 30.0, 1.0 / RATE_HZ)
    stroke, push = (size * (np.abs(time_s - at_s) < 0.15) for size, at_s in ((9.0, 8.0), (5.0, 10)))
    wrist = limb(P.LEFT_WRIST, 0.0 * time_s, stroke + push)

    def begins(*turns_s: float | None) -> list[float | None]:
        signs = {P.LEFT_WRIST: 1.0}
        return WallFinder().push_offs(recording_of(time_s, wrist), [(6.0, 12.0)], signs, turns_s)

    assert begins(9.6) == [pytest.approx(9.85, abs=0.06)]
    assert begins() == begins(None) == [pytest.approx(7.85, abs=0.06)]


@pytest.mark.parametrize("others_gap_s", [99.0, 6.8], ids=["seen throughout", "with a gap before"])
def test_a_push_off_in_a_gap_of_one_wrist_is_the_others(others_gap_s: float) -> None:
    """Before it both arms swing forward, less than the push drives them."""
    time_s = np.arange(0.0, 30.0, 1.0 / RATE_HZ)
    swung = 7.0 * (np.abs(time_s - 8.0) < 0.15) - 7.0 * (np.abs(time_s - 8.9) < 0.15)
    pushed = 8.0 * ((time_s > 10.0) & (time_s < 10.3))
    wrists = [limb(p, 0 * time_s, swung + pushed) for p in _WRISTS]
    lost = np.abs(time_s - 10.3) < 0.25
    broken = replace(
        wrists[0],
        valid=~lost,
        accel_m_s2=np.where(lost[:, None], G, wrists[0].accel_m_s2),
    )
    other = replace(wrists[1], valid=np.abs(time_s - others_gap_s) > 0.25)
    recording = recording_of(time_s, broken, other)
    found = WallFinder().push_offs(recording, [(6.0, 12.0)], dict.fromkeys(_WRISTS, 1.0))
    assert found == [pytest.approx(10.0, abs=0.06)]


def _push(time_s: FloatArray, start_s: float) -> FloatArray:
    """Return half a sine of 0.4 s that gives 2.3 m/s."""
    share = np.clip((time_s - start_s) / 0.4, 0.0, 1.0)
    return 9.0 * np.sin(np.pi * share)


def test_one_arm_that_turns_on_does_not_hide_the_push_off() -> None:
    time_s = np.arange(0.0, 12.0, 1.0 / RATE_HZ)
    push = _push(time_s, 5.0)
    still = limb(P.LEFT_WRIST, 0.05 * np.sin(time_s), push)
    turning = limb(P.RIGHT_WRIST, 5.0 * np.maximum(time_s - 5.0, 0.0), push)
    recording = recording_of(time_s, still, turning)
    worn = dict.fromkeys(recording.tracks, 1.0)
    found = WallFinder().push_offs(recording, [(2.0, 8.0)], worn)[0]
    assert found == pytest.approx(5.0, abs=0.1)
    swinging = recording_of(time_s, turning)
    assert WallFinder().push_offs(swinging, [(2.0, 8.0)], worn) == [None]


def test_who_turns_over_in_the_glide_has_pushed_off_all_the_same() -> None:
    """After a flip one pushes off on the back or the side: arms turn about themselves, not aside.

    Both straps sit askew, so that some of the turn shows about the other axes. The legs were drawn
    to the wall before.
    """
    time_s = np.arange(0.0, 12.0, 1.0 / RATE_HZ)
    push = _push(time_s, 5.0)
    over = np.pi * np.clip((time_s - 5.2) / 0.6, 0.0, 1.0)
    still = 0.02 * np.sin(time_s)
    legs = (limb(p, still, -_push(time_s, 4.2)) for p in (P.LEFT_ANKLE, P.RIGHT_ANKLE))
    wrists = (askew(limb(p, still, push), over) for p in _WRISTS)
    recording = recording_of(time_s, *wrists, *legs)
    found = WallFinder().push_offs(recording, [(2.0, 8.0)], dict.fromkeys(recording.tracks, 1.0))
    assert found[0] == pytest.approx(5.0, abs=0.1)


def test_a_turn_about_itself_is_a_glide_only_where_other_limbs_bear_it_out() -> None:
    time_s = np.arange(0.0, 12.0, 1.0 / RATE_HZ)
    wrist = askew(limb(P.LEFT_WRIST, 0.02 * np.sin(time_s), _push(time_s, 5.0)), 5.0 * time_s)
    recording = recording_of(time_s, wrist)
    calm = [pulse_of(recording, wrist, 1.0, 200, 800, 0.5, alone=a).calm for a in (True, False)]
    assert calm[0].max() < 0.1
    assert calm[1].min() > 0.9


def test_arms_that_swing_forward_before_a_push_are_not_taken_for_it() -> None:
    time_s = np.arange(0.0, 12.0, 1.0 / RATE_HZ)
    swing = 1.3 * _push(time_s, 3.8) - 1.3 * _push(time_s, 4.3)
    still, ahead = 0.02 * np.sin(time_s), swing + _push(time_s, 5.0)
    recording = recording_of(time_s, *(limb(p, still, ahead) for p in _WRISTS))
    found = WallFinder().push_offs(recording, [(2.0, 8.0)], dict.fromkeys(recording.tracks, 1.0))
    assert found[0] == pytest.approx(5.0, abs=0.1)


def test_the_last_gain_alike_is_the_push_off_where_legs_are_worn_though_it_is_soft() -> None:
    time_s = np.arange(0.0, 12.0, 1.0 / RATE_HZ)
    still, ahead = 0.02 * np.sin(time_s), 0.5 * _push(time_s, 3.8) + 0.33 * _push(time_s, 5.0)
    wrists = [limb(p, still, ahead) for p in _WRISTS]
    legs = [limb(p, still + np.pi, 0.0 * time_s) for p in (P.LEFT_ANKLE, P.RIGHT_ANKLE)]
    worn = dict.fromkeys((*_WRISTS, P.LEFT_ANKLE, P.RIGHT_ANKLE), 1.0)

    def begins(*tracks: Track) -> float | None:
        return WallFinder().push_offs(recording_of(time_s, *tracks), [(2.0, 8.0)], worn)[0]

    assert begins(*wrists, *legs) == pytest.approx(5.0, abs=0.1)
    assert begins(*wrists) == pytest.approx(3.8, abs=0.1)


def test_two_arms_that_idled_before_the_push_off_tell_it_behind_where_it_was_sought() -> None:
    """Where they glide both, and did not swim before: one arm does so between its strokes, too."""
    time_s = np.arange(0.0, 14.0, 1.0 / RATE_HZ)
    still, ahead = 0.02 * np.sin(time_s), 0.38 * _push(time_s, 3.2) + _push(time_s, 6.5)
    both = [limb(p, still, ahead) for p in _WRISTS]
    worn = dict.fromkeys(_WRISTS, 1.0)

    def begins(*tracks: Track) -> float | None:
        return WallFinder().push_offs(recording_of(time_s, *tracks), [(2.0, 4.0)], worn)[0]

    assert begins(*both) == pytest.approx(6.5, abs=0.1)
    assert begins(both[0]) == pytest.approx(3.2, abs=0.1)
    swings = still + 1.5 * np.sin(8.0 * np.pi * np.clip(time_s - 4.5, 0.0, 1.5) / 3.0)
    assert begins(*(limb(p, swings, ahead) for p in _WRISTS)) == pytest.approx(3.2, abs=0.1)


def test_arms_that_are_stretched_only_in_the_glide_still_tell_the_push_off() -> None:
    time_s = np.arange(0.0, 14.0, 1.0 / RATE_HZ)
    raised = np.clip((time_s - 5.5) / 0.7, 0.0, 1.0)
    wrist = limb(P.LEFT_WRIST, -1.4 * (1.0 - raised), _push(time_s, 5.0))
    recording = recording_of(time_s, wrist)
    found = WallFinder().push_offs(recording, [(2.0, 9.0)], {P.LEFT_WRIST: 1.0})[0]
    assert found == pytest.approx(5.0, abs=0.2)


def test_the_gain_of_a_last_recovery_is_no_push_off_for_the_arm_strokes_on() -> None:
    """Both are seen only by where the arm points a second later; a stroke gains more speed."""
    time_s = np.arange(0.0, 14.0, 1.0 / RATE_HZ)
    recovers = 2.0 * np.pi * np.clip((time_s - 3.3) / 0.9, 0.0, 1.0)
    raised = np.clip((time_s - 6.4) / 0.4, 0.0, 1.0)
    ahead = 1.3 * _push(time_s, 3.2) + _push(time_s, 6.0)
    wrist = limb(P.LEFT_WRIST, recovers - 1.4 * (1.0 - raised), ahead)
    found = WallFinder().push_offs(recording_of(time_s, wrist), [(5.0, 9.0)], {P.LEFT_WRIST: 1.0})[
        0
    ]
    assert found == pytest.approx(6.0, abs=0.2)


def test_a_lone_arms_gain_of_speed_is_a_push_off_only_where_the_legs_share_it() -> None:
    time_s = np.arange(0.0, 14.0, 1.0 / RATE_HZ)
    still, push = 0.02 * np.sin(time_s), _push(time_s, 6.0)
    arm = limb(P.LEFT_WRIST, still, 1.3 * _push(time_s, 4.0) + push)
    leg = limb(P.LEFT_ANKLE, still + np.pi, _push(time_s, 6.1))
    worn = {P.LEFT_WRIST: 1.0, P.LEFT_ANKLE: 1.0}
    recording = recording_of(time_s, arm, leg)
    assert WallFinder().push_offs(recording, [(3.0, 9.0)], worn)[0] == pytest.approx(6.0, abs=0.1)


def test_a_wrist_worn_the_wrong_way_up_still_tells_the_push_off() -> None:
    time_s = np.arange(0.0, 30.0, 1.0 / RATE_HZ)
    hanging = np.where(time_s < 10.0, -np.pi / 2, 0.0)
    pulls = np.where(time_s > 18.0, -1.2 * np.sin(2.0 * time_s) ** 2, 0.0)
    drawn = 0.4 * np.gradient(pulls, 1.0 / RATE_HZ) ** 2
    right_way = limb(P.LEFT_WRIST, hanging + pulls, _push(time_s, 15.0) - drawn)
    wrong = replace(
        right_way,
        accel_m_s2=right_way.accel_m_s2 * [-1.0, -1.0, 1.0],
        gyro_rad_s=right_way.gyro_rad_s * [-1.0, -1.0, 1.0],
        q_world_from_sensor=(
            Rotation.from_quat(right_way.q_world_from_sensor, scalar_first=True)
            * Rotation.from_rotvec([0.0, 0.0, np.pi])
        ).as_quat(scalar_first=True),
    )
    for track, sign in ((right_way, 1.0), (wrong, -1.0)):
        recording = recording_of(time_s, track)
        worn = worn_signs(recording, [(15.0, 30.0)])
        assert worn[P.LEFT_WRIST] == sign
        found = WallFinder().push_offs(recording, [(13.0, 17.0)], worn)[0]
        assert found == pytest.approx(15.0, abs=0.1)


def test_ankles_that_go_over_the_top_do_not_hide_the_push_off_that_follows() -> None:
    """In a flip turn they gain four times as much towards the wall; the arms come over later."""
    time_s = np.arange(0.0, 14.0, 1.0 / RATE_HZ)
    over, still = 15.0 * (np.abs(time_s - 5.0) < 0.2), 0.02 * np.sin(time_s)
    legs = [limb(p, still, over + 0.5 * _push(time_s, 6.0)) for p in (P.LEFT_ANKLE, P.RIGHT_ANKLE)]
    arms = [limb(p, 3.0 * time_s, 0.0 * time_s) for p in _WRISTS]
    worn = dict.fromkeys(_WRISTS, 1.0) | dict.fromkeys((P.LEFT_ANKLE, P.RIGHT_ANKLE), -1.0)
    recording = recording_of(time_s, *arms, *legs)
    assert WallFinder().push_offs(recording, [(3.0, 9.0)], worn)[0] == pytest.approx(5.75, abs=0.1)


def test_a_dolphin_kick_after_a_hard_push_off_is_not_taken_for_it() -> None:
    time_s = np.arange(0.0, 14.0, 1.0 / RATE_HZ)
    still = 0.02 * np.sin(time_s)
    ahead = 1.2 * _push(time_s, 5.0) + 0.35 * _push(time_s, 6.2)
    legs = [limb(p, still, ahead) for p in (P.LEFT_ANKLE, P.RIGHT_ANKLE)]
    worn = {P.LEFT_ANKLE: -1.0, P.RIGHT_ANKLE: -1.0}
    recording = recording_of(time_s, *legs)
    assert WallFinder().push_offs(recording, [(3.0, 9.0)], worn)[0] == pytest.approx(4.75, abs=0.1)


def test_a_push_off_just_behind_where_it_was_sought_is_told_by_the_arms() -> None:
    """Legs that were drawn up to the wall at leisure were at work since long before."""
    time_s = np.arange(0.0, 14.0, 1.0 / RATE_HZ)
    still, push = 0.02 * np.sin(time_s), _push(time_s, 8.0)
    arms = [limb(p, still, push) for p in _WRISTS]
    drawn_up = -_push(time_s, 7.0)
    legs = [limb(p, still + np.pi, drawn_up) for p in (P.LEFT_ANKLE, P.RIGHT_ANKLE)]
    recording = recording_of(time_s, *arms, *legs)
    worn = dict.fromkeys(recording.tracks, 1.0)
    assert WallFinder().push_offs(recording, [(2.0, 8.1)], worn)[0] == pytest.approx(8.0, abs=0.1)
    assert WallFinder().push_offs(recording, [(2.0, 3.5)], worn)[0] != pytest.approx(8.0, abs=0.1)


@pytest.mark.parametrize("together", [True, False])
def test_who_lay_in_wait_at_the_wall_pushes_off_late_where_all_limbs_gain_speed(
    together: bool,
) -> None:
    """Arms that are brought to the front just before turn as in a swim; one alone may swim on."""
    time_s = np.arange(0.0, 14.0, 1.0 / RATE_HZ)
    still, push = 0.02 * np.sin(time_s), _push(time_s, 8.0)
    brought = 2.0 * np.pi * np.clip((time_s - 5.6) / 1.2, 0.0, 1.0)
    other = push if together else 0.3 * push
    arms = [limb(p, brought + still, own) for p, own in zip(_WRISTS, (push, other), strict=True)]
    legs = [limb(p, still + np.pi, 0.0 * push) for p in (P.LEFT_ANKLE, P.RIGHT_ANKLE)]
    recording = recording_of(time_s, *arms, *legs)
    found = WallFinder().push_offs(recording, [(2.0, 6.0)], dict.fromkeys(recording.tracks, 1.0))
    assert found == [pytest.approx(8.0, abs=0.1) if together else None]


def test_a_kick_is_no_push_off_for_arms_that_stroke_meanwhile() -> None:
    """They gained little by the push-off before, so that the legs are asked."""
    time_s = np.arange(0.0, 14.0, 1.0 / RATE_HZ)
    swims = np.where(time_s > 6.3, 4.0 * (time_s - 6.3), 0.0)
    arms = [limb(p, swims, 0.3 * _push(time_s, 5.0)) for p in _WRISTS]
    kick = 0.5 * _push(time_s, 7.0)
    legs = [limb(p, 0.02 * np.sin(time_s), _push(time_s, 5.0) + kick)
            for p in (P.LEFT_ANKLE, P.RIGHT_ANKLE)]  # fmt: skip
    recording = recording_of(time_s, *arms, *legs)
    worn = dict.fromkeys(_WRISTS, 1.0) | dict.fromkeys((P.LEFT_ANKLE, P.RIGHT_ANKLE), -1.0)
    assert WallFinder().push_offs(recording, [(3.0, 9.0)], worn)[0] == pytest.approx(4.75, abs=0.1)
