"""Records one or several swimmers: finds their sensors, keeps everything, ends with folders."""

from __future__ import annotations

import asyncio
import contextlib
import random
import uuid
from collections.abc import AsyncIterator, Callable, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any, Final, Protocol

from sensorswim.errors import SensorswimError, SessionError
from sensorswim.formats.radio_control import State
from sensorswim.formats.radio_log import SensorLog, read_radio
from sensorswim.formats.recording_json import RecordingFacts, read_recording, write_recording
from sensorswim.formats.session_toml import SESSION_FILE
from sensorswim.live.book import SensorBook
from sensorswim.live.build import Built, build_session, session_time_s
from sensorswim.live.clock import HostClock
from sensorswim.live.link import Found, Link, LinkLostError
from sensorswim.live.placing import Placer
from sensorswim.live.sensor import SensorTask, StartOrder
from sensorswim.model import Placement

SYNC_S: Final = 0.5
CHECKPOINT_S: Final = 60.0
LOW_BATTERY_PCT: Final = 15


class Finder(Protocol):
    """Finds sensors by radio and makes links to them."""

    def found(self) -> AsyncIterator[Found]:
        """Yield each sensor as it is heard, also again; never ends by itself."""

    def link(self, found: Found) -> Link:
        """Return an unconnected link."""


@dataclass(frozen=True, kw_only=True)
class Wearer:
    """A swimmer to be recorded.

    Parameters
    ----------
    folder : Path
        Session folder.
    sensors : dict
        Sensor name (``SSW-0C42``) -> placement, None for the sensor's own label. Empty: every
        sensor that is found.
    """

    folder: Path
    swimmer: str
    pool_length_m: float = 25.0
    height_m: float | None = None
    sensors: dict[str, Placement | None] = field(default_factory=dict)
    extra: dict[str, Any] = field(default_factory=dict)


class SwimmerRecording:
    """One swimmer's sensors and books.

    A folder that was recorded into before is gone on with: what is there counts as arrived.
    """

    def __init__(self, wearer: Wearer, clock: HostClock) -> None:
        self.wearer, self._clock = wearer, clock
        self.books: dict[int, SensorBook] = {}
        self.tasks: list[SensorTask] = []
        self._kept = {(log.serial, log.log): log for log in read_radio(wearer.folder)}
        held = read_recording(wearer.folder)
        if held is None and (wearer.folder / SESSION_FILE).exists():
            raise SessionError(
                "there is a session that wasn't recorded live", where=str(wearer.folder),
                mend="choose another folder",
            )  # fmt: skip
        self.facts = held or RecordingFacts(
            log=random.randint(1, 65535),
            swimmer=wearer.swimmer,
            pool_length_m=wearer.pool_length_m,
            height_m=wearer.height_m,
            session_id=str(uuid.uuid4()),
            extra=wearer.extra,
        )
        write_recording(self.facts, wearer.folder)
        for serial, log in self._kept:
            if log == self.facts.log:
                self.books[serial] = self._book(serial, self._kept[serial, log])

    def wants(self, name: str) -> bool:
        """Return whether a sensor of this name belongs to the swimmer."""
        return not self.wearer.sensors or name in self.wearer.sensors

    def book_for(self, name: str) -> Callable[[State], SensorBook]:
        """Return how the book of a sensor is found or begun once its state is known."""

        def find(state: State) -> SensorBook:
            book = self.books.get(state.serial) or self._book(state.serial, None)
            self.books[state.serial] = book
            book.note(
                {
                    "name": name,
                    "rate_hz": state.rate_hz,
                    "accel_range_g": state.accel_range_g,
                    "gyro_range_deg_s": state.gyro_range_deg_s,
                    "placement": self._place(name, state, book),
                },
                self._clock.now_us(),
            )
            if not self.facts.reference:
                self.facts = replace(self.facts, reference=state.serial)
                write_recording(self.facts, self.wearer.folder)
            return book

        return find

    def assign(self, serial: int, placement: Placement) -> None:
        """Settle where a sensor is worn."""
        self.books[serial].note({"placement": str(placement)}, self._clock.now_us())

    def session_s(self) -> float | None:
        """Return session time now, by the reference sensor's last clock exchange."""
        facts = self.books[self.facts.reference].facts if self.facts.reference else {}
        return session_time_s(facts, self._clock.now_us())

    def sync(self) -> None:
        """Put everything on disk, with how far each sensor's log is known to reach."""
        tasks = {task.book.serial: task for task in self.tasks if task.book is not None}
        for serial, book in self.books.items():
            status = {"following": book.following} | _status(tasks.get(serial))
            changed = {k: v for k, v in status.items() if book.facts.get(k) != v}
            if changed:
                book.note(changed, self._clock.now_us())
            book.writer.sync()

    def build(self) -> Built:
        """Write the session folder of what is there."""
        return build_session(self.wearer.folder)

    def _book(self, serial: int, kept: SensorLog | None) -> SensorBook:
        book = SensorBook(self.wearer.folder, serial, self.facts.log, kept=kept)
        book.announce(book.facts.get("following", 0))
        return book

    def _place(self, name: str, state: State, book: SensorBook) -> str | None:
        """Return the placement: as ordered, as settled before, or the sensor's own label."""
        ordered = self.wearer.sensors.get(name)
        if ordered is not None:
            return str(ordered)
        if book.facts.get("placement"):
            return str(book.facts["placement"])
        taken = {b.facts.get("placement") for b in self.books.values() if b is not book}
        if state.label is None or str(state.label) in taken:
            return None
        return str(state.label)


