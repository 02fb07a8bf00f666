"""Sessions as Motion-BIDS, an open layout for motion data, and back.

Each sensor has its own clock, so each is a tracking system of its own (`tracksys`), two where
accelerometer and gyroscope have timestamps of their own. LATENCY holds the seconds since the
first row; the clock's reading at that row is the key `FirstSampleTime_s` of motion.json. Blocks
go into events.tsv. Names and ids stay behind: a subject is a label.

Source: Brain Imaging Data Structure 1.11.1, Motion, https://bids-specification.readthedocs.io;
Jeung et al. 2024, doi 10.1038/s41597-024-03559-8.
"""

from __future__ import annotations

import json
import re
from collections.abc import Mapping
from datetime import UTC, datetime
from pathlib import Path
from typing import Any, Final

import numpy as np
import pandas as pd

from sensorswim.errors import InputError, OutputError
from sensorswim.formats.logs import read_stream
from sensorswim.formats.session_toml import read_session
from sensorswim.model import Quality, Session, Stream
from sensorswim.model.session import Block
from sensorswim.model.streams import FloatArray

TASK: Final = "swim"
BIDS_VERSION: Final = "1.11.1"
GROUPS: Final = {
    "accel": ("ACCEL", "m/s^2", "xyz"),
    "gyro": ("GYRO", "rad/s", "xyz"),
    "magn": ("MAGN", "uT", "xyz"),
    "pressure": ("MISC", "kPa", ""),
}
_COLUMNS: Final = (
    "name",
    "component",
    "type",
    "tracked_point",
    "units",
    "placement",
    "reference_frame",
)
_FRAME: Final = {
    "SpatialAxes": "n/a",
    "RotationRule": "right-hand",
    "Description": "Sensor axes as strapped on: x along the limb towards fingers, toes or crown; "
    "z out of the skin; y completes the right-handed set. Straps are never exact.",
}


def export_bids(folder: Path, out: Path, *, subject: str = "01") -> Path:
    """Write a session folder as a Motion-BIDS dataset and return it.

    Parameters
    ----------
    folder : Path
        A session folder.
    out : Path
        A folder that isn't there yet, or is empty.
    subject : str
        Label of the subject, letters and digits.

    Raises
    ------
    InputError
        The session can't be used, or the label holds anything else.
    OutputError
        The folder holds something, or can't be written.
    """
    if not re.fullmatch(r"[A-Za-z0-9]+", subject):
        raise InputError(f"{subject!r} is no subject label", mend="use letters and digits")
    if out.exists() and (not out.is_dir() or any(out.iterdir())):
        raise OutputError("is there already", where=str(out), mend="name a new folder")
    quality = Quality()
    session = read_session(folder, quality)
    streams = [read_stream(sensor, quality) for sensor in session.sensors]
    try:
        _write_dataset(session, streams, out, f"sub-{subject}")
    except OSError as failure:
        raise OutputError(f"can't be written ({failure.strerror})", where=str(out)) from failure
    return out


def _write_dataset(session: Session, streams: list[Stream], out: Path, subject: str) -> None:
    place = out / subject / "motion"
    place.mkdir(parents=True)
    invented = " Invented data, no real person." if session.extra.get("invented") else ""
    about = {
        "Name": "Front crawl, inertial sensors",
        "BIDSVersion": BIDS_VERSION,
        "DatasetType": "raw",
        "License": "n/a",
        "Authors": ["n/a"],
    }
    _json(about, out / "dataset_description.json")
    (out / "README").write_text(
        f"Front crawl measured with body-worn inertial sensors.{invented}\n"
        "Each sensor has its own clock; they are not aligned here. Three knocks of all sensors "
        "held together, where there are any, show in each of them.\n",
        encoding="utf-8",
    )
    _tsv([{"participant_id": subject, "species": "homo sapiens"}], out / "participants.tsv")
    started = session.started_at.astimezone(UTC).strftime("%Y-%m-%dT%H:%M:%S.%fZ")
    scans, first_s = [], float("nan")
    for stream in streams:
        for label, groups in _systems(stream):
            stem = f"{subject}_task-{TASK}_tracksys-{label}"
            _write_system(session, stream, groups, place, stem)
            scans.append({"filename": f"motion/{stem}_motion.tsv", "acq_time": started})
            if len(scans) == 1:
                first_s = float(stream.accel.time_s[0])
                _write_events(session, place / f"{stem}_events", first_s)
    _tsv(scans, out / subject / f"{subject}_scans.tsv")


def _systems(stream: Stream) -> list[tuple[str, tuple[str, ...]]]:
    """Return the labels of a sensor's tracking systems and the groups in each."""
    label = str(stream.placement).replace("_", "")
    there = [name for name in GROUPS if getattr(stream, name) is not None]
    own = [n for n in there if not np.array_equal(getattr(stream, n).time_s, stream.accel.time_s)]
    shared = tuple(name for name in there if name not in own)
    return [(label, shared), *((f"{label}{name}", (name,)) for name in own)]


