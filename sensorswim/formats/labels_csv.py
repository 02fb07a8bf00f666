"""Somebody's labels of a session, from video, motion capture or another system, as a CSV.

One row a label: ``kind``, ``time_s`` (session time), and where it applies ``side`` (left or
right) and ``value``. Events: entry, catch, mid_pull, exit, kick, breath, push_off, touch.
Values, which need ``value``: roll_deg at a time, elbow_angle_deg and pull_depth_m of the stroke
whose mid-pull is nearest. Other columns are left alone.
"""

from __future__ import annotations

from pathlib import Path
from typing import Final

import pandas as pd

from sensorswim.errors import InputError

EVENTS: Final = {
    "entry": True,
    "catch": True,
    "mid_pull": True,
    "exit": True,
    "kick": True,
    "breath": True,
    "push_off": False,
    "touch": False,
}
"""Events, and whether each has a side."""
VALUES: Final = {"roll_deg": False, "elbow_angle_deg": True, "pull_depth_m": True}
"""Measured values, and whether each has a side."""
_MOST: Final = 200_000


def read_labels(path: Path) -> pd.DataFrame:
    """Read labels and return them as kind, side ("" where there is none), time_s, value.

    Raises
    ------
    InputError
        The file can't be read, a column is missing, or a row holds what a label can't; the line
        of the file is named.
    """
    try:
        raw = pd.read_csv(
            path, dtype="string", keep_default_na=False, index_col=False, nrows=_MOST + 1
        )
    except (OSError, ValueError) as failure:
        raise InputError("can't be read as a CSV with a heading", where=path.name) from failure
    for name in ("kind", "time_s"):
        if name not in raw:
            mend = "the first line reads kind,side,time_s,value"
            raise InputError(f"the column {name} is missing", where=path.name, mend=mend)
    if not 0 < len(raw) <= _MOST:
        raise InputError(f"holds {'no' if raw.empty else 'too many'} labels", where=path.name)
    table = pd.DataFrame(
        {
            "kind": raw["kind"].str.strip().str.lower(),
            "side": raw["side"].str.strip().str.lower() if "side" in raw else "",
            "time_s": pd.to_numeric(raw["time_s"], errors="coerce").astype(float),
            "value": pd.to_numeric(raw["value"], errors="coerce").astype(float)
            if "value" in raw
            else float("nan"),
        }
    )
    _check(table, path.name)
    return table


def _check(table: pd.DataFrame, name: str) -> None:
    sided = EVENTS | VALUES
    known = table["kind"].isin(sided)
    wanted = table["kind"].map(sided).fillna(value=False).astype(bool)
    known_kinds = ", ".join(sided)
    problems = (
        (~known, "kind is none that is compared", f"use one of {known_kinds}"),
        (table["time_s"].abs().lt(1e9).eq(other=False), "time_s is no number", "give seconds"),
        (wanted & ~table["side"].isin(["left", "right"]), "side is missing", "left or right"),
        (
            table["kind"].isin(list(VALUES)) & table["value"].abs().lt(1e9).eq(other=False),
            "value is no number",
            "give the measured value",
        ),
    )
    for wrong, what, mend in problems:
        if wrong.any():
            line = int(wrong.to_numpy().argmax()) + 2
            raise InputError(what, where=f"{name} line {line}", mend=mend)
