"""handout.toml (a coach's words for the swimmer) and consent.toml (who agreed to what)."""

from __future__ import annotations

from dataclasses import asdict
from pathlib import Path
from typing import Any, Final, TypeVar

from pydantic import BaseModel, ConfigDict, Field, ValidationError, model_validator

from sensorswim.errors import InputError
from sensorswim.formats.plan_toml import Day
from sensorswim.formats.toml_text import check_format, raise_first, read_toml, write_toml
from sensorswim.model.handout import Agreement, AimWords, Consent, HandoutWords
from sensorswim.model.tables import FORMAT

WORDS_FILE: Final = "handout.toml"
CONSENT_FILE: Final = "consent.toml"
OWN_FOLDER: Final = "handout"
"""Where a session keeps plan, diary, words and handout unless another folder is named."""
Table = TypeVar("Table", bound=BaseModel)


class _Table(BaseModel):
    model_config = ConfigDict(extra="forbid")


class _Aim(_Table):
    finding_id: str
    heading: str
    saw: str
    why: str
    try_this: str


class _Words(_Table):
    format: int = 1
    title: str
    greeting: str
    closing: str
    coach: str = ""
    aim: tuple[_Aim, ...] = ()


class _Agreement(_Table):
    name: str = Field(min_length=1)
    sensing: bool
    filming: bool
    agreed_on: Day
    until: Day
    minor: bool = False
    guardian: str = ""

    @model_validator(mode="after")
    def _whole(self) -> _Agreement:
        if self.until < self.agreed_on:
            raise ValueError("until is before agreed_on; correct the dates")
        if self.minor and not self.guardian.strip():
            raise ValueError(f"{self.name} is a minor; name the guardian who agreed")
        return self


class _Consent(_Table):
    format: int = 1
    agreement: tuple[_Agreement, ...] = ()


def write_words(words: HandoutWords, path: Path) -> Path:
    """Write a handout.toml, swapped in whole, and return its path."""
    plain: dict[str, Any] = {"format": FORMAT} | asdict(words)
    plain["aim"] = list(plain.pop("aims"))
    return write_toml(path, "The words of the handout. Edit them; they are kept.", plain)


def read_words(path: Path) -> HandoutWords:
    """Read a handout.toml.

    Raises
    ------
    InputError
        A file that isn't TOML, a newer format, a key that is missing or not known.
    """
    raw = _read(path, _Words)
    return HandoutWords(
        title=raw.title,
        greeting=raw.greeting,
        closing=raw.closing,
        coach=raw.coach,
        aims=tuple(AimWords(**aim.model_dump()) for aim in raw.aim),
    )


def write_consent(consent: Consent, folder: Path) -> Path:
    """Write a session folder's consent.toml, swapped in whole, and return its path."""
    rows = [asdict(one) for one in consent.agreements]
    plain = {"format": FORMAT, "agreement": rows}
    return write_toml(folder / CONSENT_FILE, "Who agreed to sensing and filming.", plain)


def read_consent(folder: Path) -> Consent:
    """Read a folder's consent.toml; nobody has agreed where there is none.

    Raises
    ------
    InputError
        A file that isn't TOML, a newer format, a minor without a guardian, dates the wrong way
        round.
    """
    path = folder / CONSENT_FILE
    if not path.exists():
        return Consent()
    raw = _read(path, _Consent)
    return Consent(agreements=tuple(Agreement(**one.model_dump()) for one in raw.agreement))


def _read(path: Path, table: type[Table]) -> Table:
    data = read_toml(path, InputError)
    check_format(data, path.name, InputError, need=False)
    try:
        return table.model_validate(data)
    except ValidationError as failure:
        raise_first(failure, path.name, InputError)
