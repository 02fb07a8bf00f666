"""A session sent as one file arrives as it was, and nothing else comes along."""

from __future__ import annotations

import shutil
import zipfile
from pathlib import Path

import pytest

from sensorswim.cli import main
from sensorswim.errors import InputError, OutputError
from sensorswim.formats.session_pack import open_session, pack_session
from sensorswim.formats.session_toml import read_session
from sensorswim.model import Quality

SAMPLE = Path(__file__).resolve().parents[2] / "sample_logs" / "mira"


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    place = tmp_path / "mira"
    shutil.copytree(SAMPLE, place, ignore=shutil.ignore_patterns("truth"))
    (place / "private notes.txt").write_text("not to be sent")
    (place / "marks.toml").write_text('[[mark]]\nkind = "note"\nsession_s = 3.0\n')
    (place / "side.webm").write_bytes(b"film")
    toml = place / "session.toml"
    toml.write_text(f'{toml.read_text()}\n[[video]]\nfile = "side.webm"\nstarts_at_s = 1.0\n')
    return place


def contents(folder: Path) -> dict[str, bytes]:
    return {p.name: p.read_bytes() for p in folder.iterdir()}


def test_a_packed_session_comes_back_whole(folder: Path, tmp_path: Path) -> None:
    packed = pack_session(folder)
    assert packed.name == "mira.session.zip"
    back = open_session(packed, tmp_path / "back")
    sent = contents(folder)
    del sent["private notes.txt"]
    assert contents(back) == sent
    assert len(read_session(back, Quality()).marks) == 1
    assert not list(tmp_path.glob(".*"))


def test_clips_stay_at_home_where_that_is_wanted(folder: Path, tmp_path: Path) -> None:
    packed = pack_session(folder, tmp_path / "a.zip", videos=False)
    assert "side.webm" not in zipfile.ZipFile(packed).namelist()


def test_nothing_is_overwritten(folder: Path, tmp_path: Path) -> None:
    packed = pack_session(folder)
    with pytest.raises(OutputError, match="is there already"):
        pack_session(folder)
    with pytest.raises(OutputError, match="is there already"):
        open_session(packed, folder)


@pytest.mark.parametrize("name", ["../out.txt", "/etc/x", "a/../../x"])
def test_a_file_that_leads_elsewhere_is_refused_and_leaves_nothing(
    tmp_path: Path, name: str
) -> None:
    with zipfile.ZipFile(tmp_path / "evil.zip", "w") as packed:
        packed.writestr(name, "x")
        packed.write(SAMPLE / "session.toml", "session.toml")
    with pytest.raises(InputError, match="can't be taken in"):
        open_session(tmp_path / "evil.zip", tmp_path / "new")
    assert [p.name for p in tmp_path.iterdir()] == ["evil.zip"]


def test_what_is_no_packed_session_is_told(tmp_path: Path) -> None:
    (tmp_path / "a.zip").write_bytes(b"nothing")
    with pytest.raises(InputError, match="can't be unpacked"):
        open_session(tmp_path / "a.zip", tmp_path / "new")
    with zipfile.ZipFile(tmp_path / "b.zip", "w") as packed:
        packed.writestr("note.txt", "x")
    with pytest.raises(InputError, match=r"holds no session\.toml"):
        open_session(tmp_path / "b.zip", tmp_path / "new")


def test_the_commands_pack_and_open(
    folder: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["pack", str(folder), "--out", str(tmp_path / "x.zip")]) == 0
    assert "agreed to" in capsys.readouterr().out
    assert main(["open", str(tmp_path / "x.zip"), "--out", str(tmp_path / "x")]) == 0
    assert main(["open", str(tmp_path / "x.zip"), "--out", str(tmp_path / "x")]) == 2
    assert main(["pack", str(tmp_path)]) == 2
