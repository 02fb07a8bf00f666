"""The raw numbers of one log file, CSV (plain or gzip) or Parquet, with guards.

A file may come from any logger: limits on size, line length and compression keep a damaged or
malicious one from filling the memory. Nothing is interpreted here beyond the columns' names.
"""

from __future__ import annotations

import csv
import gzip
import io
import re
import zlib
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import BinaryIO, Final

import numpy as np
import pandas as pd
import pyarrow as pa
import pyarrow.parquet as pq

from sensorswim.errors import LogError
from sensorswim.formats.log_columns import Column, find_columns
from sensorswim.model.streams import BoolArray, FloatArray

MAX_BYTES: Final = 2_000_000_000
"""Largest unpacked text that is read: five hours at 400 Hz have about 1.2 GB."""
MAX_ROWS: Final = 8_000_000
MAX_COLUMNS: Final = 500
MAX_LINE_BYTES: Final = 65_536
MAX_RATIO: Final = 100
"""Unpacked over packed size beyond which a large gzip file is taken for a bomb (logs: 3 to 10)."""
_RATIO_FROM_BYTES: Final = 20_000_000
_CHUNK_BYTES: Final = 65_536
_CLEAN: Final = bytes.maketrans(b"\0", b"?")


@dataclass(frozen=True, kw_only=True)
class RawLog:
    """The wanted columns of one file, in the file's units.

    Parameters
    ----------
    name : str
        The file's name, for error lines.
    columns : dict
        Role -> column.
    values : dict
        Role -> (N,) float64; NaN where the cell is blank or isn't a number.
    overlong : (N,) bool
        Rows with more cells than the header has names.
    blank : (N,) bool
        Rows without anything in a wanted column.
    first_line : int
        Line number of row 0; 0 where the file has no lines (Parquet).
    """

    name: str
    columns: dict[str, Column]
    values: dict[str, FloatArray]
    overlong: BoolArray
    blank: BoolArray
    first_line: int = 0

    def __len__(self) -> int:
        return len(self.overlong)

    def at(self, row: int) -> str:
        """Return where a row is, for people."""
        return f"line {row + self.first_line}" if self.first_line else f"row {row + 1}"


def read_raw(path: Path, quantities: Iterable[str], column_map: Mapping[str, str]) -> RawLog:
    """Read the columns of the wanted quantities from a log file.

    Parameters
    ----------
    path : Path
        A .csv, .csv.gz or .parquet file.
    quantities : iterable of str
        Keys of `log_columns.ROLES`.
    column_map : mapping
        Contract name -> name in the file.

    Raises
    ------
    LogError
        The file can't be read, is beyond a limit, or lacks a needed column.
    """
    try:
        if path.name.lower().endswith(".parquet"):
            return _read_parquet(path, quantities, column_map)
        return _read_csv(path, quantities, column_map)
    except (EOFError, zlib.error, gzip.BadGzipFile) as failure:
        raise LogError(
            "the gzip data is damaged or cut short", where=path.name, mend="copy the log again"
        ) from failure
    except OSError as failure:
        reason = failure.strerror or "not a file of its kind"
        raise LogError(f"can't be read ({reason})", where=path.name) from failure


def _read_parquet(path: Path, quantities: Iterable[str], column_map: Mapping[str, str]) -> RawLog:
    try:
        with pq.ParquetFile(path) as file:
            if file.metadata.num_rows > MAX_ROWS:
                raise LogError(f"has more than {MAX_ROWS} rows", where=path.name)
            schema = file.schema_arrow
            if len(schema.names) > MAX_COLUMNS:
                raise LogError(f"has more than {MAX_COLUMNS} columns", where=path.name)
            columns = find_columns(schema.names, quantities, column_map, path.name)
            for column in columns.values():
                _check_type(schema.field(column.index), path.name)
            table = file.read(columns=[schema.names[c.index] for c in columns.values()])
            values = {role: _numbers(table, schema.names[c.index]) for role, c in columns.items()}
    except (pa.ArrowException, ValueError) as failure:
        raise LogError(
            "can't be read as Parquet", where=path.name, mend="copy or export the log again"
        ) from failure
    none = np.zeros(table.num_rows, dtype=np.bool_)
    return RawLog(name=path.name, columns=columns, values=values, overlong=none, blank=none)


def _check_type(field: pa.Field, where: str) -> None:
    kind = field.type
    if not (pa.types.is_floating(kind) or pa.types.is_integer(kind)):
        raise LogError(
            f"column {field.name!r} holds {kind}, not numbers",
            where=where,
            mend="write it as a float column",
        )


def _numbers(table: pa.Table, name: str) -> FloatArray:
    array = table.column(name).to_numpy(zero_copy_only=False)
    return np.asarray(array, dtype=np.float64)


