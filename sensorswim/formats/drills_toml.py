"""The drill library: the package's drills, added to or changed by a coach's own drills.toml."""

from __future__ import annotations

import re
from collections.abc import Iterable
from difflib import get_close_matches
from pathlib import Path
from typing import Final, Literal

from pydantic import BaseModel, ConfigDict, Field, ValidationError, field_validator

from sensorswim.errors import SettingsError
from sensorswim.formats.rules_toml import PACKAGED, merged_by_id, own_file
from sensorswim.formats.toml_text import check_format, raise_first, read_toml
from sensorswim.model.drills import Drill
from sensorswim.model.quality import Quality, Severity
from sensorswim.model.session import Session

DRILLS_FILE: Final = "drills.toml"
_BREATH_HOLDING: Final = re.compile(
    r"hypoxic|without (any )?breath|no[- ]breath|breath[- ]?hold|hold(ing)? (your|the) breath", re.I
)


class DrillTable(BaseModel):
    """One [[drill]], complete."""

    model_config = ConfigDict(extra="forbid")

    id: str = Field(pattern=r"^[a-z0-9]+(-[a-z0-9]+)*$", max_length=60)
    name: str
    aim: str
    how: str
    feel: str
    sensors: str
    cautions: str
    helps: tuple[str, ...] = Field(min_length=1)
    kit: tuple[Literal["fins", "snorkel", "board", "buoy", "paddles", "band"], ...] = ()
    loads: tuple[Literal["shoulder", "legs", "neck"], ...] = ()
    pattern: Literal["drill", "kick"] = "drill"

    @field_validator("name", "aim", "how")
    @classmethod
    def _breathes(cls, text: str) -> str:
        if _BREATH_HOLDING.search(text):
            raise ValueError("speaks of swimming without breath; such sets are not planned here")
        return text


class DrillsTable(BaseModel):
    """The whole of drills.toml."""

    model_config = ConfigDict(extra="forbid")

    format: int = 1
    drill: list[DrillTable] = []


def note_unknown_drills(session: Session, drills: Iterable[Drill], quality: Quality) -> None:
    """Say it where a block names a drill that the library doesn't hold."""
    known = {drill.id for drill in drills}
    for number, block in enumerate(session.blocks, 1):
        if block.drill is not None and block.drill not in known:
            near = get_close_matches(block.drill, known, n=1)
            hint = f" Is it {near[0]}?" if near else ""
            quality.add(
                "drill_unknown",
                Severity.NOTE,
                f"Block {number} names the drill {block.drill}, which the drill library doesn't "
                f"hold: its lengths count as drill, without the library's words.{hint}",
                start_s=block.start_s,
                end_s=block.end_s,
            )


def read_drills(session_folder: Path | None = None) -> tuple[Drill, ...]:
    """Return the drill library that counts for a session.

    Raises
    ------
    SettingsError
        A file that isn't TOML, a newer format, an unknown key, an incomplete new drill, a drill
        that is swum without breath.
    """
    data = read_toml(PACKAGED / DRILLS_FILE, SettingsError)
    path = own_file(DRILLS_FILE, session_folder)
    if path is not None:
        own = read_toml(path, SettingsError)
        check_format(own, DRILLS_FILE, SettingsError, need=False)
        drills = merged_by_id(data["drill"], own.pop("drill", []), "drill", DRILLS_FILE)
        data |= own | {"drill": drills}
    try:
        table = DrillsTable.model_validate(data)
    except ValidationError as failure:
        raise_first(failure, DRILLS_FILE, SettingsError)
    return tuple(Drill(**drill.model_dump()) for drill in table.drill)
