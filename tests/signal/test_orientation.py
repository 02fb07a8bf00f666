"""orient(): known turns, gaps, turned sensors, and the other filters."""

from dataclasses import replace

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from sensorswim.errors import SettingsError
from sensorswim.model import Placement, Recording, Settings, Track
from sensorswim.signal import accel_world, orient, up_in_sensor
from sensorswim.signal.orientation import ESTIMATORS
from sensorswim.signal.rotations import angle_between

WRIST, G, RATE_HZ = Placement.LEFT_WRIST, 9.80665, 100.0


def known_turn(count=3000, push_m_s2=0.0):
    """A sensor that stands for 3 s, then swings about all axes; returns track and Rotation."""
    time_s = np.arange(count) / RATE_HZ
    go = np.clip(time_s - 3.0, 0.0, None)
    angles = np.stack([np.sin(3.0 * go), 0.8 * np.sin(2.1 * go), 1.5 * np.sin(go)], axis=1)
    turns = Rotation.from_euler("zyx", angles)
    between = (turns[:-1].inv() * turns[1:]).as_rotvec() * RATE_HZ
    gyro = np.concatenate([between[:1], between])
    force = np.tile([0.0, 0.0, G], (count, 1))
    force[:, 0] += push_m_s2 * np.sin(2.0 * np.pi * time_s)
    track = Track(
        placement=WRIST,
        accel_m_s2=turns.inv().apply(force),
        gyro_rad_s=gyro,
        valid=np.ones(count, dtype=bool),
        source_rate_hz=RATE_HZ,
    )
    return track, turns


def oriented(track, name="vqf"):
    time_s = np.arange(len(track.valid)) / RATE_HZ
    recording = Recording(rate_hz=RATE_HZ, time_s=time_s, tracks={WRIST: track})
    return orient(recording, Settings(orientation_filter=name)).tracks[WRIST]


def tilt_error_deg(track, turns):
    truth = turns.inv().apply([0.0, 0.0, 1.0])
    return np.degrees(angle_between(up_in_sensor(track.q_world_from_sensor), truth))


@pytest.mark.parametrize(
    ("name", "bar_deg"), [("vqf", 0.5), ("madgwick", 4.0), ("mahony", 2.0), ("ekf", 2.0)]
)
def test_a_known_turn_is_found(name, bar_deg):
    track, turns = known_turn()
    assert tilt_error_deg(oriented(track, name), turns).max() < bar_deg


@pytest.mark.parametrize("name", ["vqf", "madgwick", "mahony", "ekf"])
def test_the_heading_changes_as_the_sensor_turns(name):
    track, turns = known_turn()
    q = Rotation.from_quat(oriented(track, name).q_world_from_sensor, scalar_first=True)
    free = q[300] * turns[300].inv()
    assert np.degrees((q[300:] * (free * turns[300:]).inv()).magnitude()).max() < 4.0


@pytest.mark.parametrize("name", ESTIMATORS)
@pytest.mark.parametrize("up", [[0, 0, 1], [0, 0, -1], [1, 0, 0], [0, -1, 0], [0.6, -0.48, 0.64]])
def test_every_filter_starts_and_stays_at_the_right_tilt(name, up):
    track, _ = known_turn(500)
    still = replace(
        track, accel_m_s2=np.tile(G * np.array(up, float), (500, 1)), gyro_rad_s=np.zeros((500, 3))
    )
    done = oriented(still, name)
    assert np.degrees(angle_between(up_in_sensor(done.q_world_from_sensor), up)).max() < 0.1
    np.testing.assert_allclose(accel_world(done), 0.0, atol=0.02)


def test_turning_the_sensor_in_its_strap_turns_the_answer_with_it():
    track, turns = known_turn()
    strap = Rotation.from_rotvec([0.4, -1.1, 0.7])
    turned = replace(
        track, accel_m_s2=strap.apply(track.accel_m_s2), gyro_rad_s=strap.apply(track.gyro_rad_s)
    )
    a, b = oriented(track), oriented(turned)
    up = strap.apply(up_in_sensor(a.q_world_from_sensor))
    assert np.degrees(angle_between(up, up_in_sensor(b.q_world_from_sensor))).max() < 0.1
    assert tilt_error_deg(b, turns * strap.inv()).max() < 0.5


