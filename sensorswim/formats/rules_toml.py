"""The rules of the findings: those of the package, changed by a coach's own rules.toml."""

from __future__ import annotations

from dataclasses import fields
from importlib.resources import files
from pathlib import Path
from string import Formatter
from typing import Any, Final

from platformdirs import user_config_path
from pydantic import BaseModel, ConfigDict, Field, ValidationError, field_validator

from sensorswim.errors import SettingsError
from sensorswim.formats.toml_text import check_format, raise_first, read_toml, shown
from sensorswim.model.findings import RULE_PLACES, Rule, Rules
from sensorswim.model.settings import Settings
from sensorswim.model.tables import SCHEMAS

RULES_FILE: Final = "rules.toml"
PACKAGED: Final = files("sensorswim") / "findings"
"""Where the package keeps its own rules and drills."""
_WORDED: Final = ("title", "says", "aim", "why", "confused_with")


class RuleTable(BaseModel):
    """One [[rule]], complete."""

    model_config = ConfigDict(extra="forbid", allow_inf_nan=False)

    id: str = Field(pattern=r"^[a-z0-9]+(-[a-z0-9]+)*$", max_length=60)
    measure: str
    title: str
    says: str
    aim: str
    why: str
    confused_with: str
    view: str
    needs: str
    source: str
    unit: str
    shows: str
    step: float = Field(gt=0)
    error: float = Field(ge=0)
    low: float | None = None
    high: float | None = None
    weight: float = Field(default=1.0, ge=0, le=10)
    least: int = Field(default=6, ge=1)
    digits: int = Field(default=1, ge=0, le=4)
    covered_by: tuple[str, ...] = ()
    follows: tuple[str, ...] = ()
    low_setting: str = ""
    high_setting: str = ""
    tolerance: dict[str, float] = {}
    by_source: dict[str, dict[str, float | str]] = {}
    use: bool = True

    @field_validator(*_WORDED)
    @classmethod
    def _places(cls, text: str) -> str:
        try:
            names = [name for _, name, _, _ in Formatter().parse(text) if name is not None]
        except ValueError as failure:
            raise ValueError(f"has a brace too many or too few ({failure}); mend it") from failure
        for name in names:
            if name not in RULE_PLACES:
                allowed = ", ".join(sorted(RULE_PLACES))
                raise ValueError(f"has the unknown place {shown(name)}; allowed are {allowed}")
        return text

    @field_validator("low_setting", "high_setting")
    @classmethod
    def _setting(cls, name: str) -> str:
        allowed = [field.name for field in fields(Settings)]
        if name and name not in allowed:
            raise ValueError(f"{shown(name)} is no setting; use one of {', '.join(allowed)}")
        return name

    @field_validator("by_source")
    @classmethod
    def _bands(cls, given: dict[str, dict[str, float | str]]) -> dict[str, dict[str, float | str]]:
        for source, band in given.items():
            if set(band) - {"low", "high", "error", "step", "confused_with"}:
                raise ValueError(
                    f"{source} may hold low, high, error, step and confused_with only; mend it"
                )
            for name, value in band.items():
                if isinstance(value, str) is not (name == "confused_with"):
                    wanted = "a text" if name == "confused_with" else "a number"
                    raise ValueError(f"{source}: {name} must be {wanted}; mend it")
                if isinstance(value, str):
                    cls._places(value)
        return given

    @field_validator("tolerance")
    @classmethod
    def _columns(cls, given: dict[str, float]) -> dict[str, float]:
        for column, value in given.items():
            if column not in SCHEMAS["lengths"].names or value <= 0:
                raise ValueError(
                    f"{shown(column)} must be a column of lengths with a number above 0; mend it"
                )
        return given


class RulesTable(BaseModel):
    """The whole of rules.toml."""

    model_config = ConfigDict(extra="forbid", allow_inf_nan=False)

    format: int = 1
    aims: int = Field(default=2, ge=1, le=5)
    least_certainty: float = Field(default=0.8, ge=0.5, lt=1.0)
    rule: list[RuleTable] = []


def own_file(name: str, session_folder: Path | None) -> Path | None:
    """Return a coach's own file: the session's, else the user's, else None."""
    folders = [] if session_folder is None else [session_folder]
    for folder in (*folders, user_config_path("sensorswim", appauthor=False)):
        if (folder / name).is_file():
            return folder / name
    return None


def merged_by_id(
    base: list[dict[str, Any]], own: Any, table: str, where: str
) -> list[dict[str, Any]]:
    """Return the base's tables with the keys that the own ones change, new ones at the end.

    Raises
    ------
    SettingsError
        Something else than tables with an id.
    """
    merged = {entry["id"]: dict(entry) for entry in base}
    rows = own if isinstance(own, list) else [own]
    for number, entry in enumerate(rows, start=1):
        name = entry.get("id") if isinstance(entry, dict) else None
        if not isinstance(name, str):
            raise SettingsError(
                "has no id", where=f"{where} [[{table}]] {number}", mend="give it one"
            )
        merged[name] = merged.get(name, {}) | entry
    return list(merged.values())


def read_rules(session_folder: Path | None = None) -> Rules:
    """Return the rules that count for a session.

    Raises
    ------
    SettingsError
        A file that isn't TOML, a newer format, an unknown key or place, an incomplete new rule.
    """
    data = read_toml(PACKAGED / RULES_FILE, SettingsError)
    path = own_file(RULES_FILE, session_folder)
    if path is not None:
        own = read_toml(path, SettingsError)
        check_format(own, RULES_FILE, SettingsError, need=False)
        rules = merged_by_id(data["rule"], own.pop("rule", []), "rule", RULES_FILE)
        data |= own | {"rule": rules}
    try:
        table = RulesTable.model_validate(data)
    except ValidationError as failure:
        raise_first(failure, RULES_FILE, SettingsError)
    return Rules(
        rules=tuple(Rule(**rule.model_dump()) for rule in table.rule),
        aims=table.aims,
        least_certainty=table.least_certainty,
    )
