"""Result tables and summaries, written and read.

Parquet holds the schema's units and meanings in its field metadata. CSV leaves empty values
blank, and a text that a spreadsheet would run as a formula gets a leading apostrophe (taken off
again on reading).
"""

from __future__ import annotations

import json
import math
from collections.abc import Mapping
from datetime import datetime
from enum import Enum
from pathlib import Path
from typing import Any, Final

import numpy as np
import pandas as pd
import pyarrow as pa
import pyarrow.parquet as pq

from sensorswim.errors import InputError
from sensorswim.model.stream_table import STREAMS
from sensorswim.model.tables import FORMAT, SCHEMAS, frame, to_arrow

_FORMULA_STARTS: Final = ("=", "+", "-", "@", "\t", "\r", "\n")
"""OWASP, CSV injection, https://owasp.org/www-community/attacks/CSV_Injection."""


def write_table(table: pd.DataFrame, name: str, path: Path) -> None:
    """Write the result table `name` as .parquet or .csv, by the path's suffix.

    Parameters
    ----------
    table : DataFrame
        Columns of the schema `name`; missing ones are written empty.
    name : str
        A key of `SCHEMAS`, or ``streams`` for columns of `STREAMS`.

    Raises
    ------
    KeyError
        A column of ``streams`` that isn't known: a defect of the caller.
    ValueError
        Another suffix: a defect of the caller.
    """
    if path.suffix == ".parquet":
        pq.write_table(_arrow(table, name), path, compression="zstd")
    elif path.suffix == ".csv":
        _write_csv(frame(name, table) if name in SCHEMAS else table, path)
    else:
        raise ValueError(f"a table is written as .parquet or .csv, not {path.suffix!r}")


def read_table(path: Path) -> pd.DataFrame:
    """Read a result table that `write_table` wrote; its name is the file's stem.

    Raises
    ------
    InputError
        The file can't be read, isn't a table of this project, or is of a newer format.
    """
    name = path.stem
    if path.suffix == ".csv":
        return _read_csv(path, name)
    try:
        table = pq.read_table(path)
    except (pa.ArrowException, OSError) as failure:
        raise InputError("can't be read as Parquet", where=path.name) from failure
    written = (table.schema.metadata or {}).get(b"format", b"").decode(errors="replace")
    if not written.isdigit():
        raise InputError("is not a table that sensorswim wrote", where=path.name)
    if int(written) > FORMAT:
        raise InputError(
            f"format {written} is newer than this version reads ({FORMAT})",
            where=path.name,
            mend="update sensorswim",
        )
    data = table.to_pandas()
    return _typed(data, name, path)


def write_json(data: Mapping[str, Any], path: Path) -> None:
    """Write a summary as JSON with ``format`` first; NaN, infinity, NA and NaT become null.

    Raises
    ------
    TypeError
        A value of a type that has no JSON form: a defect of the caller.
    """
    whole = {"format": FORMAT} | dict(data)
    text = json.dumps(plain(whole), ensure_ascii=False, indent=2, allow_nan=False)
    path.write_text(text + "\n", encoding="utf-8", newline="\n")


def read_json(path: Path) -> dict[str, Any]:
    """Read a summary that `write_json` wrote; a newer format is refused.

    Raises
    ------
    InputError
        The file can't be read, isn't such a summary, or is of a newer format.
    """
    try:
        data = json.loads(path.read_text(encoding="utf-8"))
    except (OSError, ValueError, RecursionError) as failure:
        raise InputError("can't be read as JSON", where=path.name) from failure
    written = data.get("format") if isinstance(data, dict) else None
    if not isinstance(written, int):
        raise InputError("is not a summary that sensorswim wrote", where=path.name)
    if written > FORMAT:
        raise InputError(
            f"format {written} is newer than this version reads ({FORMAT})",
            where=path.name,
            mend="update sensorswim",
        )
    return dict(data)


def plain(value: Any) -> Any:
    """Return a value with only JSON types, empty ones as None."""
    if isinstance(value, Mapping):
        return {str(key): plain(item) for key, item in value.items()}
    if isinstance(value, np.ndarray):
        return plain(value.tolist())
    if isinstance(value, list | tuple):
        return [plain(item) for item in value]
    return _plain_scalar(value)


def _plain_scalar(value: Any) -> str | int | float | bool | None:
    result: str | int | float | bool | None
    if isinstance(value, Enum):
        result = _plain_scalar(value.value)
    elif value is None or value is pd.NA or value is pd.NaT:
        result = None
    elif isinstance(value, bool | np.bool_):
        result = bool(value)
    elif isinstance(value, int | np.integer):
        result = int(value)
    elif isinstance(value, float | np.floating):
        result = float(value) if math.isfinite(value) else None
    elif isinstance(value, datetime):
        result = value.isoformat()
    elif isinstance(value, str | Path):
        result = str(value)
    else:
        raise TypeError(f"{type(value).__name__} has no JSON form")
    return result


def _arrow(table: pd.DataFrame, name: str) -> pa.Table:
    if name in SCHEMAS:
        return to_arrow(name, table)
    schema = pa.schema([STREAMS.field(column) for column in table.columns])
    arrow = pa.Table.from_pandas(table, schema=schema, preserve_index=False)
    return arrow.replace_schema_metadata(STREAMS.metadata)


def _write_csv(table: pd.DataFrame, path: Path) -> None:
    safe = table.copy()
    for column in safe.columns:
        if isinstance(safe[column].dtype, pd.StringDtype) or safe[column].dtype == object:
            safe[column] = safe[column].map(guarded, na_action="ignore")
    safe.to_csv(path, index=False, na_rep="", lineterminator="\n", encoding="utf-8")


def guarded(text: str) -> str:
    """Return a text that no spreadsheet runs as a formula."""
    return f"'{text}" if text.startswith((*_FORMULA_STARTS, "'")) else text


def _unguarded(text: str) -> str:
    return text[1:] if text.startswith("'") else text


def _read_csv(path: Path, name: str) -> pd.DataFrame:
    strings = {f.name: "string" for f in SCHEMAS.get(name, pa.schema([])) if f.type == pa.string()}
    try:
        data = pd.read_csv(path, dtype=strings, keep_default_na=False, na_values=[""])
    except (OSError, ValueError) as failure:
        raise InputError("can't be read as a table", where=path.name) from failure
    for column in data.columns:
        if isinstance(data[column].dtype, pd.StringDtype):
            data[column] = data[column].map(_unguarded, na_action="ignore")
    return _typed(data, name, path)


def _typed(data: pd.DataFrame, name: str, path: Path) -> pd.DataFrame:
    if name not in SCHEMAS:
        return data
    known = [column for column in data.columns if column in SCHEMAS[name].names]
    try:
        return frame(name, data[known])
    except (TypeError, ValueError) as failure:
        raise InputError(f"holds a value that {name} can't have", where=path.name) from failure
