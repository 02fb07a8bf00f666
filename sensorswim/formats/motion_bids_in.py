"""A session folder from a Motion-BIDS recording, ours or another laboratory's.

What the validator passes and what would still mislead is checked here: a heading in motion.tsv,
a column too many, a channel twice, an unknown unit, latency that runs backwards.
"""

from __future__ import annotations

import json
import re
from collections.abc import Mapping
from pathlib import Path
from typing import Any, Final

import numpy as np
import pandas as pd
import pyarrow as pa
import pyarrow.parquet as pq

from sensorswim.errors import InputError, OutputError
from sensorswim.formats.motion_bids import started_at
from sensorswim.formats.session_write import write_session
from sensorswim.model import Placement
from sensorswim.model.session import Block, SensorFile, Session
from sensorswim.model.tables import FORMAT
from sensorswim.units import TO_KPA, TO_M_S2, TO_RAD_S, TO_UT

_UNITS: Final = {
    "ACCEL": ("accel_{}_m_s2", {"m/s^2": 1.0, "m/s2": 1.0} | TO_M_S2),
    "GYRO": (
        "gyro_{}_rad_s",
        {"rad/s": 1.0, "deg/s": TO_RAD_S["deg_s"], "°/s": TO_RAD_S["deg_s"]},
    ),
    "MAGN": ("magn_{}_ut", {"uT": 1.0, "µT": 1.0, "T": 1e6} | TO_UT),
    "MISC": ("pressure_kpa", {"kPa": 1.0} | TO_KPA),
}


def import_bids(
    dataset: Path,
    out: Path,
    *,
    subject: str = "",
    places: Mapping[str, Placement] | None = None,
    pool_length_m: float | None = None,
) -> Path:
    """Write one subject's recording as a session folder and return it.

    Parameters
    ----------
    dataset : Path
        The folder with dataset_description.json.
    out : Path
        A folder that isn't there yet, or is empty.
    subject : str
        Label of the subject; may be left out where there is one.
    places : mapping, optional
        tracked_point -> placement, where the points have other names than ours.
    pool_length_m : float, optional
        Where motion.json doesn't hold ``PoolLength_m``.

    Raises
    ------
    InputError
        The dataset can't be used; the line names file and column.
    OutputError
        The folder holds something.
    """
    if out.exists() and (not out.is_dir() or any(out.iterdir())):
        raise OutputError("is there already", where=str(out), mend="name a new folder")
    files = _recordings(dataset, subject)
    scans = next(iter(files[0].parents[1].glob("*_scans.tsv")), Path("scans.tsv"))
    logs: dict[Placement, dict[str, pd.DataFrame]] = {}
    about = _sidecar(files[0])
    for file in files:
        for point, table in _read(file).items():
            logs.setdefault(_placement(point, places or {}), {}).update(_split(table))
    pool = pool_length_m or about.get("PoolLength_m")
    if not isinstance(pool, int | float):
        raise InputError(
            "doesn't hold the pool's length", mend="give --pool-length", where="motion"
        )
    out.mkdir(parents=True, exist_ok=True)
    session = Session(
        folder=out,
        started_at=started_at(scans, files[0].name),
        swimmer=files[0].name.partition("_")[0],
        pool_length_m=float(pool),
        sensors=tuple(_write_logs(out, place, own) for place, own in logs.items()),
        blocks=_blocks(files[0], float(about.get("FirstSampleTime_s", 0.0))),
    )
    write_session(session, out)
    return out


def _recordings(dataset: Path, subject: str) -> list[Path]:
    if not (dataset / "dataset_description.json").is_file():
        raise InputError(
            "is no BIDS dataset", where=str(dataset), mend="give the folder that describes it"
        )
    found = sorted(dataset.glob(f"sub-{subject or '*'}/**/motion/*_motion.tsv"))
    groups = {re.sub(r"_tracksys-[A-Za-z0-9]+", "", file.name) for file in found}
    if len(groups) != 1:
        what = "holds no motion" if not found else f"holds {len(groups)} recordings"
        raise InputError(what, where=str(dataset), mend="name one subject with one recording")
    rows = [line for scans in found[0].parents[1].glob("*_scans.tsv") for line in _lines(scans)]
    order = {line.partition("\t")[0].rpartition("/")[2]: k for k, line in enumerate(rows)}
    return sorted(found, key=lambda file: order.get(file.name, len(order)))


def _lines(path: Path) -> list[str]:
    return path.read_text(encoding="utf-8").splitlines()


def _sidecar(file: Path) -> dict[str, Any]:
    path = file.with_name(file.name.replace("_motion.tsv", "_motion.json"))
    try:
        return dict(json.loads(path.read_text(encoding="utf-8")))
    except (OSError, ValueError) as failure:
        raise InputError("is missing or no JSON", where=path.name) from failure