class _GuardedText(io.RawIOBase):
    """The bytes of a text log, with limits on size, lines, line length and compression.

    Double quotes are taken out (numbers don't need them, and a single one would swallow the
    rest of the file); zero bytes, which crashed loggers leave, become question marks.
    """

    def __init__(self, file: BinaryIO, name: str, packed_bytes: int | None) -> None:
        self._file, self._name, self._packed = file, name, packed_bytes
        self._pending = b""
        self._read = self._lines = self._line_bytes = 0
        self.failure: LogError | None = None

    def readable(self) -> bool:
        return True

    def push_back(self, data: bytes) -> None:
        """Put bytes in front of what comes next."""
        self._pending = data + self._pending

    def next_chunk(self) -> bytes:
        """Return the next checked bytes, empty at the end."""
        while chunk := self._file.read(_CHUNK_BYTES):
            self._check(chunk)
            if chunk.strip(b"\0"):
                return chunk.translate(_CLEAN, b'"') if b'"' in chunk or b"\0" in chunk else chunk
        return b""

    def readinto(self, buffer: object) -> int:
        view = memoryview(buffer).cast("B")  # type: ignore[arg-type]
        try:
            data = self._pending or self.next_chunk()
        except LogError as failure:
            self.failure = failure
            raise
        count = min(len(view), len(data))
        view[:count] = data[:count]
        self._pending = data[count:]
        return count

    def _check(self, chunk: bytes) -> None:
        self._read += len(chunk)
        self._lines += chunk.count(b"\n")
        first = min((at for at in (chunk.find(b"\n"), chunk.find(b"\r")) if at >= 0), default=-1)
        if self._line_bytes + (len(chunk) if first < 0 else first) > MAX_LINE_BYTES:
            self._refuse(f"line {self._lines + 1} is longer than {MAX_LINE_BYTES} characters")
        last = max(chunk.rfind(b"\n"), chunk.rfind(b"\r"))
        self._line_bytes = self._line_bytes + len(chunk) if last < 0 else len(chunk) - last - 1
        if self._lines > MAX_ROWS:
            self._refuse(f"has more than {MAX_ROWS} lines")
        if self._read > MAX_BYTES:
            self._refuse(f"has more than {MAX_BYTES // 1_000_000} MB of text")
        unpacked_much = self._read > _RATIO_FROM_BYTES
        if self._packed is not None and unpacked_much and self._read > MAX_RATIO * self._packed:
            self._refuse(f"unpacks to more than {MAX_RATIO} times its size, which no log does")

    def _refuse(self, what: str) -> None:
        raise LogError(what, where=self._name, mend="check that it is a sensor log")


@dataclass(frozen=True, kw_only=True)
class _Dialect:
    names: tuple[str, ...]
    delimiter: str
    decimal: str
    first_line: int


def _read_csv(path: Path, quantities: Iterable[str], column_map: Mapping[str, str]) -> RawLog:
    wanted = tuple(quantities)
    frame, columns, dialect = _parse(path, wanted, column_map, strict=True)
    if frame is None:
        frame, columns, dialect = _parse(path, wanted, column_map, strict=False)
    if frame is None:
        raise LogError("can't be read as CSV", where=path.name, mend="export the log again")
    extra = len(dialect.names)
    overlong = frame[extra].notna().to_numpy(dtype=np.bool_)[1:]
    if len(overlong) and overlong.mean() > 0.5:
        raise LogError(
            f"line {dialect.first_line + int(overlong.argmax())} has more values than the header "
            f"has names ({extra})",
            where=path.name,
            mend="name every column, and use ; between values that have decimal commas",
        )
    values = {
        role: _column_numbers(frame[c.index], c, path.name, dialect) for role, c in columns.items()
    }
    return RawLog(
        name=path.name,
        columns=columns,
        values=values,
        overlong=overlong,
        blank=frame.isna().to_numpy().all(axis=1)[1:],
        first_line=dialect.first_line,
    )


