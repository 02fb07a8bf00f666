"""A process killed at any moment leaves the archive whole."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import pytest

KILLS = 8
"""python -m tests.archive.victim JOB 200 FOLDER kills as often as the bar asks for."""


def killed(job: str, times: int, folder: Path) -> str:
    line = [sys.executable, "-m", "tests.archive.victim", job, str(times), str(folder)]
    done = subprocess.run(line, capture_output=True, text=True, check=False, env=dict(os.environ))
    assert done.returncode == 0, done.stderr
    return done.stdout


@pytest.mark.parametrize("job", ["add", "migrate", "erase"])
def test_a_killed_process_leaves_nothing_half_there(job: str, tmp_path: Path) -> None:
    assert f"{job}: {KILLS} kills" in killed(job, KILLS, tmp_path)
