"""A whole session in one file (a zip), for sending, and back into a folder."""

from __future__ import annotations

import shutil
import tempfile
import zipfile
from collections.abc import Iterator
from pathlib import Path, PurePosixPath
from typing import Final

from sensorswim.errors import InputError, OutputError
from sensorswim.formats.handout_toml import CONSENT_FILE, OWN_FOLDER, WORDS_FILE
from sensorswim.formats.plan_toml import DIARY_FILE, PLAN_FILE
from sensorswim.formats.rules_toml import RULES_FILE
from sensorswim.formats.session_toml import MARKS_FILE, SESSION_FILE, read_session
from sensorswim.formats.settings_toml import SETTINGS_FILE
from sensorswim.model.quality import Quality

SUFFIX: Final = ".session.zip"
_ADVICE: Final = (PLAN_FILE, DIARY_FILE, CONSENT_FILE, WORDS_FILE)
_BESIDE: Final = (
    *(SESSION_FILE, MARKS_FILE, SETTINGS_FILE, RULES_FILE, *_ADVICE),
    *(f"{OWN_FOLDER}/{name}" for name in _ADVICE),
)
_MOST_BYTES: Final = 64 * 1024**3
_MOST_FILES: Final = 2000
_PACKED_ALREADY: Final = (".gz", ".parquet", ".mp4", ".mov", ".m4v", ".webm", ".mkv")


def pack_session(folder: Path, out: Path | None = None, *, videos: bool = True) -> Path:
    """Write one file with a session's description, logs, clips, marks and plan.

    Only files that the session names, and the known ones beside session.toml, go in.

    Parameters
    ----------
    folder : Path
    out : Path, optional
        Else the folder's name with ``.session.zip``, beside it.
    videos : bool
        False leaves the clips out; session.toml still names them.

    Raises
    ------
    SessionError
        The folder holds no session that can be read.
    OutputError
        The file is there already, or can't be written.
    """
    files = list(_files(folder, videos=videos))
    place = out or folder.resolve().with_name(f"{folder.resolve().name}{SUFFIX}")
    if place.exists():
        raise OutputError("is there already", where=str(place), mend="name another file")
    part = place.with_name(f".{place.name}.part")
    try:
        with zipfile.ZipFile(part, "w", zipfile.ZIP_DEFLATED) as packed:
            for path in files:
                stored = path.suffix.lower() in _PACKED_ALREADY
                kind = zipfile.ZIP_STORED if stored else zipfile.ZIP_DEFLATED
                packed.write(path, path.relative_to(folder).as_posix(), kind)
        return part.replace(place)
    except OSError as failure:
        raise OutputError(
            f"can't be written ({failure.strerror or failure})", where=str(place)
        ) from failure
    finally:
        part.unlink(missing_ok=True)


def _files(folder: Path, *, videos: bool) -> Iterator[Path]:
    session = read_session(folder, Quality())
    yield from (folder / name for name in _BESIDE if (folder / name).is_file())
    for sensor in session.sensors:
        yield from (p for p in (sensor.file, sensor.accel_file, sensor.gyro_file) if p is not None)
    if videos:
        yield from (video.file for video in session.videos if video.file.is_file())


def open_session(packed: Path, folder: Path) -> Path:
    """Unpack a packed session into a new folder and return it.

    Raises
    ------
    InputError
        No packed session, or one that can't be taken.
    OutputError
        The folder is there already.
    """
    if not packed.is_file():
        raise InputError("is not there", where=str(packed), mend="give a packed session")
    if folder.exists():
        raise OutputError(
            "is there already", where=str(folder), mend="name another folder with --out"
        )
    folder.parent.mkdir(parents=True, exist_ok=True)
    with tempfile.TemporaryDirectory(dir=folder.parent, prefix=".opening-") as place:
        inside = Path(place) / "inside"
        inside.mkdir()
        unpack(packed, inside)
        found = sorted(inside.rglob(SESSION_FILE), key=lambda path: len(path.parts))
        if not found:
            raise InputError("holds no session.toml", where=packed.name, mend="pack it again")
        read_session(found[0].parent, Quality())
        shutil.move(found[0].parent, folder)
    return folder


def unpack(archive: Path, folder: Path) -> None:
    """Unpack a zip into a folder, refusing what would leave it.

    Raises
    ------
    InputError
        No zip, a damaged or locked one, or one with names or sizes that can't be taken.
    """
    try:
        with zipfile.ZipFile(archive) as packed:
            members = [m for m in packed.infolist() if not m.is_dir() and _wanted(m.filename)]
            if len(members) > _MOST_FILES or sum(m.file_size for m in members) > _MOST_BYTES:
                raise InputError("holds too much", where=archive.name, mend="leave files out")
            for member in members:
                target = folder / safe_relative(member.filename)
                target.parent.mkdir(parents=True, exist_ok=True)
                with packed.open(member) as source, target.open("wb") as file:
                    shutil.copyfileobj(source, file)
    except (zipfile.BadZipFile, RuntimeError, NotImplementedError) as failure:
        raise InputError(
            f"can't be unpacked ({failure})", where=archive.name, mend="pack it again"
        ) from failure


def safe_relative(name: str) -> PurePosixPath:
    """Return the relative path of a file that comes from elsewhere.

    Raises
    ------
    InputError
        A name that is absolute, leads upwards or is hidden.
    """
    parts = PurePosixPath(name.replace("\\", "/")).parts
    odd = [p for p in parts if p.startswith((".", "/")) or ":" in p or "\0" in p or not p.strip()]
    if not parts or odd or len(parts) > 8:
        raise InputError("can't be taken in under this name", where=name, mend="rename the file")
    return PurePosixPath(*parts)


def _wanted(name: str) -> bool:
    """Leave out what a Mac adds to its zips."""
    return not name.startswith("__MACOSX/") and not name.endswith(".DS_Store")
