"""Puts a film of the invented swimmer beside a rehearsed session."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import Final

from sensorswim.formats.session_toml import read_session
from sensorswim.formats.session_write import write_session
from sensorswim.model import Quality, Video
from sensorswim.rehearsal.film import clicks, frames
from sensorswim.rehearsal.simulate import Rehearsal
from sensorswim.video import write_film

RATE_HZ: Final = 25
_LONGEST_S: Final = 50.0


def film_rehearsal(
    session: Rehearsal, folder: Path, *, view: str = "side", longest_s: float = _LONGEST_S
) -> Path:
    """Film a session from its first knock to the end of its second length, and name it there.

    Parameters
    ----------
    session : Rehearsal
    folder : Path
        Where it was written; gets ``side.webm`` or ``front.webm``, and its session.toml a
        ``[[video]]`` with its true place.
    view : str
        ``side`` or ``front``.
    longest_s : float
        The film is no longer than this.

    Raises
    ------
    InputError
        No such view.
    """
    lengths, knocks = session.truth["lengths"], session.truth_extra["knocks_s"]
    figure = session.truth_extra["skeleton"]
    first_s = max(min([*knocks[:1], *lengths["start_s"][:1]]) - 1.0, float(figure.time_s[0]))
    last_s = min(float(lengths["end_s"].iloc[:2].max()) + 0.5, first_s + longest_s)
    count = int((last_s - first_s) * RATE_HZ)
    path = write_film(
        folder / f"{view}.webm",
        frames(figure, start_s=first_s, count=count, rate_hz=RATE_HZ, view=view),
        rate_hz=RATE_HZ,
        sound=clicks(knocks, start_s=first_s, duration_s=count / RATE_HZ),
    )
    told = read_session(folder, Quality())
    film = Video(file=path, starts_at_s=round(first_s, 4))
    others = tuple(v for v in told.videos if v.file.name != path.name)
    write_session(replace(told, videos=(*others, film)), folder)
    return path
