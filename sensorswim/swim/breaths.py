"""Breaths: half cycles of roll in which the swimmer stays on the side, or the head turns.

With a head sensor its turn decides. Else the time that the roll stays beyond half of the typical
peak, its duration and its size tell two classes apart, decoded with the rhythm of breathing.
A swimmer who always breathes to one side and rolls more to it looks the same as one who is merely
uneven: such breaths get a low confidence.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise
from typing import Any, Final

import numpy as np
import pandas as pd
from scipy.signal import butter, sosfiltfilt

from sensorswim.model import Placement, Quality, Recording, Severity, Side
from sensorswim.model.streams import BoolArray, FloatArray
from sensorswim.model.tables import frame
from sensorswim.swim.kicks import cycle_phase, phase_cycles
from sensorswim.swim.rhythm import decode, fit_two_classes
from sensorswim.swim.roll import RollResult, segment_roll_deg

FIXED_DEG: Final = {"upper_back": 35.0, "lower_back": 25.0, "ankles": 20.0}
"""Angles of beyond_fixed_s, so that sessions compare (file contract)."""
ROLLED: Final = ("front_crawl", "drill")
"""Activities whose half cycles are listed."""


@dataclass(frozen=True, kw_only=True)
class BreathRule:
    """What counts as a half cycle and as a breath.

    Parameters
    ----------
    low_pass_hz : float
        Smooths the roll before its zero crossings are taken.
    least_deg, least_s, longest_s : float
        Smaller, shorter or longer half cycles are not listed.
    head_turn_deg : float
        A head turned further to the upper side breathes.
    separation : float
        Classes nearer than this many spreads don't tell breaths.
    least_extra_s : float
        Breaths must hold at least this much longer than other rolls.
    least_halves : int
        With fewer half cycles nothing is told without a head sensor.
    """

    low_pass_hz: float = 6.0
    least_deg: float = 5.0
    least_s: float = 0.15
    longest_s: float = 3.0
    head_turn_deg: float = 45.0
    separation: float = 2.2
    least_extra_s: float = 0.06
    least_halves: int = 10


@dataclass(frozen=True, kw_only=True)
class BreathResult:
    """Half cycles and breaths.

    Parameters
    ----------
    rolls, breaths : DataFrame
        The contract's tables.
    typical_roll_deg : float
        The swimmer's typical non-breathing peak; NaN without rolls.
    threshold_deg : float
        Half of it: holds are counted beyond.
    """

    rolls: pd.DataFrame
    breaths: pd.DataFrame
    typical_roll_deg: float
    threshold_deg: float


def detect_breaths(
    roll_result: RollResult,
    recording: Recording,
    lengths: pd.DataFrame,
    limb_from_sensor: dict[Placement, FloatArray],
    arm_strokes: pd.DataFrame,
    quality: Quality,
    rule: BreathRule | None = None,
) -> BreathResult:
    """Return the half cycles of every crawl and drill length, and which of them were breaths.

    Parameters
    ----------
    roll_result : RollResult
        Its best source is used.
    recording : Recording
        The head's track is read where there is one.
    lengths : DataFrame
        length_no, swim_start_s, end_s, activity.
    limb_from_sensor : dict
        From `signal.straps.align`.
    arm_strokes : DataFrame
        Give phase and the cycle's duration.
    quality : Quality
        Gets ``no_breaths_found``, ``breaths_not_told``, ``breaths_unsure`` and ``few_quiet_rolls``.
    rule : BreathRule, optional
    """
    rule, source = rule or BreathRule(), roll_result.best_source
    halves: list[dict[str, Any]] = []
    if source is not None:
        roll = _smooth(roll_result.signals_deg[source], recording.rate_hz, rule.low_pass_hz)
        for length in lengths[lengths["activity"].isin(ROLLED)].to_dict("records"):
            halves += _halves(recording.time_s, roll, length, source, rule)
    if not halves:
        return BreathResult(
            rolls=frame("rolls", []),
            breaths=frame("breaths", []),
            typical_roll_deg=float("nan"),
            threshold_deg=float("nan"),
        )
    head = _head(recording, limb_from_sensor)
    if head is not None:
        told_by = _tell_by_head(halves, recording, head, rule)
    else:
        told_by = _tell_by_hold(halves, rule, quality)
    typical, few = _typical(halves)
    _hold_all(halves, 0.5 * typical)
    if few and any(half["is_breath"] for half in halves):
        _say_few(quality)
    around = _Around(
        cycles_s=phase_cycles(arm_strokes),
        strokes_s=_strokes_s(arm_strokes),
        usual_hold_s={} if few else _usual_holds(halves),
    )
    breaths = [_breath(half, around, told_by) for half in halves if half["is_breath"]]
    return BreathResult(
        rolls=_rolls_table(halves),
        breaths=frame("breaths", breaths),
        typical_roll_deg=typical,
        threshold_deg=0.5 * typical,
    )


def _say_few(quality: Quality) -> None:
    quality.add(
        "few_quiet_rolls",
        Severity.DEGRADED,
        "There were fewer than ten rolls without a breath, so the typical roll comes from all "
        "rolls and the extra time of a breath stays empty.",
    )


def _smooth(roll_deg: FloatArray, rate_hz: float, low_pass_hz: float) -> FloatArray:
    """Return the roll low-passed across short gaps, NaN where it was NaN."""
    known = np.isfinite(roll_deg)
    if known.sum() < 20:
        return roll_deg
    index = np.arange(len(roll_deg))
    bridged = np.degrees(np.interp(index, index[known], np.unwrap(np.radians(roll_deg[known]))))
    sos = butter(2, low_pass_hz, fs=rate_hz, output="sos")
    turns = np.where(known, bridged - np.where(known, roll_deg, 0.0), 0.0)
    return np.where(known, sosfiltfilt(sos, bridged) - turns, np.nan)


def _halves(
    time_s: FloatArray, roll_deg: FloatArray, length: dict[str, Any], source: str, rule: BreathRule
) -> list[dict[str, Any]]:
    """Return the half cycles of a length; one that touches a gap or a somersault is left out."""
    if not np.isfinite(length["swim_start_s"]):
        return []
    first, last = np.searchsorted(time_s, [length["swim_start_s"], length["end_s"]])
    over = np.flatnonzero(np.abs(roll_deg[first:last]) > 110.0)
    last = first + int(over[0]) if len(over) else last
    part, step = roll_deg[first:last], float(time_s[1] - time_s[0])
    edges = first + np.flatnonzero(np.sign(part[1:]) * np.sign(part[:-1]) < 0)
    rows = []
    for a, b in pairwise(edges):
        piece = roll_deg[a : b + 2]
        if not np.isfinite(piece).all() or not rule.least_s < (b - a) * step < rule.longest_s:
            continue
        side = Side.LEFT if piece[1:-1].mean() > 0 else Side.RIGHT
        size = side.sign * piece
        at = int(np.argmax(size))
        if size[at] > rule.least_deg:
            rows.append(
                {"length_no": int(length["length_no"]), "side": side.value, "size": size,
                 "from_s": float(time_s[a]), "step_s": step, "peak_s": float(time_s[a + at]),
                 "peak_roll_deg": float(size[at]), "duration_s": (b - a) * step,
                 "is_breath": None, "chance": np.nan, "source": source}
            )  # fmt: skip
    return rows


def _beyond_s(half: dict[str, Any], level_deg: float) -> tuple[float, float]:
    """Return when the roll passes a level before and after its peak; NaN where it doesn't."""
    size = half["size"]
    at = int(np.argmax(size))
    low, high = np.flatnonzero(size[:at] <= level_deg), np.flatnonzero(size[at:] <= level_deg)
    if size[at] <= level_deg or not len(low) or not len(high):
        return np.nan, np.nan
    i, j = int(low[-1]), at + int(high[0])
    before = i + (level_deg - size[i]) / (size[i + 1] - size[i])
    after = j - (level_deg - size[j]) / (size[j - 1] - size[j])
    return half["from_s"] + before * half["step_s"], half["from_s"] + after * half["step_s"]


