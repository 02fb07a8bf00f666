"""The same detectors on what has come so far: quick runs while swimming, whole ones at the wall.

`analyse` does all the work. A **quick** run takes the data since the last finished length; what
it found is committed event by event as the data behind it come, and the next run is due when
events may have settled that it could not have seen. While only the wrists have told more it stops
after the arms. A **whole** run takes everything so far (the last five minutes of a longer session)
after each length and whenever data came late: it replaces what the quick runs had said, and is why
the figures of the end agree with `analyse`.

Both are jobs that can be done elsewhere while data come in.
"""

from __future__ import annotations

import time
from dataclasses import dataclass, field, replace
from functools import cached_property
from typing import Any, Final

import numpy as np

from sensorswim.live.buffer import LiveBuffer
from sensorswim.live.folding import (
    BEFORE_LENGTH_S,
    SAME_EVENT_S,
    TIMES,
    Tables,
    added,
    last_end_s,
    over_s,
    replaced,
)
from sensorswim.live.job import Found, Job
from sensorswim.model import ClockFit, Limb, Placement, Session, Settings, Stream
from sensorswim.model.streams import FloatArray
from sensorswim.model.tables import SCHEMAS, empty

SETTLE_S: Final = 3.0
"""Events this much older than the newest whole data have kept their place in rehearsals."""
AHEAD_S: Final = 2.0
"""So much of the data that settle an event may have come after the run that found it."""
WHOLE_S: Final = 300.0
QUICK_S: Final = 60.0
LEAST_S: Final = 8.0
LATE_S: Final = 60.0
"""A hole older than this no longer holds up what comes behind it."""
GONE_S: Final = 180.0
"""A sensor this much behind the others no longer holds them up: its battery may be flat."""
REST: Final = 4.0
"""A whole run waits so many times its own cost after the last, not to starve the quick ones."""
FAILED_COST_S: Final = 1.0
"""What a whole run counts as that found nothing."""
SILENCE_S: Final = 10.0
"""Where nothing comes for so long, a whole run says the last word on what came; water is seldom
as long between a sensor and the air while somebody swims."""
PATIENCE_S: Final = 5.0
"""A whole run waits so long for a slower sensor to tell the end of a length, too.

It doesn't wait where nothing has come from any sensor for as long."""
RESTS_ON: Final = {
    "arm_strokes": (Limb.WRIST,),
    "lengths": (Limb.WRIST,),
    "kicks": (Limb.ANKLE,),
}
"""Tables that need some of the sensors only, where these are worn; the others wait for the slowest.
A length shows as soon as the wrists tell it; what rests on the ankles is filled in behind."""
OF_ARMS: Final = ("lengths", "arm_strokes")
"""Tables that a run which stops after the arms can tell."""


@dataclass(frozen=True, kw_only=True)
class RollingState:
    """What is known so far.

    Parameters
    ----------
    tables : dict of DataFrame
        Committed rows, with the columns of the contract's tables.
    facts : dict
        Whole-session figures of the last whole run; its norms are provisional.
    whole_to_s : float
        Up to where the last whole run reached; later rows are from quick runs.
    corrected : int
        How many committed events whole runs have moved or taken back so far.
    """

    tables: Tables = field(default_factory=lambda: {name: empty(name) for name in SCHEMAS})
    facts: dict[str, Any] = field(default_factory=dict)
    whole_to_s: float = float("-inf")
    corrected: int = 0

    @cached_property
    def last_length_end_s(self) -> float:
        """When the last length was over, minus infinity before one."""
        return last_end_s(self.tables["lengths"])


@dataclass(frozen=True, kw_only=True)
class _Seen:
    """The newest data that a run looked through for the events of one table.

    Parameters
    ----------
    to_s : float
        Where these data ended.
    tables : dict or None
        What it found, None before the first or where it found nothing.
    reach_s : float
        Up to where its events can be committed.
    moments_s : (N,)
        When the events of the table are over, in rising order.
    """

    to_s: float = float("-inf")
    tables: Tables | None = None
    reach_s: float = float("-inf")
    moments_s: FloatArray = field(default_factory=lambda: np.empty(0))

    @staticmethod
    def of(job: Job, name: str, tables: Tables | None) -> _Seen:
        """Return what a run found of one table, None for nothing."""
        seen = _Seen(to_s=job.end_s, reach_s=_reach_s(job, name))
        if tables is None:
            return seen
        return replace(seen, tables=tables, moments_s=np.sort(over_s(tables[name], name)))

    def any_between(self, from_s: float, to_s: float) -> bool:
        """Tell whether an event is over after the one moment and by the other."""
        first, last = np.searchsorted(self.moments_s, [from_s, to_s], side="right")
        return bool(last > first)


def _reach_s(job: Job, name: str) -> float:
    """Return up to where a run can tell the events of a table."""
    return job.settled_s[name] + AHEAD_S


