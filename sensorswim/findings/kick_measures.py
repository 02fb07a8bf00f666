"""Figures of the kicks: how many, how steady, how well in time with the arms."""

from __future__ import annotations

import numpy as np
import pandas as pd

from sensorswim.findings.evidence import Measured, Swum, apart, by_side, typical
from sensorswim.model.streams import FloatArray
from sensorswim.model.tables import by_length

_PAIR = 2
_LEGS = ("left", "right")


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


def odd_pct(swum: Swum) -> list[Measured]:
    """Share of cycles whose count isn't their length's most frequent one, in %."""
    if swum.ankles < _PAIR:
        return []
    known = _counted(swum).dropna(subset=["kicks_of_both"])
    if known.empty:
        return []
    usual = known.groupby("length_no")["kicks_of_both"].transform(lambda c: c.mode().iloc[0])
    return [_share(known, known["kicks_of_both"].ne(usual).to_numpy(dtype=bool))]


def _share(cycles: pd.DataFrame, odd: FloatArray) -> Measured:
    share, count = float(np.mean(odd)), len(odd)
    return Measured(
        value=100.0 * share,
        session_s=cycles["start_s"].to_numpy(dtype=float),
        length_no=cycles["length_no"].to_numpy(dtype=float),
        each=100.0 * np.asarray(odd, dtype=float),
        error=100.0 * float(np.sqrt(max(share * (1 - share), 0.25 / count) / count)),
        source="ankles",
    )


def slip_pct(swum: Swum) -> list[Measured]:
    """How far kicks wander within the arm cycle from one cycle to the next.

    Each downbeat's distance to the same leg's nearest downbeat one cycle later, in % of the
    cycle. A steady kick gives 1 to 4.
    """
    if swum.ankles < _PAIR:
        return []
    cycles = by_length(swum.cycles, "start_s", "end_s")
    kicks = by_length(swum.kicks, "side", "downbeat_s")
    found = [
        row
        for number in sorted(cycles.keys() & kicks.keys())
        for leg in _LEGS
        for row in _slips(
            number, cycles[number], kicks[number]["downbeat_s"][kicks[number]["side"] == leg]
        )
    ]
    table = pd.DataFrame(found, columns=["length_no", "at_s", "slip"])
    figure = typical(table, "slip", "at_s", source="ankles")
    return [] if figure is None else [figure]


def _slips(
    number: int, cycles: dict[str, FloatArray], times_s: FloatArray
) -> list[tuple[float, float, float]]:
    """Return length, time and slip in % of one leg's downbeats that have a next cycle."""
    starts, ends = cycles["start_s"], cycles["end_s"]
    at = np.searchsorted(starts, times_s, side="right") - 1
    inside = (at >= 0) & (times_s < ends[np.maximum(at, 0)])
    times, at = times_s[inside], at[inside]
    phases = at + (times - starts[at]) / (ends[at] - starts[at])
    return [
        (float(number), float(moment), 100.0 * float(np.min(np.abs(phases - phase - 1.0))))
        for phase, moment in zip(phases, times, strict=True)
        if phase + 1.0 < len(starts)
    ]


def breath_extra_pct(swum: Swum) -> list[Measured]:
    """Largest downbeat within each breath against the usual largest of a roll without one, in %.

    A scissor of the legs on the breath shows as one downbeat that is larger than the others.
    """
    quiet = swum.rolls.loc[swum.rolls["is_breath"].eq(other=False).fillna(value=False).astype(bool)]
    usual = _largest(quiet, swum.kicks)
    if swum.ankles < _PAIR or not np.isfinite(usual).any():
        return []
    base = float(np.nanmedian(usual))
    breaths = swum.breaths.assign(extra=100.0 * (_largest(swum.breaths, swum.kicks) / base - 1.0))
    figure = typical(breaths, "extra", "peak_s", source="ankles")
    return [] if figure is None else [figure]


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
