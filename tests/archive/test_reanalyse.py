"""Analysing again: the right sessions, dead workers, a stopped run, another machine's worker."""

from __future__ import annotations

import multiprocessing
import os
import shutil
import signal
import time
from pathlib import Path

import pytest
from distributed import LocalCluster

from sensorswim import __version__
from sensorswim.archive import find_session, put, sessions
from sensorswim.archive.add import add_session
from sensorswim.archive.pack import Packed, RawFile
from sensorswim.archive.read import versions_of
from sensorswim.archive.reanalyse import Job, reanalyse, to_do, work
from sensorswim.archive.schema import ANALYSIS
from sensorswim.archive.store import Store, open_store
from sensorswim.errors import ArchiveError, LogError
from tests.archive.made import made

SAMPLE = Path(__file__).resolve().parents[2] / "sample_logs" / "mira"
KEPT = (RawFile(name="log.csv", sha256="a" * 64, size=1, content=b"x"),)


def number_of(job: Job) -> int:
    return int(job.key.rpartition("-")[2])


def quick(job: Job) -> Packed:
    """Stand in for an analysis by this version."""
    return made(number_of(job), version=__version__, shift=1.0, files=KEPT)


def dies_once(job: Job) -> Packed:
    """Die at the first try of session 2 (`SENSORSWIM_TEST_MARK` remembers), refuse session 3."""
    mark = Path(os.environ["SENSORSWIM_TEST_MARK"])
    if number_of(job) == 2 and not mark.exists():
        mark.touch()
        os.kill(os.getpid(), signal.SIGKILL)
    if number_of(job) == 3:
        raise LogError("has no rows", where="log.csv", mend="copy it again")
    return quick(job)


def always_dies(job: Job) -> Packed:
    if number_of(job) == 2:
        os.kill(os.getpid(), signal.SIGKILL)
    return quick(job)


@pytest.fixture
def old(tmp_path: Path) -> Store:
    store = open_store(str(tmp_path / "a.sqlite"))
    for number in range(1, 4):
        put(store, made(number, version="0.0.1", files=KEPT))
    return store


def test_only_sessions_of_another_version_are_done_unless_all_are_asked_for(old: Store) -> None:
    put(old, made(9, version=__version__))
    assert [number_of(job) for job in to_do(old)] == [1, 2, 3]
    assert len(to_do(old, everything=True)) == 4


def test_a_run_that_is_stopped_goes_on_where_it_was(old: Store) -> None:
    run = reanalyse(old, to_do(old), workers=1, work=quick)
    first = [next(run), next(run)]
    run.close()
    left = to_do(old)
    assert {number_of(job) for job in left} == {1, 2, 3} - {
        int(one.key.rpartition("-")[2]) for one in first
    }
    versions = versions_of(old, find_session(old, "Mira-1")["id"])
    assert versions["version"].tolist() == ["0.0.1", __version__]


def test_a_worker_that_dies_loses_nothing_and_a_session_that_can_not_be_read_is_one_line(
    old: Store, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("SENSORSWIM_TEST_MARK", str(tmp_path / "died"))
    run = reanalyse(old, to_do(old), workers=1, work=dies_once)
    found = {one.key: one.problem for one in run}
    assert (tmp_path / "died").exists()
    assert found == {"Mira-1": "", "Mira-2": "", "Mira-3": "log.csv: has no rows; copy it again"}
    assert [number_of(job) for job in to_do(old)] == [3]


def test_a_worker_that_dies_between_two_jobs_loses_nothing(
    old: Store, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    mark = tmp_path / "died"
    monkeypatch.setenv("SENSORSWIM_TEST_MARK", str(mark))
    run = reanalyse(old, to_do(old), workers=1, work=dies_once)
    found = {(first := next(run)).key: first.problem}
    until = time.monotonic() + 60
    while (not mark.exists() or multiprocessing.active_children()) and time.monotonic() < until:
        time.sleep(0.05)
    found |= {one.key: one.problem for one in run}
    assert found == {"Mira-1": "", "Mira-2": "", "Mira-3": "log.csv: has no rows; copy it again"}


def test_a_session_that_always_kills_its_worker_is_given_up(
    old: Store, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("sensorswim.archive.reanalyse.TRIES", 1)
    second = [job for job in to_do(old) if number_of(job) == 2]
    (found,) = reanalyse(old, second, workers=1, work=always_dies)
    assert "worker died 1 times" in found.problem
    assert len(to_do(old)) == 3


def test_logs_that_are_gone_are_said(tmp_path: Path) -> None:
    store = open_store(str(tmp_path / "a.sqlite"))
    lost = RawFile(name="log.csv", sha256="a" * 64, size=1, content=None)
    put(store, made(1, version="0.0.1", files=(lost,)))
    (found,) = reanalyse(store, to_do(store), work=quick)
    assert "not where they were" in found.problem
    store.close()


def test_the_same_on_a_scheduler_and_no_scheduler_is_one_line(old: Store) -> None:
    with LocalCluster(
        n_workers=1, threads_per_worker=1, dashboard_address=None, host="127.0.0.1"
    ) as cluster:
        found = list(reanalyse(old, to_do(old), scheduler=cluster.scheduler_address, work=quick))
    assert len(found) == 3
    assert {one.problem for one in found} == {""}
    with pytest.raises(ArchiveError, match="there is no scheduler"):
        list(reanalyse(old, to_do(old, everything=True), scheduler="nowhere", work=quick))


def test_the_real_work_gives_the_figures_that_adding_gave(tmp_path: Path) -> None:
    folder = tmp_path / "session"
    shutil.copytree(SAMPLE, folder)
    store = open_store(str(tmp_path / "a.sqlite"))
    add_session(store, folder, keep_raw=True)
    with store.write() as connection:
        connection.execute(ANALYSIS.update().values(version="0.0.1"))
    (job,) = to_do(store)
    shutil.rmtree(folder)
    (outcome,) = reanalyse(store, [job], workers=1, work=work)
    assert outcome.problem == ""
    with store.read() as connection:
        hashes = connection.execute(ANALYSIS.select()).mappings().all()
    assert len(hashes) == 2
    assert hashes[0]["result_hash"] == hashes[1]["result_hash"]
    assert len(sessions(store)) == 1
    store.close()
