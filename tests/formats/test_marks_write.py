"""Marks are appended to marks.toml without touching what is there, whole or not at all."""

from __future__ import annotations

from pathlib import Path

import pytest

from sensorswim.errors import SessionError
from sensorswim.formats.marks_write import add_mark, drop_mark
from sensorswim.formats.session_toml import read_marks
from sensorswim.model import Mark, Quality

ANGLE = Mark(
    kind="left_elbow_angle", session_s=12.5, video="side.webm", video_s=3.25,
    label='"<b>odd</b>"', value=117.4, unit="deg", view="side",
)  # fmt: skip


def test_a_mark_comes_back_as_it_was_written(tmp_path: Path) -> None:
    add_mark(tmp_path, ANGLE)
    add_mark(tmp_path, Mark(kind="exhale_start", session_s=14.0))
    assert read_marks(tmp_path, Quality()) == (ANGLE, Mark(kind="exhale_start", session_s=14.0))
    assert [p.name for p in tmp_path.iterdir()] == ["marks.toml"]


def test_the_points_set_on_a_frame_come_back(tmp_path: Path) -> None:
    points = ((0.25, 0.5), (0.5, 1.0), (0.75, 0.0))
    add_mark(tmp_path, Mark(kind="angle", session_s=3.0, value=90.0, unit="deg", points=points))
    assert read_marks(tmp_path, Quality())[0].points == points


def test_comments_and_unknown_keys_stay(tmp_path: Path) -> None:
    old = '# mine\n[[mark]]\nkind = "note"\nsession_s = 1.0\nmood = "good"\n'
    (tmp_path / "marks.toml").write_text(old)
    add_mark(tmp_path, ANGLE)
    text = (tmp_path / "marks.toml").read_text()
    assert "# mine" in text
    assert 'mood = "good"' in text
    assert [mark.kind for mark in read_marks(tmp_path, Quality())] == ["note", "left_elbow_angle"]


def test_one_mark_is_taken_out_and_the_others_stay(tmp_path: Path) -> None:
    for kind in ("a", "b", "c"):
        add_mark(tmp_path, Mark(kind=kind, session_s=1.0))
    drop_mark(tmp_path, 1)
    assert [mark.kind for mark in read_marks(tmp_path, Quality())] == ["a", "c"]
    with pytest.raises(SessionError, match="no such mark"):
        drop_mark(tmp_path, 2)


def test_a_broken_file_is_left_alone(tmp_path: Path) -> None:
    (tmp_path / "marks.toml").write_text("[[mark\n")
    with pytest.raises(SessionError, match="not valid TOML"):
        add_mark(tmp_path, ANGLE)
    assert (tmp_path / "marks.toml").read_text() == "[[mark\n"
