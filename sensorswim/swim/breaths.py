"""Breaths: half cycles of roll in which the swimmer stays on the side, or the head turns.

With a head sensor its turn decides. Else `breath_classes` tells the rolls that are held from the
others. A swimmer who always breathes to one side and rolls more to it looks the same as one who
is merely uneven: such breaths get a low confidence, or are not told at all.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any, Final

import numpy as np
import pandas as pd
from scipy.signal import butter, sosfiltfilt

from sensorswim.model import Placement, Quality, Recording, Severity, Side
from sensorswim.model.streams import BoolArray, FloatArray, IntArray
from sensorswim.model.tables import frame
from sensorswim.swim.breath_classes import Told, believed, sure, tell
from sensorswim.swim.half_cycles import HalfCycles, HalfRule, find_half_cycles
from sensorswim.swim.head_turn import turned_to_breathe
from sensorswim.swim.kicks import cycle_phase, phase_cycles
from sensorswim.swim.roll import RollResult, segment_roll_deg, whole_roll_deg

FIXED_DEG: Final = {"upper_back": 35.0, "lower_back": 25.0, "ankles": 20.0}
"""Angles of beyond_fixed_s, so that sessions compare (file contract)."""
ROLLED: Final = ("front_crawl", "drill")
"""Activities whose half cycles are listed."""
_FEW: Final = 10
_ONE_ARMED: Final = 0.34
"""Where one arm makes less than this share of the other's strokes, one arm swims (our choice)."""


@dataclass(frozen=True, kw_only=True)
class BreathRule:
    """How roll is read and when breaths are told.

    Parameters
    ----------
    low_pass_hz : float
        Smooths the roll before its zero crossings are taken.
    half : HalfRule
        What counts as a half cycle.
    unsure_s : float
        Where a breath adds less to the hold, an uneven roll looks alike.
    """

    low_pass_hz: float = 6.0
    half: HalfRule = field(default_factory=HalfRule)
    unsure_s: float = 0.1


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


