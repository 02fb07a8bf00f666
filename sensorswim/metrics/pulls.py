"""The pull of each length and arm: how deep, how bent, how sure."""

from __future__ import annotations

from typing import Any

import numpy as np
import pandas as pd

from sensorswim.model import Placement, Quality, Severity, Side
from sensorswim.model.placement import Limb
from sensorswim.model.tables import VIEWS, by_length
from sensorswim.swim.pull import Pulls

_PULL_COLUMNS = (
    "pull_depth_m",
    "elbow_angle_deg",
    "elbow_sd_deg",
    "elbow_source",
    *(f"elbow_{view}_deg" for view in VIEWS),
)


def crawl_pulls(strokes: pd.DataFrame, crawl: list[int]) -> pd.DataFrame:
    """Return the strokes with depth and elbow only where a prone swimmer's arm was modelled."""
    own = strokes["length_no"].isin(crawl)
    if own.all():
        return strokes
    return strokes.assign(**{c: strokes[c].where(own) for c in _PULL_COLUMNS})


def with_pulls(
    lengths: pd.DataFrame, strokes: pd.DataFrame, pulls: dict[tuple[int, Side], Pulls]
) -> pd.DataFrame:
    """Return the lengths with the medians of both arms' pulls; empty where none was told."""
    cut = by_length(strokes, "side", "pull_depth_m", "elbow_angle_deg")
    rows = [_figures(int(n), cut, pulls) for n in lengths["length_no"]]
    figures = pd.DataFrame(rows, index=lengths.index, dtype=float)
    return lengths.assign(**{name: figures[name] for name in figures})


def _figures(
    number: int, cut: dict[int, dict[str, Any]], pulls: dict[tuple[int, Side], Pulls]
) -> dict[str, float]:
    figures = {}
    for side in Side:
        own = cut.get(number)
        rows = own["side"] == str(side) if own is not None else np.zeros(0, dtype=bool)
        for name, unit in (("pull_depth", "m"), ("elbow_angle", "deg")):
            values = own[f"{name}_{unit}"][rows] if own is not None else rows
            known = values[np.isfinite(values)]
            figures[f"{name}_{side}_{unit}"] = float(np.median(known)) if len(known) else np.nan
        told = np.isfinite(figures[f"elbow_angle_{side}_deg"])
        figures[f"elbow_sd_{side}_deg"] = pulls[number, side].length_sd_deg() if told else np.nan
    return figures


def say_unsolved(pulls: dict[tuple[int, Side], Pulls], crawl: list[int], quality: Quality) -> None:
    """Note the lengths of crawl in which an arm could not be told from its wrist."""
    for (number, side), own in pulls.items():
        if number in crawl and not own.solved:
            quality.add(
                "elbow_not_solved",
                Severity.LOST,
                f"In length {number} the {side} wrist's path fits no arm well enough, so its "
                "hand path, pull depth and elbow angle are left out.",
                placement=Placement.of(Limb.WRIST, side),
                length_no=number,
            )
