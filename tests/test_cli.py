"""The command line: its answers, its exit codes, and how little it imports."""

from __future__ import annotations

import csv
import io
import json
import re
import subprocess
import sys
from pathlib import Path

import pyarrow.parquet as pq
import pytest

from sensorswim import cli
from sensorswim.model.stream_table import STREAMS
from sensorswim.model.tables import SCHEMAS
from sensorswim.rehearsal.draw import KITS
from sensorswim.rehearsal.named import DRAWN
from sensorswim.rehearsal.samples import SAMPLES
from sensorswim.rehearsal.swimmers import swimmers


def test_codebook_has_every_column_of_every_table(capsys: pytest.CaptureFixture[str]) -> None:
    assert cli.main(["codebook", "--csv"]) == 0
    rows = list(csv.DictReader(io.StringIO(capsys.readouterr().out)))
    assert [(r["table"], r["column"]) for r in rows] == [
        (table, name)
        for table, schema in {**SCHEMAS, "streams": STREAMS}.items()
        for name in schema.names
    ]
    assert all(row["meaning"] for row in rows)
    assert all(row["unit"] for row in rows if row["type"] == "double" and row["column"] != "value")


def test_codebook_as_text_and_markdown(capsys: pytest.CaptureFixture[str]) -> None:
    assert cli.main(["codebook"]) == 0
    shown = capsys.readouterr().out
    assert "peak_rate_deg_s [deg/s]: extension speed" in shown
    assert "left_wrist_gyro_x_rad_s [rad/s]: left wrist: turn rate" in shown
    assert "the format of CSV files is in the summary.json beside them" in shown
    assert cli.main(["codebook", "--markdown"]) == 0
    *table, blank, about = capsys.readouterr().out.splitlines()
    assert {line.count("|") for line in table} == {6}
    assert (blank, "summary.json" in about) == ("", True)


@pytest.mark.parametrize(
    "arguments",
    [
        ["analyse"],
        ["analyse", "no-such-folder", "--out", "out"],
        ["codebook", "--csv", "--markdown"],
        ["no-such-command"],
        ["codebook", "--no-such-option"],
    ],
)
def test_a_users_mistake_is_one_line_and_exit_2(
    arguments: list[str],
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    monkeypatch.chdir(tmp_path)
    assert cli.main(arguments) == 2
    shown = capsys.readouterr()
    assert shown.out == ""
    assert len(shown.err.splitlines()) == 1
    assert not list(tmp_path.iterdir())


def test_a_defect_is_exit_1_with_its_trace_in_a_file(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    def fail() -> str:
        raise ZeroDivisionError("made for this test")

    monkeypatch.setattr("sensorswim.codebook.FORMS", {"text": fail})
    assert cli.main(["codebook"]) == 1
    line = capsys.readouterr().err
    assert len(line.splitlines()) == 1
    trace = Path(line.split()[-1])
    assert "made for this test" in trace.read_text("utf-8")
    trace.unlink()


def test_help_and_version_need_no_heavy_import() -> None:
    code = (
        "import sys; from sensorswim import cli; assert cli.main(['--help']) == 0; "
        "assert cli.main(['--version']) == 0; "
        "heavy = {'numpy', 'pandas', 'plotly', 'pyarrow', 'scipy', 'rich', 'bleak', 'bumble'}; "
        "assert not heavy & set(sys.modules), heavy & set(sys.modules)"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr
    assert "codebook" in done.stdout
    assert "Exit codes: 0" in " ".join(done.stdout.split())


def test_help_names_every_swimmer_and_kit_that_can_be_rehearsed(
    capsys: pytest.CaptureFixture[str],
) -> None:
    assert cli.main(["rehearse", "--help"]) == 0
    listed = capsys.readouterr().out.split("Swimmers:", 1)[1].split("Kits:")
    for names, told in zip(([*SAMPLES, *swimmers, DRAWN], KITS), listed, strict=True):
        lines = [re.split(r" {2,}", line.strip())[0] for line in told.splitlines()]
        assert {name for line in lines for name in re.split(r",\s*", line) if name} == set(names)


def test_the_streams_of_a_session_have_a_unit_and_a_meaning_each(tmp_path: Path) -> None:
    sample, out = Path(__file__).parents[1] / "sample_logs" / "mira_every_sensor", tmp_path / "out"
    assert cli.main(["analyse", str(sample), "--out", str(out), "--streams", "--quiet"]) == 0
    schema = pq.read_schema(out / "streams.parquet")
    assert set(schema.names) == set(STREAMS.names)
    assert all(field.metadata == STREAMS.field(field.name).metadata for field in schema)


@pytest.mark.parametrize(
    ("options", "said"),
    [
        (["--swimmer", "nobody"], "use one of sample"),
        (["--kit", "tail"], "use one of core"),
        (["--seed", "-1"], "--seed"),
    ],
)
def test_a_rehearsal_that_is_not_known_is_refused_with_what_is(
    options: list[str], said: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert cli.main(["rehearse", str(tmp_path / "swim"), *options]) == 2
    assert said in capsys.readouterr().err
    assert not list(tmp_path.iterdir())


@pytest.mark.parametrize("swimmer", ["sprinter"])
def test_a_rehearsed_session_is_analysed_to_a_whole_result(
    swimmer: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    session, out = tmp_path / "swim", tmp_path / "out"
    assert cli.main(["rehearse", str(session), "--swimmer", swimmer, "--quiet"]) == 0
    assert capsys.readouterr().out == ""
    assert cli.main(["analyse", str(session), "--out", str(out), "--csv", "--streams"]) == 0
    shown = capsys.readouterr()
    assert shown.err == ""
    assert shown.out.splitlines()[-1].endswith("report.html")
    assert "Swum:" in shown.out
    names = {entry.name for entry in out.iterdir()}
    assert {"report.html", "cues.vtt", "summary.json", "streams.parquet", "rolls.csv"} <= names
    assert "Invented demo data" in (out / "report.html").read_text("utf-8")


def test_json_prints_the_summary_with_its_findings_and_nothing_else(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    sample = Path(__file__).parents[1] / "sample_logs" / "mira"
    assert cli.main(["analyse", str(sample), "--out", str(tmp_path / "result"), "--json"]) == 0
    printed = json.loads(capsys.readouterr().out)
    assert printed == json.loads((tmp_path / "result" / "summary.json").read_text("utf-8"))
    assert [finding["is_aim"] for finding in printed["findings"]][:3] == [True, True, False]
    assert "long-on-side" in [finding["id"] for finding in printed["findings"]][:2]
    assert {row["drill"] for row in printed["carry_over"]} == {"bilateral-breathing"}