def _parse(
    path: Path, wanted: tuple[str, ...], column_map: Mapping[str, str], *, strict: bool
) -> tuple[pd.DataFrame | None, dict[str, Column], _Dialect]:
    """Parse a CSV; strict (fast) takes numbers only, else text cells are kept as text.

    The parser is given one blank row in front, one cell wider than the header, so that it
    neither guesses an index column nor drops what overlong rows hold.
    """
    packed = path.stat().st_size if path.name.lower().endswith(".gz") else None
    opener = gzip.open if packed is not None else open
    with opener(path, "rb") as file, _GuardedText(file, path.name, packed) as text:  # type: ignore[arg-type]
        dialect = _sniff(text, path.name)
        columns = find_columns(dialect.names, wanted, column_map, path.name)
        width = len(dialect.names) + 1
        text.push_back(dialect.delimiter.encode() * (width - 1) + b"\n")
        used = sorted({column.index for column in columns.values()} | {width - 1})
        try:
            frame = pd.read_csv(
                io.BufferedReader(text, 4 * _CHUNK_BYTES),
                header=None,
                names=list(range(width)),
                usecols=used,
                index_col=False,
                sep=dialect.delimiter,
                decimal=dialect.decimal,
                quoting=csv.QUOTE_NONE,
                skip_blank_lines=False,
                dtype=np.float64 if strict else None,
                low_memory=False,
                encoding_errors="replace",
            )
        except ValueError as failure:
            if text.failure is not None:
                raise text.failure from failure
            return None, columns, dialect
    return frame, columns, dialect


def _sniff(text: _GuardedText, where: str) -> _Dialect:
    """Read the header off the text and tell delimiter and decimal mark."""
    head = text.next_chunk()
    if head[:2] in (b"\xff\xfe", b"\xfe\xff"):
        raise LogError("is UTF-16 text", where=where, mend="save it as UTF-8")
    if b"\n" not in head and b"\r" not in head:
        head += text.next_chunk()
    head = head.removeprefix(b"\xef\xbb\xbf")
    line_no = 0
    header = b""
    while head and not header:
        match = re.match(rb"([^\r\n]*)(\r\n|\r|\n|$)", head)
        line, ending = match.groups() if match else (head, b"")
        head = head[len(line) + len(ending) :]
        line_no += 1
        header = b"" if line.lstrip().startswith((b"#", b"sep=")) else line.strip()
    if not header:
        raise LogError("is empty", where=where, mend="copy the log again")
    names, delimiter = _header_names(header, line_no, where)
    if not head.strip():
        following = text.next_chunk()
        head += following
    if not head.strip():
        raise LogError("has a header but no rows", where=where, mend="copy the log again")
    decimal = _decimal_mark(head, delimiter, where)
    text.push_back(head)
    return _Dialect(names=names, delimiter=delimiter, decimal=decimal, first_line=line_no + 1)


def _header_names(header: bytes, line_no: int, where: str) -> tuple[tuple[str, ...], str]:
    try:
        line = header.decode("utf-8")
    except UnicodeDecodeError:
        line = header.decode("latin-1")
    if not line.isprintable() and not line.replace("\t", "").isprintable():
        raise LogError(f"line {line_no} is not text", where=where, mend="give a .csv file")
    delimiter = next((mark for mark in (";", "\t", ",") if mark in line), "")
    if not delimiter:
        raise LogError(
            f"line {line_no} is no header: it has one column only",
            where=where,
            mend="separate columns by comma, semicolon or tab",
        )
    names = tuple(name.strip() for name in line.split(delimiter))
    if len(names) > MAX_COLUMNS:
        raise LogError(f"has more than {MAX_COLUMNS} columns", where=where)
    if all(re.fullmatch(r"[-+0-9.,eE]*", name) for name in names):
        raise LogError(
            f"line {line_no} holds numbers where the header should be",
            where=where,
            mend="put the column names into the first line",
        )
    return names, delimiter


def _decimal_mark(head: bytes, delimiter: str, where: str) -> str:
    if delimiter == ",":
        return "."
    commas = re.search(rb"\d,\d", head) is not None
    if commas and re.search(rb"\d\.\d", head):
        raise LogError(
            "numbers have both points and commas",
            where=where,
            mend="export it with one decimal mark and no thousands mark",
        )
    return "," if commas else "."


def _column_numbers(cells: pd.Series, column: Column, where: str, dialect: _Dialect) -> FloatArray:
    """Return a column's numbers without the blank first row; text becomes NaN."""
    cells = cells.iloc[1:]
    numeric = pd.api.types.is_numeric_dtype(cells.dtype)
    if numeric and not pd.api.types.is_bool_dtype(cells.dtype):
        return cells.to_numpy(dtype=np.float64)
    text = cells.astype("string").str.strip().str.replace(dialect.decimal, ".", regex=False)
    parsed = pd.to_numeric(text, errors="coerce").astype("Float64")
    numbers: FloatArray = np.asarray(parsed.to_numpy(np.float64, na_value=np.nan))
    wrong = np.isnan(numbers) & cells.notna().to_numpy(dtype=np.bool_)
    if wrong.mean() > 0.5:
        row = int(wrong.argmax())
        found = str(cells.iloc[row])[:30]
        found = "".join(c if c.isprintable() else "?" for c in found)
        raise LogError(
            f"line {dialect.first_line + row}, column {column.name!r}: {found!r} is no number",
            where=where,
            mend="write numbers only",
        )
    return numbers