@dataclass(frozen=True, kw_only=True)
class _Verdict:
    """What was said of every half cycle: +1 breath, 0 none, -1 can't tell; chance, source."""

    breath: IntArray
    chance: FloatArray
    source: str


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
        Gets ``no_breaths_found``, ``breaths_not_told``, ``breaths_unsure``, ``few_quiet_rolls``
        and ``rolls_across_gaps``.
    rule : BreathRule, optional
    """
    rule, source = rule or BreathRule(), roll_result.best_source
    if source is None:
        return _nothing()
    roll_deg = whole_roll_deg(recording, roll_result)
    smooth = _smooth(roll_deg, recording.rate_hz, rule.low_pass_hz)
    rolled = lengths[lengths["activity"].isin(ROLLED)]
    halves = find_half_cycles(recording.time_s, smooth, rolled, rule.half)
    if not len(halves):
        return _nothing()
    filled = np.isfinite(roll_deg) & np.isnan(roll_result.signals_deg[source])
    across = sum(int(filled[a:b].any()) for a, b in zip(halves.first, halves.stop, strict=True))
    who = f"the {source.replace('_', ' ')} sensor"
    _say_gap(across, who, "read from the next source of roll", quality)
    head = Placement.HEAD
    if head in recording.tracks and head in limb_from_sensor:
        head_deg = segment_roll_deg(recording, head, limb_from_sensor)
        breath, chance, by_rhythm = turned_to_breathe(halves, head_deg, roll_deg)
        _say_gap(int(by_rhythm.sum()), "the head sensor", "told by the rhythm", quality)
        verdict = _Verdict(breath=breath, chance=chance, source="head")
    else:
        one_armed = _one_armed(halves, arm_strokes)
        verdict = _by_hold(halves, one_armed, _drills(halves, rolled), source, rule, quality)
    return _result(halves, verdict, source, arm_strokes, quality)


def _say_gap(count: int, who: str, how: str, quality: Quality) -> None:
    if count:
        rolls = "One roll" if count == 1 else f"{count} rolls"
        was = "was" if count == 1 else "were"
        text = f"{rolls} in gaps of {who} {was} {how}."
        quality.add("rolls_across_gaps", Severity.NOTE, text)


def _nothing() -> BreathResult:
    nan = float("nan")
    return BreathResult(rolls=frame("rolls", []), breaths=frame("breaths", []),
                        typical_roll_deg=nan, threshold_deg=nan)  # fmt: skip


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


def _one_armed(halves: HalfCycles, arm_strokes: pd.DataFrame) -> BoolArray:
    """Return which half cycles (K,) lie in lengths that one arm swims: they roll otherwise."""
    counts = pd.crosstab(arm_strokes["length_no"], arm_strokes["side"])
    if len(counts.columns) < len(Side):
        return np.zeros(len(halves), dtype=bool)
    alone = counts.index[counts.min(axis=1) < _ONE_ARMED * counts.max(axis=1)]
    return np.isin(halves.length_no, alone)


def _drills(halves: HalfCycles, rolled: pd.DataFrame) -> list[BoolArray]:
    """Return which half cycles (K,) lie in the lengths of each drill."""
    drills = rolled[rolled["activity"] == "drill"]
    names = drills["drill"].fillna("") if "drill" in drills else pd.Series("", drills.index)
    groups = drills.groupby(names)["length_no"]
    return [np.isin(halves.length_no, numbers) for _, numbers in groups]


def _by_hold(
    halves: HalfCycles,
    one_armed: BoolArray,
    drills: list[BoolArray],
    source: str,
    rule: BreathRule,
    quality: Quality,
) -> _Verdict:
    """Tell breaths by what they add to a roll; leave all unknown where that isn't clear.

    A drill in which none is found beside the swim's is judged by itself: it is rolled otherwise.
    """
    usual = ~one_armed if (~one_armed).any() else one_armed
    told = tell(halves.only(usual))
    _say_whether_told(told, rule, quality)
    breath, chance = np.full(len(halves), -1), np.full(len(halves), np.nan)
    breath[usual], chance[usual] = _judged(told, int(usual.sum()))
    for drill in (drill & usual for drill in drills):
        if (breath > 0).any() and drill.any() and not (breath[drill] > 0).any():
            alone = tell(halves.only(drill))
            if alone is not None and believed(alone):
                breath[drill], chance[drill] = _judged(alone, int(drill.sum()))
    if not usual.all():
        breath[~usual], chance[~usual] = _judged_alone(halves, ~usual, quality)
    return _Verdict(breath=breath, chance=chance, source=source)


def _judged(told: Told | None, count: int) -> tuple[IntArray, FloatArray]:
    """Return what is said of each half cycle and its chance; nothing where it isn't believed."""
    if told is None or not believed(told):
        return np.full(count, -1), np.full(count, np.nan)
    return told.breath.astype(int), told.chance * sure(told.evidence, told.added_s)


def _judged_alone(
    halves: HalfCycles, one_armed: BoolArray, quality: Quality
) -> tuple[IntArray, FloatArray]:
    """Judge the lengths of one arm by themselves; if that fails, by what all have in common."""
    alone = _judged(tell(halves.only(one_armed)), int(one_armed.sum()))
    if (alone[0] >= 0).all():
        return alone
    breath, chance = _judged(tell(halves), len(halves))
    if (breath < 0).any():
        quality.add(
            "breaths_not_told",
            Severity.NOTE,
            "In lengths of one arm breaths can't be told without a head sensor.",
        )
    return breath[one_armed], chance[one_armed]


def _say_whether_told(told: Told | None, rule: BreathRule, quality: Quality) -> None:
    if told is None:
        quality.add(
            "breaths_not_told",
            Severity.DEGRADED,
            "There were too few rolls to tell breaths without a head sensor.",
        )
    elif not believed(told):
        quality.add(
            "no_breaths_found",
            Severity.DEGRADED,
            "No breaths found: no rolls are held clearly longer than the others, so breaths "
            "can't be told without a head sensor.",
        )
    elif told.added_s < rule.unsure_s or told.one_sided:
        quality.add(
            "breaths_unsure",
            Severity.NOTE,
            "Breaths were told from rolls that are held longer; an uneven roll would look alike.",
        )


