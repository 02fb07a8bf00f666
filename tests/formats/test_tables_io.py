from __future__ import annotations

import json
import tempfile
from datetime import UTC, datetime
from pathlib import Path

import numpy as np
import pandas as pd
import pyarrow as pa
import pyarrow.parquet as pq
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from sensorswim.errors import InputError
from sensorswim.formats.tables_io import read_json, read_table, write_json, write_table
from sensorswim.model import Severity
from sensorswim.model.tables import SCHEMAS, empty, frame

VALUES = {
    pa.float64(): st.none() | st.floats(-1e9, 1e9),
    pa.int64(): st.none() | st.integers(-(2**53), 2**53),
    pa.bool_(): st.none() | st.booleans(),
    pa.string(): st.none()
    | st.text(st.characters(codec="utf-8", exclude_characters="\r\0"), min_size=1, max_size=12),
}


@st.composite
def tables(draw: st.DrawFn) -> tuple[str, pd.DataFrame]:
    name = draw(st.sampled_from(sorted(SCHEMAS)))
    row = st.fixed_dictionaries({field.name: VALUES[field.type] for field in SCHEMAS[name]})
    return name, frame(name, draw(st.lists(row, max_size=4)))


@pytest.mark.parametrize("suffix", [".parquet", ".csv"])
@settings(max_examples=40, deadline=None)
@given(named=tables())
def test_a_written_table_is_read_back_as_it_was(
    named: tuple[str, pd.DataFrame], suffix: str
) -> None:
    name, table = named
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / f"{name}{suffix}"
        write_table(table, name, path)
        pd.testing.assert_frame_equal(read_table(path), table, rtol=1e-14)


@pytest.mark.parametrize("name", sorted(SCHEMAS))
def test_parquet_carries_units_meanings_and_format(name: str, tmp_path: Path) -> None:
    path = tmp_path / f"{name}.parquet"
    write_table(empty(name), name, path)
    schema = pq.read_schema(path)
    assert schema.metadata[b"format"] == b"1"
    for field in SCHEMAS[name]:
        assert schema.field(field.name).metadata == field.metadata
        assert schema.field(field.name).type == field.type


def test_empty_is_null_in_parquet_and_blank_in_csv(tmp_path: Path) -> None:
    table = frame("lengths", [{"length_no": 1, "start_s": float("nan"), "activity": None}])
    write_table(table, "lengths", tmp_path / "lengths.parquet")
    write_table(table, "lengths", tmp_path / "lengths.csv")
    stored = pq.read_table(tmp_path / "lengths.parquet")
    assert stored.column("start_s").null_count == 1
    header, row = (tmp_path / "lengths.csv").read_text().splitlines()
    assert header.split(",")[:2] == ["length_no", "start_s"]
    assert set(row.split(",")) == {"1", ""}


@pytest.mark.parametrize("start", ["=", "+", "-", "@", "\t", "\n"])
def test_no_text_is_run_as_a_formula_but_numbers_stay_numbers(start: str, tmp_path: Path) -> None:
    label = f"{start}1+1"
    table = frame("marks", [{"session_s": -1.5, "label": label}])
    write_table(table, "marks", tmp_path / "marks.csv")
    raw = pd.read_csv(tmp_path / "marks.csv", dtype=str)
    assert raw.loc[0, "label"] == "'" + label
    assert raw.loc[0, "session_s"] == "-1.5"
    assert read_table(tmp_path / "marks.csv").loc[0, "label"] == label


def test_streams_keep_their_values_and_an_unknown_column_is_a_defect(tmp_path: Path) -> None:
    table = pd.DataFrame({"time_s": [0.0, 0.1], "left_wrist_accel_x_m_s2": [9.8, np.nan]})
    write_table(table, "streams", tmp_path / "streams.parquet")
    pd.testing.assert_frame_equal(read_table(tmp_path / "streams.parquet"), table)
    with pytest.raises(KeyError):
        write_table(table.assign(left_wrist_mood=1.0), "streams", tmp_path / "streams.parquet")


def test_a_newer_table_is_refused(tmp_path: Path) -> None:
    path = tmp_path / "kicks.parquet"
    table = pa.table({"length_no": [1]}).replace_schema_metadata({"format": "2"})
    pq.write_table(table, path)
    with pytest.raises(InputError, match=r"kicks\.parquet: format 2 is newer .* update"):
        read_table(path)


def test_other_files_are_no_tables(tmp_path: Path) -> None:
    pd.DataFrame({"a": [1]}).to_parquet(tmp_path / "kicks.parquet")
    (tmp_path / "rolls.parquet").write_bytes(b"nothing")
    (tmp_path / "rolls.csv").write_text("length_no,side\nmany,left\n")
    for name in ("kicks.parquet", "rolls.parquet", "rolls.csv", "gone.parquet", "gone.csv"):
        with pytest.raises(InputError, match=name):
            read_table(tmp_path / name)


def test_json_has_format_first_and_null_for_empty(tmp_path: Path) -> None:
    path = tmp_path / "summary.json"
    data = {
        "speed_m_s": np.float64("nan"),
        "top": np.inf,
        "count": np.int64(3),
        "flags": np.array([True, False]),
        "none": [pd.NA, pd.NaT, None],
        "severity": Severity.NOTE,
        "at": datetime(2026, 3, 14, tzinfo=UTC),
        "name": "ü",
    }
    write_json(data, path)
    assert path.read_text(encoding="utf-8").startswith('{\n  "format": 1')
    assert read_json(path) == {
        "format": 1,
        "speed_m_s": None,
        "top": None,
        "count": 3,
        "flags": [True, False],
        "none": [None, None, None],
        "severity": "note",
        "at": "2026-03-14T00:00:00+00:00",
        "name": "ü",
    }


@pytest.mark.parametrize("text", ['{"format": 2}', "{}", "[]", "nothing", ""])
def test_another_json_is_refused(text: str, tmp_path: Path) -> None:
    path = tmp_path / "summary.json"
    path.write_text(text)
    with pytest.raises(InputError, match=r"summary\.json"):
        read_json(path)


def test_a_type_without_json_form_is_a_defect(tmp_path: Path) -> None:
    with pytest.raises(TypeError, match="object"):
        write_json({"a": object()}, tmp_path / "a.json")
    assert not (tmp_path / "a.json").exists()
    assert json.loads("{}") == {}
