"""What the swimmer and the coach told us about a session: the content of session.toml."""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import datetime
from pathlib import Path
from typing import Any

import numpy as np

from sensorswim.model.placement import Placement


@dataclass(frozen=True, kw_only=True)
class SensorFile:
    """Where one sensor's log is and how to read it.

    Parameters
    ----------
    placement : Placement
    file : Path or None
        The log with both accelerometer and gyroscope; or `accel_file` and `gyro_file`.
    columns : dict
        Column map of a foreign logger: contract column name -> column in the file.
    """

    placement: Placement
    file: Path | None = None
    accel_file: Path | None = None
    gyro_file: Path | None = None
    accel_range_g: float | None = None
    gyro_range_deg_s: float | None = None
    columns: dict[str, str] = field(default_factory=dict)


@dataclass(frozen=True, kw_only=True)
class Block:
    """What was set, in session time; `felt` maps a `lengths` column to what was believed."""

    start_s: float
    end_s: float
    label: str = ""
    lengths: tuple[str, ...] = ("swim",)
    drill: str | None = None
    aids: tuple[str, ...] = ()
    breathing: str | None = None
    felt: dict[str, float] = field(default_factory=dict)

    def kind_of(self, index: int) -> str:
        """Return swim, drill, kick or pull for the block's length `index` (from 0)."""
        return self.lengths[index % len(self.lengths)]


@dataclass(frozen=True, kw_only=True)
class VideoMark:
    """One moment that is known in a video and in the session."""

    video_s: float
    session_s: float
    label: str = ""


@dataclass(frozen=True, kw_only=True)
class Video:
    """A clip and its place in time; `slow_factor`: how many times slower than life it is stored."""

    file: Path
    starts_at_s: float | None = None
    marks: tuple[VideoMark, ...] = ()
    slow_factor: float = 1.0


def video_time(video: Video) -> tuple[float, float] | None:
    """Return offset_s and rate so that video_s = offset_s + rate * session_s.

    One mark gives the offset, two or more also the rate (least squares); marks beat
    ``starts_at_s``. With fewer than two, the rate is `slow_factor`. None where the video can't
    be placed.
    """
    marks, slow = video.marks, video.slow_factor
    session_s = np.array([mark.session_s for mark in marks])
    video_s = np.array([mark.video_s for mark in marks])
    if len(marks) >= 2 and np.ptp(session_s) > 0:
        spread = session_s - session_s.mean()
        rate = float(spread @ video_s / (spread @ spread))
        return float(video_s.mean() - rate * session_s.mean()), rate
    if len(marks):
        return float(video_s.mean() - slow * session_s.mean()), slow
    if video.starts_at_s is not None:
        return -slow * video.starts_at_s, slow
    return None


@dataclass(frozen=True, kw_only=True)
class Mark:
    """A coach's mark from marks.toml, carried through to the `marks` table.

    `points` are those that were set on the frame, as shares of its width and height: three for an
    angle, the joint second; else two on what it is held against and two on what is measured.
    """

    kind: str
    session_s: float | None = None
    video_s: float | None = None
    video: str | None = None
    label: str = ""
    value: float | None = None
    unit: str = ""
    view: str = ""
    points: tuple[tuple[float, float], ...] = ()


@dataclass(frozen=True, kw_only=True)
class Session:
    """One pool session as described by its folder."""

    folder: Path
    started_at: datetime
    swimmer: str
    pool_length_m: float
    sensors: tuple[SensorFile, ...]
    height_m: float | None = None
    upper_arm_m: float | None = None
    forearm_m: float | None = None
    session_id: str | None = None
    swimmer_id: str | None = None
    blocks: tuple[Block, ...] = ()
    videos: tuple[Video, ...] = ()
    marks: tuple[Mark, ...] = ()
    extra: dict[str, Any] = field(default_factory=dict)

    def block_at(self, time_s: float) -> Block | None:
        """Return the first block that holds this session time, None where there is none."""
        return next((b for b in self.blocks if b.start_s <= time_s < b.end_s), None)