def _head(recording: Recording, limb_from_sensor: dict[Placement, FloatArray]) -> FloatArray | None:
    if Placement.HEAD not in recording.tracks or Placement.HEAD not in limb_from_sensor:
        return None
    return segment_roll_deg(recording, Placement.HEAD, limb_from_sensor)


def _tell_by_head(
    halves: list[dict[str, Any]], recording: Recording, head_deg: FloatArray, rule: BreathRule
) -> str:
    """Mark the half cycles in which the head turns to the upper side; unknown inside gaps."""
    for half in halves:
        first, last = np.searchsorted(
            recording.time_s, [half["from_s"], half["from_s"] + half["duration_s"]]
        )
        turned = Side(half["side"]).sign * head_deg[first : last + 1]
        if not np.isfinite(turned).mean() > 0.8:
            continue
        largest = float(np.nanmax(turned))
        half["is_breath"] = largest > rule.head_turn_deg
        half["chance"] = float(np.clip(0.5 + abs(largest - rule.head_turn_deg) / 30.0, 0.5, 1.0))
    return "head"


def _tell_by_hold(halves: list[dict[str, Any]], rule: BreathRule, quality: Quality) -> str:
    """Mark breaths by hold, duration and peak with the rhythm; leave unknown where unclear."""
    source = str(halves[0]["source"])
    level = 0.5 * float(np.median([half["peak_roll_deg"] for half in halves]))
    hold = np.array([np.diff(_beyond_s(half, level))[0] for half in halves])
    usable = np.isfinite(hold) & ~_last_of_length(halves)
    hold = np.where(usable, hold, 0.0)
    if usable.sum() < rule.least_halves:
        quality.add(
            "breaths_not_told",
            Severity.DEGRADED,
            "There were too few rolls to tell breaths without a head sensor.",
        )
        return source
    mark = _mark_s(halves, hold)
    classes = fit_two_classes(mark[usable], least_spread=0.02)
    extra = classes.high - classes.low
    if classes.gain < 0 or classes.separation < rule.separation or extra < rule.least_extra_s:
        quality.add(
            "no_breaths_found",
            Severity.DEGRADED,
            "No breaths found: no rolls are held clearly longer than the others, so breaths "
            "can't be told without a head sensor.",
        )
        return source
    odds = np.where(usable, classes.odds(mark), np.where(_last_of_length(halves), 0.0, -6.0))
    chance = np.concatenate(decode(_runs(halves, odds), classes.share))
    sure = min(1.0, extra / 0.2) ** 0.5
    for half, share in zip(halves, chance, strict=True):
        half["is_breath"] = bool(share > 0.5)
        half["chance"] = float(share * sure)
    if extra < 0.1 or _one_sided(halves):
        quality.add(
            "breaths_unsure",
            Severity.NOTE,
            "Breaths were told from rolls that are held longer; an uneven roll would look alike.",
        )
    return source


