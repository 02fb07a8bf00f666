"""Where each kick falls among the arm cycles of its length, and how steadily it comes back."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from sensorswim.findings.evidence import Measured, Swum, median_error
from sensorswim.model.streams import BoolArray, FloatArray
from sensorswim.model.tables import by_length

_PAIR = 2
_CUTS = 12
"""Phases at which the cycles are tried to be cut."""


@dataclass(frozen=True, kw_only=True)
class Placed:
    """The kicks of one length within its cycles.

    Parameters
    ----------
    length_no : int
    starts_s : (C,)
        Starts of the cycles.
    times_s, place : (K,)
        Downbeats, and the same in cycles from the first cycle's start.
    left : (K,) bool
    """

    length_no: int
    starts_s: FloatArray
    times_s: FloatArray
    place: FloatArray
    left: BoolArray

    def odd(self, cut: float) -> BoolArray:
        """Tell for each whole cycle, cut at a phase, whether its count isn't the usual one."""
        whole = len(self.starts_s) - (cut > 0)
        if whole < 1:
            return np.zeros(0, dtype=bool)
        counts, _ = np.histogram(self.place - cut, bins=np.arange(whole + 1))
        return np.asarray(counts != np.bincount(counts).argmax())

    def slips(self, leg: BoolArray) -> tuple[FloatArray, FloatArray]:
        """Return time and slip (in cycles) of one leg's downbeats that have a next cycle."""
        place, times = self.place[leg], self.times_s[leg]
        slip = np.abs(place[None, :] - place[:, None] - 1.0).min(axis=1, initial=1.0)
        again = place < len(self.starts_s) - 1.0
        return times[again], slip[again]


def placed(swum: Swum) -> list[Placed]:
    """Return the kicks of every length that has cycles."""
    kicks = by_length(swum.kicks, "side", "downbeat_s")
    none = {"side": np.zeros(0, dtype=object), "downbeat_s": np.zeros(0)}
    found = []
    for number, cycles in by_length(swum.cycles, "start_s", "end_s").items():
        starts, ends = cycles["start_s"], cycles["end_s"]
        own = kicks.get(number, none)
        beats: FloatArray = own["downbeat_s"]
        at = np.asarray(np.searchsorted(starts, beats, side="right") - 1)
        inside = (at >= 0) & (beats < ends[np.maximum(at, 0)])
        times, at = beats[inside], at[inside]
        found.append(
            Placed(
                length_no=number,
                starts_s=starts,
                times_s=times,
                place=at + (times - starts[at]) / (ends[at] - starts[at]),
                left=np.asarray(own["side"][inside] == "left", dtype=bool),
            )
        )
    return found


def odd_pct(swum: Swum) -> list[Measured]:
    """Share of cycles whose count isn't their length's most frequent one, in %.

    The cycles are cut where the fewest counts are odd, so that a steady kick near the hand's
    entry doesn't slip from one cycle into the next.
    """
    lengths = placed(swum) if swum.ankles == _PAIR else []
    tries = [[own.odd(cut) for own in lengths] for cut in np.arange(_CUTS) / _CUTS]
    whole = [odd for odd in tries if sum(map(len, odd))]
    if not whole:
        return []
    best = min(whole, key=lambda odd: float(np.concatenate(odd).mean()))
    each = np.concatenate(best)
    share, count = float(each.mean()), len(each)
    spread = np.sqrt(max(share * (1 - share), 0.25 / count) / count)
    pairs = list(zip(lengths, best, strict=True))
    return [
        Measured(
            value=100.0 * share,
            session_s=np.concatenate([own.starts_s[: len(odd)] for own, odd in pairs]),
            length_no=np.repeat([float(own.length_no) for own in lengths], [len(o) for o in best]),
            each=100.0 * each.astype(float),
            error=100.0 * float(spread),
            source="ankles",
        )
    ]


def slip_pct(swum: Swum) -> list[Measured]:
    """How far kicks wander within the arm cycle from one cycle to the next.

    Each downbeat's distance to the same leg's nearest downbeat one cycle later, in % of the
    cycle. A steady kick gives 1 to 4. It needs wrists and ankles on one clock.
    """
    if swum.ankles < _PAIR or swum.adrift & {"ankle", "wrist"}:
        return []
    parts = [
        (float(own.length_no), *own.slips(leg))
        for own in placed(swum)
        for leg in (own.left, ~own.left)
    ]
    if not sum(len(times) for _, times, _ in parts):
        return []
    slips = 100.0 * np.concatenate([slip for _, _, slip in parts])
    return [
        Measured(
            value=float(np.median(slips)),
            session_s=np.concatenate([times for _, times, _ in parts]),
            length_no=np.repeat([n for n, _, _ in parts], [len(times) for _, times, _ in parts]),
            each=slips,
            error=median_error(slips),
            source="ankles",
        )
    ]