def _result(
    halves: HalfCycles, verdict: _Verdict, source: str, arm_strokes: pd.DataFrame, quality: Quality
) -> BreathResult:
    """Measure the holds beyond half of the typical roll and fill both tables."""
    breath, peaks = verdict.breath > 0, halves.peak_roll_deg
    few = int((~breath).sum()) < _FEW
    typical = float(np.median(peaks if few else peaks[~breath]))
    start_s, end_s = halves.beyond(0.5 * typical)
    if few and breath.any():
        quality.add(
            "few_quiet_rolls",
            Severity.DEGRADED,
            "There were fewer than ten rolls without a breath, so the typical roll comes from all "
            "rolls and the extra time of a breath stays empty.",
        )
    table: dict[str, Any] = {
        "length_no": halves.length_no,
        "side": halves.side,
        "peak_s": halves.peak_s,
        "start_s": start_s,
        "end_s": end_s,
        "hold_s": end_s - start_s,
        "peak_roll_deg": peaks,
        "is_breath": [None if told < 0 else bool(told) for told in verdict.breath],
        "source": source,
    }
    rolls = pd.DataFrame(table)
    usual_s = np.full(len(halves), np.nan) if few else _usual_holds_s(halves, verdict, rolls)
    beyond_s = np.diff(np.stack(halves.beyond(FIXED_DEG[source])), axis=0)[0]
    breaths = rolls.drop(columns="is_breath").assign(
        hold_share=rolls["hold_s"] / _cycles_s(halves, arm_strokes),
        excess_s=rolls["hold_s"] - usual_s,
        beyond_fixed_s=np.nan_to_num(beyond_s),
        cycle_phase=_phases(halves, arm_strokes),
        confidence=verdict.chance,
        source=verdict.source,
    )
    return BreathResult(
        rolls=frame("rolls", rolls),
        breaths=frame("breaths", breaths[breath]),
        typical_roll_deg=typical,
        threshold_deg=0.5 * typical,
    )


def _usual_holds_s(halves: HalfCycles, verdict: _Verdict, rolls: pd.DataFrame) -> FloatArray:
    """Return the median hold (K,) of quiet rolls to the same side, of both where it has none."""
    hold_s = rolls["hold_s"].to_numpy(dtype=float)
    quiet = (verdict.breath == 0) & np.isfinite(hold_s)
    out = np.full(len(hold_s), np.median(hold_s[quiet]) if quiet.any() else np.nan)
    for sign in (1.0, -1.0):
        same = quiet & (halves.sign == sign)
        if same.any():
            out[halves.sign == sign] = np.median(hold_s[same])
    return out


def _phases(halves: HalfCycles, arm_strokes: pd.DataFrame) -> FloatArray:
    """Return the phase (K,) of the peaks, from the left hand's entry."""
    out = np.full(len(halves), np.nan)
    for number, cycles_s in phase_cycles(arm_strokes).items():
        own = halves.length_no == number
        out[own] = cycle_phase(halves.peak_s[own], cycles_s)
    return out


def _cycles_s(halves: HalfCycles, arm_strokes: pd.DataFrame) -> FloatArray:
    """Return the duration (K,) of the arm cycle that holds the peak, else the length's median."""
    out = np.full(len(halves), np.nan)
    numbers = arm_strokes["length_no"].to_numpy(dtype=int)
    entry_s, next_s = arm_strokes[["entry_s", "next_entry_s"]].to_numpy(dtype=float).T
    for number in np.unique(halves.length_no):
        own = (numbers == number) & np.isfinite(next_s - entry_s)
        if not own.any():
            continue
        here = halves.length_no == number
        peak_s = halves.peak_s[here][:, None]
        holds: BoolArray = (entry_s[own] <= peak_s) & (peak_s < next_s[own])
        spans_s = np.where(holds, next_s[own] - entry_s[own], np.nan)
        spans_s[~holds.any(axis=1)] = next_s[own] - entry_s[own]
        out[here] = np.nanmedian(spans_s, axis=1)
    return out
