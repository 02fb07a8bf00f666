"""Figures of a whole session: what drifts, and what was felt otherwise than measured."""

from __future__ import annotations

import numpy as np

from sensorswim.findings.evidence import Measured, Swum
from sensorswim.metrics.felt import (
    ankle_roll,
    felt_against_measured,
    figure_words,
    measured_words,
)

_FEWEST = 5


def _drift_pct(swum: Swum, column: str) -> list[Measured]:
    """Change along a straight line from the first to the last length, in % of the median."""
    own = swum.lengths.dropna(subset=[column, "start_s", "end_s"])
    if len(own) < _FEWEST:
        return []
    values = own[column].to_numpy(dtype=float)
    order = np.linspace(-0.5, 0.5, len(values))
    middle = float(np.median(values))
    slope = float(order @ values / (order @ order))
    rest = values - values.mean() - slope * order
    spread = float(np.sqrt(rest @ rest / (len(values) - 2)))
    return [
        Measured(
            value=100.0 * slope / middle,
            session_s=0.5 * (own["start_s"] + own["end_s"]).to_numpy(dtype=float),
            length_no=own["length_no"].to_numpy(dtype=float),
            each=np.full(len(values), 100.0 * slope / middle),
            error=100.0 * spread * _wider(len(values) - 2) / float(np.sqrt(order @ order)) / middle,
            source="wrists",
        )
    ]


def _wider(freedom: int) -> float:
    """Return how much wider Student's t with so many degrees of freedom spreads than a normal."""
    return float(np.sqrt(freedom / (freedom - 2)))


def rate_drift_pct(swum: Swum) -> list[Measured]:
    """Stroke rate from the first to the last length of plain crawl, in %."""
    return _drift_pct(swum, "stroke_rate_cycles_min")


def length_drift_pct(swum: Swum) -> list[Measured]:
    """Stroke length from the first to the last length of plain crawl, in %."""
    return _drift_pct(swum, "stroke_length_m")


def felt_apart(swum: Swum) -> list[Measured]:
    """Each thing felt: measured minus felt, in its own unit; ``where`` and ``what`` name it.

    In a block of drill and swim the swim lengths count. Roll from the ankles is left out: it is
    smaller than the roll that is felt.
    """
    table = felt_against_measured(swum.session.blocks, swum.all_lengths).dropna(subset=["measured"])
    swim_first = table.sort_values("activity", key=lambda a: a.ne("front_crawl"), kind="stable")
    found = []
    for row in swim_first.drop_duplicates(["block_no", "column"]).to_dict("records"):
        if ankle_roll(row["column"], swum.all_lengths):
            continue
        lengths = swum.all_lengths.dropna(subset=[row["column"], "block_no"])
        own = lengths.loc[
            lengths["block_no"].eq(row["block_no"])
            & lengths["activity"].fillna("other").eq(row["activity"])
        ]
        values = own[row["column"]].to_numpy(dtype=float) - row["felt"]
        found.append(
            Measured(
                value=row["measured"] - row["felt"],
                session_s=0.5 * (own["start_s"] + own["end_s"]).to_numpy(dtype=float),
                length_no=own["length_no"].to_numpy(dtype=float),
                each=values,
                error=0.0,
                source=row["column"],
                words={
                    "what": figure_words(row["column"], swum.all_lengths),
                    "where": row["block_label"] or f"block {row['block_no']}",
                    "felt": f"{row['felt']:g}",
                    "measured": measured_words(row),
                },
            )
        )
    return found
