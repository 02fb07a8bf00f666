"""How long the help takes to appear, as a multiple of importing typer alone.

Run: python -m tests.benchmarks.bench_start
"""

from __future__ import annotations

import subprocess
import sys
import time

_BAR = 2.5
_RUNS = 9


def seconds(arguments: list[str]) -> float:
    """Return the median time of several runs of the interpreter."""
    times = []
    for _ in range(_RUNS):
        began = time.perf_counter()
        subprocess.run([sys.executable, *arguments], check=True, capture_output=True)
        times.append(time.perf_counter() - began)
    return sorted(times)[_RUNS // 2]


def main() -> None:
    """Print both times and their ratio."""
    alone_s = seconds(["-c", "import typer"])
    help_s = seconds(["-m", "sensorswim", "--help"])
    print(f"import typer {alone_s:.3f} s, sensorswim --help {help_s:.3f} s")
    print(f"ratio {help_s / alone_s:.2f} (bar: {_BAR})")


if __name__ == "__main__":
    main()
