"""A result folder is whole or absent, and nothing that isn't ours is ever replaced."""

from __future__ import annotations

import json
import os
import subprocess
from pathlib import Path

import numpy as np
import pandas as pd
import pyarrow.parquet as pq
import pytest

from sensorswim import export
from sensorswim.errors import OutputError
from sensorswim.model.tables import SCHEMAS
from tests.plausible import bare_analysis, plausible_analysis

SIGNALS = pd.DataFrame({"time_s": [0.0, 0.01], "left_wrist_accel_x_m_s2": [0.1, np.nan]})


def names(folder: Path) -> set[str]:
    return {entry.name for entry in folder.iterdir()}


def test_a_result_holds_the_summary_the_report_the_cues_and_every_table(tmp_path: Path) -> None:
    out = export.write_result(plausible_analysis(), tmp_path / "out")
    assert names(out) == {"summary.json", "report.html", "cues.vtt"} | {
        f"{name}.parquet" for name in SCHEMAS
    }
    assert names(tmp_path) == {"out"}


def test_csv_and_streams_are_added_when_asked_for(tmp_path: Path) -> None:
    answer = plausible_analysis(streams=SIGNALS)
    out = export.write_result(answer, tmp_path / "out", csv=True)
    assert {f"{name}.csv" for name in SCHEMAS} <= names(out)
    assert pq.read_table(out / "streams.parquet").num_rows == 2


def test_tables_keep_units_and_meanings(tmp_path: Path) -> None:
    out = export.write_result(plausible_analysis(), tmp_path / "out")
    field = pq.read_schema(out / "kicks.parquet").field("peak_rate_deg_s")
    assert field.metadata[b"unit"] == b"deg/s"


def test_streams_keep_units_and_meanings_and_the_format(tmp_path: Path) -> None:
    out = export.write_result(plausible_analysis(streams=SIGNALS), tmp_path / "out")
    schema = pq.read_schema(out / "streams.parquet")
    assert schema.metadata[b"format"] == b"1"
    assert {f.name: f.metadata[b"unit"] for f in schema} == {
        "time_s": b"s",
        "left_wrist_accel_x_m_s2": b"m/s^2",
    }
    assert b"towards the fingers" in schema.field("left_wrist_accel_x_m_s2").metadata[b"meaning"]


def test_cues_carry_the_format_as_a_comment(tmp_path: Path) -> None:
    out = export.write_result(plausible_analysis(), tmp_path / "out")
    assert (out / "cues.vtt").read_text("utf-8").startswith("WEBVTT\n\nNOTE format = 1\n\n")


def test_the_summary_is_strict_json_with_null_for_what_can_not_be_had(tmp_path: Path) -> None:
    answer = plausible_analysis(facts={"typical_roll_deg": float("nan")})
    out = export.write_result(answer, tmp_path / "out")

    def refuse(word: str) -> None:
        raise AssertionError(word)

    found = json.loads((out / "summary.json").read_text("utf-8"), parse_constant=refuse)
    assert found["format"] == 1
    assert found["figures"]["typical_roll_deg"] is None
    assert found["figures"]["distance_m"] == 200.0
    assert found["settings_hash"] == answer.settings.hash
    assert found["quality"][0]["code"] == "clock_from_movement"
    assert set(found["files"]) == names(out)


def test_an_answer_without_any_length_is_written_with_empty_sums(tmp_path: Path) -> None:
    out = export.write_result(bare_analysis(), tmp_path / "out")
    figures = json.loads((out / "summary.json").read_text("utf-8"))["figures"]
    assert figures["lengths"] == 0
    assert figures["distance_m"] is None
    assert figures["breaths_left"] is None


def test_an_own_result_is_replaced_as_a_whole(tmp_path: Path) -> None:
    export.write_result(plausible_analysis(), tmp_path / "out", csv=True)
    out = export.write_result(plausible_analysis(), tmp_path / "out")
    assert not [name for name in names(out) if name.endswith(".csv")]
    assert names(tmp_path) == {"out"}


@pytest.mark.parametrize("content", ["", "{}", '{"format": 1, "generator": "another"}', "[1"])
def test_a_foreign_folder_is_left_alone(tmp_path: Path, content: str) -> None:
    foreign = tmp_path / "out"
    foreign.mkdir()
    (foreign / "summary.json").write_text(content)
    with pytest.raises(OutputError, match="isn't part of a sensorswim result"):
        export.write_result(plausible_analysis(), foreign)
    assert (foreign / "summary.json").read_text() == content
    assert names(tmp_path) == {"out"}


def test_a_file_added_to_an_own_result_is_not_lost(tmp_path: Path) -> None:
    out = export.write_result(plausible_analysis(), tmp_path / "out")
    (out / "my notes.txt").write_text("keep")
    with pytest.raises(OutputError, match="my notes"):
        export.write_result(plausible_analysis(), out)
    assert (out / "my notes.txt").read_text() == "keep"


def test_a_file_in_the_place_is_refused(tmp_path: Path) -> None:
    (tmp_path / "out").write_text("mine")
    with pytest.raises(OutputError, match="is a file"):
        export.write_result(plausible_analysis(), tmp_path / "out")


@pytest.mark.parametrize("failure", [OSError(28, "No space left on device"), KeyboardInterrupt()])
def test_a_failed_run_leaves_the_old_result_and_nothing_beside_it(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, failure: BaseException
) -> None:
    out = export.write_result(plausible_analysis(), tmp_path / "out")
    before = (out / "summary.json").read_bytes()

    def fail(*_: object) -> None:
        raise failure

    monkeypatch.setattr(export, "_write_summary", fail)
    with pytest.raises((OutputError, KeyboardInterrupt)):
        export.write_result(plausible_analysis(), out, csv=True)
    assert (out / "summary.json").read_bytes() == before
    assert names(tmp_path) == {"out"}


def test_what_a_killed_run_left_is_put_right(tmp_path: Path) -> None:
    gone = subprocess.Popen(["true"])
    gone.wait()
    out = export.write_result(plausible_analysis(), tmp_path / "out")
    out.rename(tmp_path / f".out.{gone.pid}.old")
    (tmp_path / f".out.{gone.pid}.partial").mkdir()
    (tmp_path / f".out.{os.getppid()}.partial").mkdir()
    export.write_result(plausible_analysis(), tmp_path / "out")
    assert names(tmp_path) == {"out", f".out.{os.getppid()}.partial"}


def test_progress_rises_to_one(tmp_path: Path) -> None:
    told: list[float] = []
    export.write_result(
        plausible_analysis(), tmp_path / "out", progress=lambda share, _step: told.append(share)
    )
    assert told == sorted(told)
    assert told[-1] == 1.0
