"""The codebook: what each column of each table means, and its unit."""

from __future__ import annotations

import csv
import io
from collections.abc import Callable
from typing import Final

from sensorswim.model.stream_table import STREAMS
from sensorswim.model.tables import SCHEMAS

COLUMNS: Final = ("table", "column", "type", "unit", "meaning")
Row = tuple[str, str, str, str, str]

ABOUT_FORMAT: Final = (
    "Parquet files carry their format, units and meanings in their own metadata; the format of CSV "
    "files is in the summary.json beside them."
)
"""Where a reader finds the version of the file format."""


def codebook_rows() -> list[Row]:
    """Return one row for each column of each table, in the order of the schemas, streams last."""
    rows = []
    for table, schema in {**SCHEMAS, "streams": STREAMS}.items():
        for field in schema:
            notes = {key.decode(): text.decode() for key, text in (field.metadata or {}).items()}
            unit, meaning = notes.get("unit", ""), notes.get("meaning", "")
            rows.append((table, field.name, str(field.type), unit, meaning))
    return rows


def as_text() -> str:
    """Return the codebook for a terminal."""
    parts = [ABOUT_FORMAT]
    last = ""
    for table, column, _, unit, meaning in codebook_rows():
        if table != last:
            parts.append(f"\n{table}")
            last = table
        shown = f" [{unit}]" if unit not in ("", "1") else ""
        parts.append(f"  {column}{shown}: {meaning}")
    return "\n".join(parts) + "\n"


def as_csv() -> str:
    """Return the codebook as CSV."""
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    writer.writerows([COLUMNS, *codebook_rows()])
    return out.getvalue()


def as_markdown() -> str:
    """Return the codebook as one Markdown table, and a line on the format."""
    lines = [f"| {' | '.join(COLUMNS)} |", f"|{' --- |' * len(COLUMNS)}"]
    lines += [
        f"| {' | '.join(cell.replace('|', '/') for cell in row)} |" for row in codebook_rows()
    ]
    return "\n".join([*lines, "", ABOUT_FORMAT]) + "\n"


FORMS: Final[dict[str, Callable[[], str]]] = {
    "text": as_text,
    "csv": as_csv,
    "markdown": as_markdown,
}
