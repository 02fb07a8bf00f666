"""A live session seen from outside the recorder: its segments followed, its figures kept fresh.

::

    hub = LiveHub([Path("session")])
    task = asyncio.create_task(hub.run())
    queue = hub.subscribe()
    while True:
        message = await queue.get()
"""

from __future__ import annotations

import asyncio
import json
import logging
import time
from collections.abc import Callable
from dataclasses import asdict, dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import Any, Final

from sensorswim.formats.marks_write import add_mark
from sensorswim.formats.radio_log import RADIO_FOLDER, Scale
from sensorswim.formats.recording_json import RecordingFacts, read_recording
from sensorswim.live.buffer import LiveBuffer
from sensorswim.live.build import offset_ticks, session_time_s
from sensorswim.live.card import Aim, card
from sensorswim.live.folding import Tables
from sensorswim.live.follow import FolderFollower, SensorFollowed
from sensorswim.live.job import Elsewhere, Found, Job
from sensorswim.live.rolling import RollingAnalysis
from sensorswim.model import Mark, Placement, SensorFile, Session

AIMS_FILE: Final = "aims.json"
POLL_S: Final = 0.03
STATUS_S: Final = 1.0
PROCESSES: Final = 2
"""For the runs: of several swimmers at a time, and beside a whole run, which takes longer."""
CPU_SHARE: Final = 0.25
"""Share of one core that quick runs ahead of need may take."""
LEAD_S: Final = 0.5
"""A run ahead of need is worth its while where it would be due after so much more data."""
QUEUE: Final = 8

_log: Final = logging.getLogger(__name__)


