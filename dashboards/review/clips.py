"""The clips of a session: what each is, where it is in time, and whether a browser plays it."""

from __future__ import annotations

import hashlib
import threading
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any, Final

import numpy as np

from sensorswim.errors import InputError, SensorswimError
from sensorswim.formats.logs import read_stream
from sensorswim.formats.session_write import write_session
from sensorswim.model import Quality, Session, Video, VideoMark
from sensorswim.model.session import video_time
from sensorswim.signal.knocks import find_shocks
from sensorswim.video import (
    Place,
    VideoFacts,
    knocks_heard,
    make_copy,
    place_by_knocks,
    plays_as_it_is,
    read_facts,
)

SUFFIXES: Final = (".mp4", ".mov", ".m4v", ".webm", ".mkv", ".avi", ".3gp")
_MOST_FRAMES: Final = 20000
_ANOTHER_MARK_S: Final = 20.0
_UNEVEN_S: Final = 0.002


@dataclass(frozen=True, kw_only=True)
class Clip:
    """One clip of a session; times of the player are those of the copy at its true rate.

    Parameters
    ----------
    number : int
        From 0, in the order of session.toml.
    video : Video
        With the slow factor that its file tells, where session.toml has none.
    facts : VideoFacts or None
    problem : str
        Why it can't be shown, "" where it can.
    """

    number: int
    video: Video
    facts: VideoFacts | None = None
    problem: str = ""

    @property
    def slow(self) -> float:
        """How many times slower than life it is stored."""
        return self.video.slow_factor

    @property
    def placed(self) -> tuple[float, float] | None:
        """Offset and rate so that player time = offset + rate * session time."""
        stored = video_time(self.video)
        return None if stored is None else (stored[0] / self.slow, stored[1] / self.slow)

    def how_placed(self) -> str:
        """Return in words how the clip came to its place, and what error remains."""
        marks = self.video.marks
        gap = "" if self.facts is None else f" A frame lasts {self.frame_s:.3f} s."
        if self.placed is None:
            return "Its place in time is not known yet: choose a way below."
        if not marks:
            return f"Placed by its starting time in session.toml.{gap}"
        if len(marks) == 1:
            return f"Placed by one moment: {marks[0].label or 'picked by eye'}.{gap}"
        offset, rate = video_time(self.video) or (0.0, 1.0)
        left = max(abs(offset + rate * m.session_s - m.video_s) for m in marks) / self.slow
        check = f"they lie within {left:.3f} s of it" if len(marks) > 2 else "nothing checks them"
        return f"Placed by {len(marks)} moments; {check}.{gap}"

    @property
    def frame_s(self) -> float:
        """Usual time from frame to frame in the player."""
        return 1.0 / 30.0 if self.facts is None else self.facts.frame_gap_s / self.slow

    def as_told(self, key: str) -> dict[str, Any]:
        """Return what the browser needs of the clip."""
        facts = self.facts
        frames = np.empty(0) if facts is None else facts.frame_s / self.slow
        uneven = len(frames) > 2 and float(np.ptp(np.diff(frames))) > _UNEVEN_S
        send = uneven and len(frames) <= _MOST_FRAMES
        return {
            "key": key,
            "number": self.number,
            "name": self.video.file.name,
            "placed": self.placed,
            "slow": self.slow,
            "gap": self.frame_s,
            "frames": np.round(frames, 5).tolist() if send else None,
            "duration": 0.0 if facts is None else facts.duration_s / self.slow,
        }


