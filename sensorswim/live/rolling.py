"""The same detectors on what has come so far: quick runs while swimming, whole ones at the wall.

`analyse_streams` does all the work. A **quick** run takes the data since the last finished length
and commits the events that are old enough not to change. A **whole** run takes everything so far
(the last five minutes of a longer session) after each length and whenever data came late: it
replaces what the quick runs had said, and is why the figures of the end agree with `analyse`.
A whole run is a job that can be done elsewhere while quick runs go on; folded in, it is followed
by a quick run that commits anew what came in the meantime.
"""

from __future__ import annotations

import time
from dataclasses import dataclass, field, replace
from typing import Any, Final

import pandas as pd

from sensorswim.live.buffer import LiveBuffer
from sensorswim.live.job import Found, Job
from sensorswim.model import ClockFit, Limb, Placement, Session, Settings, Stream
from sensorswim.model.tables import SCHEMAS, empty

SETTLE_S: Final = 3.0
"""Events this much older than the data they rest on have kept their place in rehearsals."""
WHOLE_S: Final = 300.0
QUICK_S: Final = 60.0
LEAST_S: Final = 8.0
BEFORE_LENGTH_S: Final = 4.0
LATE_S: Final = 60.0
"""A hole older than this no longer holds up what comes behind it."""
SAME_EVENT_S: Final = 0.15
"""Two events of one side closer than this are one, seen by two runs."""
TIMES: Final = {
    "lengths": "end_s",
    "arm_strokes": "exit_s",
    "kicks": "downbeat_s",
    "arm_cycles": "end_s",
    "rolls": "end_s",
    "breaths": "end_s",
}
"""The column that says when a row of a table is over."""
ELSE: Final = ("mid_pull_s", "entry_s", "catch_s")
"""Columns to go by where an arm stroke has no exit."""
RESTS_ON: Final = {
    "arm_strokes": (Limb.WRIST,),
    "lengths": (Limb.WRIST,),
    "kicks": (Limb.ANKLE,),
}
"""Tables that need some of the sensors only, where these are worn; the others wait for the slowest.
A length shows as soon as the wrists tell it; what rests on the ankles is filled in behind."""


