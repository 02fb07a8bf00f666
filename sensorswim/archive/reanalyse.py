"""Analysing an archive's sessions again: on this machine's cores, or on many machines.

The archive is written by this process alone, a session at a time, as its figures come back. So a
run that is stopped goes on where it was: what is done carries the new version already. A worker
that dies costs the session that it was at, which is tried again.
"""

from __future__ import annotations

import gzip
import hashlib
import tempfile
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import FIRST_COMPLETED, Future, ProcessPoolExecutor, wait
from concurrent.futures.process import BrokenProcessPool
from dataclasses import dataclass, replace
from multiprocessing import get_context
from pathlib import Path
from typing import Any, Final

import sqlalchemy as sa

from sensorswim import __version__
from sensorswim.analyse import analyse
from sensorswim.archive.add import put
from sensorswim.archive.pack import Packed, pack, read_files
from sensorswim.archive.read import KEEPER, Who
from sensorswim.archive.schema import ANALYSIS, RAW_FILE, SESSION, SWIMMER
from sensorswim.archive.store import Store
from sensorswim.errors import ArchiveError, SensorswimError
from sensorswim.formats.session_toml import read_session
from sensorswim.model import Quality

TRIES: Final = 3
"""So often is a session tried whose worker died: it may be the session that kills it."""


@dataclass(frozen=True, kw_only=True)
class Job:
    """A session to analyse: its files packed with it, or the folder that they are in."""

    session_id: int
    key: str
    folder: str
    files: tuple[tuple[str, bytes], ...] = ()


@dataclass(frozen=True, kw_only=True)
class Outcome:
    """What became of one session: the error in one line, "" where all went well."""

    key: str
    problem: str = ""


Work = Callable[[Job], Packed]


def to_do(store: Store, who: Who = KEEPER, *, everything: bool = False) -> list[Job]:
    """Return the sessions whose current figures are of another version, all if `everything`."""
    query = who.narrow(
        sa.select(SESSION.c.id, SESSION.c.key, SESSION.c.folder)
        .select_from(SWIMMER.join(SESSION).join(ANALYSIS))
        .where(ANALYSIS.c.is_current == 1)
    ).order_by(SESSION.c.started_at, SESSION.c.id)
    if not everything:
        query = query.where(ANALYSIS.c.version != __version__)
    with store.read() as connection:
        return [
            Job(session_id=row.id, key=row.key, folder=row.folder)
            for row in connection.execute(query)
        ]


def with_files(store: Store, job: Job) -> Job:
    """Return the job with its kept files, or as it is where its folder still holds them all.

    Raises
    ------
    ArchiveError
        The logs were not kept, and the folder is gone or holds others.
    """
    query = sa.select(RAW_FILE).where(RAW_FILE.c.session_id == job.session_id)
    with store.read() as connection:
        rows = connection.execute(query).all()
    if rows and all(row.content is not None for row in rows):
        return replace(job, files=tuple((row.name, row.content) for row in rows))
    if rows and all(_same(Path(job.folder) / row.name, row.sha256) for row in rows):
        return job
    raise ArchiveError(
        "its logs were not kept and are not where they were",
        where=job.key,
        mend="put the folder back, or add it again from where it is",
    )


def _same(path: Path, sha256: str) -> bool:
    try:
        return hashlib.sha256(path.read_bytes()).hexdigest() == sha256
    except OSError:
        return False


def work(job: Job) -> Packed:
    """Analyse one session; runs in a worker, which needs no archive."""
    if not job.files:
        return _packed(Path(job.folder))
    with tempfile.TemporaryDirectory(prefix="sensorswim-") as name:
        for file, content in job.files:
            path = Path(name) / file
            path.parent.mkdir(parents=True, exist_ok=True)
            path.write_bytes(gzip.decompress(content))
        return _packed(Path(name))


def _packed(folder: Path) -> Packed:
    files = read_files(read_session(folder, Quality()), keep_raw=False)
    return pack(analyse(folder), files)


