"""What a recorder knows of a session while it runs: radio/recording.json, swapped in whole."""

from __future__ import annotations

import json
import os
from dataclasses import asdict, dataclass, field
from pathlib import Path
from typing import Any, Final

from sensorswim.errors import SessionError
from sensorswim.formats.radio_log import RADIO_FOLDER
from sensorswim.model.tables import FORMAT

RECORDING_FILE: Final = "recording.json"


@dataclass(frozen=True, kw_only=True)
class RecordingFacts:
    """Who is recorded and how.

    Parameters
    ----------
    log : int
        Number of the log on every sensor of the session, 1 to 65535.
    reference : int
        Serial number of the sensor whose clock is session time, 0 before the first has started.
    extra : dict
        Further top-level keys of session.toml, such as ``invented``.
    """

    log: int
    swimmer: str
    pool_length_m: float
    session_id: str
    height_m: float | None = None
    reference: int = 0
    extra: dict[str, Any] = field(default_factory=dict)


def write_recording(facts: RecordingFacts, folder: Path) -> None:
    """Write radio/recording.json into a session folder."""
    place = folder / RADIO_FOLDER
    place.mkdir(parents=True, exist_ok=True)
    part = place / f"{RECORDING_FILE}.part"
    with part.open("w", encoding="utf-8") as file:
        json.dump({"format": FORMAT} | asdict(facts), file)
        file.flush()
        os.fsync(file.fileno())
    part.replace(place / RECORDING_FILE)


def read_recording(folder: Path) -> RecordingFacts | None:
    """Read radio/recording.json; None where nothing was ever recorded in this folder.

    Raises
    ------
    SessionError
        It is of a newer format, or isn't what a recorder writes.
    """
    path = folder / RADIO_FOLDER / RECORDING_FILE
    if not path.exists():
        return None
    try:
        data = json.loads(path.read_text(encoding="utf-8"))
        known = data.pop("format")
        if known != FORMAT:
            raise SessionError(f"format {known} isn't known", where=path.name, mend="update")
        return RecordingFacts(**data)
    except (ValueError, TypeError, KeyError, AttributeError) as failure:
        raise SessionError(
            f"isn't a recorder's file: {failure}", where=path.name, mend="choose another folder"
        ) from failure
