"""The shape of session.toml and marks.toml: keys, types and plausible ranges.

The validators' messages read ``what; how to mend it``.
"""

from __future__ import annotations

from datetime import datetime
from typing import Annotated, Any, Literal
from uuid import UUID

from pydantic import AfterValidator, BaseModel, BeforeValidator, ConfigDict, Field, model_validator

from sensorswim.formats.log_columns import parse_name
from sensorswim.formats.toml_text import shown
from sensorswim.model.placement import Placement


def _plain(text: str) -> str:
    if len(text) > 300:
        raise ValueError("is longer than 300 characters; shorten it")
    if not text.isprintable():
        raise ValueError("holds a line break or another unprintable character; remove it")
    return text


def _seconds(value: object) -> object:
    if isinstance(value, int | float) and not isinstance(value, bool) and abs(value) > 1e12:
        raise ValueError(f"{shown(value)} is no time in seconds; write session time in s")
    return value


def _moment(value: object) -> object:
    if not isinstance(value, datetime):
        raise ValueError(  # noqa: TRY004  pydantic turns ValueError into a message
            f"must be a date and time, found {shown(value)}; "
            "write it without quotes, like 2026-03-14T06:30:00+00:00"
        )
    if value.tzinfo is None:
        raise ValueError("has no UTC offset; append one, like +01:00 or Z")
    return value


def _placement(value: object) -> object:
    names = [str(placement) for placement in Placement]
    if value not in names:
        raise ValueError(f"{shown(value)} is no placement; use one of {', '.join(names)}")
    return Placement(str(value))


def _uuid(value: str) -> str:
    try:
        return str(UUID(value))
    except ValueError as failure:
        raise ValueError(
            f"{shown(value)} is no UUID; leave it out or write 32 hex digits as 8-4-4-4-12"
        ) from failure


def _pool(value: float) -> float:
    if not 10.0 <= value <= 150.0:
        raise ValueError(
            f"{value:g} m is no pool length (10 to 150 m); write it in metres, 25 yd = 22.86"
        )
    return value


def _height(value: float) -> float:
    if not 0.8 <= value <= 2.5:
        hint = f"write {value / 100:g}" if 80 <= value <= 250 else "write it in metres, like 1.72"
        raise ValueError(f"{value:g} m is no body height (0.8 to 2.5 m); {hint}")
    return value


def _segment(value: float) -> float:
    if not 0.1 <= value <= 0.6:
        hint = f"write {value / 100:g}" if 10 <= value <= 60 else "write it in metres, like 0.27"
        raise ValueError(f"{value:g} m is no arm segment (0.1 to 0.6 m); {hint}")
    return value


Text = Annotated[str, AfterValidator(_plain)]
Seconds = Annotated[float, BeforeValidator(_seconds)]
Uuid = Annotated[str, AfterValidator(_uuid)]
Segment = Annotated[float, AfterValidator(_segment)]


def _as_pairs(value: Any) -> Any:
    """Return TOML's lists of lists as tuples of tuples; other things as they are."""
    if not isinstance(value, list):
        return value
    return tuple(tuple(one) if isinstance(one, list) else one for one in value)


Points = Annotated[tuple[tuple[float, float], ...], BeforeValidator(_as_pairs)]


class AnyTable(BaseModel):
    """A table that keeps the keys it doesn't know."""

    model_config = ConfigDict(extra="allow", strict=True, allow_inf_nan=False)

    @property
    def unknown(self) -> dict[str, Any]:
        """The keys that the table's fields don't name."""
        return self.__pydantic_extra__ or {}


class SensorTable(AnyTable):
    """One [[sensor]]."""

    placement: Annotated[Placement, BeforeValidator(_placement)]
    file: Text | None = None
    accel_file: Text | None = None
    gyro_file: Text | None = None
    accel_range_g: float | None = Field(default=None, ge=1.0, le=1000.0)
    gyro_range_deg_s: float | None = Field(default=None, ge=100.0, le=20_000.0)
    columns: dict[str, Text] = {}

    @model_validator(mode="after")
    def _one_way_to_files(self) -> SensorTable:
        both = self.accel_file is not None and self.gyro_file is not None
        either = self.accel_file is not None or self.gyro_file is not None
        if self.file is not None and either:
            raise ValueError("has file and accel_file or gyro_file; keep one way")
        if self.file is None and not both:
            raise ValueError("names no log; give file, or both accel_file and gyro_file")
        for name in self.columns:
            if parse_name(name) is None:
                raise ValueError(
                    f"columns has the unknown name {shown(name)}; "
                    "write a log column with its unit, like accel_x_g"
                )
        return self


class BlockTable(AnyTable):
    """One [[block]]."""

    start_s: Seconds
    end_s: Seconds
    label: Text = ""
    lengths: list[Literal["swim", "drill", "kick", "pull"]] = Field(default=["swim"], min_length=1)
    drill: Text | None = None
    aids: list[Literal["fins", "snorkel", "board", "buoy", "paddles", "band"]] = []
    breathing: Text | None = None

    @model_validator(mode="after")
    def _ends_after_start(self) -> BlockTable:
        if not self.start_s < self.end_s:
            raise ValueError(
                f"start_s {self.start_s:g} is not before end_s {self.end_s:g}; correct the times"
            )
        for key in self.felt_keys():
            value = self.unknown[key]
            number = isinstance(value, int | float) and not isinstance(value, bool)
            if not number or not abs(value) < 1e9:
                raise ValueError(f"{key} must be a number, found {shown(value)}; correct it")
        return self

    def felt_keys(self) -> list[str]:
        """Return the felt_* keys in file order."""
        return [key for key in self.unknown if key.startswith("felt_")]


class VideoMarkTable(AnyTable):
    """One [[video.mark]]."""

    video_s: Seconds
    session_s: Seconds
    label: Text = ""


class VideoTable(AnyTable):
    """One [[video]]."""

    file: Text
    starts_at_s: Seconds | None = None
    slow_factor: float | None = Field(default=None, ge=1.0, le=100.0)
    mark: list[VideoMarkTable] = []


class SessionTable(AnyTable):
    """The whole session.toml."""

    format: int
    started_at: Annotated[datetime, BeforeValidator(_moment)]
    pool_length_m: Annotated[float, AfterValidator(_pool)]
    sensor: list[SensorTable] = Field(min_length=1)
    session_id: Uuid | None = None
    swimmer_id: Uuid | None = None
    swimmer: Text = ""
    height_m: Annotated[float, AfterValidator(_height)] | None = None
    upper_arm_m: Segment | None = None
    forearm_m: Segment | None = None
    block: list[BlockTable] = []
    video: list[VideoTable] = []


class MarkTable(AnyTable):
    """One [[mark]] of marks.toml."""

    kind: Text
    session_s: Seconds | None = None
    video: Text | None = None
    video_s: Seconds | None = None
    label: Text = ""
    value: float | None = None
    unit: Text = ""
    view: Text = ""
    points: Points = Field(default=(), max_length=4)

    @model_validator(mode="after")
    def _has_a_time(self) -> MarkTable:
        if self.session_s is None and (self.video is None or self.video_s is None):
            raise ValueError("has no time; give session_s, or video and video_s")
        return self


class MarksTable(AnyTable):
    """The whole marks.toml."""

    mark: list[MarkTable] = []
