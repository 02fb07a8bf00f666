"""Breaths: told by the head, or by holds and rhythm; none invented where there are none."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from sensorswim.model import Quality, Recording
from sensorswim.model.tables import SCHEMAS, empty
from sensorswim.rehearsal import Rehearsal
from sensorswim.signal.straps import align
from sensorswim.swim.breaths import BreathResult, detect_breaths
from sensorswim.swim.rhythm import decode, fit_two_classes
from sensorswim.swim.roll import RollResult, estimate_roll
from tests.swim.swum import ANKLES, f1, swim, wearing


@pytest.fixture(scope="module")
def swum() -> tuple[Rehearsal, Recording]:
    return swim(seed=90, breath_hold_s=0.25)


def _breaths(
    rehearsal: Rehearsal, recording: Recording, quality: Quality | None = None
) -> BreathResult:
    lengths, strokes = rehearsal.truth["lengths"], rehearsal.truth["arm_strokes"]
    quality = Quality() if quality is None else quality
    straps = align(recording, lengths, quality)
    roll = estimate_roll(recording, lengths, straps, quality)
    return detect_breaths(roll, recording, lengths, straps, strokes, quality)


def _f1(truth: pd.DataFrame, found: pd.DataFrame) -> float:
    sides = [
        f1(truth[truth["side"] == s]["peak_s"], found[found["side"] == s]["peak_s"], 0.3)
        for s in ("left", "right")
    ]
    return float(np.mean(sides))


def test_head_tells_breaths(swum: tuple[Rehearsal, Recording]) -> None:
    result = _breaths(*swum)
    assert _f1(swum[0].truth["breaths"], result.breaths) >= 0.96
    assert set(result.breaths["source"]) == {"head"}


def test_ankles_tell_breaths_and_their_holds(swum: tuple[Rehearsal, Recording]) -> None:
    rehearsal, recording = swum
    truth = rehearsal.truth_extra["breaths"]["ankles"]
    result = _breaths(rehearsal, wearing(recording, *ANKLES))
    assert _f1(truth, result.breaths) >= 0.93
    both = pd.merge_asof(
        result.breaths.sort_values("peak_s"), truth.sort_values("peak_s"),
        on="peak_s", by="side", direction="nearest", tolerance=0.3, suffixes=("", "_true"),
    )  # fmt: skip
    assert (both["hold_s"] - both["hold_s_true"]).abs().mean() < 0.06


def test_no_breaths_are_invented() -> None:
    rehearsal, recording = swim(seed=14, kit={"placements": ANKLES}, breath_every=0)
    quality = Quality()
    result = _breaths(rehearsal, recording, quality)
    assert result.breaths.empty
    assert len(result.rolls) > 40
    assert result.rolls["is_breath"].isna().all()
    assert "no_breaths_found" in quality.codes()


def test_nothing_worn_or_swum_gives_empty_tables(swum: tuple[Rehearsal, Recording]) -> None:
    rehearsal, recording = swum
    none = _breaths(rehearsal, wearing(recording))
    roll = estimate_roll(
        recording, empty("lengths"), align(recording, empty("lengths"), Quality()), Quality()
    )
    unswum = detect_breaths(roll, recording, empty("lengths"), {}, empty("arm_strokes"), Quality())
    for result in (none, unswum):
        assert list(result.breaths.columns) == SCHEMAS["breaths"].names
        assert list(result.rolls.columns) == SCHEMAS["rolls"].names
        assert np.isnan(result.typical_roll_deg)


def _sine(recording: Recording, period_s: float) -> tuple[RollResult, pd.DataFrame]:
    roll = 40.0 * np.sin(2 * np.pi * recording.time_s / period_s)
    lengths = pd.DataFrame(
        {"length_no": [1], "start_s": [recording.time_s[0]], "swim_start_s": [recording.time_s[0]],
         "end_s": [recording.time_s[0] + 60.0], "activity": ["front_crawl"]}
    )  # fmt: skip
    result = RollResult(signals_deg={"ankles": roll}, table=empty("roll"), best_source="ankles")
    return result, lengths


def test_a_sine_is_held_for_a_third_of_its_cycle(swum: tuple[Rehearsal, Recording]) -> None:
    """Beyond half of its peak a sine stays from 30 to 150 degrees of phase (file contract)."""
    roll, lengths = _sine(swum[1], 1.8)
    result = detect_breaths(roll, swum[1], lengths, {}, empty("arm_strokes"), Quality())
    assert result.rolls["hold_s"].median() == pytest.approx(0.6, abs=0.01)
    assert result.threshold_deg == pytest.approx(20.0, abs=0.3)
    assert result.breaths.empty


def test_mirrored_roll_mirrors_the_sides(swum: tuple[Rehearsal, Recording]) -> None:
    rehearsal, recording = swum
    lengths, strokes = rehearsal.truth["lengths"], rehearsal.truth["arm_strokes"]
    roll = estimate_roll(recording, lengths, align(recording, lengths, Quality()), Quality())
    ankles = RollResult(
        signals_deg={"ankles": roll.signals_deg["ankles"]}, table=roll.table, best_source="ankles"
    )
    turned = RollResult(
        signals_deg={"ankles": -roll.signals_deg["ankles"]}, table=roll.table, best_source="ankles"
    )
    a = detect_breaths(ankles, recording, lengths, {}, strokes, Quality()).breaths
    b = detect_breaths(turned, recording, lengths, {}, strokes, Quality()).breaths
    assert len(a) > 5
    assert list(a["side"]) == list(b["side"].map({"left": "right", "right": "left"}))
    assert np.allclose(a["hold_s"], b["hold_s"])


def test_no_half_cycle_touches_a_gap(swum: tuple[Rehearsal, Recording]) -> None:
    roll, lengths = _sine(swum[1], 1.8)
    roll.signals_deg["ankles"][1000:1100] = np.nan
    rolls = detect_breaths(roll, swum[1], lengths, {}, empty("arm_strokes"), Quality()).rolls
    gap = swum[1].time_s[[1000, 1099]]
    assert not ((rolls["end_s"] > gap[0]) & (rolls["start_s"] < gap[1])).any()


def test_rhythm_decides_a_doubtful_half_cycle() -> None:
    odds = np.where(np.arange(60) % 3 == 0, 5.0, -5.0)
    odds[30], odds[31] = 0.0, 0.0
    chance = decode([odds], 0.33)[0]
    assert chance[30] > 0.8
    assert chance[31] < 0.2


def test_two_classes_are_told_only_where_there_are_two() -> None:
    rng = np.random.default_rng(2)
    one = fit_two_classes(rng.normal(0.6, 0.05, 200), 0.02)
    two = fit_two_classes(np.r_[rng.normal(0.6, 0.05, 140), rng.normal(0.9, 0.05, 60)], 0.02)
    assert one.gain < 0
    assert two.gain > 0
    assert two.high - two.low == pytest.approx(0.3, abs=0.03)
