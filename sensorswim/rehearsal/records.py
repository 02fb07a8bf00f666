"""Rows of a table as plain dictionaries."""

from __future__ import annotations

from typing import Any

import pandas as pd


def records(table: pd.DataFrame) -> list[dict[str, Any]]:
    """Return one dictionary a row."""
    columns = list(table.columns)
    return [
        dict(zip(columns, row, strict=True)) for row in table.itertuples(index=False, name=None)
    ]
