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
import time
from dataclasses import asdict
from datetime import UTC, datetime
from pathlib import Path
from typing import Any, Final

from sensorswim.formats.marks_write import add_mark
from sensorswim.formats.radio_log import RADIO_FOLDER, Scale
from sensorswim.formats.recording_json import RecordingFacts, read_recording
from sensorswim.live.buffer import LiveBuffer
from sensorswim.live.build import offset_ticks, session_time_s
from sensorswim.live.card import Aim, card
from sensorswim.live.follow import FolderFollower, SensorFollowed
from sensorswim.live.job import Elsewhere, Found, Job
from sensorswim.live.rolling import RollingAnalysis
from sensorswim.model import Mark, Placement, SensorFile, Session

AIMS_FILE: Final = "aims.json"
POLL_S: Final = 0.03
STATUS_S: Final = 1.0
CPU_SHARE: Final = 0.5
"""Share of one core that the quick runs of all swimmers together may take."""
QUEUE: Final = 8


class LiveSwimmer:
    """One session folder that is being recorded into, or was."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self.aims: tuple[Aim, ...] = _read_aims(folder)
        self._facts: RecordingFacts | None = None
        self._follower: FolderFollower | None = None
        self.rolling: RollingAnalysis | None = None
        self._buffers: dict[int, LiveBuffer] = {}
        self.cost_s = 0.0
        self.run_began_s = float("-inf")
        self.arrived_us: int | None = None
        """When the recorder had the oldest data that another event can rest on, None without."""
        self._whole: asyncio.Task[tuple[Job, Found | None]] | None = None

    @property
    def name(self) -> str:
        """The swimmer's name, the folder's before anything is recorded."""
        return self._facts.swimmer if self._facts else self.folder.name

    @property
    def initials(self) -> str:
        """What a screen that others can see shows."""
        return "".join(word[0].upper() for word in self.name.split() if word[0].isalnum()) or "?"

    def poll(self) -> bool:
        """Read what is new; return whether there was anything."""
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
        if self.arrived_us is None and fresh_us and self.rolling and self.rolling.settled_more:
            self.arrived_us = min(fresh_us)
        return True

    @property
    def news(self) -> bool:
        """Whether a run would say more than the last: events settled, or a whole run is done."""
        return self.arrived_us is not None or (self._whole is not None and self._whole.done())

    def begin_whole(self, elsewhere: Elsewhere) -> None:
        """Have a whole run done where one is due and none is under way."""
        if self.rolling is None or self._whole is not None or not self.rolling.whole_is_due:
            return
        job = self.rolling.whole_job()

        async def done() -> tuple[Job, Found | None]:
            return job, await elsewhere.run(job)

        self._whole = asyncio.ensure_future(done())

    def run(self) -> None:
        """Bring the figures up to date; slow, so to be called in a thread."""
        if self.rolling is None:
            return
        began = time.thread_time()
        if self._whole is not None and self._whole.done():
            whole, self._whole = self._whole.result(), None
            self.rolling.fold(*whole)
        self.rolling.run_quick()
        self.cost_s = time.thread_time() - began

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
            "figures": card(state.tables, self.aims) if state else None,
            "norms_provisional": state is None or state.whole_to_s == float("-inf"),
            "corrected": state.corrected if state else 0,
        }

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


class LiveHub:
    """Keeps several swimmers fresh and tells whoever subscribed.

    Messages are dictionaries: ``{"kind": "card", ...snapshot}`` after each analysis, mark or
    aim, and once a second for each swimmer; a slow subscriber loses the oldest. After an
    analysis `arrived_us` says when the recorder had the oldest of the data that are new in it.

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
        self._elsewhere = Elsewhere()
        self._queues: set[asyncio.Queue[dict[str, Any]]] = set()
        self._running: tuple[LiveSwimmer, asyncio.Future[None], int | None] | None = None

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

    def publish(self, swimmer: LiveSwimmer, **more: Any) -> None:
        """Tell everyone how a swimmer is now."""
        message = _message(swimmer) | more
        for queue in self._queues:
            _put(queue, message)

    async def run(self) -> None:
        """Follow, analyse and tell until cancelled."""
        try:
            await self._run()
        finally:
            self._elsewhere.close()

    async def _run(self) -> None:
        due_s = 0.0
        while True:
            for swimmer in self.swimmers.values():
                swimmer.poll()
            self._collect()
            for swimmer in self.swimmers.values():
                swimmer.begin_whole(self._elsewhere)
            self._begin_next()
            if time.monotonic() >= due_s:
                due_s = time.monotonic() + STATUS_S
                self._look_for_more()
                for swimmer in self.swimmers.values():
                    self.publish(swimmer)
            if self._running is None:
                await asyncio.sleep(POLL_S)
            else:
                await asyncio.wait([self._running[1]], timeout=POLL_S)

    def _look_for_more(self) -> None:
        if self._root is None:
            return
        for folder in (self._root, *sorted(self._root.glob("*"))):
            if folder.name not in self.swimmers and (folder / RADIO_FOLDER).is_dir():
                self.swimmers[folder.name] = LiveSwimmer(folder)

    def _collect(self) -> None:
        """Publish the figures of a run that has ended."""
        if self._running is None or not self._running[1].done():
            return
        swimmer, future, arrived_us = self._running
        self._running = None
        future.result()
        self.publish(swimmer, arrived_us=arrived_us)

    def _begin_next(self) -> None:
        """Begin the analysis that has waited longest, within the share of a core."""
        if self._running is not None:
            return
        waiting = [s for s in self.swimmers.values() if s.news]
        pause_s = sum(s.cost_s for s in self.swimmers.values()) / CPU_SHARE
        waiting = [s for s in waiting if time.monotonic() - s.run_began_s >= pause_s]
        if not waiting:
            return
        swimmer = min(waiting, key=lambda s: s.run_began_s)
        swimmer.run_began_s = time.monotonic()
        arrived_us, swimmer.arrived_us = swimmer.arrived_us, None
        future = asyncio.ensure_future(asyncio.to_thread(swimmer.run))
        self._running = (swimmer, future, arrived_us)


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