class LiveSwimmer:
    """One session folder that is being recorded into, or was."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self.aims: tuple[Aim, ...] = _read_aims(folder)
        self._facts: RecordingFacts | None = None
        self._follower: FolderFollower | None = None
        self.rolling: RollingAnalysis | None = None
        self._buffers: dict[int, LiveBuffer] = {}
        self._came = False
        self._shown: tuple[Tables, tuple[Aim, ...], dict[str, Any]] | None = None
        self.trouble: str | None = None
        """What went wrong with the last run; None where nothing did."""
        self.fresh_us: int | None = None
        """When the recorder had the oldest of the data that came last, None before any."""
        self.waiting_us: int | None = None
        """When it had the oldest data that wait for a quick run, None without."""
        self.whole_waiting_us: int | None = None
        """Since when a whole run is due which hasn't begun, None without: when it had the data
        that made it due, or the moment where patience did."""

    @property
    def name(self) -> str:
        """The swimmer's name, the folder's before anything is recorded."""
        return self._facts.swimmer if self._facts else self.folder.name

    @property
    def initials(self) -> str:
        """What a screen that others can see shows."""
        return "".join(word[0].upper() for word in self.name.split() if word[0].isalnum()) or "?"

    def poll(self) -> bool:
        """Read what is new; return whether there were any samples."""
        self._came = False
        if self._facts is None or not self._facts.reference:
            self._facts = read_recording(self.folder)
            if self._facts is None:
                return False
        if self._follower is None:
            self._follower = FolderFollower(self.folder, self._facts.log)
        if not self._follower.poll():
            return False
        sensors = self._follower.sensors
        fresh_us = [s.fresh_us for s in sensors.values() if s.fresh_us is not None]
        for serial, sensor in sensors.items():
            self._take(serial, sensor)
        self.fresh_us = min(fresh_us, default=self.fresh_us)
        self._came = bool(fresh_us)
        return self._came

    def settle(self) -> bool:
        """Commit what fresh data have settled, and note whether they call for a quick run.

        Returns whether there is anything new to tell.
        """
        if self.rolling is None:
            return False
        told = self.rolling.commit()
        if self.waiting_us is None and self.rolling.slack_s < 0.0:
            self.waiting_us = self.fresh_us
        return told

    def note_whole(self) -> int | None:
        """Note since when a whole run is due; None where none is."""
        due = self.rolling is not None and self.rolling.whole_is_due
        since_us = self.fresh_us if self._came else _now_us()
        self.whole_waiting_us = (self.whole_waiting_us or since_us) if due else None
        return self.whole_waiting_us

    def mark(self, kind: str, *, label: str = "", value: float | None = None) -> float | None:
        """Keep the coach's mark at this moment; return its session time, None before a start."""
        moment = self.session_s()
        if moment is not None:
            add_mark(self.folder, Mark(kind=kind, session_s=moment, label=label, value=value))
        return moment

    def set_aims(self, aims: tuple[Aim, ...]) -> None:
        """Keep the coach's aims."""
        self.aims = aims
        part = self.folder / RADIO_FOLDER / f"{AIMS_FILE}.part"
        part.write_text(json.dumps([asdict(aim) for aim in aims]), encoding="utf-8")
        part.replace(self.folder / RADIO_FOLDER / AIMS_FILE)

    def session_s(self) -> float | None:
        """Return session time now, None before the first sensor has started."""
        return session_time_s(self._reference_facts(), _now_us())

    def snapshot(self) -> dict[str, Any]:
        """Return everything a card shows, as plain values for JSON."""
        state = self.rolling.state if self.rolling else None
        session_s = self.session_s()
        return {
            "key": self.folder.name,
            "initials": self.initials,
            "name": self.name,
            "invented": bool(self._facts and self._facts.extra.get("invented")),
            "session_s": None if session_s is None else round(session_s, 3),
            "sensors": self._sensors(),
            "figures": self._figures(state.tables) if state else None,
            "norms_provisional": state is None or state.whole_to_s == float("-inf"),
            "corrected": state.corrected if state else 0,
            "trouble": self.trouble,
        }

    def _figures(self, tables: Tables) -> dict[str, Any]:
        """Return what the card shows, worked out anew only where tables or aims are others."""
        if self._shown is None or self._shown[0] is not tables or self._shown[1] is not self.aims:
            self._shown = (tables, self.aims, card(tables, self.aims))
        return self._shown[2]

    def _reference_facts(self) -> dict[str, Any]:
        if self._facts is None or self._follower is None:
            return {}
        sensor = self._follower.sensors.get(self._facts.reference)
        return sensor.facts if sensor else {}

    def _take(self, serial: int, sensor: SensorFollowed) -> None:
        """Hand a sensor's new packets to its buffer, as soon as its place and clock are known."""
        buffer = self._buffers.get(serial) or self._new_buffer(serial, sensor.facts)
        if buffer is None or self.rolling is None:
            return
        for packet in sensor.take_fresh():
            self.rolling.noticed(buffer.take(packet))

    def _new_buffer(self, serial: int, facts: dict[str, Any]) -> LiveBuffer | None:
        reference = self._reference_facts()
        if not {"placement", "began_us"} <= reference.keys() & facts.keys():
            return None
        if not facts["placement"] or not reference["placement"]:
            return None
        scale = Scale.of(facts | {"offset_ticks": offset_ticks(facts, reference)})
        buffer = LiveBuffer(Placement(facts["placement"]), scale)
        if self.rolling is None:
            self.rolling = RollingAnalysis(self._session(Placement(reference["placement"])))
        self.rolling.add(buffer)
        self._buffers[serial] = buffer
        return buffer

    def _session(self, reference: Placement) -> Session:
        facts = self._facts
        assert facts is not None
        return Session(
            folder=self.folder,
            started_at=datetime.now(UTC),
            swimmer=facts.swimmer,
            pool_length_m=facts.pool_length_m,
            height_m=facts.height_m,
            sensors=(SensorFile(placement=reference),),
        )

    def _sensors(self) -> list[dict[str, Any]]:
        if self._follower is None:
            return []
        order = [*map(str, Placement), None]
        rows = [self._sensor(serial, item) for serial, item in self._follower.sensors.items()]
        return sorted(rows, key=lambda row: (order.index(row["placement"]), row["name"]))

    def _sensor(self, serial: int, sensor: SensorFollowed) -> dict[str, Any]:
        facts, buffer = sensor.facts, self._buffers.get(serial)
        newest = None if buffer is None else buffer.newest_s
        missing = facts.get("following", 0) - len(sensor.numbers)
        return {
            "name": facts.get("name", f"SSW-{serial & 0xFFFF:04X}"),
            "placement": facts.get("placement"),
            "connected": bool(facts.get("connected")),
            "battery_pct": facts.get("battery_pct"),
            "newest_s": None if newest in (None, float("-inf")) else round(float(newest), 3),
            "missing_packets": max(0, missing),
            "heard_ago_s": round(max(0.0, 1e-6 * (_now_us() - sensor.heard_us)), 2),
        }


