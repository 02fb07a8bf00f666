"""The hub that keeps cards fresh, on a finished recording whose data all come at once."""

from __future__ import annotations

import asyncio
import shutil
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from sensorswim.live.build import Built
from sensorswim.live.job import Job
from sensorswim.live.rolling import RollingAnalysis
from sensorswim.live.watch import LiveHub, _Run
from tests.live.chain import Chain
from tests.live.growing import Growing

PATIENCE_S = 60.0
Told = list[dict[str, Any]]


async def told_until(hub: LiveHub, enough: Callable[[Told], bool]) -> Told:
    """Return a hub's messages up to the one that is enough."""
    messages: Told = []
    queue, running = hub.subscribe(), asyncio.ensure_future(hub.run())
    try:
        async with asyncio.timeout(PATIENCE_S):
            while not enough(messages):
                messages.append(await queue.get())
    finally:
        running.cancel()
    return messages


def lengths_told(messages: Told) -> dict[str, int]:
    return {m["key"]: m["figures"]["lengths"]["count"] for m in messages if m["figures"]}


@pytest.fixture
def two(recorded: tuple[Chain, Built], tmp_path: Path) -> list[Path]:
    return [
        shutil.copytree(
            recorded[0].folder,
            tmp_path / name,
        )
        for name in ("one", "other")
    ]


def test_a_run_that_fails_is_told_and_stops_nobody(
    two: list[Path], monkeypatch: pytest.MonkeyPatch
) -> None:
    usual, broken = RollingAnalysis.whole_job, set()

    def first_broken_job(rolling: RollingAnalysis) -> Job:
        job = usual(rolling)
        first = rolling not in broken
        broken.add(rolling)
        return replace(job, settings=None) if first else job

    monkeypatch.setattr(RollingAnalysis, "whole_job", first_broken_job)
    hub = LiveHub(two)
    told = asyncio.run(
        told_until(
            hub, lambda m: lengths_told(m) == {"one": 2, "other": 2} and not m[-1]["trouble"]
        )
    )
    troubles = {(m["key"], m["trouble"].split(":")[0]) for m in told if m["trouble"]}
    assert troubles == {("one", "AttributeError"), ("other", "AttributeError")}
    assert all(hub.swimmers[name].trouble is None for name in ("one", "other"))


def test_figures_that_are_new_say_when_their_data_had_come(two: list[Path]) -> None:
    told = asyncio.run(told_until(LiveHub(two[:1]), lambda m: lengths_told(m) == {"one": 2}))
    before, last = told[-2], told[-1]
    assert before["figures"] is None or before["figures"] != last["figures"]
    assert last["arrived_us"] > 0


def test_the_next_run_does_not_wait_for_one_that_cannot_see_what_is_due(two: list[Path]) -> None:
    begun: list[tuple[Job, asyncio.Event]] = []

    async def done_when_let(job: Job) -> None:
        begun.append((job, asyncio.Event()))
        await begun[-1][1].wait()

    async def begin() -> list[tuple[int, int]]:
        hub, growing = LiveHub(two[:1]), Growing(two[0])
        hub._elsewhere.run = done_when_let
        swimmer = hub.swimmers["one"]
        swimmer.rolling, swimmer.fresh_us = growing.rolling, 1
        counts = []
        for until_s, last_done in ((28.0, False), (29.0, False), (31.0, True), (35.0, False)):
            growing.give_until(until_s)
            swimmer.settle()
            hub._begin_quick()
            await asyncio.sleep(0.0)
            if last_done:
                begun[-1][1].set()
                await asyncio.sleep(0.01)
            hub._collect()
            counts.append((len(begun), len(hub._quick)))
        return counts

    assert asyncio.run(begin()) == [(1, 1), (1, 1), (2, 1), (3, 2)]
    assert begun[0][0].end_s < begun[1][0].end_s < begun[2][0].end_s


def test_a_whole_run_waits_since_the_data_that_made_it_due_had_come(
    two: list[Path], monkeypatch: pytest.MonkeyPatch
) -> None:
    came_us = 1_000_000
    monkeypatch.setattr("sensorswim.live.rolling.REST", 1e6)

    async def never_done(_job: Job) -> None:
        await asyncio.Event().wait()

    async def waits_us() -> tuple[int | None, int | None]:
        hub, growing = LiveHub(two[:1]), Growing(two[0])
        hub._elsewhere.run = never_done
        swimmer, rolling = hub.swimmers["one"], growing.rolling
        swimmer.rolling = rolling
        growing.give_until(28.0)
        rolling.run_whole()
        growing.give_until(52.0)
        job, told = rolling.quick_job(), asyncio.get_running_loop().create_future()
        told.set_result(job.run())
        hub._take(_Run(swimmer, job, told, came_us), RollingAnalysis.take, "quick run")
        swimmer.fresh_us = 9 * came_us
        hub._begin_whole()
        assert not hub._whole
        resting_us = swimmer.whole_waiting_us
        monkeypatch.setattr("sensorswim.live.rolling.REST", 0.0)
        hub._begin_whole()
        return resting_us, hub._whole["one"].arrived_us

    assert asyncio.run(waits_us()) == (came_us, came_us)


def test_whoever_comes_next_gets_the_figures_of_runs_begun_when_nobody_looked_any_more(
    two: list[Path],
) -> None:
    hub = LiveHub(two)
    begun: list[int] = []

    async def twice() -> Told:
        def under_way(_told: Told) -> bool:
            begun.append(len(hub._quick) + len(hub._whole))
            return begun[-1] > 0

        await told_until(hub, under_way)
        return await told_until(hub, lambda m: lengths_told(m) == {"one": 2, "other": 2})

    told = asyncio.run(twice())
    assert begun[-1] > 0
    assert all(m["trouble"] is None for m in told)