class Recorder:
    """Runs every swimmer's recording until told to finish.

    Parameters
    ----------
    wearers : list of Wearer
        Several swimmers need their sensors listed.
    finder : Finder
    clock : HostClock
    order : StartOrder
        Its `log` is replaced by each session's own.
    tell : callable
        Called with lines for people.

    Raises
    ------
    SensorswimError
        Several swimmers without lists of sensors, or a folder that holds another session.
    """

    def __init__(
        self,
        wearers: list[Wearer],
        finder: Finder,
        clock: HostClock,
        *,
        order: StartOrder | None = None,
        tell: Callable[[str], None] = lambda _line: None,
    ) -> None:
        if len(wearers) > 1 and not all(wearer.sensors for wearer in wearers):
            raise SensorswimError(
                "with several swimmers, each needs its sensors",
                mend='write --swimmer "NAME=SSW-0C42,SSW-0C43" for each',
            )
        self.swimmers = [SwimmerRecording(wearer, clock) for wearer in wearers]
        self._finder, self._clock, self._tell = finder, clock, tell
        self._order = order or StartOrder(log=0)
        self._runs: dict[str, asyncio.Task[None]] = {}
        self._problems: dict[tuple[int, str], str] = {}
        self.finishing = False
        self._given_up = False

    @property
    def tasks(self) -> list[SensorTask]:
        """Every sensor's task."""
        return [task for swimmer in self.swimmers for task in swimmer.tasks]

    async def run(self, *, give_up_s: float = 120.0) -> list[Built]:
        """Record until `finish` is called and everything is fetched; return what was built.

        After `finish`, a sensor that can't be reached is waited for `give_up_s`.
        """
        loops = (self._seek(), self._keep(), self._place())
        helpers = [asyncio.ensure_future(loop) for loop in loops]
        try:
            while not self.finishing:
                await self._clock.sleep(0.1)
                self._raise_failures(helpers)
            await self._fetch_rest(give_up_s)
        finally:
            await _cancel([*helpers, *self._runs.values()])
            for swimmer in self.swimmers:
                swimmer.sync()
        return [await asyncio.to_thread(swimmer.build) for swimmer in self.swimmers]

    def finish(self) -> None:
        """Stop the sensors and fetch the rest."""
        self.finishing = True

    def give_up(self) -> None:
        """Don't wait for what hasn't come."""
        self._given_up = True

    def _raise_failures(self, helpers: Sequence[asyncio.Future[None]]) -> None:
        for future in [*helpers, *self._runs.values()]:
            if future.done() and not future.cancelled():
                future.result()
        refused = [task.refused for task in self.tasks if task.refused]
        if refused and len(refused) == len(self.tasks):
            raise refused[0]

    async def _seek(self) -> None:
        """Begin a task for each sensor of the swimmers as soon as it is heard."""
        async for found in self._finder.found():
            if found.name in self._runs:
                continue
            for swimmer in self.swimmers:
                if swimmer.wants(found.name):
                    self._runs[found.name] = self._begin(swimmer, found)
                    break

    def _begin(self, swimmer: SwimmerRecording, found: Found) -> asyncio.Task[None]:
        self._tell(f"{found.name}: found")
        task = SensorTask(
            self._finder.link(found),
            self._clock,
            swimmer.book_for(found.name),
            replace(self._order, log=swimmer.facts.log),
            self._tell,
        )
        swimmer.tasks.append(task)
        return asyncio.get_running_loop().create_task(task.run())

    async def _keep(self) -> None:
        """Put data on disk twice a second, and a readable folder once a minute."""
        due_s = self._clock.now_s() + CHECKPOINT_S
        while True:
            await self._clock.sleep(SYNC_S)
            for swimmer in self.swimmers:
                swimmer.sync()
            self._tell_problems()
            if self._clock.now_s() >= due_s:
                due_s = self._clock.now_s() + CHECKPOINT_S
                for swimmer in self.swimmers:
                    with contextlib.suppress(SensorswimError, OSError):
                        await asyncio.to_thread(swimmer.build)

    async def _place(self) -> None:
        """Have wearers move one limb after the other where labels don't tell the places."""
        placers = [Placer(self._tell) for _ in self.swimmers]
        while True:
            await self._clock.sleep(SYNC_S)
            for swimmer, placer in zip(self.swimmers, placers, strict=True):
                placed = placer.step(swimmer.books)
                if placed is None:
                    continue
                swimmer.assign(*placed)
                task = next(t for t in self.tasks if t.book is swimmer.books[placed[0]])
                self._tell(f"{task.link.name}: {placed[1].label}")
                with contextlib.suppress(LinkLostError, SensorswimError):
                    await task.label(placed[1])

    def _tell_problems(self) -> None:
        """Say once when something goes wrong with disk, battery or sensor, and when it is over."""
        for task in self.tasks:
            if task.book is None or task.state is None:
                continue
            low = task.state.battery_pct < LOW_BATTERY_PCT
            now = {
                "disk": task.book.writer.problem,
                "battery": f"battery at {task.state.battery_pct} %" if low else "",
                "faults": ", ".join(f.name.lower() for f in task.state.faults if f.name),
                "refusal": str(task.refused or ""),
            }
            for subject, text in now.items():
                key = (task.book.serial, subject)
                if text and text != self._problems.get(key):
                    self._tell(f"{task.link.name}: {subject}: {text}")
                elif not text and self._problems.get(key):
                    self._tell(f"{task.link.name}: {subject}: well again")
                self._problems[key] = text

    async def _fetch_rest(self, give_up_s: float) -> None:
        until_s = self._clock.now_s() + give_up_s
        while left := self._unfinished():
            for task in self.tasks:
                task.finish()
            if self._given_up or self._clock.now_s() > until_s:
                names = ", ".join(left)
                self._tell(f"not everything came from {names}: run the same command again later")
                return
            await self._clock.sleep(0.1)

    def _unfinished(self) -> list[str]:
        """Return the sensors that aren't done, those too that only an earlier run has heard."""
        earlier = {book.facts.get("name") for s in self.swimmers for book in s.books.values()}
        silent = [name for name in earlier if name and name not in self._runs]
        return [*(name for name, run in self._runs.items() if not run.done()), *sorted(silent)]


def _status(task: SensorTask | None) -> dict[str, Any]:
    """Return what whoever follows the segments wants to know of a sensor."""
    if task is None or task.state is None:
        return {"connected": False}
    return {
        "connected": task.connected,
        "battery_pct": task.state.battery_pct,
        "faults": int(task.state.faults),
        "mode": int(task.state.mode),
    }


async def _cancel(futures: list[Any]) -> None:
    for future in futures:
        future.cancel()
    await asyncio.gather(*futures, return_exceptions=True)
