"""plan.toml and diary.toml: the plan that a coach may edit, and what the swimmer writes down."""

from __future__ import annotations

from dataclasses import asdict
from datetime import date
from pathlib import Path
from typing import Annotated, Final

from pydantic import BaseModel, BeforeValidator, ConfigDict, Field, ValidationError, field_validator

from sensorswim.errors import InputError
from sensorswim.formats.toml_text import check_format, raise_first, read_toml, shown, write_toml
from sensorswim.model.plan import (
    PAIN_PLACES,
    CheckSet,
    Diary,
    DiaryEntry,
    Plan,
    PlanAim,
    PlanSet,
    PlanWeek,
)
from sensorswim.model.tables import FORMAT

PLAN_FILE: Final = "plan.toml"
DIARY_FILE: Final = "diary.toml"


def _day(value: object) -> object:
    if type(value) is not date:
        raise ValueError(f"must be a date, found {shown(value)}; write it like 2026-04-18")
    return value


Day = Annotated[date, BeforeValidator(_day)]
Pain = Annotated[int, Field(ge=0, le=10)]


class _Table(BaseModel):
    model_config = ConfigDict(extra="forbid", allow_inf_nan=False)


class _CheckSet(_Table):
    label: str = Field(min_length=1)
    repeats: int = Field(ge=1, le=40)
    distance_m: float = Field(gt=0, le=2000)
    rest_s: float = Field(ge=0, le=600)
    pace: str


class _Aim(_Table):
    finding_id: str
    title: str
    text: str
    measure: str
    unit: str
    now: float
    wanted: float
    digits: int = Field(default=1, ge=0, le=4)


class _Set(_Table):
    id: str
    aim_id: str
    drill: str
    pattern: tuple[str, ...] = Field(min_length=1)
    repeats: int = Field(ge=1, le=40)
    distance_m: float = Field(gt=0, le=2000)
    rest_s: float = Field(ge=0, le=600)
    target: str
    sensors: str
    aids: tuple[str, ...] = ()
    stopped: str = ""


class _Week(_Table):
    number: int = Field(ge=1, le=6)
    thought: str
    sets: tuple[_Set, ...] = ()


class _Plan(_Table):
    format: int
    swimmer: str
    made_on: Day
    next_check: Day
    per_week: int = Field(ge=1, le=14)
    aims: tuple[_Aim, ...] = Field(default=(), max_length=2)
    weeks: tuple[_Week, ...] = ()
    check_set: _CheckSet
    should_change: tuple[str, ...] = ()
    see_somebody: str = ""


class _Entry(_Table):
    day: Day
    sets_done: tuple[str, ...] = ()
    felt: str = ""
    pain_before: Pain = 0
    pain_after: Pain = 0
    pain_where: str = ""
    dizzy: bool = False
    cleared_by: str = ""

    @field_validator("pain_where")
    @classmethod
    def _place(cls, where: str) -> str:
        if where and where not in PAIN_PLACES:
            raise ValueError(f"{shown(where)} is no place; use one of {', '.join(PAIN_PLACES)}")
        return where


class _Diary(_Table):
    format: int = 1
    entry: tuple[_Entry, ...] = ()


def write_plan(plan: Plan, path: Path) -> Path:
    """Write a plan.toml, swapped in whole, and return its path."""
    comment = "A plan of some weeks. The texts and numbers may be edited."
    return write_toml(path, comment, {"format": FORMAT} | asdict(plan))


def read_plan(path: Path) -> Plan:
    """Read a plan.toml.

    Raises
    ------
    InputError
        A file that isn't TOML, a newer format, a key or a value that a plan can't have.
    """
    data = read_toml(path, InputError)
    check_format(data, path.name, InputError, need=True)
    try:
        raw = _Plan.model_validate(data)
    except ValidationError as failure:
        raise_first(failure, path.name, InputError)
    return Plan(
        swimmer=raw.swimmer,
        made_on=raw.made_on,
        next_check=raw.next_check,
        per_week=raw.per_week,
        aims=tuple(PlanAim(**aim.model_dump()) for aim in raw.aims),
        weeks=tuple(
            PlanWeek(
                number=week.number,
                thought=week.thought,
                sets=tuple(PlanSet(**one.model_dump()) for one in week.sets),
            )
            for week in raw.weeks
        ),
        check_set=CheckSet(**raw.check_set.model_dump()),
        should_change=raw.should_change,
        see_somebody=raw.see_somebody,
    )


def read_diary(path: Path) -> Diary:
    """Read a diary.toml.

    Raises
    ------
    InputError
        A file that isn't TOML, a newer format, a key or a value that an entry can't have.
    """
    data = read_toml(path, InputError)
    check_format(data, path.name, InputError, need=False)
    try:
        raw = _Diary.model_validate(data)
    except ValidationError as failure:
        raise_first(failure, path.name, InputError)
    return Diary(entries=tuple(DiaryEntry(**entry.model_dump()) for entry in raw.entry))


def diary_start(plan: Plan) -> str:
    """Return an empty diary.toml with the lines to copy for each visit to the pool."""
    ids = [one.id for week in plan.weeks for one in week.sets]
    return (
        "# Diary. Copy the lines between the rulers for each visit to the pool, without the #.\n"
        "# Pain: 0 = none to 10. Any pain or dizziness ends the session.\n"
        f"# Sets: {', '.join(ids) or 'none'}.\n"
        f"# Places of pain: {', '.join(PAIN_PLACES)}.\n"
        "# ----\n"
        "# [[entry]]\n"
        f"# day = {plan.made_on.isoformat()}\n"
        f"# sets_done = [{', '.join(repr(name) for name in ids[:2])}]\n".replace("'", '"')
        + '# felt = "in your own words"\n'
        "# pain_before = 0\n"
        "# pain_after = 0\n"
        '# pain_where = ""\n'
        "# dizzy = false\n"
        '# cleared_by = ""   # the doctor or physiotherapist who let you go on after a stop\n'
        "# ----\n"
        "format = 1\n"
    )
