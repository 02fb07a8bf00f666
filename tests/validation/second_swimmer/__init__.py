"""A second, independent swimmer: sensor logs made from rigid-body movement, with exact truth.

It shares no code and no model with the analyser, nor with any other synthetic data. `swim` draws
one session from a seed, writes it as a session folder and returns what truly happened.
"""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pandas as pd

from .body import CORE, FULL, SIDES, Skeleton
from .folder import write_session
from .outing import go_swimming
from .sensors import Impact, draw_bundle, draw_units, ideal, read, strapped, write_log
from .swimmer import draw_plan
from .truth import LengthTruth, observe

KITS = {"core": CORE, "full": FULL}
SOURCES = {"core": ("ankles",), "full": ("upper_back", "lower_back", "ankles")}

__all__ = ["swim"]


def swim(seed: int, folder: Path, *, kit: str = "core") -> dict[str, pd.DataFrame]:
    """Draw a session, write it into a folder and return its truth in the contract's tables.

    Parameters
    ----------
    seed : int
        Everything follows from it: the same seed writes the same files.
    folder : Path
        Made if it doesn't exist; gets session.toml and one log for each sensor.
    kit : str
        "core" = both wrists and both ankles, "full" = all nine placements.
    """
    rng = np.random.default_rng(seed)
    plan = draw_plan(rng)
    outing = go_swimming(plan, rng)
    placements = tuple(rng.permutation(KITS[kit]).tolist())
    units = draw_units(rng, placements)
    skeleton = Skeleton(outing.motion, plan.swimmer.build)
    truth = observe(outing, skeleton, SOURCES[kit], units[0].clock)
    bundle = draw_bundle(outing, placements, rng)
    folder.mkdir(parents=True, exist_ok=True)
    knocks = [_knock(time, rng) for time in outing.knocks]
    for unit in units:
        perfect = ideal(strapped(skeleton, unit, outing, bundle))
        impacts = knocks + _impacts(truth.lengths, unit.placement, plan.swimmer.knock_m_s2, rng)
        write_log(read(unit, perfect, impacts, rng), folder / unit.file)
    write_session(folder, plan, units, truth.tables["lengths"], rng)
    return truth.tables


def _knock(time: float, rng: np.random.Generator) -> Impact:
    push = rng.uniform(50.0, 110.0) * np.array([rng.normal(0.0, 0.2), rng.normal(0.0, 0.2), 1.0])
    return Impact(time, tuple(push), 48.0, 0.018, in_pool=True)


def _impacts(
    lengths: list[LengthTruth], placement: str, size: float, rng: np.random.Generator
) -> list[Impact]:
    """Return the knocks of the water on a wrist at entry, and of the wall on hands and feet."""
    side, _, part = placement.partition("_")
    found = []
    for one in lengths:
        flip = one.swum.crossing.spec.ending == "flip"
        if part == "wrist" and side in SIDES:
            for stroke in one.strokes[side]:
                if not np.isnan(stroke.entry):
                    push = size * rng.uniform(0.5, 1.2) * np.array([-0.5, rng.normal(0, 0.3), 0.8])
                    found.append(Impact(stroke.entry, tuple(push), 28.0, 0.022, in_pool=False))
            if not flip:
                found.append(Impact(one.end, (-60.0, 8.0, 15.0), 35.0, 0.02, in_pool=False))
        if part == "ankle" and flip:
            found.append(Impact(one.end, (-70.0, 15.0, 10.0), 38.0, 0.02, in_pool=False))
    return found