@dataclass(frozen=True, kw_only=True)
class RollingState:
    """What is known so far.

    Parameters
    ----------
    tables : dict of DataFrame
        Committed rows, with the columns of the contract's tables.
    newest_s, complete_s : dict
        Session time of each sensor's newest sample, and up to which none is missing.
    facts : dict
        Whole-session figures of the last whole run; its norms are provisional.
    whole_to_s : float
        Up to where the last whole run reached; later rows are from quick runs.
    corrected : int
        How many committed events whole runs have moved or taken back so far.
    run_s : float
        How long the last run took.
    """

    tables: dict[str, pd.DataFrame] = field(
        default_factory=lambda: {name: empty(name) for name in SCHEMAS}
    )
    newest_s: dict[Placement, float] = field(default_factory=dict)
    complete_s: dict[Placement, float] = field(default_factory=dict)
    facts: dict[str, Any] = field(default_factory=dict)
    whole_to_s: float = float("-inf")
    corrected: int = 0
    run_s: float = 0.0


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
        self._late = False
        self._settled_at_run: dict[str, float] = {}
        self._lengths_at_whole = 0
        self._whole_cost_s = 0.0
        self._whole_done_s = float("-inf")
        self.state = RollingState()

    def add(self, buffer: LiveBuffer) -> None:
        """Take another sensor in."""
        self._buffers[buffer.placement] = buffer

    def noticed(self, time_s: float) -> None:
        """Note that a packet of this session time has come."""
        if time_s < self._last_length_end_s():
            self._late = True

    @property
    def whole_is_due(self) -> bool:
        """Whether a length is over, or data came late, since the last whole run, or there was none.

        A whole run waits until five times its own cost has passed, so that long sessions don't
        starve the quick ones.
        """
        longer = len(self.state.tables["lengths"]) > self._lengths_at_whole
        joined = self.state.whole_to_s == float("-inf")
        joined &= self._newest_s() - self._first_s() > QUICK_S
        rested = time.monotonic() - self._whole_done_s > 5.0 * self._whole_cost_s
        return rested and (longer or joined or self._late)

    @property
    def settled_more(self) -> bool:
        """Whether data have come since the last quick run that can settle another event."""
        return self._settled() != self._settled_at_run

    def run_quick(self) -> RollingState:
        """Analyse the data since the last finished length and commit what is old enough."""
        began = time.monotonic()
        newest = self._newest_s()
        settled_s = self._settled_at_run = self._settled()
        start = max(self._last_length_end_s() - BEFORE_LENGTH_S, newest - QUICK_S, self._first_s())
        if newest - start >= LEAST_S:
            found = self._job(start, newest).run()
            if found is not None:
                self._append(found.tables, settled_s)
        return self._told(began)

    def run_whole(self) -> RollingState:
        """Analyse everything so far and replace what quick runs had said."""
        began = time.monotonic()
        job = self.whole_job()
        self.fold(job, job.run())
        return self._told(began)

    def whole_job(self) -> Job:
        """Return what a whole run now has to do, to be folded in when it is done."""
        self._late = False
        newest = self._newest_s()
        start = self._last_minutes_begin_s(newest)
        return self._job(start, newest, fit=start <= self._first_s())

    def fold(self, job: Job, found: Found | None) -> None:
        """Take in what a whole run found; None where there was too little data."""
        if found is not None:
            self._clocks = found.clocks
            self._whole_cost_s = found.cost_s
            self._replace(job, found)
        self._whole_done_s = time.monotonic()
        self._lengths_at_whole = len(self.state.tables["lengths"])

    # --- data ---

    def _first_s(self) -> float:
        return min((b.first_s for b in self._buffers.values()), default=0.0)

    def _newest_s(self) -> float:
        return max((b.newest_s for b in self._buffers.values()), default=0.0)

    def _last_length_end_s(self) -> float:
        lengths = self.state.tables["lengths"]
        return float(lengths["end_s"].max()) if len(lengths) else float("-inf")

    def _last_minutes_begin_s(self, newest_s: float) -> float:
        """Return a moment before a length, about `WHOLE_S` before the newest data."""
        if newest_s - self._first_s() <= WHOLE_S:
            return self._first_s()
        starts = self.state.tables["lengths"]["start_s"]
        within = starts[starts > newest_s - WHOLE_S]
        return newest_s - WHOLE_S if within.empty else float(within.min()) - BEFORE_LENGTH_S

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
            settled_s=self._settled(),
        )

    def _settled(self) -> dict[str, float]:
        return {name: self._settled_s(name) for name in TIMES}

    def _settled_s(self, name: str) -> float:
        """Return the session time up to which a table's events no longer change."""
        heard = {p: b for p, b in self._buffers.items() if b.newest_s > float("-inf")}
        needed = [b for p, b in heard.items() if p.limb in RESTS_ON.get(name, ())]
        ends = [max(b.complete_s, b.newest_s - LATE_S) for b in needed or heard.values()]
        return min(ends, default=float("-inf")) - SETTLE_S

    # --- folding ---

    def _append(self, found: dict[str, pd.DataFrame], settled_s: dict[str, float]) -> None:
        """Commit the settled events of a quick run behind those committed before."""
        held = self.state.tables
        begin_s = self._last_length_end_s()
        before = held["lengths"]
        spans = found["lengths"]
        new_numbers = spans.loc[0.5 * (spans["start_s"] + spans["end_s"]) > begin_s, "length_no"]
        numbers = {int(no): len(before) + rank + 1 for rank, no in enumerate(sorted(new_numbers))}
        tables = dict(held)
        for name, column in TIMES.items():
            rows = found[name]
            settled = _over_s(rows, column) <= settled_s[name]
            rows = rows[settled & rows["length_no"].isin(list(numbers))]
            if name == "lengths":
                rows = rows[rows["finished"].fillna(value=False)]
            rows = rows if rows.empty else _after(held[name], rows, column)
            if rows.empty:
                continue
            rows = rows.assign(length_no=rows["length_no"].map(numbers).astype("Int64"))
            tables[name] = _joined(held[name], rows.astype(held[name].dtypes.to_dict()))
        self.state = replace(self.state, tables=tables)

    def _replace(self, job: Job, found: Found) -> None:
        """Put a whole run's rows in the place of all that lie in its span, and behind it."""
        held = self.state.tables
        ends_s = held["lengths"]["end_s"]
        kept = held["lengths"][ends_s < job.start_s + BEFORE_LENGTH_S]
        begin_s = float(kept["end_s"].max()) if len(kept) else job.start_s
        spans = found.tables["lengths"]
        own = spans.loc[0.5 * (spans["start_s"] + spans["end_s"]) > begin_s, "length_no"]
        shift = len(kept) - (len(spans) - len(own))
        tables = dict(held)
        corrected = 0
        for name, column in TIMES.items():
            rows = found.tables[name]
            rows = rows[rows["length_no"].isin(list(own))]
            rows = rows[_over_s(rows, column) <= job.settled_s[name]]
            rows = rows.assign(length_no=rows["length_no"] + shift)
            earlier = held[name]["length_no"] <= len(kept)
            seen = _over_s(held[name], column) <= job.settled_s[name]
            corrected += _moved(held[name][~earlier & seen], rows, column)
            tables[name] = _joined(held[name][earlier], rows)
        tables["roll"] = found.tables["roll"]
        self.state = replace(
            self.state,
            tables=tables,
            facts=found.facts,
            whole_to_s=job.whole_to_s,
            corrected=self.state.corrected + corrected,
        )

    def _told(self, began: float) -> RollingState:
        buffers = self._buffers.items()
        self.state = replace(
            self.state,
            newest_s={place: buffer.newest_s for place, buffer in buffers},
            complete_s={place: buffer.complete_s for place, buffer in buffers},
            run_s=time.monotonic() - began,
        )
        return self.state


def _sides(rows: pd.DataFrame) -> pd.Series:
    return rows["side"] if "side" in rows else pd.Series("", index=rows.index)


def _over_s(rows: pd.DataFrame, column: str) -> pd.Series:
    """Return when each row is over."""
    moments = rows[column]
    for other in ELSE:
        moments = moments.fillna(rows[other]) if other in rows else moments
    return moments


def _after(held: pd.DataFrame, rows: pd.DataFrame, column: str) -> pd.DataFrame:
    """Return the rows that come after the last committed one of their side."""
    last = _over_s(held, column).groupby(_sides(held)).max()
    limit = _sides(rows).map(last).astype("float64").fillna(float("-inf"))
    return rows[_over_s(rows, column) > limit + SAME_EVENT_S]


def _joined(first: pd.DataFrame, second: pd.DataFrame) -> pd.DataFrame:
    if first.empty or second.empty:
        return (second if first.empty else first).reset_index(drop=True)
    return pd.concat([first, second], ignore_index=True)


def _moved(before: pd.DataFrame, after: pd.DataFrame, column: str) -> int:
    """Return how many events of `before` have no counterpart within 0.15 s in `after`."""
    gone = 0
    for side, rows in before.groupby(_sides(before)):
        others = after.loc[_sides(after) == side, column].dropna().to_numpy()
        for moment in rows[column].dropna():
            gone += not (abs(others - moment) < SAME_EVENT_S).any()
    return gone
