"""Kills a process at random moments while it adds, migrates or erases, and looks what is left.

Run: python -m tests.archive.victim TIMES FOLDER [add] [migrate] [erase]
Prints how often the kill came before, during and after; exits 1 at the first archive that isn't
whole.
"""

from __future__ import annotations

import os
import random
import shutil
import signal
import sys
import time
from collections import Counter
from collections.abc import Callable
from pathlib import Path

import sqlalchemy as sa

from sensorswim.archive import find_swimmer, open_archive, put, sessions
from sensorswim.archive.check import problems
from sensorswim.archive.erase import erase
from sensorswim.archive.read import swimmers
from sensorswim.archive.store import open_store
from tests.archive.made import made

OLD, NEW = made(1), made(2)
OTHER = made(1, swimmer="Noor")


def run_and_kill(work: Callable[[], None], after_s: float) -> None:
    """Run the work in a child and kill it after a while; 0 lets it finish."""
    child = os.fork()
    if child == 0:
        work()
        os._exit(0)
    if after_s:
        time.sleep(after_s)
        os.kill(child, signal.SIGKILL)
    os.waitpid(child, 0)


def prepared(job: str, path: Path) -> None:
    """Write the archive that the job starts from."""
    store = open_store(str(path), revision="0001" if job == "migrate" else "head")
    if job == "migrate":
        with store.write() as connection:
            connection.execute(sa.text(
                "INSERT INTO swimmer (key, name, pseudonym, squad)"
                " VALUES ('name:mira', 'Mira', 'p', '')"
            ))  # fmt: skip
    else:
        put(store, OLD)
        put(store, OTHER)
    store.close()


def work_of(job: str, path: Path, log: Path) -> Callable[[], None]:
    def add() -> None:
        put(open_store(str(path)), NEW)

    def migrate() -> None:
        open_store(str(path))

    def erase_one() -> None:
        store = open_store(str(path))
        erase(store, "swimmer", find_swimmer(store, "Mira").id, files=[log])

    return {"add": add, "migrate": migrate, "erase": erase_one}[job]


def left(job: str, path: Path, log: Path) -> str:
    """Return before or after; raise where it is neither."""
    store = open_archive(str(path))
    assert list(problems(store)) == []
    names = {s.name for s in swimmers(store)}
    count = len(sessions(store))
    store.close()
    if job == "migrate":
        assert names == {"Mira"}
        return "whole"
    if job == "add":
        assert names == {"Mira", "Noor"}
        assert count in (2, 3)
        return "added" if count == 3 else "not added"
    gone = "Mira" not in names
    assert count == (1 if gone else 2)
    assert log.exists() is not gone
    assert not gone or b"Mira" not in path.read_bytes()
    return "erased" if gone else "not erased"


def main(job: str, times: int, folder: Path) -> None:
    rng = random.Random(6)
    first, path, log = folder / "first", folder / "a" / "a.sqlite", folder / "a" / "log.csv"
    first.mkdir()
    prepared(job, first / "a.sqlite")
    (first / "log.csv").write_text("Mira's log")
    shutil.copytree(first, path.parent)
    started = time.monotonic()
    run_and_kill(work_of(job, path, log), 0)
    whole_s = time.monotonic() - started
    found: Counter[str] = Counter()
    for _ in range(times):
        shutil.rmtree(path.parent)
        shutil.copytree(first, path.parent)
        run_and_kill(work_of(job, path, log), rng.uniform(0.001, 1.1 * whole_s))
        found[left(job, path, log)] += 1
    print(f"{job}: {times} kills within {1000 * whole_s:.0f} ms: {dict(found)}")


if __name__ == "__main__":
    for chosen in sys.argv[3:] or ["add", "migrate", "erase"]:
        place = Path(sys.argv[2]) / chosen
        place.mkdir()
        main(chosen, int(sys.argv[1]), place)
