"""Limbs at work, told from idle hands and from sensors that somebody carries about."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from scipy.ndimage import gaussian_filter1d
from scipy.spatial.transform import Rotation

from sensorswim.model import Limb, Placement, Recording, Track
from sensorswim.swim.at_work import (
    arms_at_work,
    body_at_work,
    carried_as_one,
    works_from_s,
    works_until_s,
)
from sensorswim.swim.lengths import LengthFinder
from sensorswim.swim.spans import LengthSpan, without_bits
from tests.swim.limbs import limb, recording_of

RATE_HZ = 100.0
SECONDS = 30.0
WORN = (
    Placement.LEFT_WRIST, Placement.RIGHT_WRIST, Placement.LEFT_ANKLE, Placement.RIGHT_ANKLE,
)  # fmt: skip


def _moved(placement: Placement, angles_rad: np.ndarray) -> Track:
    """Return a sensor that turns by yaw, pitch and roll (N, 3), without other acceleration."""
    turns = Rotation.from_euler("ZYX", angles_rad)
    steps = (turns[:-1].inv() * turns[1:]).as_rotvec() * RATE_HZ
    return Track(
        placement=placement,
        accel_m_s2=turns.inv().apply([0.0, 0.0, 9.80665]),
        gyro_rad_s=np.vstack([steps, steps[-1:]]),
        valid=np.ones(len(angles_rad), dtype=bool),
        source_rate_hz=RATE_HZ,
        q_world_from_sensor=turns.as_quat(scalar_first=True),
    )


def _recording(*tracks: Track) -> Recording:
    count = len(tracks[0].valid)
    return Recording(
        rate_hz=RATE_HZ,
        time_s=np.arange(count) / RATE_HZ,
        tracks={track.placement: track for track in tracks},
    )


def _carried(seed: int, *, wrists_rad: float = 0.15) -> Recording:
    """Return four sensors in hands: they lie more or less level and turn about any axis."""
    rng = np.random.default_rng(seed)
    tracks = []
    for placement in WORN:
        noise = gaussian_filter1d(rng.normal(size=(int(SECONDS * RATE_HZ), 3)), 25.0, axis=0)
        size_rad = wrists_rad if placement.limb is Limb.WRIST else 0.15
        tracks.append(_moved(placement, size_rad * noise / noise.std(axis=0)))
    return _recording(*tracks)


def _kicking() -> Recording:
    """Return idle hands on a board, and shanks that swing by 15 degrees twice a second."""
    time_s = np.arange(0.0, SECONDS, 1.0 / RATE_HZ)
    still = np.zeros((len(time_s), 3))
    swing = np.deg2rad(15.0) * np.sin(2.0 * np.pi * 2.0 * time_s)
    legs = [
        _moved(place, np.column_stack([still[:, 0], sign * swing, 0.1 * swing]))
        for place, sign in zip(WORN[2:], (1.0, -1.0), strict=True)
    ]
    return _recording(*(_moved(place, still) for place in WORN[:2]), *legs)


def test_shanks_that_kick_turn_about_one_axis_and_carried_ones_about_any() -> None:
    whole = slice(None)
    assert body_at_work(_kicking(), whole)
    assert not any(body_at_work(_carried(seed), whole) for seed in range(5))
    assert not arms_at_work(_kicking(), whole)
    assert not any(arms_at_work(_carried(seed), whole) for seed in range(5))


def test_without_ankles_or_trunk_nobody_can_tell() -> None:
    tracks = _carried(1).tracks
    assert body_at_work(_recording(tracks[Placement.LEFT_WRIST]), slice(None))


@pytest.mark.parametrize("place", [Placement.LEFT_ANKLE, Placement.LOWER_BACK])
def test_legs_or_a_trunk_that_idle_level_at_the_wall_swim_no_length(place: Placement) -> None:
    """They are moved now and then, and lie still in between; a swimmer's go on and on."""
    time_s = np.arange(0.0, SECONDS, 1.0 / RATE_HZ)
    slowly = 1.2 * np.sin(0.4 * time_s)
    rolls = 0.8 * np.sin(2.0 * np.pi * 0.7 * time_s) + 0.05 * np.sin(2.0 * np.pi * 3.0 * time_s)
    for angle, lengths in ((slowly, 0), (rolls, 1)):
        still = 0.0 * angle
        lone = _recording(_moved(place, np.column_stack([still, 0.3 * angle, angle])))
        assert body_at_work(lone, slice(None)) == bool(lengths)
        assert len(LengthFinder().find(lone).spans) == lengths


def test_an_ankle_without_data_hides_no_kicking() -> None:
    tracks = dict(_kicking().tracks)
    lost = tracks[Placement.LEFT_ANKLE]
    tracks[Placement.LEFT_ANKLE] = replace(lost, valid=np.zeros_like(lost.valid))
    assert body_at_work(_recording(*tracks.values()), slice(None))


