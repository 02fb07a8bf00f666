"""Placing sensors by movement, from the rule to a recording of sensors without labels."""

from __future__ import annotations

import asyncio
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from sensorswim.live.placing import ASKED, who_moved
from sensorswim.model import Placement
from tests.live.chain import Chain


@pytest.mark.parametrize(
    ("turning", "moved"),
    [
        ({}, None),
        ({1: 20.0}, None),
        ({1: 90.0}, 1),
        ({1: 90.0, 2: 10.0, 3: 0.0}, 1),
        ({1: 90.0, 2: 60.0}, None),
        ({1: 5.0, 2: 6.0}, None),
    ],
)
def test_only_one_clearly_moving_sensor_is_taken(
    turning: dict[int, float], moved: int | None
) -> None:
    assert who_moved(turning) == moved


def move_when_asked(chain: Chain, order: list[int]) -> None:
    """Let the sensors (by index) lie still, and turn one after the other for five seconds each."""
    for index, item in enumerate(chain.worn):
        motion = item.device.motion
        begin_s = motion.time_s[0] + 2.0 + 6.0 * order.index(index)
        moving = (motion.time_s > begin_s) & (motion.time_s < begin_s + 5.0)
        counts = np.zeros_like(motion.counts)
        counts[:, 2] = 2048
        counts[moving, 4] = 2000
        item.device.motion = replace(motion, counts=counts)


def test_sensors_without_labels_get_their_places_from_the_limb_that_moves(tmp_path: Path) -> None:
    chain = Chain(tmp_path / "swim", dry=True, speed=4.0)
    order = [2, 0, 3, 1]
    for item in chain.worn:
        item.device.label = None
    move_when_asked(chain, order)
    chain.clock.begin()
    built = asyncio.run(chain.record(until_s=28.0))
    labels = [chain.worn[index].device.label for index in order]
    assert labels == list(ASKED)
    assert set(built.samples) == set(ASKED)
    assert sum("Move only" in line for line in chain.told) == 4
    assert Placement.LEFT_WRIST in built.samples
