"""The result tables: one pyarrow schema each, with meaning and unit in the field metadata."""

from __future__ import annotations

from functools import cache
from itertools import chain
from typing import Any, Final

import numpy as np
import numpy.typing as npt
import pandas as pd
import pyarrow as pa

FORMAT: Final = 1
"""Version written into every file; a newer one is refused."""

_PANDAS_TYPES: Final[dict[pa.DataType, str]] = {
    pa.float64(): "float64",
    pa.int64(): "Int64",
    pa.bool_(): "boolean",
    pa.string(): "string",
}


def _field(name: str, kind: pa.DataType, unit: str, meaning: str) -> pa.Field:
    return pa.field(name, kind, metadata={"unit": unit, "meaning": meaning})


def _real(name: str, unit: str, meaning: str) -> pa.Field:
    return _field(name, pa.float64(), unit, meaning)


def _count(name: str, meaning: str) -> pa.Field:
    return _field(name, pa.int64(), "1", meaning)


def _text(name: str, meaning: str) -> pa.Field:
    return _field(name, pa.string(), "", meaning)


_LENGTH_NO = _count("length_no", "number of the length in the session, from 1")


def _table(*fields: pa.Field) -> pa.Schema:
    return pa.schema(list(fields), metadata={"format": str(FORMAT)})


VIEWS: Final = {
    "front": "from the front, along the pool",
    "side": "from the side, across it",
    "below": "from below",
}
"""Views that a projection is worked out for; the rear sees what the front does."""

