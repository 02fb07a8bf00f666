"""Figures of the breaths: time on the side, lateness, the reaching arm."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import pandas as pd

from sensorswim.findings.evidence import Measured, Swum, by_side, only_source, typical
from sensorswim.metrics.own_rolls import reference_words
from sensorswim.model import Side
from sensorswim.model.streams import FloatArray
from sensorswim.model.tables import by_length

SIDES = ("left", "right")
_FARTHEST_PCT = 40.0
"""A breath further from the nearest exit belongs to none."""
_WAITS = 0.06
"""Share of the cycle that must be left before the catch: the forearm tips into it."""


def _each_side(swum: Swum, breaths: pd.DataFrame, column: str) -> list[Measured]:
    found = []
    for side in SIDES:
        own = by_side(breaths, side).dropna(subset=[column])
        if not len(own):
            continue
        trust = float(own["confidence"].mean()) if own["confidence"].notna().any() else 1.0
        figure = typical(own, column, "peak_s", source=only_source(own), side=side, trust=trust)
        found += [] if figure is None else [figure]
    return found


def _from_roll(swum: Swum, breaths: pd.DataFrame, column: str) -> list[Measured]:
    """Return a figure that rests on the roll by side, with a note where the ankles give that."""
    ankles = only_source(swum.rolls) == "ankles"
    note = "The roll is an estimate from the ankles." if ankles else ""
    return [replace(m, note=note) for m in _each_side(swum, breaths, column)]


def excess_s(swum: Swum) -> list[Measured]:
    """Time on the side beyond the swimmer's own rolls without a breath, by side."""
    return [
        replace(m, words={"against": _against(m, swum)})
        for m in _from_roll(swum, swum.breaths, "excess_s")
    ]


def _against(measured: Measured, swum: Swum) -> str:
    side = str(measured.side)
    return f"rolls {reference_words(side, swum.excess_against.get(side, side))}"


def share_pct(swum: Swum) -> list[Measured]:
    """Time on the side in % of the arm cycle, by side; a plain roll gives about a third."""
    return _from_roll(swum, swum.breaths.assign(share=100 * swum.breaths["hold_share"]), "share")


def lateness_pct(swum: Swum) -> list[Measured]:
    """How long after the upper hand's exit the middle of the breath comes, in % of the cycle."""
    arms = _arms(swum)
    breaths = swum.breaths
    middles = 0.5 * (breaths["start_s"] + breaths["end_s"])
    late = [
        arms[key].after_exit_pct(middle_s) if key in arms else np.nan
        for key, middle_s in zip(_keys(breaths), middles, strict=True)
    ]
    return _from_roll(swum, breaths.assign(late=np.array(late, dtype=float)), "late")


def lead_arm_tilt_deg(swum: Swum) -> list[Measured]:
    """Forearm of the reaching arm below level, where that arm still waits well before its catch."""
    arms = _arms(swum)
    breaths = swum.breaths
    leads = [(number, str(Side(side).other)) for number, side in _keys(breaths)]
    waits = [
        key in arms and arms[key].waits_at(peak_s)
        for key, peak_s in zip(leads, breaths["peak_s"], strict=True)
    ]
    return _each_side(swum, breaths.loc[np.array(waits, dtype=bool)], "lead_arm_tilt_deg")


def _keys(breaths: pd.DataFrame) -> list[tuple[int, str]]:
    return list(zip(breaths["length_no"].astype(int), breaths["side"].astype(str), strict=True))


@dataclass(frozen=True, kw_only=True)
class _Arm:
    """The strokes of one arm in one length; times (N,) in s."""

    entry_s: FloatArray
    catch_s: FloatArray
    exit_s: FloatArray
    cycle_s: float

    def after_exit_pct(self, middle_s: float) -> float:
        """Return how long after the nearest exit a moment is, in % of the cycle."""
        exits = self.exit_s[np.isfinite(self.exit_s)]
        if not len(exits) or np.isnan(middle_s):
            return float("nan")
        late = 100.0 * (middle_s - exits[np.abs(exits - middle_s).argmin()]) / self.cycle_s
        return late if abs(late) < _FARTHEST_PCT else float("nan")

    def waits_at(self, time_s: float) -> bool:
        """Tell whether the arm has entered and is still well before its catch."""
        until_s = self.catch_s - _WAITS * self.cycle_s
        return bool(((self.entry_s < time_s) & (until_s > time_s)).any())


def _arms(swum: Swum) -> dict[tuple[int, str], _Arm]:
    columns = ("side", "entry_s", "catch_s", "exit_s", "next_entry_s")
    arms = {}
    for number, own in by_length(swum.strokes, *columns).items():
        for side in SIDES:
            of = own["side"] == side
            cycles = (own["next_entry_s"] - own["entry_s"])[of]
            if np.isfinite(cycles).any():
                arms[number, side] = _Arm(
                    entry_s=own["entry_s"][of],
                    catch_s=own["catch_s"][of],
                    exit_s=own["exit_s"][of],
                    cycle_s=float(np.nanmedian(cycles)),
                )
    return arms
