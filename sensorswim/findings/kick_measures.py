"""Figures of the kicks: how many, and how large. Their rhythm is in `kick_rhythm`."""

from __future__ import annotations

import numpy as np
import pandas as pd

from sensorswim.findings.evidence import Measured, Swum, apart, by_side, typical
from sensorswim.model.streams import FloatArray

_PAIR = 2
_LEGS = ("left", "right")
_FEW = 6


def _counted(swum: Swum) -> pd.DataFrame:
    cycles = swum.cycles.dropna(subset=["start_s", "end_s"])
    kicks = cycles["kicks"].astype("float64")
    if swum.ankles:
        kicks = kicks.fillna(0.0)
    return cycles.assign(kicks_of_both=kicks * (_PAIR / max(swum.ankles, 1)))


def per_cycle(swum: Swum) -> list[Measured]:
    """Mean downbeats of both legs in an arm cycle."""
    if not swum.ankles:
        return []
    known = _counted(swum).dropna(subset=["kicks_of_both"])
    if known.empty:
        return []
    counts = known["kicks_of_both"].to_numpy(dtype=float)
    figure = typical(known, "kicks_of_both", "start_s", source="ankles")
    assert figure is not None
    return [_mean_of(figure, counts)]


def _mean_of(figure: Measured, counts: FloatArray) -> Measured:
    spread = float(np.std(counts, ddof=1)) if len(counts) > 1 else float("inf")
    return Measured(
        value=float(np.mean(counts)),
        session_s=figure.session_s,
        length_no=figure.length_no,
        each=figure.each,
        error=spread / np.sqrt(len(counts)),
        source=figure.source,
    )


def breath_extra_pct(swum: Swum) -> list[Measured]:
    """Largest downbeat in a breath against rolls to the same side without one, in %, by side.

    A scissor of the legs on the breath shows as one downbeat that is larger than the others.
    """
    found = []
    for side in _LEGS if swum.ankles == _PAIR else ():
        rolls = by_side(swum.rolls, side)
        quiet = rolls.loc[rolls["is_breath"].eq(other=False).fillna(value=False).astype(bool)]
        usual = _largest(quiet, swum.kicks)
        if np.isfinite(usual).sum() < _FEW:
            continue
        own = by_side(swum.breaths, side)
        extra = 100.0 * (_largest(own, swum.kicks) / float(np.nanmedian(usual)) - 1.0)
        trust = float(own["confidence"].mean()) if len(own) else 0.0
        figure = typical(
            own.assign(extra=extra), "extra", "peak_s", source="ankles", side=side, trust=trust
        )
        found += [] if figure is None else [figure]
    return found


def _largest(spans: pd.DataFrame, kicks: pd.DataFrame) -> FloatArray:
    times = kicks["downbeat_s"].to_numpy(dtype=float)
    rates = kicks["peak_rate_deg_s"].to_numpy(dtype=float)
    largest = []
    for start_s, end_s in zip(spans["start_s"], spans["end_s"], strict=True):
        own = rates[(times >= start_s) & (times <= end_s)]
        largest.append(np.nanmax(own) if len(own) and np.isfinite(own).any() else np.nan)
    return np.array(largest, dtype=float)


def size_difference_pct(swum: Swum) -> list[Measured]:
    """Speed of the downbeats, one leg against the other, in % of their mean; side is the larger."""
    legs = [
        typical(
            by_side(swum.kicks, leg), "peak_rate_deg_s", "downbeat_s", source="ankles", side=leg
        )
        for leg in _LEGS
    ]
    return apart([leg for leg in legs if leg is not None], percent=True)
