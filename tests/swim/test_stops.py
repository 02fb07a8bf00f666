"""A swimmer who stops on the way and goes on has swum one length, with and without legs worn."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from sensorswim.model import Placement, Recording, Track
from sensorswim.swim.spans import LengthSpan, without_stops

RATE_HZ = 20.0


def _span(start_s: float, end_s: float, *, pushed: bool = True) -> LengthSpan:
    return LengthSpan(start_s=start_s, end_s=end_s, starts_at_wall=pushed, ends_at_wall=True)


def _legs(turned_from_s: float) -> Recording:
    """Return an ankle that points one way until the swimmer has turned round."""
    time_s = np.arange(0.0, 200.0, 1.0 / RATE_HZ)
    yaw = np.where(time_s < turned_from_s, 0.0, np.pi)
    q = Rotation.from_rotvec(np.outer(yaw, [0.0, 0.0, 1.0])).as_quat(scalar_first=True)
    track = Track(
        placement=Placement.LEFT_ANKLE,
        accel_m_s2=np.tile([0.0, 0.0, 9.80665], (len(time_s), 1)),
        gyro_rad_s=np.zeros((len(time_s), 3)),
        valid=np.ones(len(time_s), dtype=bool),
        source_rate_hz=RATE_HZ,
        q_world_from_sensor=q,
    )
    return Recording(rate_hz=RATE_HZ, time_s=time_s, tracks={track.placement: track})


_WHOLE = (_span(0.0, 25.0), _span(30.0, 56.0), _span(150.0, 176.0))


@pytest.mark.parametrize(
    ("first", "second", "turned_s", "joined"),
    [
        (_span(70.0, 83.0), _span(88.0, 100.0, pushed=False), 300.0, True),
        (_span(70.0, 83.0), _span(88.0, 100.0), 300.0, False),
        (_span(70.0, 83.0), _span(88.0, 100.0, pushed=False), 85.0, False),
        (_span(70.0, 83.0), _span(103.0, 115.0, pushed=False), 300.0, False),
        (_span(70.0, 94.0), _span(98.0, 124.0, pushed=False), 300.0, False),
        (_span(70.0, 76.0), _span(80.0, 86.0, pushed=False), 300.0, False),
    ],
    ids=["goes on", "pushes off", "turns round", "rests", "two lengths", "two parts of two"],
)
def test_the_parts_of_a_length_are_joined(
    first: LengthSpan, second: LengthSpan, turned_s: float, joined: bool
) -> None:
    spans = (*_WHOLE[:2], first, second, _WHOLE[2])
    found = without_stops(spans, _legs(turned_s), 13.9)
    assert len(found) == 5 - joined
    if joined:
        assert (found[2].start_s, found[2].end_s) == (first.start_s, second.end_s)
        assert found[2].starts_at_wall


def test_an_ankle_without_data_has_no_say() -> None:
    first, second = _span(70.0, 83.0), _span(88.0, 100.0, pushed=False)
    legs = _legs(300.0)
    track = legs.tracks[Placement.LEFT_ANKLE]
    blind = replace(track, placement=Placement.RIGHT_ANKLE, valid=legs.time_s < 87.0)
    both = replace(legs, tracks=legs.tracks | {blind.placement: blind})
    assert len(without_stops((*_WHOLE[:2], first, second, _WHOLE[2]), both, 13.9)) == 4


def _arm(
    turned_from_s: float,
    *,
    turned_rad: float = np.pi,
    evenly: bool = False,
    idly_until_s: float = 0.0,
) -> Recording:
    """Return a wrist that swings to and fro, or goes round, on the second way back and forth.

    The third length goes the way of the first, until the swimmer has turned.
    """
    time_s = np.arange(0.0, 200.0, 1.0 / RATE_HZ)
    phase = 2.0 * np.pi * time_s / 1.6
    swing = Rotation.from_rotvec(np.outer(phase if evenly else np.sin(phase), [0.0, 1.0, 0.0]))
    turned_over = 2.4 * evenly * np.sin(2.0 * phase)
    over = Rotation.from_rotvec(np.outer(turned_over, [1.0, 0.0, 0.0]))
    back = (time_s > 27.0) & (time_s < 63.0)
    yaw = np.pi * back + turned_rad * (time_s > turned_from_s)
    q = (Rotation.from_rotvec(np.outer(yaw, [0.0, 0.0, 1.0])) * swing * over).as_quat(
        scalar_first=True
    )
    leg = _legs(300.0).tracks[Placement.LEFT_ANKLE]
    turning = np.outer(np.where(time_s < idly_until_s, 2.0, 4.0), [0.0, 1.0, 0.0])
    track = replace(leg, placement=Placement.RIGHT_WRIST, q_world_from_sensor=q, gyro_rad_s=turning)
    return Recording(rate_hz=RATE_HZ, time_s=time_s, tracks={track.placement: track})


@pytest.mark.parametrize(
    ("spans", "arm", "joined"),
    [
        ((_span(70.0, 83.0), _span(91.0, 103.0, pushed=False)), _arm(300.0), True),
        ((_span(70.0, 83.0), _span(91.0, 103.0)), _arm(300.0), True),
        ((_span(70.0, 83.0, pushed=False), _span(91.0, 103.0)), _arm(300.0), False),
        ((_span(70.0, 83.0), _span(91.0, 103.0)), _arm(85.0), False),
        ((_span(70.0, 83.0), _span(91.0, 103.0)), _arm(85.0, turned_rad=0.5), True),
        ((_span(70.0, 83.0), _span(91.0, 103.0)), _arm(300.0, evenly=True), False),
        ((_span(70.0, 83.0), _span(91.0, 103.0)), _arm(300.0, idly_until_s=87.0), False),
        ((_span(70.0, 83.0), _span(99.0, 110.0)), _arm(300.0), False),
        ((_span(70.0, 96.0), _span(100.0, 126.0)), _arm(300.0), False),
    ],
    ids=[
        "goes on",
        "seems to push off",
        "pushes off after idling",
        "turns round",
        "swims on askew",
        "no heading",
        "trod water",
        "rests",
        "two lengths",
    ],
)
def test_arms_alone_tell_the_parts_of_a_length(
    spans: tuple[LengthSpan, ...], arm: Recording, joined: bool
) -> None:
    assert len(without_stops((*_WHOLE[:2], *spans, _WHOLE[2]), arm, 13.9)) == 5 - joined


def test_an_arm_that_lost_data_on_the_way_joins_nothing() -> None:
    arm = _arm(300.0)
    track = arm.tracks[Placement.RIGHT_WRIST]
    holed = replace(track, valid=np.abs(arm.time_s - 87.0) > 0.5)
    recording = replace(arm, tracks={track.placement: holed})
    parts = _span(70.0, 83.0), _span(91.0, 103.0, pushed=False)
    assert len(without_stops((*_WHOLE[:2], *parts, _WHOLE[2]), recording, 13.9)) == 5


@pytest.mark.parametrize(
    ("spans", "count"),
    [
        ((_span(70.0, 87.4), _span(99.0, 116.2)), 2),
        ((_span(70.0, 78.0), _span(86.0, 95.0, pushed=False)), 1),
        ((_span(70.0, 78.0), _span(84.0, 92.0), _span(98.0, 106.0)), 1),
        ((_span(70.0, 86.0), _span(90.0, 106.0), _span(150.0, 183.0)), 2),
        ((_span(70.0, 86.0), _span(90.0, 106.0), _span(150.0, 171.0)), 3),
        ((_span(75.0, 74.0), _span(76.0, 84.0)), 2),
    ],
    ids=[
        "a length between, swum without arms",
        "alone",
        "two stops",
        "slow",
        "as slow as one length each",
        "empty",
    ],
)
def test_two_lengths_are_told_from_the_parts_of_one(
    spans: tuple[LengthSpan, ...], count: int
) -> None:
    """Each of two is long enough for anybody to have come to the other end, in 25 m here."""
    assert len(without_stops(spans, _arm(300.0), 13.9)) == count
