"""A swimmer who stops on the way and goes on has swum one length."""

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
    found = without_stops(spans, _legs(turned_s))
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
    assert len(without_stops((*_WHOLE[:2], first, second, _WHOLE[2]), both)) == 4