SCHEMAS: Final[dict[str, pa.Schema]] = {
    "lengths": _table(
        _LENGTH_NO,
        _real("start_s", "s", "the push-off begins"),
        _real("end_s", "s", "the touch, or the feet on the wall in a flip turn"),
        _real("swim_start_s", "s", "first hand entry after the push-off"),
        _text(
            "activity",
            "front_crawl backstroke breaststroke butterfly kick drill other: what was swum",
        ),
        _real("distance_m", "m", "whole lengths of the pool; empty where unfinished"),
        _real("speed_m_s", "m/s", "distance_m / (end_s - start_s)"),
        _count("arm_strokes", "strokes that have a mid-pull, of the arms that are worn"),
        _real(
            "stroke_rate_cycles_min",
            "1/min",
            "60 over the mean time from entry to next entry of the same hand, both hands",
        ),
        _real("stroke_length_m", "m", "60 * clean_speed_m_s / stroke_rate_cycles_min, per cycle"),
        _real(
            "index_of_coordination_pct",
            "%",
            "mean lag of both arms in % of the mean cycle (Chollet, Chalies & Chatard 2000)",
        ),
        _count("kicks", "downbeats of the legs worn, while swimming"),
        _real("kicks_per_cycle", "1", "downbeats of both legs per complete arm cycle"),
        _count("kick_beat", "2, 4 or 6, or 0 = irregular"),
        _real("roll_onto_left_deg", "deg", "median size of the negative roll peaks"),
        _real("roll_onto_right_deg", "deg", "median of the positive roll peaks"),
        _text("roll_source", "upper_back, lower_back or ankles"),
        _count("breaths_left", "breaths to the left; empty where breaths could not be told"),
        _count("breaths_right", "breaths to the right; empty where breaths could not be told"),
        _real("side_hold_s", "s", "median hold_s of the breaths"),
        _real("side_hold_excess_s", "s", "median excess_s of the breaths"),
        _real("clean_speed_m_s", "m/s", "mean speed of the trunk, swim_start_s to the last exit"),
        _text("clean_speed_source", "how clean_speed_m_s was had: pool_length or pool_and_glide"),
        _count("block_no", "number of the block in session.toml that holds the midpoint, from 1"),
        _text("block_label", "label of that block"),
        _text("set_as", "what the block set for this length: swim, drill, kick or pull"),
        _text("drill", "drill id of a drill length"),
        _text("aids", "aids of the block, separated by spaces"),
        _text("breathing", "breathing that was asked for"),
        *(
            _real(f"{name}_{side}_{unit}", unit, f"{side} arm: {meaning}")
            for side in ("left", "right")
            for name, unit, meaning in (
                ("pull_depth", "m", "median pull_depth_m"),
                ("elbow_angle", "deg", "median elbow_angle_deg"),
                ("elbow_sd", "deg", "standard deviation of the length's elbow angle"),
            )
        ),
        _field("finished", pa.bool_(), "", "false where the length did not end at a wall"),
    ),
    "arm_strokes": _table(
        _LENGTH_NO,
        _text("side", "left or right arm"),
        _real("entry_s", "s", "the wrist goes under the surface in front"),
        _real("catch_s", "s", "the wrist starts to move backwards in the pool frame"),
        _real("mid_pull_s", "s", "the wrist is in the vertical plane of the shoulder"),
        _real("exit_s", "s", "the wrist leaves the water"),
        _real("next_entry_s", "s", "the same wrist's next entry"),
        _real("pull_depth_m", "m", "deepest wrist below the shoulder"),
        _real("elbow_angle_deg", "deg", "elbow at mid-pull, 180 = straight"),
        _real("elbow_sd_deg", "deg", "standard deviation of elbow_angle_deg"),
        _text("elbow_source", "upper_arm, video or wrist_model"),
        _text("source", "sensor that the events rest on"),
        *(
            _real(f"elbow_{view}_deg", "deg", f"elbow of the modelled arm, seen {seen}")
            for view, seen in VIEWS.items()
        ),
        _real("picture_angle_deg", "deg", "elbow as measured in a picture: a projection"),
        _text("picture_view", "view of that picture: front, side, rear, below"),
    ),
    "hand_paths": _table(
        _LENGTH_NO,
        _text("side", "left or right arm"),
        _real("phase", "1", "0..1 of the arm cycle, from the hand's entry"),
        _real("x_m", "m", "wrist ahead of its shoulder, median over the cycles, axes of the pool"),
        _real("y_m", "m", "wrist to the left of its shoulder; its level rests on a prior"),
        _real("z_m", "m", "wrist above its shoulder"),
        _real("x_spread_m", "m", "robust spread of x_m over the cycles"),
        _real("y_spread_m", "m", "robust spread of y_m over the cycles"),
        _real("z_spread_m", "m", "robust spread of z_m over the cycles"),
        _real("y_trunk_m", "m", "y_m in the axes of the rolling trunk: roll removed"),
        _real("z_trunk_m", "m", "z_m in the axes of the rolling trunk: roll removed"),
        _count("cycles", "cycles pooled"),
    ),
    "kicks": _table(
        _LENGTH_NO,
        _text("side", "left or right leg"),
        _real("downbeat_s", "s", "peak extension speed of the shank"),
        _real("peak_rate_deg_s", "deg/s", "extension speed of the shank at downbeat_s"),
        _real("cycle_phase", "1", "0..1 from the left hand's entry"),
    ),
    "arm_cycles": _table(
        _LENGTH_NO,
        _count("cycle_no", "number of the cycle in its length, from 1"),
        _real("start_s", "s", "entry of the cycle's hand"),
        _real("end_s", "s", "next entry of the same hand"),
        _real("stroke_rate_cycles_min", "1/min", "60 / (end_s - start_s)"),
        _count("kicks", "downbeats of the legs worn within the cycle"),
        _real("index_of_coordination_pct", "%", "mean of the cycle's two lags in % of the cycle"),
        _real("roll_onto_left_deg", "deg", "size of the negative roll peak"),
        _real("roll_onto_right_deg", "deg", "positive roll peak"),
        _text("breath_side", "left, right or both; empty without a breath"),
        _text("cycle_side", "hand whose entries cut the cycles"),
    ),
    "rolls": _table(
        _LENGTH_NO,
        _text("side", "side the face can turn to: left = left side up = positive roll"),
        _real("peak_s", "s", "time of the largest roll of the half cycle"),
        _real("start_s", "s", "roll passes half of the typical peak on the way out"),
        _real("end_s", "s", "roll passes half of the typical peak on the way back"),
        _real("hold_s", "s", "end_s - start_s"),
        _real("peak_roll_deg", "deg", "size of the roll at peak_s"),
        _field("is_breath", pa.bool_(), "", "true, false, empty = can't tell"),
        _text("source", "upper_back, lower_back or ankles"),
    ),
    "breaths": _table(
        _LENGTH_NO,
        _text("side", "side the face turns to"),
        _real("peak_s", "s", "time of the largest roll"),
        _real("start_s", "s", "roll passes half of the typical peak on the way out"),
        _real("end_s", "s", "roll passes half of the typical peak on the way back"),
        _real("hold_s", "s", "end_s - start_s"),
        _real("hold_share", "1", "hold_s over its arm cycle"),
        _real(
            "excess_s",
            "s",
            "hold_s minus the median hold of the non-breathing rolls to the same side, of those to "
            "the other side where there are none; rows of rolls with is_breath false tell which",
        ),
        _real("beyond_fixed_s", "s", "time beyond a fixed angle, so that sessions compare"),
        _real("peak_roll_deg", "deg", "size of the roll at peak_s"),
        _real("cycle_phase", "1", "phase of peak_s, 0..1 from the left hand's entry"),
        _real("lead_arm_tilt_deg", "deg", "reaching forearm below level at peak_s"),
        _real("confidence", "1", "0..1"),
        _text("source", "head, upper_back, lower_back or ankles"),
    ),
    "roll": _table(
        _real("time_s", "s", "session time, 50 Hz"),
        _real("roll_deg", "deg", "0 = flat on the front, positive = left side up"),
        _text("source", "upper_back, lower_back or ankles"),
    ),
    "marks": _table(
        _real("session_s", "s", "session time"),
        _real("video_s", "s", "time in the video"),
        _text("kind", "what was marked"),
        _text("label", "the coach's words"),
        _real("value", "", "a measured value"),
        _text("unit", "unit of value"),
        _text("view", "view of the picture that the value was measured in"),
    ),
}