def _read(file: Path) -> dict[str, pd.DataFrame]:
    """Return one table a tracked point: time_s and the contract's columns."""
    channels = _channels(file)
    try:
        raw = pd.read_csv(
            file, sep="\t", header=None, na_values=["n/a"], dtype=float, index_col=False
        )
    except (OSError, ValueError) as failure:
        raise InputError(
            "holds something that is no number", where=file.name, mend="it has no heading in BIDS"
        ) from failure
    if raw.shape[1] != len(channels):
        raise InputError(
            f"has {raw.shape[1]} columns, its channels.tsv {len(channels)}", where=file.name
        )
    time_s = _times(raw, channels, _sidecar(file), file.name)
    found = {}
    for point, own in channels[channels["type"] != "LATENCY"].groupby("tracked_point", sort=False):
        columns = {"time_s": time_s}
        for index, row in own.iterrows():
            name, factor = _column(row, file.name)
            if name:
                columns[name] = raw[index].to_numpy(float) * factor
        found[str(point)] = pd.DataFrame(columns)
    return found


def _channels(file: Path) -> pd.DataFrame:
    path = file.with_name(file.name.replace("_motion.tsv", "_channels.tsv"))
    try:
        table = pd.read_csv(path, sep="\t", dtype="string", keep_default_na=False)
    except (OSError, ValueError) as failure:
        raise InputError("is missing or no table", where=path.name) from failure
    missing = {"name", "component", "type", "tracked_point", "units"} - set(table)
    if missing:
        raise InputError(f"lacks the column {sorted(missing)[0]}", where=path.name)
    if table["name"].duplicated().any():
        raise InputError("names a channel twice", where=path.name)
    return table


def _times(
    raw: pd.DataFrame, channels: pd.DataFrame, about: dict[str, Any], name: str
) -> np.ndarray[Any, np.dtype[np.float64]]:
    first_s = float(about.get("FirstSampleTime_s", 0.0))
    rows = channels.index[channels["type"] == "LATENCY"]
    if len(rows):
        latency = raw[rows[0]].to_numpy(float)
        if not np.isfinite(latency).all() or (np.diff(latency) <= 0).any():
            raise InputError("latency doesn't run forwards", where=name)
        return first_s + latency
    rate = about.get("SamplingFrequency")
    if not isinstance(rate, int | float) or not rate > 0:
        raise InputError("has neither LATENCY nor SamplingFrequency", where=name)
    return first_s + np.arange(len(raw)) / float(rate)


def _column(row: Any, name: str) -> tuple[str, float]:
    """Return the contract's column of a channel and the factor to it; "" for other channels."""
    if row["type"] not in _UNITS or (row["type"] == "MISC" and row["name"] != "pressure"):
        return "", 1.0
    title, units = _UNITS[row["type"]]
    if row["units"] not in units:
        raise InputError(f"channel {row['name']}: unit {row['units']!r} is not known", where=name)
    if row["type"] != "MISC" and row["component"] not in ("x", "y", "z"):
        raise InputError(f"channel {row['name']}: its component is no axis", where=name)
    return title.format(row["component"]), units[row["units"]]


def _placement(point: str, places: Mapping[str, Placement]) -> Placement:
    if point in places:
        return places[point]
    try:
        return Placement(point)
    except ValueError as failure:
        known = ", ".join(Placement)
        raise InputError(
            f"the tracked point {point!r} is no place that is known",
            mend=f"give --place {point}=PLACE with one of {known}",
        ) from failure


def _split(table: pd.DataFrame) -> dict[str, pd.DataFrame]:
    """Return the table as a whole log, or as the accelerometer's or the gyroscope's part."""
    kinds = {column.partition("_")[0] for column in table if column != "time_s"}
    if {"accel", "gyro"} <= kinds:
        return {"file": table}
    if "gyro" in kinds:
        return {"gyro_file": table}
    return {"accel_file": table} if "accel" in kinds else {}


def _write_logs(out: Path, place: Placement, own: Mapping[str, pd.DataFrame]) -> SensorFile:
    files = {}
    for kind, table in own.items():
        suffix = "" if kind == "file" else f"_{kind.removesuffix('_file')}"
        files[kind] = out / f"{place}{suffix}.parquet"
        arrow = pa.Table.from_pandas(table, preserve_index=False)
        pq.write_table(arrow.replace_schema_metadata({"format": str(FORMAT)}), files[kind])
    return SensorFile(
        placement=place,
        file=files.get("file"),
        accel_file=files.get("accel_file"),
        gyro_file=files.get("gyro_file"),
    )


def _blocks(file: Path, first_s: float) -> tuple[Block, ...]:
    path = file.with_name(file.name.replace("_motion.tsv", "_events.tsv"))
    if not path.is_file():
        return ()
    table = pd.read_csv(path, sep="\t", dtype="string", keep_default_na=False).replace("n/a", "")
    if "lengths" not in table:
        return ()
    return tuple(
        Block(
            start_s=first_s + float(row["onset"]),
            end_s=first_s + float(row["onset"]) + float(row["duration"]),
            label=row["block_label"],
            lengths=tuple(row["lengths"].split()) or ("swim",),
            drill=row["drill"] or None,
            aids=tuple(row["aids"].split()),
        )
        for row in table.to_dict("records")
    )