def _mark_s(halves: list[dict[str, Any]], hold_s: FloatArray) -> FloatArray:
    """Return the hold with some of the duration and of the peak mixed in, in s.

    Peaks are confounded by natural asymmetry, so they count least.
    """
    duration = np.array([half["duration_s"] for half in halves])
    peak = np.array([half["peak_roll_deg"] for half in halves])
    relative = (peak - np.median(peak)) / np.median(peak)
    return np.asarray(0.75 * hold_s + 0.25 * (duration - np.median(duration)) + 0.05 * relative)


def _last_of_length(halves: list[dict[str, Any]]) -> BoolArray:
    """Return which half cycles (K,) end a length: held while reaching for the wall anyway."""
    numbers = np.array([half["length_no"] for half in halves])
    return np.asarray(np.append(np.diff(numbers) != 0, True))


def _runs(halves: list[dict[str, Any]], odds: FloatArray) -> list[FloatArray]:
    numbers = np.array([half["length_no"] for half in halves])
    return [np.asarray(run) for run in np.split(odds, np.flatnonzero(np.diff(numbers)) + 1)]


def _one_sided(halves: list[dict[str, Any]]) -> bool:
    """Return whether nearly all rolls to one side are breaths and none to the other."""
    shares = [
        np.mean([half["is_breath"] for half in halves if half["side"] == side.value] or [0.0])
        for side in Side
    ]
    return bool(max(shares) > 0.9 and min(shares) < 0.1)


