"""One recording through emulated water that several tests look at."""

from __future__ import annotations

import asyncio

import pytest

from sensorswim.live.build import Built
from tests.live.chain import Chain


@pytest.fixture(scope="session")
def recorded(tmp_path_factory: pytest.TempPathFactory) -> tuple[Chain, Built]:
    chain = Chain(tmp_path_factory.mktemp("recorded") / "swim", speed=16.0)
    return chain, asyncio.run(chain.record(until_s=chain.end_s))
