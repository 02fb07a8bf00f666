"""Analyses, kept: worked out once in the background, read from the cache after that."""

from __future__ import annotations

import hashlib
import json
import threading
from collections import OrderedDict
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Final

from sensorswim import __version__
from sensorswim.analyse import measure, with_findings, with_marks
from sensorswim.errors import InputError, SensorswimError
from sensorswim.export import read_result, write_result
from sensorswim.formats.rules_toml import read_rules
from sensorswim.formats.session_toml import read_session
from sensorswim.formats.settings_toml import read_settings
from sensorswim.model.analysis import Analysis
from sensorswim.model.quality import Quality
from sensorswim.model.session import Session
from sensorswim.model.tables import SCHEMAS

_KEPT: Final = 4
STEPS: Final = (
    "reading the logs",
    "putting the sensors on one clock",
    "working out orientation",
    "finding the lengths",
    "finding strokes, kicks and rolls",
    "looking for what stands out",
    "writing",
)


@dataclass(frozen=True, kw_only=True)
class Job:
    """An analysis on its way."""

    step: str = "starting"
    problem: str = ""
    done: bool = False

    @property
    def share(self) -> float:
        """How far it is, 0..1, by the steps begun."""
        return (STEPS.index(self.step) + 0.5) / len(STEPS) if self.step in STEPS else 0.0


class Results:
    """The analyses of the sessions that are open, and those in the cache folder.

    Parameters
    ----------
    cache : Path
        One result folder a state of a session: changed logs or blocks get a new one.
    """

    def __init__(self, cache: Path) -> None:
        self._cache = cache / "results"
        self._lock = threading.Lock()
        self._reading = threading.Lock()
        self._jobs: dict[Path, Job] = {}
        self._open: OrderedDict[Path, Analysis] = OrderedDict()
        self._told: dict[Path, tuple[str, Analysis]] = {}

    def get(self, folder: Path) -> Analysis | None:
        """Return the analysis with today's marks and videos, None where it has to be made.

        Raises
        ------
        SensorswimError
            The session can't be read.
        """
        session = read_session(folder, Quality())
        place = self.place_of(session)
        with self._lock:
            told, known = self._told.get(folder, ("", None))
        now = f"{place} {session!r}"
        if known is not None and told == now:
            return known
        base = self._base(place, session)
        if base is None:
            return None
        known = with_findings(with_marks(base, session), read_rules(folder))
        with self._lock:
            self._told[folder] = (now, known)
        return known

    def place_of(self, session: Session) -> Path:
        """Return the result folder of a session as it is now."""
        return self._cache / _fingerprint(session)

    def start(self, folder: Path) -> Job:
        """Start the analysis of a session in the background, unless it is on its way."""
        with self._lock:
            job = self._jobs.get(folder)
            if job is not None and not job.done:
                return job
            job = self._jobs[folder] = Job()
        threading.Thread(target=self._work, args=(folder,), daemon=True).start()
        return job

    def job(self, folder: Path) -> Job | None:
        """Return how far the analysis of a session is, None where none was started."""
        with self._lock:
            return self._jobs.get(folder)

    def forget(self, folder: Path) -> None:
        """Drop what is known of a session's last job, so that a failed one can be repeated."""
        with self._lock:
            self._jobs.pop(folder, None)

    def _tell(self, folder: Path, job: Job) -> None:
        with self._lock:
            self._jobs[folder] = job

    def _work(self, folder: Path) -> None:
        job = Job(problem="a defect in sensorswim; its trace is in the terminal", done=True)
        try:
            job = self._analyse(folder)
        except SensorswimError as problem:
            job = Job(problem=str(problem), done=True)
        finally:
            self._tell(folder, job)

    def _analyse(self, folder: Path) -> Job:
        answer = measure(folder, progress=lambda step: self._tell(folder, Job(step=step)))
        self._tell(folder, Job(step=STEPS[-1]))
        place = self.place_of(answer.session)
        place.parent.mkdir(parents=True, exist_ok=True)
        write_result(answer, place)
        self._keep(place, answer)
        return Job(step="done", done=True)

    def _base(self, place: Path, session: Session) -> Analysis | None:
        """Return what the cache holds, read once although several ask for it at a time."""
        with self._reading:
            with self._lock:
                base = self._open.get(place)
            base = self._from_cache(place, session) if base is None else base
            if base is not None:
                self._keep(place, base)
            return base

    def _from_cache(self, place: Path, session: Session) -> Analysis | None:
        if not (place / "summary.json").is_file():
            return None
        try:
            return read_result(place, session, read_settings(session.folder))
        except InputError:
            return None

    def _keep(self, place: Path, analysis: Analysis) -> None:
        with self._lock:
            self._open[place] = analysis
            self._open.move_to_end(place)
            while len(self._open) > _KEPT:
                self._open.popitem(last=False)


def _fingerprint(session: Session) -> str:
    """Return a name for the state of all that an analysis rests on, without marks and videos."""
    files = [
        path
        for sensor in session.sensors
        for path in (sensor.file, sensor.accel_file, sensor.gyro_file)
        if path is not None
    ]
    told = replace(session, videos=(), marks=())
    stats = [(path.name, path.stat().st_size, path.stat().st_mtime_ns) for path in files]
    settings = read_settings(session.folder).hash
    text = json.dumps([__version__, repr(SCHEMAS), repr(told), stats, settings])
    return hashlib.sha256(text.encode()).hexdigest()[:32]