class Clips:
    """Knows the files of clips, and makes copies of those that browsers don't play.

    Parameters
    ----------
    cache : Path
        Copies go here; originals are never changed.
    """

    def __init__(self, cache: Path) -> None:
        self._cache = cache / "clips"
        self._facts: dict[str, VideoFacts] = {}
        self._copying: dict[str, float | str] = {}
        self._lock = threading.Lock()

    def of(self, session: Session) -> list[Clip]:
        """Return the clips of a session."""
        return [self._clip(number, video) for number, video in enumerate(session.videos)]

    def _clip(self, number: int, video: Video) -> Clip:
        if not video.file.is_file():
            return Clip(number=number, video=video, problem="its file is not in the folder")
        try:
            facts = self.facts(video.file)
        except InputError as problem:
            return Clip(number=number, video=video, problem=str(problem))
        told = video.slow_factor
        slow = facts.slow_factor if told == 1.0 else told
        return Clip(number=number, video=replace(video, slow_factor=slow), facts=facts)

    def facts(self, path: Path) -> VideoFacts:
        """Return what a file is, read once for each state of it."""
        name = _state(path)
        with self._lock:
            known = self._facts.get(name)
        if known is None:
            known = read_facts(path)
            with self._lock:
                self._facts[name] = known
        return known

    def playable(self, clip: Clip) -> Path | None:
        """Return the file that the browser gets, None where a copy has to be made first."""
        if clip.facts is None:
            return None
        if plays_as_it_is(clip.facts, clip.slow):
            return clip.video.file
        copy = self._copy_of(clip)
        return copy if copy.is_file() else None

    def _copy_of(self, clip: Clip) -> Path:
        return self._cache / f"{_state(clip.video.file)}-{clip.slow:g}.webm"

    def copying(self, clip: Clip) -> float | str:
        """Start the copy unless it is on its way; return the share done, or what went wrong."""
        copy = self._copy_of(clip)
        with self._lock:
            told = self._copying.get(copy.name)
            if told is not None:
                return told
            self._copying[copy.name] = 0.0
        threading.Thread(target=self._make, args=(clip, copy), daemon=True).start()
        return 0.0

    def _make(self, clip: Clip, copy: Path) -> None:
        def told(share: float | str) -> None:
            with self._lock:
                self._copying[copy.name] = share

        if clip.facts is None:
            return
        try:
            make_copy(clip.video.file, copy, clip.facts, slow_factor=clip.slow, progress=told)
            told(1.0)
        except SensorswimError as problem:
            told(str(problem))


def _state(path: Path) -> str:
    told = path.stat()
    text = f"{path.resolve()} {told.st_size} {told.st_mtime_ns}"
    return hashlib.sha256(text.encode()).hexdigest()[:24]


def listen(session: Session, clip: Clip) -> list[Place]:
    """Return the places where the knocks in a clip's sound fit those of the first sensor.

    Raises
    ------
    InputError
        No knocks in the sound, or none that fit.
    """
    heard = knocks_heard(clip.video.file)
    if not len(heard):
        raise InputError(
            "no three knocks are heard in this clip", mend="pick one moment in both instead"
        )
    felt = find_shocks(read_stream(session.sensors[0], Quality())).triplets_s
    places = place_by_knocks(heard, felt)
    if not places:
        raise InputError(
            "the knocks heard fit none that the sensors felt",
            mend="pick one moment in both instead",
        )
    return places


def keep_mark(session: Session, number: int, mark: VideoMark, *, alone: bool, slow: float) -> None:
    """Write a moment that clip and session share into session.toml.

    Parameters
    ----------
    alone : bool
        Take the place of all marks; else only of one that is less than 20 s away.
    slow : float
        The clip's slow factor, kept with it.
    """
    video = session.videos[number]
    others = () if alone else tuple(
        m for m in video.marks if abs(m.session_s - mark.session_s) > _ANOTHER_MARK_S
    )  # fmt: skip
    videos = list(session.videos)
    videos[number] = replace(video, marks=(*others, mark), slow_factor=slow)
    write_session(replace(session, videos=tuple(videos)), session.folder)


def add_clip(session: Session, path: Path, slow: float) -> None:
    """Name a file in the session's folder as one more clip of it."""
    known = [video for video in session.videos if video.file.name != path.name]
    film = Video(file=session.folder / path.name, slow_factor=slow)
    write_session(replace(session, videos=(*known, film)), session.folder)