def empty(name: str) -> pd.DataFrame:
    """Return the table `name` with no rows and all columns, typed."""
    return _blank(name).copy()


def frame(
    name: str, rows: list[dict[str, Any]] | pd.DataFrame, only: tuple[str, ...] = ()
) -> pd.DataFrame:
    """Return rows as the typed table `name`.

    Parameters
    ----------
    name : str
        A key of `SCHEMAS`.
    rows : list of dict, or DataFrame
        Columns of the schema that are absent stay empty; columns that the schema doesn't
        know are refused.
    only : tuple of str
        Columns of the schema to make, all where empty: wide tables are slow to make.

    Raises
    ------
    KeyError
        A column that the schema doesn't know: a defect of the caller.
    """
    given = rows if isinstance(rows, pd.DataFrame) else _columns_of(rows)
    unknown = set(given) - set(SCHEMAS[name].names)
    if unknown:
        raise KeyError(f"{name} has no column {sorted(unknown)}")
    kinds = {column: _kinds(name)[column] for column in only or _kinds(name)}
    if not len(rows):
        return (_blank(name)[list(only)] if only else _blank(name)).copy()
    data = {}
    for column, kind in kinds.items():
        if column not in given:
            data[column] = _nothing(kind, len(rows))
        elif isinstance(rows, pd.DataFrame):
            array = rows[column].array
            data[column] = array.copy() if array.dtype == kind else array.astype(kind)
        else:
            data[column] = pd.array(given[column], dtype=kind)
    return pd.DataFrame(data, copy=False)


def _columns_of(rows: list[dict[str, Any]]) -> dict[str, list[Any]]:
    return {name: [row.get(name) for row in rows] for name in dict.fromkeys(chain(*rows))}


def _nothing(kind: Any, count: int) -> Any:
    """Return a column of a kind without values."""
    return np.full(count, np.nan) if kind == np.float64 else pd.array([pd.NA] * count, dtype=kind)


def rows_of(table: pd.DataFrame, *names: str) -> list[dict[str, Any]]:
    """Return the named columns row by row: wide tables are slow to take apart."""
    columns = [table[name].tolist() for name in names]
    return [dict(zip(names, row, strict=True)) for row in zip(*columns, strict=True)]


@cache
def _blank(name: str) -> pd.DataFrame:
    return pd.DataFrame({column: pd.Series(dtype=kind) for column, kind in _kinds(name).items()})


@cache
def _kinds(name: str) -> dict[str, Any]:
    return {f.name: pd.api.types.pandas_dtype(_PANDAS_TYPES[f.type]) for f in SCHEMAS[name]}


def by_length(table: pd.DataFrame, *names: str) -> dict[int, dict[str, npt.NDArray[Any]]]:
    """Return the named columns of each length's rows, cut at once: tables are slow to cut.

    Parameters
    ----------
    table : DataFrame
        With length_no, none empty.
    *names : str
        Columns; numbers come as float64, NaN where empty, anything else as objects.

    Returns
    -------
    dict
        Length number -> column -> (K,), in the table's order; lengths without rows have no key.
    """
    numbers = table["length_no"].to_numpy(dtype=np.int64)
    order = np.argsort(numbers, kind="stable")
    columns = {name: _plain(table[name])[order] for name in names}
    found, begins = np.unique(numbers[order], return_index=True)
    ends = np.append(begins, len(numbers))[1:]
    return {
        int(number): {name: column[begin:end] for name, column in columns.items()}
        for number, begin, end in zip(found, begins, ends, strict=True)
    }


def _plain(column: pd.Series) -> npt.NDArray[Any]:
    kind = column.dtype
    if pd.api.types.is_numeric_dtype(kind) and not pd.api.types.is_bool_dtype(kind):
        return column.to_numpy(dtype=np.float64, na_value=np.nan)
    return column.to_numpy(dtype=object)


def to_arrow(name: str, table: pd.DataFrame) -> pa.Table:
    """Return the DataFrame as an arrow table with the schema's metadata; NaN becomes null."""
    return pa.Table.from_pandas(
        frame(name, table), schema=SCHEMAS[name], preserve_index=False, safe=True
    ).replace_schema_metadata(SCHEMAS[name].metadata)
