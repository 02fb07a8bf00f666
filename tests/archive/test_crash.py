"""A process killed at any moment leaves the archive whole."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

KILLS = 8
"""python -m tests.archive.victim 200 FOLDER kills as often as the bar asks for."""


def test_a_process_killed_while_it_adds_migrates_or_erases_leaves_nothing_half_there(
    tmp_path: Path,
) -> None:
    line = [sys.executable, "-m", "tests.archive.victim", str(KILLS), str(tmp_path)]
    done = subprocess.run(line, capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr
    told = done.stdout.splitlines()
    assert [one.partition(" within")[0] for one in told] == [
        f"{job}: {KILLS} kills" for job in ("add", "migrate", "erase")
    ]
