"""Writes a rehearsal as a session folder of the file contract."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Final

import numpy as np
import pandas as pd
import pyarrow as pa
import pyarrow.parquet as pq
import tomlkit

from sensorswim.errors import OutputError
from sensorswim.model import Stream
from sensorswim.model.tables import FORMAT, to_arrow
from sensorswim.rehearsal.score import Score
from sensorswim.rehearsal.settings import Kit, Plan, Swimmer

if TYPE_CHECKING:
    from sensorswim.rehearsal.simulate import Rehearsal

FORMATS: Final = ("parquet", "csv", "csv.gz")
STARTED_AT: Final = "2026-03-14T06:30:00+00:00"


def session_toml(
    score: Score, swimmer: Swimmer, kit: Kit, plan: Plan, lengths: pd.DataFrame
) -> str:
    """Return session.toml; the blocks are in session time, as `lengths` is."""
    doc = tomlkit.document()
    doc.add(tomlkit.comment("Invented data: a simulated swimmer, no real person."))
    doc["format"] = FORMAT
    doc["started_at"] = tomlkit.datetime(STARTED_AT)
    doc["swimmer"] = swimmer.name
    doc["height_m"] = round(swimmer.height_m, 3)
    doc["pool_length_m"] = plan.pool_length_m
    doc["invented"] = True
    sensors = tomlkit.aot()
    for placement in kit.placements:
        sensor = tomlkit.table()
        sensor["placement"] = placement.value
        sensor["file"] = f"{placement.value}.parquet"
        sensor["accel_range_g"] = float(kit.accel_range_g)
        sensor["gyro_range_deg_s"] = float(kit.gyro_range_deg_s)
        sensors.append(sensor)
    doc["sensor"] = sensors
    blocks = _blocks(score, lengths)
    if len(blocks):
        doc["block"] = blocks
    return tomlkit.dumps(doc)


def _blocks(score: Score, lengths: pd.DataFrame) -> tomlkit.items.AoT:
    blocks = tomlkit.aot()
    firsts = [first for _, _, first in score.blocks] + [len(lengths) + 1]
    for (label, keys, first), following in zip(score.blocks, firsts[1:], strict=True):
        if following <= first:
            continue
        own = lengths.iloc[first - 1 : following - 1]
        block = tomlkit.table()
        block["start_s"] = round(float(own["start_s"].iloc[0]) - 1.0, 2)
        block["end_s"] = round(float(own["end_s"].iloc[-1]) + 1.0, 2)
        block["label"] = label
        block["lengths"] = [item.set_as for item in score.lengths[first - 1 : following - 1]]
        for key, value in keys.items():
            block[key] = value
        blocks.append(block)
    return blocks


def log_frame(stream: Stream) -> pd.DataFrame:
    """Return one log with the contract's columns."""
    accel, gyro = stream.accel.values, stream.gyro.values  # noqa: PD011
    columns = {"time_s": stream.accel.time_s}
    for k, axis in enumerate("xyz"):
        columns[f"accel_{axis}_m_s2"] = accel[:, k]
    for k, axis in enumerate("xyz"):
        columns[f"gyro_{axis}_deg_s"] = np.degrees(gyro[:, k])
    if stream.magn is not None:
        for k, axis in enumerate("xyz"):
            columns[f"magn_{axis}_ut"] = stream.magn.values[:, k]  # noqa: PD011
    if stream.pressure is not None:
        columns["pressure_kpa"] = stream.pressure.values[:, 0]  # noqa: PD011
    return pd.DataFrame(columns)


def _damage(table: pd.DataFrame, share: float, rng: np.random.Generator) -> pd.DataFrame:
    """Repeat some rows and blank the acceleration of others, as loggers do."""
    if share <= 0:
        return table
    hurt = table.copy()
    blank = rng.random(len(hurt)) < 0.5 * share
    hurt.loc[blank, "accel_x_m_s2"] = np.nan
    twice = np.sort(np.r_[np.arange(len(hurt)), np.flatnonzero(rng.random(len(hurt)) < share / 2)])
    return hurt.iloc[twice].reset_index(drop=True)


def write_session(rehearsal: Rehearsal, folder: Path, *, file_format: str) -> Path:
    """Write session.toml, one log a sensor and the truth as Parquet.

    Raises
    ------
    OutputError
        An unknown format, or a folder that already holds a session.
    """
    if file_format not in FORMATS:
        raise OutputError(f"no file format {file_format!r}", mend=f"use {', '.join(FORMATS)}")
    if (folder / "session.toml").exists():
        raise OutputError(
            "there is a session already", where=str(folder), mend="choose another folder"
        )
    truth = folder / "truth"
    truth.mkdir(parents=True, exist_ok=True)
    rng = np.random.default_rng(rehearsal.seed)
    for placement, stream in rehearsal.streams.items():
        table = _damage(log_frame(stream), rehearsal.kit.damaged_rows, rng)
        path = folder / f"{placement.value}.{file_format}"
        if file_format == "parquet":
            arrow = pa.Table.from_pandas(table, preserve_index=False)
            pq.write_table(arrow.replace_schema_metadata({"format": str(FORMAT)}), path)
        else:
            table.to_csv(path, index=False, float_format="%.6f")
    for name, values in rehearsal.truth.items():
        pq.write_table(to_arrow(name, values), truth / f"{name}.parquet")
    text = rehearsal.session_toml.replace(".parquet", f".{file_format}")
    (folder / "session.toml").write_text(text, encoding="utf-8")
    return folder