def test_sensors_that_are_carried_about_swim_no_length() -> None:
    assert not any(len(LengthFinder().find(_carried(seed)).spans) for seed in range(5))
    assert len(LengthFinder().find(_kicking()).spans) == 1


def test_a_short_sprint_from_the_wall_is_a_length_bits_without_a_push_off_are_none() -> None:
    spans = tuple(
        LengthSpan(start_s=at_s, end_s=at_s + 6.0, starts_at_wall=wall, ends_at_wall=True)
        for at_s, wall in ((0.0, True), (20.0, False))
    )
    assert without_bits(spans, 7.0) == spans[:1]


@pytest.mark.parametrize(("pool_length_m", "lengths"), [(25.0, 0), (15.0, 1)])
def test_what_takes_less_than_anybody_to_the_other_end_is_no_length(
    pool_length_m: float, lengths: int
) -> None:
    time_s = np.arange(0.0, SECONDS, 1.0 / RATE_HZ)
    swing = 0.26 * np.sin(2.0 * np.pi * 2.0 * time_s) * (np.abs(time_s - 15.0) < 3.2)
    lies = np.pi / 2 * (np.abs(time_s - 15.0) > 3.2)
    kicking = _recording(
        *(
            _moved(place, np.column_stack([0.0 * swing, lies + sign * swing, 0.0 * swing]))
            for place, sign in zip(WORN[2:], (1.0, -1.0), strict=True)
        )
    )
    found = LengthFinder().find(kicking, pool_length_m=pool_length_m).spans
    assert len(found) == lengths


def test_wrists_that_are_shaken_without_any_rhythm_swim_no_length() -> None:
    for seed in range(5):
        shaken = _carried(seed, wrists_rad=0.6)
        assert arms_at_work(shaken, slice(None))
        assert not len(LengthFinder().find(shaken).spans)


def test_hands_that_swing_slowly_and_steadily_at_the_wall_swim_on_in_no_length() -> None:
    time_s = np.arange(0.0, 60.0, 1.0 / RATE_HZ)
    strokes, sways = 2.0 * np.pi * time_s / 1.4, 1.0 * np.sin(2.0 * np.pi * time_s / 4.0)
    turn = np.where(time_s < 30.0, strokes, strokes[int(30.0 * RATE_HZ)] + sways)
    wrist = _moved(Placement.LEFT_WRIST, np.column_stack([0.0 * turn, 0.0 * turn, turn]))
    (span,) = LengthFinder().find(_recording(wrist)).spans
    assert span.end_s == pytest.approx(30.0, abs=2.0)


def test_work_begins_after_idling_and_a_lull_in_it_is_no_beginning() -> None:
    """Idle to 8 s, at work to 22 s, a lull of 4 s, a last stroke."""
    time_s = np.arange(0.0, SECONDS, 1.0 / RATE_HZ)
    works = ((time_s > 8.0) & (time_s < 22.0)) | ((time_s > 26.0) & (time_s < 28.0))
    swing = np.where(works, np.sin(2.0 * np.pi * time_s), 0.0)
    wrist = _moved(Placement.LEFT_WRIST, np.column_stack([0.0 * swing, swing, 0.0 * swing]))
    assert works_from_s(_recording(wrist), 0.0, SECONDS) == pytest.approx(8.0, abs=1.0)
    still = _moved(Placement.LEFT_WRIST, np.zeros((len(time_s), 3)))
    assert works_from_s(_recording(still), 3.0, SECONDS) == 3.0


def test_work_is_over_where_limbs_idle_on_for_longer_than_a_glide() -> None:
    """At work to 20 s, then feet that sway a little; who lies still for 2 s only glides."""
    time_s = np.arange(0.0, SECONDS, 1.0 / RATE_HZ)
    size = np.where(time_s < 20.0, 0.3, 0.02)
    ankle = _moved(Placement.LEFT_ANKLE, np.outer(size * np.sin(12.0 * time_s), [0.0, 1.0, 0.0]))
    assert works_until_s(_recording(ankle), 0.0, SECONDS) == pytest.approx(20.0, abs=1.0)
    assert works_until_s(_recording(ankle), 0.0, 22.0) == 22.0
    back = _moved(Placement.LOWER_BACK, np.zeros((len(time_s), 3)))
    assert works_until_s(_recording(back), 0.0, SECONDS) == SECONDS


