"""Push-offs and touches: on movements laid down here by hand, and on rehearsed swims."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from sensorswim.model import Limb, Placement, Recording, Settings, Track
from sensorswim.model.streams import FloatArray
from sensorswim.rehearsal import Kit, Knocks, Length, Plan, Rehearsal, Rest, Stand, rehearse
from sensorswim.signal import orient
from sensorswim.swim.lengths import LengthFinder, _reach_to_cycles
from sensorswim.swim.wall_signals import worn_signs
from sensorswim.swim.walls import WallFinder
from tests.swim.limbs import RATE_HZ, limb, recording_of
from tests.swim.swum import P, oriented, wearing

_WRISTS = (P.LEFT_WRIST, P.RIGHT_WRIST)
_WORN = {P.LEFT_ANKLE: 1.0, P.RIGHT_ANKLE: 1.0}


@pytest.mark.parametrize("spin_rad_s2", [1.5, 3.0, 6.0, 12.0])
def test_a_touch_without_any_jolt_is_told_by_the_body_that_begins_to_turn(
    spin_rad_s2: float,
) -> None:
    time_s = np.arange(0.0, 30.0, 1.0 / RATE_HZ)
    tilt = np.minimum(0.5 * spin_rad_s2 * np.maximum(time_s - 20.0, 0.0) ** 2, np.pi / 2)
    kick = 0.3 * np.sin(2 * np.pi * 2.0 * time_s) * (time_s < 20.0)
    legs = (
        limb(P.LEFT_ANKLE, tilt + kick, 0 * time_s),
        limb(P.RIGHT_ANKLE, tilt - kick, 0 * time_s),
    )
    found = WallFinder().finish(recording_of(time_s, *legs), (2.0, 20.8), _WORN)
    assert found == pytest.approx(20.0, abs=0.45)


def test_a_touch_is_told_where_the_legs_sink_half_and_stay_so() -> None:
    """The length then seems to go on for as long as the swimmer hangs at the wall like that."""
    time_s = np.arange(0.0, 30.0, 1.0 / RATE_HZ)
    tilt = 0.9 * np.clip((time_s - 20.0) / 0.6, 0.0, 1.0)
    tilt = tilt + 0.67 * np.clip((time_s - 25.5) / 0.6, 0.0, 1.0)
    kick = 0.3 * np.sin(2 * np.pi * 2.0 * time_s) * (time_s < 20.0)
    ankle = limb(P.LEFT_ANKLE, tilt + kick, 0 * time_s)
    found = WallFinder().finish(recording_of(time_s, ankle), (2.0, 24.5), _WORN)
    assert found == pytest.approx(20.0, abs=0.4)


def test_who_stands_up_at_the_wall_and_then_lies_level_again_has_touched() -> None:
    time_s = np.arange(0.0, 30.0, 1.0 / RATE_HZ)
    up, down = (np.clip((time_s - at_s) / 0.6, 0.0, 1.0) for at_s in (20.0, 21.8))
    kick = 0.3 * np.sin(2 * np.pi * 2.0 * time_s) * (time_s < 20.0)
    ankle = limb(P.LEFT_ANKLE, 1.4 * (up - down) + kick, 0 * time_s)
    found = WallFinder().finish(recording_of(time_s, ankle), (2.0, 21.0), _WORN)
    assert found == pytest.approx(20.0, abs=0.4)


@pytest.mark.parametrize("worn", [1.0, -1.0], ids=["as told", "the wrong way up"])
def test_a_touch_is_told_though_the_legs_lie_level_for_a_while(worn: float) -> None:
    """The arm stops the body, the feet come on a little; only a second later the legs sink."""
    time_s = np.arange(0.0, 30.0, 1.0 / RATE_HZ)
    braked, drawn = (
        change_m_s / 0.3 * ((time_s > at_s) & (time_s < at_s + 0.3))
        for at_s, change_m_s in ((20.0, -1.2), (20.4, 0.8))
    )
    sink = 1.4 * np.clip((time_s - 20.8) / 0.7, 0.0, 1.0)
    kick = 0.3 * np.sin(2 * np.pi * 2.0 * time_s) * (time_s < 19.5)
    ankle = limb(P.LEFT_ANKLE, sink + kick, -worn * (braked + drawn))
    found = WallFinder().finish(recording_of(time_s, ankle), (2.0, 21.5), {P.LEFT_ANKLE: worn})
    assert found == pytest.approx(20.0, abs=0.25)


def test_the_last_breaststroke_kick_before_the_wall_is_not_taken_for_it() -> None:
    """Every 1.5 s both feet are drawn up and kick: braked and driven on as by a wall."""
    time_s = np.arange(0.0, 30.0, 1.0 / RATE_HZ)
    since_s = np.where(time_s < 20.4, (time_s - 0.4) % 1.5, 9.0)
    drawn_up = -4.0 * (since_s < 0.3) + 4.0 * ((since_s > 0.4) & (since_s < 0.7))
    wall = -4.0 * ((time_s > 20.4) & (time_s < 20.7))
    sink = 1.4 * np.clip((time_s - 20.4) / 0.7, 0.0, 1.0)
    legs = [limb(p, sink, -(drawn_up + wall)) for p in _WORN]
    found = WallFinder().finish(recording_of(time_s, *legs), (2.0, 21.5), _WORN)
    assert found == pytest.approx(20.4, abs=0.3)


@pytest.mark.parametrize(
    ("moves_s", "kicks_s", "other_m_s2", "taken"),
    [
        (20.0, 19.7, 0.0, True),
        (20.0, 19.7, 30.0, True),
        (99.0, 19.7, 0.0, False),
        (20.0, 20.7, 0.0, False),
    ],
    ids=["on the wall", "before the other", "on its way", "ahead of legs that kick on"],
)
def test_a_hand_that_lies_still_after_a_jolt_is_on_the_wall_while_the_body_comes_on(
    moves_s: float, kicks_s: float, other_m_s2: float, taken: bool
) -> None:
    """The arm bends, and only 0.7 s later the legs sink; a hand that moves on touched nothing."""
    time_s = np.arange(0.0, 30.0, 1.0 / RATE_HZ)
    sink = 1.4 * np.clip((time_s - 20.7) / 0.5, 0.0, 1.0)
    kick = 0.3 * np.sin(2 * np.pi * 2.0 * time_s) * (time_s < kicks_s)
    legs = [limb(p, sink + side * kick, 0 * time_s)
            for p, side in ((P.LEFT_ANKLE, 1.0), (P.RIGHT_ANKLE, -1.0))]  # fmt: skip
    stops = 25.0 * (np.abs(time_s - 20.0) < 0.03)
    moves = 6.0 * np.sin(2 * np.pi * 1.5 * time_s) * (time_s < moves_s)
    hand = limb(P.LEFT_WRIST, 0.8 * np.clip((time_s - 20.0) / 0.5, 0.0, 1.0), moves - stops)
    late = limb(P.RIGHT_WRIST, 0 * time_s, other_m_s2 * (np.abs(time_s - 20.9) < 0.02))
    recording = recording_of(time_s, hand, late, *legs)
    found = WallFinder().finish(recording, (2.0, 21.2), _WORN | dict.fromkeys(_WRISTS, 1.0))
    assert found is not None
    assert (abs(found - 20.0) < 0.05) is taken


def test_a_push_off_is_told_though_the_legs_lay_level_at_the_wall_for_long() -> None:
    time_s = np.arange(0.0, 40.0, 1.0 / RATE_HZ)
    pushed = 8.0 * ((time_s > 15.0) & (time_s < 15.3))
    sway = 0.35 * np.sin(2 * np.pi * 0.3 * time_s) * (time_s < 14.5)
    kick = 0.5 * np.sin(2 * np.pi * 2.0 * time_s) * (time_s > 16.5)
    legs = [limb(p, sway + side * kick, -pushed)
            for p, side in ((P.LEFT_ANKLE, 1.0), (P.RIGHT_ANKLE, -1.0))]  # fmt: skip
    arms = [limb(p, sway, pushed) for p in _WRISTS]
    (span,) = LengthFinder().find(recording_of(time_s, *arms, *legs)).spans
    assert span.starts_at_wall
    assert span.start_s == pytest.approx(15.0, abs=0.1)


@pytest.mark.parametrize("waits_s", [0.0, 2.9])
def test_legs_that_sink_wait_and_then_turn_began_with_the_touch(waits_s: float) -> None:
    """After the longer wait the rough end lies late, and the touch 5 s before the push-off."""
    time_s = np.arange(0.0, 30.0, 1.0 / RATE_HZ)
    sink = 0.6 * np.clip((time_s - 20.0) / 0.5, 0.0, 1.0)
    turn = 2.0 * np.clip((time_s - 21.1 - waits_s) / 0.5, 0.0, 1.0)
    kick = 0.3 * np.sin(2 * np.pi * 2.0 * time_s) * (time_s < 20.0)
    legs = [limb(p, -sink - turn + side * kick, 0 * time_s)
            for p, side in ((P.LEFT_ANKLE, 1.0), (P.RIGHT_ANKLE, -1.0))]  # fmt: skip
    push_s = 22.0 + waits_s
    found = WallFinder().contact_before(recording_of(time_s, *legs), push_s, (2.0, 21.5), _WORN)
    assert not found.by_feet
    assert found.at_s == pytest.approx(20.0, abs=0.35)


def _tumble(time_s: FloatArray) -> FloatArray:
    """Return the tilt of a leg that goes over the top from 19.6 to 20.6 s."""
    return np.pi * np.clip(time_s - 19.6, 0.0, 1.0)


@pytest.mark.parametrize("contact_s", [20.55, 20.7, 20.82])
def test_the_feets_knock_on_the_wall_counts_not_that_of_their_coming_over(
    contact_s: float,
) -> None:
    time_s = np.arange(0.0, 30.0, 1.0 / RATE_HZ)
    jolts = sum(size * (np.abs(time_s - at_s) < 0.006) for at_s, size in
                ((20.3, 40.0), (contact_s, 30.0)))  # fmt: skip
    ankle = limb(P.LEFT_ANKLE, _tumble(time_s), jolts)
    found = WallFinder().contact_before(
        recording_of(time_s, ankle), 20.95, (2.0, 20.0), {P.LEFT_ANKLE: 1.0}
    )
    assert found.by_feet
    assert found.at_s == pytest.approx(contact_s, abs=0.05)


def test_a_swimmer_who_floats_on_has_not_touched() -> None:
    time_s = np.arange(0.0, 30.0, 1.0 / RATE_HZ)
    ankle = limb(P.LEFT_ANKLE, 0.3 * np.sin(2 * np.pi * 2.0 * time_s), 0 * time_s)
    assert WallFinder().finish(recording_of(time_s, ankle), (2.0, 20.0), _WORN) is None


def test_who_lies_on_at_the_wall_has_touched_when_all_limbs_come_to_rest() -> None:
    """The legs stay level; they and the arms swing until half a second after the touch."""
    time_s = np.arange(0.0, 30.0, 1.0 / RATE_HZ)
    swings = np.where(time_s < 20.5, np.sin(2.0 * np.pi * 1.5 * time_s), 0.0)
    tracks = [
        limb(place, size * swings, 0.0 * time_s)
        for place, size in ((P.LEFT_ANKLE, 0.2), (P.RIGHT_ANKLE, -0.2), (P.LEFT_WRIST, 0.9))
    ]
    recording = recording_of(time_s, *tracks)
    assert WallFinder().finish(recording, (2.0, 22.0), _WORN) is None
    assert WallFinder().lies_from_s(recording, (2.0, 22.0)) == pytest.approx(20.0, abs=0.2)
    assert WallFinder().lies_from_s(recording, (2.0, 18.0)) == 18.0


@pytest.mark.parametrize(("swims_on_s", "valid_s"), [(1.4, 0.0), (9.0, 4.0)])
def test_a_glide_or_a_gap_in_which_all_limbs_rest_ends_no_length(
    swims_on_s: float, valid_s: float
) -> None:
    """The ankle rests for a while and kicks on, or has no data while it seems to rest."""
    time_s = np.arange(0.0, 30.0, 1.0 / RATE_HZ)
    rests = (time_s > 20.0) & (time_s < 20.0 + swims_on_s)
    ankle = limb(P.LEFT_ANKLE, 0.3 * np.sin(2.0 * np.pi * 2.0 * time_s) * ~rests, 0.0 * time_s)
    if valid_s:
        ankle = replace(ankle, valid=~rests)
    assert WallFinder().lies_from_s(recording_of(time_s, ankle), (2.0, 23.0)) == 23.0


def test_a_lone_arm_that_floats_up_ahead_after_the_touch_does_not_delay_it() -> None:
    time_s = np.arange(0.0, 30.0, 1.0 / RATE_HZ)
    swims = time_s < 20.0
    floats = np.interp(time_s, [20.0, 21.0, 21.9, 22.3], [-1.4, 0.0, 0.0, -1.5])
    wrist = limb(
        P.LEFT_WRIST, np.where(swims, -1.5 * np.sin(4.0 * time_s) ** 2, floats), 0.0 * time_s
    )
    touch_s = WallFinder().finish(
        recording_of(time_s, wrist), (2.0, 20.3), dict.fromkeys(_WRISTS, 1.0)
    )
    assert touch_s == pytest.approx(20.0, abs=0.9)


@pytest.mark.parametrize("turned", [False, True])
def test_which_way_up_an_ankle_is_that_rides_along_tells_the_rest(turned: bool) -> None:
    time_s = np.arange(0.0, 30.0, 1.0 / RATE_HZ)
    hanging = np.where(time_s < 10.0, np.pi / 2 if turned else -np.pi / 2, 0.0)
    recording = recording_of(time_s, limb(P.LEFT_ANKLE, hanging, 0.0 * time_s))
    worn = worn_signs(recording, [(15.0, 30.0)])
    assert worn[P.LEFT_ANKLE] == (-1.0 if turned else 1.0)


def test_how_a_sensor_lay_before_it_was_strapped_on_and_after_tells_nothing() -> None:
    time_s = np.arange(0.0, 180.0, 1.0 / RATE_HZ)
    stands_in_a_bag = (time_s < 60.0) | (time_s > 135.0)
    tilt = np.select([stands_in_a_bag, time_s < 80.0], [np.pi / 2, -np.pi / 2], 0.0)
    recording = recording_of(time_s, limb(P.LEFT_ANKLE, tilt, 0.0 * time_s))
    assert worn_signs(recording, [(82.0, 110.0)])[P.LEFT_ANKLE] == 1.0


def test_where_arms_swim_the_rests_beside_them_tell_not_those_beside_a_strapping_on() -> None:
    time_s = np.arange(0.0, 180.0, 1.0 / RATE_HZ)
    tilt = np.select([time_s < 70.0, time_s < 80.0], [np.pi / 2, -np.pi / 2], 0.0)
    strokes = np.where(time_s > 82.0, 1.2 * np.sin(4.0 * time_s), 0.0)
    recording = recording_of(
        time_s, limb(P.LEFT_ANKLE, tilt, 0.0 * time_s), limb(P.LEFT_WRIST, strokes, 0.0 * time_s)
    )
    assert worn_signs(recording, [(30.0, 39.0), (92.0, 120.0)])[P.LEFT_ANKLE] == 1.0


def test_where_nobody_stands_upright_near_a_swim_all_rests_are_asked() -> None:
    time_s = np.arange(0.0, 100.0, 1.0 / RATE_HZ)
    tilt = np.where(time_s < 40.0, np.pi / 2, 0.0)
    recording = recording_of(time_s, limb(P.LEFT_ANKLE, tilt, 0.0 * time_s))
    assert worn_signs(recording, [(70.0, 95.0)])[P.LEFT_ANKLE] == -1.0


@pytest.fixture(scope="module")
def turned() -> tuple[Rehearsal, Recording]:
    segments = [Knocks(), Stand(duration_s=6.0)]
    segments += [Length(turn=turn) for turn in ("open", "flip", "open", "stop")]
    segments += [Rest(duration_s=5.0), Length(turn="stop"), Rest(duration_s=4.0)]
    kit = Kit(clock_offset_s=0.0, drift_ppm=0.0, strap_deg=20.0, wrong_way_up=(P.RIGHT_ANKLE,))
    rehearsal = rehearse(Plan(segments=tuple(segments)), kit=kit, seed=71)
    return rehearsal, oriented(rehearsal)


@pytest.mark.parametrize(
    "worn",
    [
        (),
        (P.LEFT_WRIST, P.LEFT_ANKLE),
        (P.LEFT_ANKLE, P.RIGHT_ANKLE),
        (P.LEFT_WRIST, P.RIGHT_WRIST),
        (P.LEFT_WRIST,),
        (P.RIGHT_WRIST,),
    ],
    ids=["wrists and ankles", "wrist and ankle", "ankles", "wrists", "left wrist", "right wrist"],
)
def test_push_offs_come_to_a_fifth_and_touches_to_half_a_second(
    turned: tuple[Rehearsal, Recording], worn: tuple[Placement, ...]
) -> None:
    """The legs' coming over in a flip turn gives the feet more speed than the push-off.

    So one of five push-offs that only ankles tell may be that.
    """
    rehearsal, recording = turned
    alone = {place.limb for place in worn} == {Limb.ANKLE}
    _holds(rehearsal, wearing(recording, *worn) if worn else recording, strays=int(alone))


def _holds(rehearsal: Rehearsal, recording: Recording, strays: int = 0) -> None:
    true = rehearsal.truth["lengths"]
    spans = LengthFinder().find(recording).spans
    assert len(spans) == len(true)
    starts = np.array([s.start_s for s in spans]) - true["start_s"].to_numpy()
    ends = np.array([s.end_s for s in spans]) - true["end_s"].to_numpy()
    assert (np.abs(starts) > 0.2).sum() <= strays
    assert (np.abs(ends) > 0.5).sum() <= strays


def test_a_gap_after_which_the_headings_begin_anew_is_no_turn(
    turned: tuple[Rehearsal, Recording],
) -> None:
    rehearsal, recording = turned
    row = rehearsal.truth["lengths"].iloc[1]
    middle_s = 0.5 * (row["start_s"] + row["end_s"])
    tracks = dict(recording.tracks)
    for place in (P.LEFT_ANKLE, P.RIGHT_ANKLE):
        tracks[place] = _broken(recording, tracks[place], middle_s)
    _holds(rehearsal, replace(recording, tracks=tracks))


@pytest.mark.parametrize("later_s", np.arange(0.0, 1.6, 0.2))
def test_a_gap_of_a_lone_wrist_is_no_turn_wherever_the_arm_was(
    turned: tuple[Rehearsal, Recording], later_s: float
) -> None:
    rehearsal, recording = turned
    row = rehearsal.truth["lengths"].iloc[1]
    gap_s = 0.5 * (row["start_s"] + row["end_s"]) + later_s
    lone = _lone_wrist(recording, gap_s, gap_s + 0.8)
    assert len(LengthFinder().find(lone).spans) == len(rehearsal.truth["lengths"])


@pytest.mark.parametrize("turn", [0, 1, 2])
def test_a_turn_in_a_gap_of_a_lone_wrist_still_ends_the_length(
    turned: tuple[Rehearsal, Recording], turn: int
) -> None:
    rehearsal, recording = turned
    true = rehearsal.truth["lengths"]
    lone = _lone_wrist(recording, true["end_s"].iloc[turn] - 0.8, true["end_s"].iloc[turn])
    spans = LengthFinder().find(lone).spans
    assert len(spans) == len(true)
    np.testing.assert_allclose([s.start_s for s in spans], true["start_s"], atol=0.2)


def _lone_wrist(recording: Recording, from_s: float, to_s: float) -> Recording:
    """Return the left wrist alone, without data for a while, oriented again."""
    track = recording.tracks[P.LEFT_WRIST]
    known = track.valid & ~((recording.time_s > from_s) & (recording.time_s < to_s))
    lone = replace(recording, tracks={P.LEFT_WRIST: replace(track, valid=known)})
    return orient(lone, Settings())


def test_a_bout_in_which_no_wrist_repeats_keeps_its_edges() -> None:
    """As in a session whose wrists were hardly heard yet."""
    time_s, unknown = np.arange(0.0, 30.0, 0.1), np.full(300, np.nan)
    wrist = {P.LEFT_WRIST: np.tile(np.eye(3).ravel(), (300, 1))}
    bouts = [(100, 200)]
    every = np.ones(300, dtype=bool)
    assert _reach_to_cycles(bouts, wrist, time_s, unknown, every, every) == bouts


def test_the_cycles_of_a_lone_wrist_end_where_it_turns_less() -> None:
    """A slow swing at the wall passes the fundamental's filter as the cycles do."""
    time_s = np.arange(0.0, 60.0, 0.08)
    turn = np.where(time_s < 40.0, 2.0 * np.pi * time_s / 1.5, 0.35 * np.pi * (time_s - 40.0))
    turn = np.where(time_s < 44.0, turn, 0.0)
    wrist = {
        P.LEFT_WRIST: Rotation.from_rotvec(np.outer(turn, [0.0, 1.0, 0.0]))
        .as_matrix()
        .reshape(-1, 9)
    }
    bouts, every = [(100, 545)], np.ones(len(time_s), dtype=bool)
    found = _reach_to_cycles(bouts, wrist, time_s, np.full(len(time_s), 1.5), every, every)
    assert time_s[found[0][1]] == pytest.approx(40.0, abs=1.0)


