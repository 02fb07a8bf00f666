"""A PostgreSQL of our own for the tests: started from Debian's packages, gone afterwards."""

from __future__ import annotations

import os
import pwd
import shutil
import subprocess
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest

INSTALL = "apt-get install postgresql"


def binaries() -> Path | None:
    """Return the folder of the newest server's programs, None where there is none."""
    found = sorted(Path("/usr/lib/postgresql").glob("*/bin/initdb"), key=lambda p: int(p.parts[4]))
    return found[-1].parent if found else None


@contextmanager
def postgresql() -> Iterator[str]:
    """Start a server that only listens on a socket in its own folder; yield its URL."""
    programs = binaries()
    if programs is None:
        if os.environ.get("CI") == "true":
            pytest.fail(f"no PostgreSQL here: {INSTALL}")
        pytest.skip(f"no PostgreSQL here: {INSTALL}")
    folder = Path(tempfile.mkdtemp(prefix="pg-"))
    user = _user(folder)

    def run(program: str, *arguments: str) -> None:
        line = [*user, str(programs / program), "-D", str(folder / "data"), *arguments]
        subprocess.run(line, check=True, capture_output=True, cwd=folder)

    run("initdb", "-U", "postgres", "-A", "trust", "-E", "UTF8", "--locale=C.UTF-8", "--no-sync")
    options = f"-c listen_addresses='' -k {folder} -c fsync=off"
    run("pg_ctl", "-w", "-l", str(folder / "log"), "-o", options, "start")
    try:
        yield f"postgresql://postgres@/postgres?host={folder}"
    finally:
        run("pg_ctl", "-m", "immediate", "-w", "stop")
        shutil.rmtree(folder)


def _user(folder: Path) -> list[str]:
    """Return how to run as somebody who may start a server, who also gets the folder."""
    if os.geteuid() != 0:
        return []
    account = pwd.getpwnam("postgres")
    os.chown(folder, account.pw_uid, account.pw_gid)
    return ["runuser", "-u", "postgres", "--"]
