"""Take sensors off synthetic swimmers, and look what the rest still tells of the lengths.

Run: python -m tests.validation.part_kits [--swims 10] [--first 0]

Everything rests on the synthetic swimmers of all three builds (see the scoreboard), drawn with
every sensor. A part kit has a clock of its own, so one constant time is allowed a session.
"""

from __future__ import annotations

import argparse
import os
import re
import shutil
from collections import defaultdict
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from multiprocessing import get_context
from pathlib import Path
from tempfile import TemporaryDirectory

import numpy as np
import pandas as pd
from rich.progress import track

from sensorswim.analyse import analyse
from tests.validation.scoreboard import BUILDS

KITS = {
    "one wrist": ("left_wrist",),
    "both wrists": ("left_wrist", "right_wrist"),
    "both ankles": ("left_ankle", "right_ankle"),
    "lower back": ("lower_back",),
    "one wrist, one ankle": ("right_wrist", "left_ankle"),
    "one wrist, lower back": ("left_wrist", "lower_back"),
}
_CRAWL = ("front_crawl", "drill")
_NEAR_S = 2.5
_COVERS, _TOUCHES = 0.9, 0.01


@dataclass(frozen=True, kw_only=True)
class Part:
    """What a part kit told of one session.

    Parameters
    ----------
    lengths, once, named, strays : int
        Lengths that these sensors can see, those of them that one length alone covers by nine
        tenths, those whose activity is right as far as they can tell, and lengths where nobody
        swam.
    """

    lengths: int
    once: int
    named: int
    strays: int


def wear(folder: Path, out: Path, placements: tuple[str, ...]) -> Path:
    """Copy a session with only some of its sensors."""
    shutil.copytree(folder, out)
    session = out / "session.toml"
    parts = re.split(r"(?m)^(?=\[\[)", session.read_text())
    worn = [re.search(r'^placement = "(\w+)"', part, re.MULTILINE) for part in parts]
    kept = [
        part
        for part, place in zip(parts, worn, strict=True)
        if place is None or place[1] in placements
    ]
    session.write_text("".join(kept))
    return out


def judge(found: pd.DataFrame, true: pd.DataFrame, placements: tuple[str, ...]) -> Part:
    """Compare lengths with the truth, laid over each other by the likeliest constant time."""
    arms = any("wrist" in place for place in placements)
    body = any("wrist" not in place for place in placements)
    seen = true[(true["activity"] != "kick") | body]
    starts_s, ends_s = true["start_s"].to_numpy(), true["end_s"].to_numpy()
    shared_s = np.zeros((len(found), len(true)))
    if len(found):
        apart_s = (starts_s[:, None] - found["start_s"].to_numpy()).ravel()
        best_s = max(apart_s, key=lambda s: _shared_s(found, true, s).sum())
        shared_s = _shared_s(
            found, true, float(np.median(apart_s[abs(apart_s - best_s) < _NEAR_S]))
        )
    covers = shared_s / (ends_s - starts_s)
    rows = seen.index.to_numpy() - true.index[0]
    alone = (covers > _TOUCHES).sum(axis=1) == 1
    once = [
        bool((own[alone] > _COVERS).any() and (own > _TOUCHES).sum() == 1)
        for own in covers[:, rows].T
    ]
    names = list(found["activity"])
    named = [
        bool(own.any()) and _same(names[int(np.argmax(own))], activity, arms=arms)
        for own, activity in zip(covers[:, rows].T, seen["activity"], strict=True)
    ]
    return Part(
        lengths=len(seen),
        once=sum(once),
        named=sum(named),
        strays=int((shared_s.max(axis=1, initial=0.0) == 0.0).sum()),
    )


def _shared_s(found: pd.DataFrame, true: pd.DataFrame, later_s: float) -> np.ndarray:
    """Return how long each found length overlaps each true one, (F, T)."""
    begin = np.maximum(found["start_s"].to_numpy()[:, None] + later_s, true["start_s"].to_numpy())
    stop = np.minimum(found["end_s"].to_numpy()[:, None] + later_s, true["end_s"].to_numpy())
    return np.clip(stop - begin, 0.0, None)


def _same(told: str, activity: str, *, arms: bool) -> bool:
    """Tell whether a name is right; without arms butterfly and breaststroke can only be `other`."""
    if not arms and activity in ("butterfly", "breaststroke"):
        return told == "other"
    return told == activity or (told in _CRAWL and activity in _CRAWL)


def measure(build: str, seed: int) -> dict[str, Part]:
    """Return what each part kit tells of one synthetic swim."""
    parts = {}
    with TemporaryDirectory() as place:
        whole = Path(place) / "swim"
        true = BUILDS[build](seed, whole, "full")["lengths"]
        for kit, placements in KITS.items():
            found = analyse(wear(whole, Path(place) / kit, placements)).lengths
            parts[kit] = judge(found, true, placements)
    return parts


def table(parts: dict[str, list[Part]]) -> str:
    """Return a table with a row for each kit."""
    lines = ["| worn | lengths | found once, % | activity right, % | found where nobody swam |",
             "| --- | --- | --- | --- | --- |"]  # fmt: skip
    for kit, own in parts.items():
        count, once, named, strays = (
            sum(getattr(part, name) for part in own)
            for name in ("lengths", "once", "named", "strays")
        )
        shares = f"{100 * once / count:.1f} | {100 * named / count:.1f}"
        lines.append(f"| {kit} | {count} | {shares} | {strays} |")
    return "\n".join(lines)


def main() -> None:
    """Print the table."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--swims", type=int, default=10, help="swims a build")
    parser.add_argument("--first", type=int, default=0, help="first seed")
    parser.add_argument("--workers", type=int, default=os.cpu_count() or 1)
    chosen = parser.parse_args()
    seeds = range(chosen.first, chosen.first + chosen.swims)
    jobs = [(build, seed) for build in BUILDS for seed in seeds]
    parts: defaultdict[str, list[Part]] = defaultdict(list)
    with ProcessPoolExecutor(chosen.workers, mp_context=get_context("spawn")) as pool:
        answers = pool.map(measure, *zip(*jobs, strict=True))
        for answer in track(answers, total=len(jobs), description="swims"):
            for kit, part in answer.items():
                parts[kit].append(part)
    print(f"{chosen.swims} synthetic swims of each of three builds, from seed {chosen.first}\n")
    print(table(parts))


if __name__ == "__main__":
    main()
