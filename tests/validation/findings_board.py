"""Plant faults in synthetic swimmers, look whether they are among the first two findings.

Run: python -m tests.validation.findings_board [--swims 10] [--clean 40] [--first 0]

Counted are the first two of all findings, whether they are aims or not; a further column says in
how many swims the planted fault is an aim, which needs a finding that is at least likely.

Everything rests on synthetic swimmers (tests.validation.planted) with sensor noise, straps and
clocks on, and knocks. The bars: the planted fault is first or second in 95 %, and a clean swimmer
has no finding in 95 %.
"""

from __future__ import annotations

import argparse
import os
from collections import Counter
from collections.abc import Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from multiprocessing import get_context
from pathlib import Path
from tempfile import TemporaryDirectory

from rich.progress import track

from sensorswim.analyse import analyse
from tests.validation.planted import FAULTS, draw_planted

BAR_PCT = 95.0
CLEAN = "clean"


@dataclass(frozen=True, kw_only=True)
class Swim:
    """One swim: what was planted, and what was found, in order."""

    fault: str
    seed: int
    found: tuple[str, ...]
    aims: tuple[str, ...]

    @property
    def right(self) -> bool:
        """Whether the fault is first or second, or a clean swim has no finding."""
        if self.fault == CLEAN:
            return not self.found
        return bool(set(self.found[:2]) & set(FAULTS[self.fault].finds))

    @property
    def aimed(self) -> bool:
        """Whether the fault is an aim, or a clean swim has no aim."""
        if self.fault == CLEAN:
            return not self.aims
        return bool(set(self.aims) & set(FAULTS[self.fault].finds))


def measure(fault: str, seed: int) -> Swim:
    """Return one swim, written to a folder and analysed from there."""
    swim = draw_planted(seed, None if fault == CLEAN else fault)
    with TemporaryDirectory() as place:
        answer = analyse(swim.write(Path(place) / "swim"))
    return Swim(
        fault=fault,
        seed=seed,
        found=tuple(f["id"] for f in answer.findings),
        aims=tuple(f["id"] for f in answer.findings if f["is_aim"]),
    )


def jobs(swims: int, clean: int, first: int) -> list[tuple[str, int]]:
    """Return fault and seed of every swim; seeds never repeat between faults."""
    planted = [
        (fault, 10_000 * at + first + k) for at, fault in enumerate(FAULTS) for k in range(swims)
    ]
    return planted + [(CLEAN, 900_000 + first + k) for k in range(clean)]


def share_pct(swims: Sequence[Swim]) -> float:
    """Return how many are right, in %."""
    return 100.0 * sum(swim.right for swim in swims) / max(len(swims), 1)


def aimed_pct(swims: Sequence[Swim]) -> float:
    """Return in how many the fault is an aim, in %."""
    return 100.0 * sum(swim.aimed for swim in swims) / max(len(swims), 1)


def table(swims: Sequence[Swim]) -> str:
    """Return the board as a Markdown table."""
    lines = ["| planted | swims | first or second, % | aim, % | what came first where it wasn't |"]
    lines.append("| --- | --- | --- | --- | --- |")
    for fault in (*FAULTS, CLEAN):
        own = [swim for swim in swims if swim.fault == fault]
        wrong = Counter(", ".join(s.found[:2]) or "nothing" for s in own if not s.right)
        words = "; ".join(f"{what} ({count})" for what, count in wrong.most_common(3))
        name = "none (a clean swimmer): no finding" if fault == CLEAN else fault
        shares = f"{share_pct(own):.0f} | {aimed_pct(own):.0f}"
        lines.append(f"| {name} | {len(own)} | {shares} | {words} |")
    planted = [swim for swim in swims if swim.fault != CLEAN]
    clean = [swim for swim in swims if swim.fault == CLEAN]
    for name, own in (("all planted", planted), ("all clean", clean)):
        short = "" if share_pct(own) >= BAR_PCT else f"falls short of {BAR_PCT:g}"
        shares = f"{share_pct(own):.1f} | {aimed_pct(own):.1f}"
        lines.append(f"| {name} | {len(own)} | {shares} | {short} |")
    return "\n".join(lines)


def main() -> None:
    """Print the board."""
    os.environ.setdefault("OMP_NUM_THREADS", "1")
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--swims", type=int, default=10, help="swims a fault")
    parser.add_argument("--clean", type=int, default=40, help="clean swims")
    parser.add_argument("--first", type=int, default=0, help="first seed")
    parser.add_argument("--workers", type=int, default=os.cpu_count() or 1)
    chosen = parser.parse_args()
    todo = jobs(chosen.swims, chosen.clean, chosen.first)
    with ProcessPoolExecutor(chosen.workers, mp_context=get_context("spawn")) as pool:
        done = pool.map(measure, *zip(*todo, strict=True))
        swims = list(track(done, "swims", total=len(todo)))
    print(table(swims))


if __name__ == "__main__":
    main()