def _broken(recording: Recording, track: Track, gap_s: float) -> Track:
    """Return a sensor without data for a second, whose heading jumps by half a turn there."""
    time_s = recording.time_s
    q = Rotation.from_quat(track.q_world_from_sensor, scalar_first=True)
    jump = Rotation.from_rotvec(np.outer(np.where(time_s > gap_s, np.pi, 0.0), [0.0, 0.0, 1.0]))
    return replace(
        track,
        valid=track.valid & (np.abs(time_s - gap_s) > 0.5),
        q_world_from_sensor=(jump * q).as_quat(scalar_first=True),
    )


def test_idle_hands_at_the_wall_are_no_length() -> None:
    segments = [Stand(duration_s=6.0), Length(turn="stop"), Rest(duration_s=50.0)]
    kit = Kit(placements=(P.LEFT_WRIST, P.RIGHT_WRIST), clock_offset_s=0.0, drift_ppm=0.0)
    rehearsal = rehearse(Plan(segments=tuple(segments)), kit=kit, seed=3)
    assert len(LengthFinder().find(oriented(rehearsal)).spans) == 1


def test_a_turn_from_the_back_onto_the_front_is_a_turn() -> None:
    """Back to front and round together are half a turn about a level axis: no change of yaw."""
    segments = [Stand(duration_s=6.0), Length(activity="backstroke"), Length(turn="stop")]
    kit = Kit(placements=(P.LEFT_ANKLE, P.RIGHT_ANKLE), clock_offset_s=0.0, drift_ppm=0.0)
    plan = Plan(segments=(*segments, Rest(duration_s=4.0)))
    rehearsal = rehearse(plan, kit=kit, seed=72)
    _holds(rehearsal, oriented(rehearsal))


