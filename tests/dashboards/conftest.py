"""A small invented session with a film, analysed once and served for all browser tests."""

from __future__ import annotations

import contextlib
import shutil
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import pytest
from playwright.sync_api import Browser

from sensorswim.dashboards.review import Shelf, key_of, review_app
from sensorswim.dashboards.review.results import Results
from sensorswim.formats.session_toml import read_session
from sensorswim.model import Quality
from sensorswim.rehearsal import Kit, Knocks, Length, Plan, Rehearsal, Stand, Swimmer, rehearse
from sensorswim.rehearsal.settings import BlockStart
from sensorswim.rehearsal_film import film_rehearsal
from tests.dashboards.served import chromium, served

MARKUP = "Ida <i id=planted>(invented)</i>"


@dataclass(frozen=True, kw_only=True)
class Filmed:
    """The session's folder, its truth, and the cache that holds its result."""

    folder: Path
    cache: Path
    truth: Rehearsal
    starts_at_s: float


@dataclass(frozen=True, kw_only=True)
class Served:
    """A copy of the session, served: free to be changed by one test."""

    base: str
    folder: Path

    @property
    def address(self) -> str:
        """Where its review is."""
        return f"{self.base}/review?session={key_of(self.folder)}"


@pytest.fixture(scope="module")
def browser() -> Iterator[Browser]:
    with chromium() as opened:
        yield opened


@pytest.fixture(scope="package")
def filmed(tmp_path_factory: pytest.TempPathFactory) -> Filmed:
    place = tmp_path_factory.mktemp("filmed")
    start = BlockStart(label="<b>set</b> & more", keys={"felt_kick_beat": 4})
    plan = Plan(segments=(Stand(duration_s=2), Knocks(), start, Length(turn="stop")))
    truth = rehearse(plan, swimmer=Swimmer(name=MARKUP), kit=Kit(clock_offset_s=3.0), seed=4)
    folder = truth.write(place / "session")
    shutil.rmtree(folder / "truth")
    film_rehearsal(truth, folder, longest_s=24.0)
    results = Results(place / "cache")
    results._work(folder)
    job = results.job(folder)
    assert job is not None
    assert job.problem == ""
    session = read_session(folder, Quality())
    starts = session.videos[0].starts_at_s
    assert starts is not None
    assert starts == pytest.approx(truth.truth_extra["knocks_s"][0] - 1.0, abs=1e-3)
    return Filmed(folder=folder, cache=place / "cache", truth=truth, starts_at_s=starts)


@pytest.fixture(scope="package")
def kept(filmed: Filmed, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Served]:
    """Serve the session for tests that change nothing in it."""
    with copied(filmed, tmp_path_factory.mktemp("kept")) as session:
        yield session


@pytest.fixture
def review(filmed: Filmed, tmp_path: Path) -> Iterator[Served]:
    """Serve a copy of the session that a test may change."""
    with copied(filmed, tmp_path) as session:
        yield session


@contextlib.contextmanager
def copied(filmed: Filmed, place: Path) -> Iterator[Served]:
    """Serve a copy of the session and its result."""
    folder = place / "session"
    shutil.copytree(filmed.folder, folder)
    shutil.copytree(filmed.cache, place / "cache")
    shelf = Shelf(folders=(folder,), home=place / "home", cache=place / "cache")
    with served(review_app(shelf)) as base:
        yield Served(base=base, folder=folder)
