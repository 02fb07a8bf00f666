"""Whole runs in a process of their own."""

from __future__ import annotations

import asyncio
import multiprocessing
import os
import signal
from pathlib import Path

import pandas as pd

from sensorswim.formats.logs import read_stream
from sensorswim.formats.session_toml import read_session
from sensorswim.live.build import Built
from sensorswim.live.job import Elsewhere, Job
from sensorswim.model import Quality, Settings
from tests.live.chain import Chain


def job_of(folder: Path) -> Job:
    session = read_session(folder, Quality())
    return Job(
        session=session,
        settings=Settings(),
        streams={s.placement: read_stream(s, Quality()) for s in session.sensors},
        clocks={},
        fit=True,
        start_s=0.0,
        end_s=100.0,
        whole_to_s=100.0,
        settled_s={},
    )


def test_a_job_finds_the_same_elsewhere_also_after_the_process_was_killed(
    recorded: tuple[Chain, Built],
) -> None:
    job = job_of(recorded[0].folder)
    here = job.run()
    assert here is not None and len(here.tables["lengths"]) == 2
    elsewhere = Elsewhere()

    async def twice_with_a_death_between() -> list:
        found = [await elsewhere.run(job)]
        (worker,) = multiprocessing.active_children()
        assert worker.pid is not None and worker.pid != os.getpid()
        os.kill(worker.pid, signal.SIGKILL)
        worker.join()
        return [*found, await elsewhere.run(job), await elsewhere.run(job)]

    try:
        answers = asyncio.run(twice_with_a_death_between())
    finally:
        elsewhere.close()
    for there in answers:
        for name, table in here.tables.items():
            pd.testing.assert_frame_equal(there.tables[name], table)


def test_jobs_given_before_the_processes_are_let_go_are_done(
    recorded: tuple[Chain, Built],
) -> None:
    job, elsewhere = job_of(recorded[0].folder), Elsewhere()

    async def given_then_let_go() -> list:
        elsewhere.begin()
        jobs = [asyncio.ensure_future(elsewhere.run(job)) for _ in range(4)]
        await asyncio.sleep(0)
        pool = elsewhere._pool  # what still knows the pool mustn't make a difference
        elsewhere.close()
        assert pool is not None
        return await asyncio.gather(*jobs, return_exceptions=True)

    found = asyncio.run(given_then_let_go())
    assert [len(there.tables["lengths"]) for there in found] == [2, 2, 2, 2]