def reanalyse(
    store: Store,
    jobs: Sequence[Job],
    *,
    workers: int = 2,
    scheduler: str = "",
    work: Work = work,
) -> Iterator[Outcome]:
    """Analyse the jobs and store each as it comes back; yield what became of it.

    Parameters
    ----------
    workers : int
        Processes on this machine.
    scheduler : str
        Address of a dask scheduler, such as ``tcp://10.0.0.2:8786``, in place of them.
    work : callable
        What a worker does with a job.

    Raises
    ------
    ArchiveError
        The scheduler can't be reached, or dask isn't installed.
    """
    ready: list[Job] = []
    for job in jobs:
        try:
            with_files(store, job)
        except ArchiveError as problem:
            yield Outcome(key=job.key, problem=str(problem))
        else:
            ready.append(job)
    answers = (
        _on_dask(store, ready, scheduler, work)
        if scheduler
        else _on_processes(store, ready, workers, work)
    )
    for job, answer in answers:
        yield _stored(store, job, answer)


def _stored(store: Store, job: Job, answer: Packed | Exception) -> Outcome:
    if isinstance(answer, Packed):
        try:
            put(store, answer)
        except ArchiveError as problem:
            return Outcome(key=job.key, problem=str(problem))
        return Outcome(key=job.key)
    if isinstance(answer, SensorswimError):
        return Outcome(key=job.key, problem=str(answer))
    raise answer


def _on_processes(
    store: Store, jobs: Sequence[Job], workers: int, work: Work
) -> Iterator[tuple[Job, Packed | Exception]]:
    """Yield answers from processes; a pool that a dead worker broke is made anew."""
    waiting = list(jobs)[::-1]
    tries = {job.key: 0 for job in jobs}
    while waiting:
        with ProcessPoolExecutor(workers, mp_context=get_context("spawn")) as pool:
            running: dict[Future[Packed], Job] = {}
            broken = False
            while (waiting or running) and not broken:
                while waiting and len(running) < 2 * workers:
                    try:
                        future = pool.submit(work, with_files(store, waiting[-1]))
                    except BrokenProcessPool:
                        broken = True
                        break
                    running[future] = waiting.pop()
                for future in wait(running, return_when=FIRST_COMPLETED).done:
                    answer = _answer(future)
                    broken = broken or isinstance(answer, BrokenProcessPool)
                    if not isinstance(answer, BrokenProcessPool):
                        yield running.pop(future), answer
            lost = list(running.values())
        for job in lost:
            tries[job.key] += 1
            if tries[job.key] < TRIES:
                waiting.append(job)
            else:
                yield job, _died(job)


def _answer(future: Future[Packed]) -> Packed | Exception:
    failure = future.exception()
    if failure is None:
        return future.result()
    if isinstance(failure, Exception):
        return failure
    raise failure


def _died(job: Job) -> ArchiveError:
    return ArchiveError(
        f"its worker died {TRIES} times", where=job.key, mend="look at memory, or analyse it alone"
    )


def _on_dask(
    store: Store, jobs: Sequence[Job], scheduler: str, work: Work
) -> Iterator[tuple[Job, Packed | Exception]]:
    """Yield answers from a dask cluster, which itself sends a dead worker's jobs elsewhere."""
    try:
        from distributed import Client, KilledWorker, as_completed  # noqa: PLC0415
    except ModuleNotFoundError as failure:
        raise ArchiveError(
            "--scheduler needs the package distributed",
            mend="install it by: pip install 'sensorswim[cluster]'",
        ) from failure
    try:
        client: Any = Client(scheduler, timeout=10, set_as_default=False)
    except (OSError, ValueError, TimeoutError) as failure:
        raise ArchiveError(
            "there is no scheduler", where=scheduler, mend="check the address"
        ) from failure
    with client:
        waiting = list(jobs)[::-1]
        running: dict[str, Job] = {}

        def submit() -> Any:
            job = waiting.pop()
            future = client.submit(work, with_files(store, job), pure=False)
            running[future.key] = job
            return future

        window = 2 * max(1, len(client.scheduler_info(n_workers=-1)["workers"]))
        futures = as_completed(
            [submit() for _ in range(min(window, len(waiting)))], loop=client.loop
        )
        for future in futures:
            job = running.pop(future.key)
            problem = future.exception()
            if isinstance(problem, KilledWorker):
                problem = _died(job)
            yield job, future.result() if problem is None else problem
            if waiting:
                futures.add(submit())