def _write_system(
    session: Session, stream: Stream, groups: tuple[str, ...], place: Path, stem: str
) -> None:
    first = getattr(stream, groups[0])
    columns: dict[str, FloatArray] = {"latency": first.time_s - first.time_s[0]}
    channels = [_channel(stream, "latency", "n/a", "LATENCY", "s")]
    for name in groups:
        kind, unit, axes = GROUPS[name]
        values = getattr(stream, name).values  # noqa: PD011
        for k, axis in enumerate(axes or ["n/a"]):
            title = f"{name}_{axis}" if axes else name
            columns[title] = values[:, k]
            channels.append(_channel(stream, title, axis, kind, unit))
    table = pd.DataFrame(columns)
    table.to_csv(
        place / f"{stem}_motion.tsv",
        sep="\t",
        header=False,
        index=False,
        na_rep="n/a",
        float_format="%.9g",
        lineterminator="\n",
    )
    _tsv(channels, place / f"{stem}_channels.tsv")
    levels = {"reference_frame": {"Levels": {"local": _FRAME}}}
    _json(levels, place / f"{stem}_channels.json")
    counts = {f"{GROUPS[n][0]}ChannelCount": 3 for n in groups if GROUPS[n][2]}
    steps = np.diff(first.time_s)
    rate_hz = float(1.0 / np.median(steps))
    about: dict[str, Any] = {
        "TaskName": TASK,
        "TaskDescription": "Front crawl in a pool",
        "SamplingFrequency": round(rate_hz, 6),
        "SamplingFrequencyEffective": round(len(steps) / float(steps.sum()), 6),
        "TrackedPointsCount": 1,
        "MotionChannelCount": len(channels),
        **counts,
        "MissingValues": "n/a",
        "RecordingType": "continuous",
        "TrackingSystemName": str(stream.placement),
        "FirstSampleTime_s": float(first.time_s[0]),
        "PoolLength_m": session.pool_length_m,
    }
    _json(about, place / f"{stem}_motion.json")


def _channel(stream: Stream, name: str, component: str, kind: str, unit: str) -> dict[str, str]:
    where = str(stream.placement)
    frame = "n/a" if kind in ("LATENCY", "MISC") else "local"
    row = (name, component, kind, where, unit, where.replace("_", " "), frame)
    return dict(zip(_COLUMNS, row, strict=True))


def _write_events(session: Session, stem: Path, first_s: float) -> None:
    rows = [_event(block, first_s) for block in session.blocks]
    if rows:
        _tsv(rows, stem.with_name(f"{stem.name}.tsv"))
        meanings = {
            "block_label": "What was set, in the coach's words",
            "lengths": "Kinds of the block's lengths, repeated",
            "drill": "Drill of the drill lengths",
            "aids": "Aids worn",
        }
        about = {key: {"Description": text} for key, text in meanings.items()}
        _json(about, stem.with_name(f"{stem.name}.json"))


def _event(block: Block, first_s: float) -> dict[str, Any]:
    return {
        "onset": f"{block.start_s - first_s:.6f}",
        "duration": f"{block.end_s - block.start_s:.6f}",
        "block_label": _cell(block.label),
        "lengths": _cell(" ".join(block.lengths)),
        "drill": _cell(block.drill or ""),
        "aids": _cell(" ".join(block.aids)),
    }


def _cell(text: str) -> str:
    return " ".join(text.split()) or "n/a"


def _tsv(rows: list[dict[str, Any]], path: Path) -> None:
    lines = ["\t".join(rows[0]), *("\t".join(str(v) for v in row.values()) for row in rows)]
    path.write_text("\n".join(lines) + "\n", encoding="utf-8", newline="\n")


def _json(data: Mapping[str, Any], path: Path) -> None:
    text = json.dumps(data, indent=2, ensure_ascii=False, allow_nan=False)
    path.write_text(text + "\n", encoding="utf-8", newline="\n")


def started_at(scans: Path, name: str) -> datetime:
    """Return when a recording began, from scans.tsv.

    Raises
    ------
    InputError
        There is no such file or row, or no time in it.
    """
    try:
        table = pd.read_csv(scans, sep="\t", dtype="string")
        own = table.loc[table["filename"].str.endswith(name), "acq_time"]
        when = datetime.fromisoformat(str(own.iloc[0]))
    except (OSError, ValueError, KeyError, IndexError) as failure:
        raise InputError("holds no acq_time of the recording", where=scans.name) from failure
    return when if when.tzinfo else when.replace(tzinfo=UTC)