class RollingAnalysis:
    """Runs the detectors on one swimmer's growing data.

    Parameters
    ----------
    session : Session
        Its order of sensors decides whose clock is session time.
    settings : Settings
    """

    def __init__(self, session: Session, settings: Settings | None = None) -> None:
        self._session, self._settings = session, settings or Settings()
        self._buffers: dict[Placement, LiveBuffer] = {}
        self._clocks: dict[Placement, ClockFit] = {}
        self._seen = dict.fromkeys(TIMES, _Seen())
        self._reach_s = dict.fromkeys(TIMES, float("-inf"))
        self._committed_s = dict.fromkeys(TIMES, float("-inf"))
        self._whole_told_s = float("-inf")
        self._heard_at_s = float("-inf")
        self._late = self._more = False
        self._looked_to_s = float("-inf")
        self._lengths_at_whole = 0
        self._whole_cost_s = 0.0
        self._whole_done_s = float("-inf")
        self._newest_at_whole_s = float("-inf")
        self.state = RollingState()

    def add(self, buffer: LiveBuffer) -> None:
        """Take another sensor in."""
        self._buffers[buffer.placement] = buffer

    def noticed(self, time_s: float) -> None:
        """Note that a packet of this session time has come."""
        self._heard_at_s, self._more = time.monotonic(), True
        if time_s < self.state.last_length_end_s:
            self._late = True

    def commit(self) -> bool:
        """Commit what quick runs have found and has settled by now; return whether there was any.

        An event settles when the data `SETTLE_S` behind it are whole. All but the last `AHEAD_S`
        of these were there when the run that found it began.
        """
        held = dict(self.state.tables)
        for name, seen in self._seen.items():
            until_s = min(self._settled_s(name), seen.reach_s)
            if seen.tables is not None and seen.any_between(self._committed_s[name], until_s):
                held[name] = added(
                    self.state.tables,
                    name,
                    seen.tables,
                    from_s=self._whole_told_s,
                    until_s=until_s,
                )
                self._committed_s[name] = until_s
        new = any(held[name] is not self.state.tables[name] for name in TIMES)
        self.state = replace(self.state, tables=held) if new else self.state
        return new

    # --- quick runs ---

    @property
    def slack_s(self) -> float:
        """How much more data may come before events settle which no run begun so far can see.

        A quick run is due below 0; infinity where there is too little to look at, or where a whole
        run has to say first what was swum while nobody looked.
        """
        if self.joins or self._newest_s() - self._quick_begin_s() < LEAST_S:
            return float("inf")
        settled = {name: self._settled_s(name) for name in TIMES}
        slacks = [self._reach_s[n] - s for n, s in settled.items() if s > float("-inf")]
        return min(slacks, default=float("inf"))

    def quick_job(self) -> Job:
        """Return what a quick run now has to do: the data since the last finished length.

        Another may be begun before its answer is there: it will be told apart by its data.
        """
        job = self._job(self._quick_begin_s(), self._newest_s())
        arms_do = not any(
            job.settled_s[name] > reach_s - 0.5 * AHEAD_S
            for name, reach_s in self._reach_s.items()
            if name not in OF_ARMS
        )
        self._reach_s |= {n: _reach_s(job, n) for n in (OF_ARMS if arms_do else TIMES)}
        return replace(
            job,
            quick=True,
            arms_do=arms_do,
            lengths_from_s=self.state.last_length_end_s + SAME_EVENT_S,
            lengths_to_s=_reach_s(job, "lengths"),
        )

    def take(self, job: Job, found: Found | None) -> bool:
        """Take in what a quick run found, and commit; return whether there was anything.

        What one with newer data has told already stays.
        """
        self._looked_to_s = max(self._looked_to_s, job.end_s)
        tables = {} if found is None else found.tables
        for name in TIMES.keys() & tables.keys() or TIMES:
            if job.end_s < self._seen[name].to_s:
                continue
            told = name in tables and not (name == "lengths" and found is not None and found.bare)
            self._seen[name] = _Seen.of(job, name, tables if told else None)
            self._committed_s[name] = float("-inf")
        return self.commit()

    # --- whole runs ---

    @property
    def joins(self) -> bool:
        """Whether more data have come since any run than quick ones take, or before the first."""
        return self._newest_s() - max(self._looked_to_s, self._first_s()) > QUICK_S

    @property
    def whole_is_due(self) -> bool:
        """Whether a length is over, or data came late, since the last whole run, or there was none.

        It waits a while for the sensors that are behind. Where nothing comes any more the last word
        has to rest on everything that came. It shouldn't begin before `has_rested`.
        """
        longer = len(self.state.tables["lengths"]) > self._lengths_at_whole
        called_for = ((longer and self._more) or self._late) and not self._waits_for_slower()
        last_word = self._is_silent(SILENCE_S) and self._told_any()
        return self.joins or called_for or (self._more and last_word)

    @property
    def has_rested(self) -> bool:
        """Whether the last whole run is long enough ago for the next."""
        return time.monotonic() - self._whole_done_s > REST * self._whole_cost_s

    def whole_job(self) -> Job:
        """Return what a whole run now has to do, to be folded in when it is done."""
        self._late = self._more = False
        newest = self._newest_at_whole_s = self._newest_s()
        start = self._last_minutes_begin_s(newest)
        return self._job(start, newest, fit=start <= self._first_s())

    def fold(self, job: Job, found: Found | None) -> bool:
        """Take in what a whole run found, None where there was too little data, and commit.

        What quick runs found behind it is committed anew, and nothing of what it didn't find
        though it had all sensors' data. Returns whether there was anything.
        """
        if found is not None:
            self._clocks = found.clocks
            self._whole_told_s = min(job.settled_s.values())
            tables, corrected = replaced(self.state.tables, job, found)
            self.state = replace(
                self.state,
                tables=tables,
                facts=found.facts,
                whole_to_s=job.whole_to_s,
                corrected=self.state.corrected + corrected,
            )
        self._whole_cost_s = FAILED_COST_S if found is None else found.cost_s
        self._looked_to_s = max(self._looked_to_s, job.end_s)
        self._whole_done_s = time.monotonic()
        self._lengths_at_whole = len(self.state.tables["lengths"])
        self._committed_s = dict.fromkeys(TIMES, float("-inf"))
        return self.commit() or found is not None

    def run_whole(self) -> RollingState:
        """Do a whole run at once, and return what is known then."""
        job = self.whole_job()
        self.fold(job, job.run())
        return self.state

    # --- data ---

    def _waits_for_slower(self) -> bool:
        told_s = self.state.last_length_end_s + SETTLE_S
        behind = min((b.complete_s for b in self._heard()), default=float("-inf")) < told_s
        since_s = max(self.state.last_length_end_s + SETTLE_S, self._newest_at_whole_s)
        return (
            behind and not self._is_silent(PATIENCE_S) and self._newest_s() - since_s < PATIENCE_S
        )

    def _is_silent(self, since_s: float) -> bool:
        return time.monotonic() - self._heard_at_s > since_s

    def _told_any(self) -> bool:
        return any(len(table) for table in self.state.tables.values())

    def _heard(self) -> list[LiveBuffer]:
        return [b for b in self._buffers.values() if b.newest_s > float("-inf")]

    def _first_s(self) -> float:
        return min((b.first_s for b in self._buffers.values()), default=0.0)

    def _newest_s(self) -> float:
        return max((b.newest_s for b in self._buffers.values()), default=0.0)

    def _quick_begin_s(self) -> float:
        latest_s = max(self.state.last_length_end_s - BEFORE_LENGTH_S, self._newest_s() - QUICK_S)
        return max(latest_s, self._first_s())

    def _last_minutes_begin_s(self, newest_s: float) -> float:
        """Return a moment before a length, about `WHOLE_S` before the newest data.

        It is no later than the last length that a whole run knew, however long nobody looked.
        """
        if newest_s - self._first_s() <= WHOLE_S:
            return self._first_s()
        starts = self.state.tables["lengths"]["start_s"]
        known = starts[starts < self.state.whole_to_s]
        if known.empty:
            return max(self._first_s(), min(newest_s - WHOLE_S, self.state.whole_to_s))
        within = known[known > newest_s - WHOLE_S]
        begin_s = float(known.max() if within.empty else within.min()) - BEFORE_LENGTH_S
        return max(self._first_s(), begin_s)

    def _streams(self, from_s: float, to_s: float) -> dict[Placement, Stream]:
        order = [s.placement for s in self._session.sensors if s.placement in self._buffers]
        order += [place for place in self._buffers if place not in order]
        streams = {place: self._buffers[place].stream(from_s, to_s + 1e-9) for place in order}
        return {place: s for place, s in streams.items() if len(s.accel) > 100}

    def _job(self, from_s: float, to_s: float, *, fit: bool = False) -> Job:
        """Return the job of analysing a span in session time."""
        return Job(
            session=self._session,
            settings=self._settings,
            streams=self._streams(from_s, to_s),
            clocks=self._clocks,
            fit=fit,
            start_s=from_s,
            end_s=to_s,
            whole_to_s=min((b.newest_s for b in self._buffers.values()), default=float("-inf")),
            settled_s={name: self._settled_s(name) for name in TIMES},
        )

    def _settled_s(self, name: str) -> float:
        """Return the session time up to which a table's events no longer change."""
        newest_s = self._newest_s()
        heard = [b for b in self._heard() if b.newest_s > newest_s - GONE_S]
        needed = [b for b in heard if b.placement.limb in RESTS_ON.get(name, ())]
        ends = [max(b.complete_s, b.newest_s - LATE_S) for b in needed or heard]
        return min(ends, default=float("-inf")) - SETTLE_S
