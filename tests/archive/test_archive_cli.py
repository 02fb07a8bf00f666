"""The archive through the command line, with the sample session."""

from __future__ import annotations

from pathlib import Path

import pytest

from sensorswim.cli import main

ROOT = Path(__file__).resolve().parents[2]
SAMPLE = ROOT / "sample_logs" / "mira"


@pytest.fixture(autouse=True)
def own_archive(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("SENSORSWIM_ARCHIVE", str(tmp_path / "archive.sqlite"))


def test_a_session_goes_in_is_shown_and_comes_out(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    def told(*arguments: str, code: int = 0) -> str:
        assert main(["archive", *arguments]) == code
        captured = capsys.readouterr()
        return captured.out + captured.err

    assert "No sessions yet" in told("list")
    sample = SAMPLE if (SAMPLE / "session.toml").is_file() else sorted(SAMPLE.iterdir())[0]
    assert told("add", str(sample), "--keep-raw").endswith(": added\n")
    assert "already there, nothing changed" in told("add", str(sample), "--squad", "blue")
    assert "No sessions yet" in told("list", "--squad", "red")
    listed = told("list", "mira (invented)", "--squad", "blue").split()
    assert "(invented)" in listed
    shown = told("show", listed[1])
    assert "stroke rate" in shown
    assert "left_wrist.parquet" in shown
    assert "Kept with" in told("note", "mira (invented)", "hips low")
    assert "The archive is whole." in told("check")
    assert "1 session in" in told("export", "mira (invented)", "--out", str(tmp_path / "out"))
    assert "add --yes" in told("remove", listed[1], code=2)
    assert "Erased:" in told("remove", "--swimmer", "mira (invented)", "--yes")
    assert "No sessions yet" in told("list")
    assert (sample / "session.toml").is_file()


@pytest.mark.parametrize(
    ("arguments", "line"),
    [
        (["show", "nothing"], "no session begins with 'nothing'"),
        (["export", "nobody", "--out", "x"], "there is no swimmer 'nobody'"),
        (["remove"], "name a session or --swimmer"),
        (["note", "nobody"], "give a text or --file"),
    ],
)
def test_a_wrong_request_is_one_line(
    arguments: list[str], line: str, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["archive", *arguments]) == 2
    told = capsys.readouterr().err
    assert line in told
    assert told.count("\n") == 1