@pytest.mark.parametrize(
    ("knee_bend", "under_rad", "heels_up_rad", "planted_rad"),
    [(0.0, 1.2, 0.0, 0.0), (1.2, 1.2, 0.0, 0.0), (0.0, 0.3, 0.6, 0.0), (0.0, 0.7, 0.0, 0.9)],
    ids=["legs hang", "after a kick", "heels drawn up", "feet high on the wall"],
)
def test_feet_under_the_body_are_an_open_turn_though_the_knees_bend(
    knee_bend: float, under_rad: float, heels_up_rad: float, planted_rad: float
) -> None:
    time_s = np.arange(0.0, 30.0, 1.0 / RATE_HZ)
    kick = knee_bend * np.exp(-(((time_s - 19.7) / 0.1) ** 2))
    heels_up = heels_up_rad * np.exp(-(((time_s - 21.1) / 0.2) ** 2))
    share = np.clip((time_s - 20.0) / 1.3, 0.0, 1.0)
    round_rad = np.pi * share * share * (3.0 - 2.0 * share)
    under = -under_rad * np.sin(round_rad)
    planted = planted_rad * np.clip((time_s - 21.1) / 0.2, 0.0, 1.0)
    track = limb(P.LEFT_ANKLE, kick + under + heels_up + planted, 0 * time_s)
    yaw = Rotation.from_rotvec(np.outer(round_rad, [0.0, 0.0, 1.0]))
    q = yaw * Rotation.from_quat(track.q_world_from_sensor, scalar_first=True)
    track = replace(track, q_world_from_sensor=q.as_quat(scalar_first=True))
    found = WallFinder().contact_before(
        recording_of(time_s, track), 21.4, (2.0, 20.5), {P.LEFT_ANKLE: 1.0}
    )
    assert not found.by_feet
    assert found.at_s == pytest.approx(20.0, abs=0.3)
