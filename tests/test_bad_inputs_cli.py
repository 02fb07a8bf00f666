"""Every broken session through the command line: one clear line, or a result that says so."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from sensorswim import cli
from tests.formats.bad_inputs import CASES, BadInput
from tests.formats.small_session import build_small_session


@pytest.mark.parametrize("case", CASES, ids=lambda case: case.name)
def test_broken_session_is_refused_in_one_line_or_analysed_with_a_note(
    case: BadInput, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    session = build_small_session(tmp_path / "session")
    case.break_folder(session)
    results = tmp_path / "results"
    results.mkdir()
    code = cli.main(["analyse", str(session), "--out", str(results / "out"), "--quiet"])
    shown = capsys.readouterr()
    assert shown.out == ""
    if case.kind == "error":
        _is_refused(case, code, shown.err)
        assert not list(results.iterdir())
        return
    assert (code, shown.err) == (0, "")
    assert [entry.name for entry in results.iterdir()] == ["out"]
    summary = json.loads((results / "out" / "summary.json").read_text("utf-8"))
    codes = {row["code"] for row in summary["quality"]}
    assert set(case.expected) <= codes


def _is_refused(case: BadInput, code: int, said: str) -> None:
    assert code == 2, said
    assert len(said.splitlines()) == 1
    assert "Traceback" not in said
    missing = [word for word in case.expected if word not in said]
    assert not missing, said