def _typical(halves: list[dict[str, Any]]) -> tuple[float, bool]:
    """Return the median peak of non-breathing rolls, and whether there were too few of them."""
    quiet = [half["peak_roll_deg"] for half in halves if not half["is_breath"]]
    few = len(quiet) < 10
    return float(np.median([h["peak_roll_deg"] for h in halves] if few else quiet)), few


def _hold_all(halves: list[dict[str, Any]], level_deg: float) -> None:
    for half in halves:
        start_s, end_s = _beyond_s(half, level_deg)
        half |= {"start_s": start_s, "end_s": end_s, "hold_s": end_s - start_s}


def _rolls_table(halves: list[dict[str, Any]]) -> pd.DataFrame:
    columns = ("length_no", "side", "peak_s", "start_s", "end_s", "hold_s", "peak_roll_deg",
               "is_breath", "source")  # fmt: skip
    return frame("rolls", [{name: half[name] for name in columns} for half in halves])


@dataclass(frozen=True, kw_only=True)
class _Around:
    """What a breath is compared with.

    Parameters
    ----------
    cycles_s, strokes_s : dict
        Length number -> entry and next entry (K, 2): those that give the phase, and all.
    usual_hold_s : dict
        Side -> median hold of the rolls without a breath; without a key where not known.
    """

    cycles_s: dict[int, FloatArray]
    strokes_s: dict[int, FloatArray]
    usual_hold_s: dict[str, float]


def _strokes_s(arm_strokes: pd.DataFrame) -> dict[int, FloatArray]:
    numbers = arm_strokes["length_no"].to_numpy(dtype=int)
    times_s = arm_strokes[["entry_s", "next_entry_s"]].to_numpy(dtype=float)
    return {int(number): times_s[numbers == number] for number in np.unique(numbers)}


def _usual_holds(halves: list[dict[str, Any]]) -> dict[str, float]:
    """Return the median hold of quiet rolls by side, of both where a side has none."""
    quiet = [half for half in halves if half["is_breath"] is False]
    out = {}
    for side in Side:
        same = [half["hold_s"] for half in quiet if half["side"] == side.value]
        usual = same or [half["hold_s"] for half in quiet]
        if np.isfinite(usual).any():
            out[side.value] = float(np.nanmedian(usual))
    return out


def _breath(half: dict[str, Any], around: _Around, told_by: str) -> dict[str, Any]:
    beyond = np.diff(_beyond_s(half, FIXED_DEG[half["source"]]))[0]
    at = np.array([half["peak_s"]])
    number = half["length_no"]
    phase = cycle_phase(at, around.cycles_s.get(number, np.zeros((0, 2))))
    strokes_s = around.strokes_s.get(number, np.zeros((0, 2)))
    return {
        "length_no": number,
        "side": half["side"],
        "peak_s": half["peak_s"],
        "start_s": half["start_s"],
        "end_s": half["end_s"],
        "hold_s": half["hold_s"],
        "hold_share": half["hold_s"] / _cycle_s(half["peak_s"], strokes_s),
        "excess_s": half["hold_s"] - around.usual_hold_s.get(half["side"], np.nan),
        "beyond_fixed_s": float(beyond) if np.isfinite(beyond) else 0.0,
        "peak_roll_deg": half["peak_roll_deg"],
        "cycle_phase": float(phase[0]),
        "confidence": half["chance"],
        "source": told_by,
    }


def _cycle_s(peak_s: float, strokes_s: FloatArray) -> float:
    """Return the duration of the arm cycle that holds the peak, else the length's median."""
    entry, span = strokes_s[:, 0], strokes_s[:, 1] - strokes_s[:, 0]
    here = (entry <= peak_s) & (peak_s < entry + span)
    usable = span[here] if here.any() else span[np.isfinite(span)]
    return float(np.median(usable)) if len(usable) else float("nan")
