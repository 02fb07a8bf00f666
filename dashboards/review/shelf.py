"""The sessions that may be opened: in the folders given, and those that were dropped in."""

from __future__ import annotations

import hashlib
import re
import shutil
import tempfile
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Final

import platformdirs

from sensorswim.errors import InputError
from sensorswim.formats.session_toml import SESSION_FILE, read_session
from sensorswim.model.quality import Quality
from sensorswim.model.session import Session
from sensorswim.rehearsal.named import SAMPLE, rehearse_named

_SAMPLES: Final = Path(__file__).resolve().parents[2] / "sample_logs"


@dataclass(frozen=True, kw_only=True)
class Entry:
    """One session on the shelf; `problem` says why it can't be opened, "" where it can."""

    key: str
    folder: Path
    title: str
    when: str = ""
    invented: bool = False
    problem: str = ""


@dataclass(frozen=True, kw_only=True)
class Shelf:
    """Where sessions are looked for; what the browser names is a key, never a path.

    Parameters
    ----------
    folders : sequence of Path
        Session folders, or folders that hold some.
    home : Path
        Where dropped and invented sessions are kept.
    cache : Path
        Where results and playable copies are kept.
    """

    folders: Sequence[Path] = ()
    home: Path = field(default_factory=lambda: platformdirs.user_data_path("sensorswim"))
    cache: Path = field(default_factory=lambda: platformdirs.user_cache_path("sensorswim"))

    @property
    def sessions(self) -> Path:
        """The folder of the sessions that were dropped in or invented."""
        return self.home / "sessions"

    @property
    def drops(self) -> Path:
        """The folder of what was dropped in and isn't a session yet."""
        return self.home / "dropped"

    def entries(self) -> list[Entry]:
        """Return every session there is, the newest first."""
        found = {key_of(folder): _entry(folder) for folder in self._session_folders()}
        return sorted(found.values(), key=lambda entry: (entry.when, entry.title), reverse=True)

    def folder_of(self, key: str) -> Path:
        """Return the folder of a session by its key.

        Raises
        ------
        InputError
            No session of that key.
        """
        for folder in self._session_folders():
            if key_of(folder) == key:
                return folder
        raise InputError("this session is not there any more", mend="choose another one")

    def likely(self) -> Path | None:
        """Return the session that is likely to be opened first, None where there is none.

        It is the newest of those that were named; the newest of all where none was.
        """
        own = {key_of(folder) for folder in self._session_folders(self.folders)}
        entries = [entry for entry in self.entries() if not entry.problem]
        named = [entry for entry in entries if entry.key in own] or entries
        return named[0].folder if named else None

    def is_seen(self, session: Session) -> bool:
        """Tell whether figures of a session were shown on this machine."""
        return self._seen(session).exists()

    def note_seen(self, session: Session) -> None:
        """Note that figures of a session are shown: what was felt is locked from then on."""
        self._seen(session).parent.mkdir(parents=True, exist_ok=True)
        self._seen(session).touch()

    def _seen(self, session: Session) -> Path:
        return self.home / "seen" / (session.session_id or key_of(session.folder))

    def free_folder(self, name: str) -> Path:
        """Return a new folder's path among the sessions, named after a name."""
        plain = re.sub(r"[^\w-]+", "-", name.strip()).strip("-_").lower()[:60] or "session"
        self.sessions.mkdir(parents=True, exist_ok=True)
        place, count = self.sessions / plain, 2
        while place.exists():
            place, count = self.sessions / f"{plain}-{count}", count + 1
        return place

    def sample(self) -> str:
        """Return the key of the sample session; it is invented here where it doesn't exist."""
        for folder in (_SAMPLES / "mira", self.sessions / SAMPLE):
            if (folder / SESSION_FILE).is_file():
                return key_of(folder)
        self.sessions.mkdir(parents=True, exist_ok=True)
        with tempfile.TemporaryDirectory(dir=self.sessions) as place:
            made = rehearse_named(SAMPLE, kit="core", seed=2026).write(Path(place) / SAMPLE)
            shutil.rmtree(made / "truth")
            made.rename(self.sessions / SAMPLE)
        return key_of(self.sessions / SAMPLE)

    def _session_folders(self, places: Sequence[Path] = ()) -> Iterator[Path]:
        """Yield the sessions in some places, else in all there are."""
        for folder in places or (*self.folders, self.sessions, _SAMPLES):
            if (folder / SESSION_FILE).is_file():
                yield folder.resolve()
            elif folder.is_dir():
                for inner in sorted(folder.iterdir()):
                    if (inner / SESSION_FILE).is_file() and not inner.name.startswith("."):
                        yield inner.resolve()


def key_of(folder: Path) -> str:
    """Return the key that stands for a session folder in addresses."""
    return hashlib.sha256(str(folder.resolve()).encode()).hexdigest()[:16]


def title_of(session: Session) -> str:
    """Return how a session is called on the page."""
    return f"{session.swimmer or 'unnamed swimmer'}, {session.started_at:%d %B %Y, %H:%M}"


def _entry(folder: Path) -> Entry:
    key = key_of(folder)
    try:
        session = read_session(folder, Quality())
    except InputError as problem:
        return Entry(key=key, folder=folder, title=folder.name, problem=str(problem))
    return Entry(
        key=key,
        folder=folder,
        title=title_of(session),
        when=session.started_at.isoformat(),
        invented=bool(session.extra.get("invented")),
    )