@dataclass
class _Run:
    """A run that is under way.

    Parameters
    ----------
    arrived_us : int or None
        When the recorder had the data that it was begun for.
    """

    swimmer: LiveSwimmer
    job: Job
    found: asyncio.Future[Found | None]
    arrived_us: int | None


class LiveHub:
    """Keeps several swimmers fresh and tells whoever subscribed.

    Messages are dictionaries: ``{"kind": "card", ...snapshot}`` whenever a figure is new, after
    each mark or aim, and once a second for each swimmer; a slow subscriber loses the oldest.
    With new figures `arrived_us` says when the recorder had the oldest of the data that told them
    (of what made a whole run due), and `told_by` what did: settling, a quick or a whole run.

    A run that fails by a defect stops nobody: its swimmer's card says so and keeps its figures
    until the next run, which is begun as if nothing had been.

    Parameters
    ----------
    folders : list of Path
        Session folders.
    root : Path, optional
        A session folder, or one that holds some; whatever is recorded there later joins.
    """

    def __init__(self, folders: list[Path], *, root: Path | None = None) -> None:
        self._root = root
        self.swimmers = {folder.name: LiveSwimmer(folder) for folder in folders}
        self._look_for_more()
        self._elsewhere = Elsewhere(PROCESSES)
        self._queues: set[asyncio.Queue[dict[str, Any]]] = set()
        self._quick: list[_Run] = []
        self._spare_from_s = 0.0
        self._whole: dict[str, _Run] = {}
        self._figures_told: dict[str, Any] = {}

    def subscribe(self) -> asyncio.Queue[dict[str, Any]]:
        """Return a queue of messages that begins with one card for each swimmer."""
        queue: asyncio.Queue[dict[str, Any]] = asyncio.Queue(4 * (QUEUE + len(self.swimmers)))
        self._queues.add(queue)
        for swimmer in self.swimmers.values():
            _put(queue, _message(swimmer))
        return queue

    def unsubscribe(self, queue: asyncio.Queue[dict[str, Any]]) -> None:
        """Let go of a queue."""
        self._queues.discard(queue)

    @property
    def watched(self) -> bool:
        """Whether anyone is subscribed."""
        return bool(self._queues)

    def publish(self, swimmer: LiveSwimmer, **told: Any) -> None:
        """Tell everyone how a swimmer is now; what told its figures only where these are new."""
        message = _message(swimmer)
        if message["figures"] != self._figures_told.get(message["key"]):
            message |= told
        self._figures_told[message["key"]] = message["figures"]
        for queue in self._queues:
            _put(queue, message)

    async def run(self) -> None:
        """Follow, analyse and tell until cancelled."""
        self._elsewhere.begin()
        try:
            while True:
                await self._run_on()
        finally:
            self._elsewhere.close()

    async def _run_on(self) -> None:
        """Follow, analyse and tell; a defect is logged and told, and everything goes on."""
        try:
            await self._run()
        except Exception as failure:  # noqa: BLE001 - a rim: no swimmer's data may end the others'
            _log.exception("the live figures stopped and begin again")
            for swimmer in self.swimmers.values():
                swimmer.trouble = f"{type(failure).__name__}: {failure}"
            await asyncio.sleep(STATUS_S)

    async def _run(self) -> None:
        due_s = 0.0
        while True:
            for swimmer in self.swimmers.values():
                self._follow(swimmer)
            self._collect()
            self._begin_whole()
            self._begin_quick()
            if time.monotonic() >= due_s:
                due_s = time.monotonic() + STATUS_S
                self._look_for_more()
                for swimmer in self.swimmers.values():
                    self.publish(swimmer)
            runs = (*self._quick, *self._whole.values())
            if runs:
                found = [run.found for run in runs]
                await asyncio.wait(found, timeout=POLL_S, return_when="FIRST_COMPLETED")
            else:
                await asyncio.sleep(POLL_S)

    def _follow(self, swimmer: LiveSwimmer) -> None:
        """Read what is new of one swimmer and tell what it settled."""
        if swimmer.poll() and swimmer.settle():
            self.publish(swimmer, arrived_us=swimmer.fresh_us, told_by="settling")

    def _begin_whole(self) -> None:
        """Begin the whole run that has been due longest; more at a time only where some join."""
        noted = [(n, s.rolling) for n, s in self.swimmers.items() if s.note_whole() is not None]
        due = {n: r for n, r in noted if r and r.has_rested and n not in self._whole}
        most = PROCESSES if any(rolling.joins for rolling in due.values()) else 1
        if not due or len(self._whole) >= most:
            return
        name = min(due, key=lambda name: self.swimmers[name].whole_waiting_us or 0)
        swimmer = self.swimmers[name]
        arrived_us, swimmer.whole_waiting_us = swimmer.whole_waiting_us, None
        self._whole[name] = self._begun(swimmer, due[name].whole_job(), arrived_us)

    def _begun(self, swimmer: LiveSwimmer, job: Job, arrived_us: int | None) -> _Run:
        return _Run(swimmer, job, asyncio.ensure_future(self._elsewhere.run(job)), arrived_us)

    def _look_for_more(self) -> None:
        if self._root is None:
            return
        for folder in (self._root, *sorted(self._root.glob("*"))):
            if folder.name not in self.swimmers and (folder / RADIO_FOLDER).is_dir():
                self.swimmers[folder.name] = LiveSwimmer(folder)

    def _collect(self) -> None:
        """Take in the runs that have ended, and tell what they found."""
        done = [run for run in self._quick if run.found.done()]
        self._quick = [run for run in self._quick if not run.found.done()]
        for run in done:
            self._take(run, RollingAnalysis.take, "quick run")
        for name in [name for name, run in self._whole.items() if run.found.done()]:
            self._take(self._whole.pop(name), RollingAnalysis.fold, "whole run")

    def _take(
        self,
        run: _Run,
        into: Callable[[RollingAnalysis, Job, Found | None], bool],
        told_by: str,
    ) -> None:
        swimmer, failure = run.swimmer, run.found.exception()
        assert swimmer.rolling is not None
        if failure is not None:
            _log.error("no figures from %s", swimmer.folder, exc_info=failure)
        swimmer.trouble = None if failure is None else f"{type(failure).__name__}: {failure}"
        found = None if failure else run.found.result()
        if found is not None:
            self._spare_from_s = time.monotonic() + found.cost_s * (1.0 / CPU_SHARE - 1.0)
        new = into(swimmer.rolling, run.job, found)
        if swimmer.rolling.slack_s >= 0.0:
            swimmer.waiting_us = None
        if swimmer.rolling.whole_is_due and swimmer.whole_waiting_us is None:
            swimmer.whole_waiting_us = run.arrived_us
        if new or failure is not None:
            self.publish(swimmer, arrived_us=run.arrived_us, told_by=told_by)

    def _begin_quick(self) -> None:
        """Begin the quick runs that have been due longest or, with time to spare, are due soonest.

        One swimmer's next doesn't wait for the one under way where that can't see what is due.
        """
        while len(self._quick) + len(self._whole) < PROCESSES:
            swimmer = self._longest_due() or self._soonest_due()
            if swimmer is None:
                return
            assert swimmer.rolling is not None
            arrived_us, swimmer.waiting_us = swimmer.waiting_us or swimmer.fresh_us, None
            self._quick.append(self._begun(swimmer, swimmer.rolling.quick_job(), arrived_us))

    def _longest_due(self) -> LiveSwimmer | None:
        due = [(s.waiting_us, s) for s in self.swimmers.values() if s.waiting_us is not None]
        return min(due, key=lambda item: item[0], default=(0, None))[1]

    def _soonest_due(self) -> LiveSwimmer | None:
        """Return whom a run is worth its while for, None without time to spare."""
        if self._quick or time.monotonic() < self._spare_from_s:
            return None
        slacks = [(s.rolling.slack_s, s) for s in self.swimmers.values() if s.rolling is not None]
        slack_s, swimmer = min(slacks, key=lambda item: item[0], default=(LEAD_S, None))
        return swimmer if slack_s < LEAD_S else None


def _message(swimmer: LiveSwimmer) -> dict[str, Any]:
    return {"kind": "card"} | swimmer.snapshot()


def _put(queue: asyncio.Queue[dict[str, Any]], message: dict[str, Any]) -> None:
    if queue.full():
        queue.get_nowait()
    queue.put_nowait(message)


def _now_us() -> int:
    return time.time_ns() // 1000


def _read_aims(folder: Path) -> tuple[Aim, ...]:
    path = folder / RADIO_FOLDER / AIMS_FILE
    if not path.exists():
        return ()
    return tuple(Aim(**row) for row in json.loads(path.read_text(encoding="utf-8")))