@pytest.mark.parametrize("from_s", [0.0, 20.0])
@pytest.mark.parametrize("zeros", [True, False], ids=["rows of zeros", "a gap"])
def test_a_limb_without_data_may_be_at_work(from_s: float, zeros: bool) -> None:
    time_s = np.arange(0.0, SECONDS, 1.0 / RATE_HZ)
    ankle = _moved(Placement.LEFT_ANKLE, np.outer(0.3 * np.sin(12.0 * time_s), [0.0, 1.0, 0.0]))
    lost = time_s >= from_s
    turn = np.where(lost[:, None], 0.0 if zeros else 0.01, ankle.gyro_rad_s)
    ankle = replace(ankle, gyro_rad_s=turn, valid=ankle.valid if zeros else ~lost)
    assert works_until_s(_recording(ankle), 0.0, SECONDS) == SECONDS


def test_ankle_sensors_that_are_strapped_on_turn_about_one_axis_but_kick_no_length() -> None:
    time_s = np.arange(0.0, SECONDS, 1.0 / RATE_HZ)
    once = np.deg2rad(70.0) * np.tanh(2.0 * (time_s - 12.0))
    strapped = _carried(2).tracks | {
        place: _moved(place, np.column_stack([0.2 * once, 0.0 * once, 0.4 * np.sin(time_s)]))
        for place in WORN[2:]
    }
    assert not body_at_work(_recording(*strapped.values()), slice(None))
    assert not len(LengthFinder().find(_recording(*strapped.values())).spans)


@pytest.mark.parametrize(
    ("places", "apart_rad", "carried"),
    [(WORN, 0.05, True), (WORN, 0.6, False), (WORN[:2], 0.05, False), (WORN[2:], 0.05, False)],
    ids=["in one hand", "each its own way", "wrists alone", "ankles alone"],
)
def test_sensors_that_all_turn_alike_are_in_one_hand(
    places: tuple[Placement, ...], apart_rad: float, carried: bool
) -> None:
    """A bag that is swung; wrists alone, or ankles, turn alike in breaststroke, too."""
    rng = np.random.default_rng(4)
    noise = gaussian_filter1d(rng.normal(size=(4, int(SECONDS * RATE_HZ), 3)), 25.0, axis=1)
    own = apart_rad * noise / noise.std(axis=1, keepdims=True)
    time_s = np.arange(noise.shape[1]) / RATE_HZ
    swing = np.outer(np.sin(2.0 * np.pi * time_s / 1.6), [0.0, 0.9, 0.3])
    recording = _recording(*(_moved(p, swing + o) for p, o in zip(places, own, strict=False)))
    rows = slice(0, len(recording.time_s))
    assert arms_at_work(recording, rows) or not any(p.limb is Limb.WRIST for p in places)
    assert carried_as_one(recording, rows) is carried
    if carried:
        assert LengthFinder().find(recording).spans == ()


@pytest.mark.parametrize("hole", ["gap", "rest"])
def test_arms_and_legs_that_rest_together_or_lose_data_together_are_not_in_one_hand(
    hole: str,
) -> None:
    rng = np.random.default_rng(5)
    rate = gaussian_filter1d(rng.normal(size=(4, int(SECONDS * RATE_HZ))), 15.0, axis=1)
    rate = 3.0 + rate / rate.std(axis=1, keepdims=True)
    second = np.arange(rate.shape[1]) > rate.shape[1] // 2
    tracks = []
    for placement, own in zip(WORN, rate, strict=True):
        turning = np.where(second & (hole == "rest"), 0.2, own)
        track = _moved(placement, np.zeros((len(own), 3)))
        known = track.valid & ~(second & (hole == "gap"))
        gyro = np.outer(turning, [0.0, 1.0, 0.0])
        tracks.append(replace(track, gyro_rad_s=gyro, valid=known))
    assert not carried_as_one(_recording(*tracks), slice(0, rate.shape[1]))


@pytest.mark.parametrize(("kicks_s", "found"), [(9.0, 0), (17.0, 1)])
def test_legs_that_move_as_in_a_kick_for_less_than_a_pool_takes_kick_no_length(
    kicks_s: float, found: int
) -> None:
    """As where sensors are strapped on: nobody pushed off, and the arms do not swim."""
    time_s = np.arange(0.0, 60.0, 1.0 / RATE_HZ)
    kicks = (time_s > 20.0) & (time_s < 20.0 + kicks_s)
    tilt = np.where(kicks, 0.0, -1.4)
    tilt = gaussian_filter1d(tilt, 0.3 * RATE_HZ)
    flutter = 0.3 * np.sin(2 * np.pi * 1.6 * time_s) * kicks
    idle = -1.2 + 0.2 * np.sin(2 * np.pi * 0.3 * time_s)
    recording = recording_of(
        time_s,
        limb(Placement.LEFT_ANKLE, tilt + flutter, 0.0 * time_s),
        limb(Placement.RIGHT_ANKLE, tilt - flutter, 0.0 * time_s),
        limb(Placement.LEFT_WRIST, idle, 0.0 * time_s),
    )
    assert len(LengthFinder().find(recording).spans) == found