def test_world_acceleration_is_the_push_without_gravity():
    track, turns = known_turn(push_m_s2=2.0)
    done = oriented(track)
    q = Rotation.from_quat(done.q_world_from_sensor, scalar_first=True)
    push = (turns * q.inv()).apply(accel_world(done))[300:]
    truth = 2.0 * np.sin(2.0 * np.pi * np.arange(3000) / RATE_HZ)[300:]
    assert np.abs(push[:, 0] - truth).max() < 0.3
    assert np.abs(push[:, 2]).max() < 0.3


def test_nothing_in_a_gap_reaches_the_pieces_around_it():
    track, turns = known_turn()
    valid = track.valid.copy()
    valid[1200:1400] = False
    wild = track.gyro_rad_s.copy()
    wild[1200:1400] = 50.0
    a = oriented(replace(track, valid=valid))
    b = oriented(replace(track, valid=valid, gyro_rad_s=wild))
    np.testing.assert_array_equal(a.q_world_from_sensor, b.q_world_from_sensor)
    assert tilt_error_deg(a, turns)[valid].max() < 1.5
    held = a.q_world_from_sensor[1199:1400]
    np.testing.assert_array_equal(held, np.tile(held[0], (201, 1)))


def test_each_piece_alone_gives_what_the_whole_gave_but_for_where_it_heads():
    track, _ = known_turn()
    valid = track.valid.copy()
    valid[1200:1400] = False
    whole = oriented(replace(track, valid=valid)).q_world_from_sensor[1400:]
    alone = oriented(
        Track(
            placement=WRIST,
            accel_m_s2=track.accel_m_s2[1400:],
            gyro_rad_s=track.gyro_rad_s[1400:],
            valid=track.valid[1400:],
            source_rate_hz=RATE_HZ,
        )
    ).q_world_from_sensor
    turned = [Rotation.from_quat(q, scalar_first=True) for q in (whole, alone)]
    apart = (turned[0] * turned[1].inv()).as_rotvec()
    np.testing.assert_allclose(apart, np.tile(apart[0], (len(apart), 1)), atol=1e-9)
    np.testing.assert_allclose(apart[0, :2], 0.0, atol=1e-9)


@pytest.mark.parametrize("roll_deg", [0.0, 60.0])
def test_behind_a_gap_a_body_heads_where_it_headed_before(roll_deg):
    """A level body turns by 130 degrees, rolls on and loses a second; 0 would be a heading anew."""
    time_s = np.arange(3000) / RATE_HZ
    heading = 130.0 * np.clip((time_s - 3.0) / 3.0, 0.0, 1.0)
    roll = 45.0 * np.sin(2.0 * np.pi * (time_s - 12.0) / 2.0) + roll_deg * (time_s > 12.5)
    turns = Rotation.from_euler("ZX", np.stack([heading, roll], axis=1), degrees=True)
    between = (turns[:-1].inv() * turns[1:]).as_rotvec() * RATE_HZ
    track = Track(
        placement=WRIST,
        accel_m_s2=turns.inv().apply(np.tile([0.0, 0.0, G], (3000, 1))),
        gyro_rad_s=np.concatenate([between[:1], between]),
        valid=(time_s < 12.0) | (time_s > 13.0),
        source_rate_hz=RATE_HZ,
    )
    q = Rotation.from_quat(oriented(track).q_world_from_sensor, scalar_first=True)
    ahead = (q * turns.inv()).apply(turns.apply([1.0, 0.0, 0.0]))
    before, behind = ahead[1000:1200].mean(axis=0), ahead[1310:1600].mean(axis=0)
    assert before @ behind > 0.95 * np.linalg.norm(before) * np.linalg.norm(behind)


@pytest.mark.parametrize("count", [0, 1, 2, 3, 4, 5])
def test_tiny_pieces_are_unit_and_finite(count):
    track, _ = known_turn(20)
    valid = np.zeros(20, dtype=bool)
    valid[7 : 7 + count] = True
    q = oriented(replace(track, valid=valid)).q_world_from_sensor
    np.testing.assert_allclose(np.linalg.norm(q, axis=1), 1.0, atol=1e-9)


def test_an_unknown_filter_is_one_clear_line():
    track, _ = known_turn(10)
    with pytest.raises(SettingsError, match=r"orientation_filter 'best' isn't known; choose"):
        oriented(track, "best")


def test_world_acceleration_before_orientation_is_refused():
    with pytest.raises(ValueError, match="call orient first"):
        accel_world(known_turn(10)[0])
