"""What the review's server has ready before the first page is asked for."""

from __future__ import annotations

import shutil
import time
from pathlib import Path

import pytest

from sensorswim.dashboards.review import Shelf, key_of, review_app
from sensorswim.dashboards.review.desk import Desk
from sensorswim.dashboards.review.results import Results
from tests.dashboards.conftest import Filmed


def test_a_session_read_ahead_is_open_without_its_cache(filmed: Filmed, tmp_path: Path) -> None:
    shutil.copytree(filmed.cache, tmp_path / "cache")
    shelf = Shelf(folders=(filmed.folder,), home=tmp_path / "home", cache=tmp_path / "cache")
    desk = Desk.of(shelf)
    desk.read_ahead()
    shutil.rmtree(tmp_path / "cache")
    opened = desk.open(key_of(filmed.folder))
    assert opened is not None
    assert len(opened.analysis.lengths) == 1
    assert Desk.of(shelf).open(key_of(filmed.folder)) is None


def test_nothing_is_analysed_or_noted_as_seen_ahead(filmed: Filmed, tmp_path: Path) -> None:
    shelf = Shelf(folders=(filmed.folder,), home=tmp_path / "home", cache=tmp_path / "cache")
    desk = Desk.of(shelf)
    desk.read_ahead()
    assert desk.results.job(filmed.folder) is None
    assert not (tmp_path / "cache").exists()
    assert not (tmp_path / "home" / "seen").exists()


def test_the_server_reads_ahead_when_it_starts(
    filmed: Filmed, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    asked: list[Path] = []
    told = Results.get

    def get(self: Results, folder: Path) -> object:
        asked.append(folder)
        return told(self, folder)

    monkeypatch.setattr(Results, "get", get)
    shelf = Shelf(folders=(filmed.folder,), home=tmp_path / "home", cache=filmed.cache)
    review_app(shelf)
    until = time.monotonic() + 20
    while not asked and time.monotonic() < until:
        time.sleep(0.01)
    assert asked == [filmed.folder.resolve()]


def test_the_likely_session_is_the_newest_of_those_named(filmed: Filmed, tmp_path: Path) -> None:
    old, new, other = (tmp_path / name for name in ("named/old", "named/new", "home/sessions/x"))
    for place, year in ((old, 2019), (new, 2020), (other, 2031)):
        shutil.copytree(filmed.folder, place)
        toml = place / "session.toml"
        lines = toml.read_text().splitlines()
        dated = [
            f"started_at = {year}-05-01T10:00:00+00:00" if line.startswith("started_at") else line
            for line in lines
        ]
        toml.write_text("\n".join(dated) + "\n")
    home, cache = tmp_path / "home", tmp_path / "cache"
    assert Shelf(folders=(tmp_path / "named",), home=home, cache=cache).likely() == new
    assert Shelf(home=home, cache=cache).likely() == other
