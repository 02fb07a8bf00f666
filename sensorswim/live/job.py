"""One run of the detectors over a span, ready to be done in another process."""

from __future__ import annotations

import asyncio
import multiprocessing
import os
import threading
import time
from concurrent.futures import ProcessPoolExecutor
from concurrent.futures.process import BrokenProcessPool
from dataclasses import dataclass
from multiprocessing.connection import wait
from typing import Any

import pandas as pd

from sensorswim.analyse import ArmsFound, find_arms, find_events, finished
from sensorswim.errors import LogError
from sensorswim.model import ClockFit, Placement, Quality, Session, Settings, Stream
from sensorswim.signal.clocks import fit_clocks


@dataclass(frozen=True, kw_only=True)
class Found:
    """What a run found: tables, facts, the clocks it went by, and its processor time.

    The table `lengths` of a quick run is `bare`, without figures, where none can be committed.
    """

    tables: dict[str, pd.DataFrame]
    facts: dict[str, Any]
    clocks: dict[Placement, ClockFit]
    cost_s: float
    bare: bool = False


@dataclass(frozen=True, kw_only=True)
class Job:
    """What a run needs.

    Parameters
    ----------
    streams : dict
        The sensors' samples, the first sensor's clock being session time.
    clocks : dict
        What is known of the clocks; sensors without an entry run like the first.
    fit : bool
        Fit the clocks anew.
    start_s, end_s : float
        The span in session time.
    whole_to_s : float
        Up to where every sensor has samples.
    settled_s : dict
        Session time up to which the events of each table no longer change.
    quick : bool
        Work out the figures of lengths only where one is over that can be committed.
    arms_do : bool
        Stop after the arms, else.
    lengths_from_s, lengths_to_s : float
        Session times between which such a length is over.
    """

    session: Session
    settings: Settings
    streams: dict[Placement, Stream]
    clocks: dict[Placement, ClockFit]
    fit: bool
    start_s: float
    end_s: float
    whole_to_s: float
    settled_s: dict[str, float]
    quick: bool = False
    arms_do: bool = False
    lengths_from_s: float = float("-inf")
    lengths_to_s: float = float("inf")

    def run(self) -> Found | None:
        """Return what the detectors find, None where there is too little data."""
        began_s = time.thread_time()
        if not self.streams:
            return None
        known = fit_clocks(self.streams, Quality()) if self.fit else self.clocks
        clocks = {place: known.get(place, ClockFit()) for place in self.streams}
        try:
            arms = find_arms(self.session, self.streams, self.settings, Quality(), clocks=clocks)
        except LogError:
            return None
        bare = self._stops_at(arms)
        tables, facts = self._events_of(arms) if bare else self._all_of(arms)
        cost_s = time.thread_time() - began_s
        return Found(tables=tables, facts=facts, clocks=known, cost_s=cost_s, bare=bare)

    def _stops_at(self, arms: ArmsFound) -> bool:
        over = arms.lengths[arms.lengths["finished"].fillna(value=False)]["end_s"]
        return bool(self.quick and not over.between(self.lengths_from_s, self.lengths_to_s).any())

    def _events_of(self, arms: ArmsFound) -> tuple[dict[str, pd.DataFrame], dict[str, Any]]:
        tables = {"lengths": arms.lengths, "arm_strokes": arms.strokes}
        if self.arms_do:
            return tables, {}
        events = find_events(arms)
        return tables | {
            "kicks": events.kicks,
            "arm_cycles": events.cycles,
            "rolls": events.breath.rolls,
            "breaths": events.breath.breaths,
        }, {}

    def _all_of(self, arms: ArmsFound) -> tuple[dict[str, pd.DataFrame], dict[str, Any]]:
        answer = finished(arms, find_events(arms))
        return answer.tables, answer.facts


class Elsewhere:
    """Processes that do jobs, so that these never hold up what goes on here.

    They start with the first job or by `begin`, and again where one died.

    Parameters
    ----------
    processes : int
        How many jobs are done at a time.
    """

    def __init__(self, processes: int = 1) -> None:
        self._processes = processes
        self._pool: ProcessPoolExecutor | None = None

    def begin(self) -> None:
        """Let the processes start now: it takes a while to import what they need."""
        for _ in range(self._processes):
            self._ready().submit(os.getpid)

    async def run(self, job: Job) -> Found | None:
        """Return what a job finds; a job that a process died of is done here, in a thread."""
        try:
            return await asyncio.get_running_loop().run_in_executor(self._ready(), job.run)
        except BrokenProcessPool:
            self.close()
            return await asyncio.to_thread(job.run)

    def _ready(self) -> ProcessPoolExecutor:
        if self._pool is None:
            spawn = multiprocessing.get_context("spawn")
            self._pool = ProcessPoolExecutor(
                self._processes, mp_context=spawn, initializer=end_with_parent
            )
        return self._pool

    def close(self) -> None:
        """Let the processes go, once they have done what they were given."""
        if self._pool is not None:
            self._pool.shutdown(wait=False)
            self._pool = None


def end_with_parent() -> None:
    """Leave as soon as the parent is gone, also where it was killed."""
    parent = multiprocessing.parent_process()
    assert parent is not None

    def watch() -> None:
        wait([parent.sentinel])
        os._exit(0)

    threading.Thread(target=watch, daemon=True, name="parent").start()
