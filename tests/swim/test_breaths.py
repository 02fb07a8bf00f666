"""Breaths: told by the head, or by holds and rhythm; none invented where there are none."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

from sensorswim.model import Quality, Recording, Side
from sensorswim.model.streams import FloatArray
from sensorswim.model.tables import SCHEMAS, empty
from sensorswim.rehearsal import Rehearsal
from sensorswim.signal import straps
from sensorswim.signal.straps import _head_zero_deg, align
from sensorswim.swim import breath_classes
from sensorswim.swim.breath_classes import Told, believed
from sensorswim.swim.breaths import BreathResult, detect_breaths
from sensorswim.swim.half_cycles import find_half_cycles
from sensorswim.swim.head_turn import turned_to_breathe
from sensorswim.swim.rhythm import Runs, any_rhythm, decode, likelihood
from sensorswim.swim.roll import RollResult, estimate_roll
from tests.swim.swum import ANKLES, P, f1, swim, wearing


@pytest.fixture(scope="module")
def swum() -> tuple[Rehearsal, Recording]:
    return swim(seed=90, breath_hold_s=0.25)


def _breaths(
    rehearsal: Rehearsal, recording: Recording, quality: Quality | None = None
) -> BreathResult:
    lengths, strokes = rehearsal.truth["lengths"], rehearsal.truth["arm_strokes"]
    quality = Quality() if quality is None else quality
    worn_as = align(recording, lengths, quality)
    roll = estimate_roll(recording, lengths, worn_as, quality)
    return detect_breaths(roll, recording, lengths, worn_as, strokes, quality)


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


@pytest.mark.parametrize(
    ("over_s", "count"),
    [((0.0, 2.0), 57), ((58.0, 60.0), 57), ((20.0, 60.0), 19), ((29.0, 31.0), 56)],
    ids=["begin", "end", "on the back from then on", "turns over on the way"],
)
def test_who_lies_on_the_back_for_a_while_still_rolls_in_the_length(
    over_s: tuple[float, float], count: int
) -> None:
    """After a flip one rolls off the back; in the one before one turned over the head."""
    time_s = np.arange(0.0, 60.0, 0.02)
    roll = 40.0 * np.sin(np.pi * time_s)
    roll[(time_s >= over_s[0]) & (time_s < over_s[1])] = 170.0
    length = {"length_no": [1], "start_s": [0.0], "swim_start_s": [0.3], "end_s": [60.0]}
    found = find_half_cycles(time_s, roll, pd.DataFrame(length))
    assert len(found) == pytest.approx(count, abs=1)
    assert found.peak_roll_deg.max() < 45.0


def test_no_half_cycle_touches_a_gap(swum: tuple[Rehearsal, Recording]) -> None:
    roll, lengths = _sine(swum[1], 1.8)
    roll.signals_deg["ankles"][1000:1100] = np.nan
    rolls = detect_breaths(roll, swum[1], lengths, {}, empty("arm_strokes"), Quality()).rolls
    gap = swum[1].time_s[[1000, 1099]]
    assert not ((rolls["end_s"] > gap[0]) & (rolls["start_s"] < gap[1])).any()


def test_the_legs_fill_a_gap_of_the_trunk(swum: tuple[Rehearsal, Recording]) -> None:
    rehearsal, recording = swum
    whole = _breaths(rehearsal, recording).rolls
    track = recording.tracks[P.LOWER_BACK]
    gap_s = rehearsal.truth["lengths"]["swim_start_s"].iloc[1] + np.array([6.0, 7.5])
    lost = (recording.time_s > gap_s[0]) & (recording.time_s < gap_s[1])
    tracks = dict(recording.tracks) | {P.LOWER_BACK: replace(track, valid=track.valid & ~lost)}
    quality = Quality()
    filled = _breaths(rehearsal, replace(recording, tracks=tracks), quality).rolls
    assert "rolls_across_gaps" in quality.codes()
    assert len(filled) == len(whole)
    near = whole["peak_s"].between(gap_s[0] - 2.0, gap_s[1] + 2.0)
    assert near.sum() > 3
    assert (filled["is_breath"] == whole["is_breath"]).all()
    assert np.abs(filled["hold_s"] - whole["hold_s"])[near].median() < 0.1


def test_a_drill_without_a_roll_that_stands_out_has_no_breaths() -> None:
    """Judged by itself it has none either, and the swim's stay as they are."""
    rehearsal, recording = swim(seed=90, breath_hold_s=0.25, kit={"placements": ANKLES})
    lengths, strokes = rehearsal.truth["lengths"], rehearsal.truth["arm_strokes"]
    roll = estimate_roll(recording, lengths, align(recording, lengths, Quality()), Quality())
    first = lengths.iloc[0]
    own = (recording.time_s >= first["start_s"]) & (recording.time_s <= first["end_s"])
    signal = roll.signals_deg["ankles"].copy()
    signal[own] = 15.0 * np.sin(np.pi * recording.time_s[own])
    roll = replace(roll, signals_deg={"ankles": signal})
    drilled = lengths.assign(
        activity=["drill", *lengths["activity"].iloc[1:]],
        drill=["bilateral-breathing", *[None] * (len(lengths) - 1)],
    )
    quality = Quality()
    as_swum, as_drill = (
        detect_breaths(roll, recording, kind, {}, strokes, quality).rolls
        for kind in (lengths, drilled)
    )
    inside = as_drill["length_no"] == 1
    assert inside.sum() > 5
    assert as_drill.loc[inside, "is_breath"].eq(False).all()
    assert "breaths_not_told" not in quality.codes()
    pd.testing.assert_series_equal(as_drill["is_breath"][~inside], as_swum["is_breath"][~inside])
    assert as_swum["is_breath"][~inside].any()


def _runs(count: int, *, opens: bool = True) -> Runs:
    return Runs.of(np.zeros(count, dtype=int), np.arange(count) == (0 if opens else -1))


def _decoded(odds: np.ndarray, runs: Runs) -> np.ndarray:
    return decode(odds[None], runs, any_rhythm()[None], rounds=8)[0][0]


def test_rhythm_decides_a_doubtful_half_cycle() -> None:
    odds = np.where(np.arange(60) % 3 == 0, 5.0, -5.0)
    odds[30], odds[31] = 0.0, 0.0
    chance = _decoded(odds, _runs(60))
    assert chance[30] > 0.8
    assert chance[31] < 0.2


def test_rhythm_is_learned_over_all_runs_and_carried_over_no_gap() -> None:
    """Six runs of every third half cycle, then one that begins anywhere, as after a gap."""
    phase = np.r_[np.tile(np.arange(24), 6), np.arange(24) + 1]
    run = np.repeat(np.arange(7), 24)
    odds = np.where(phase % 3 == 2, 4.0, -4.0)
    odds[run == 6] *= 0.25
    odds[6 * 24] = 0.0
    chance = _decoded(odds, Runs.of(run, (np.diff(run, prepend=-1) != 0) & (run < 6)))
    assert np.array_equal(chance > 0.5, phase % 3 == 2)


def test_a_steady_rhythm_is_likelier_than_a_random_one() -> None:
    steady = np.arange(60) % 3 == 0
    mixed = np.random.default_rng(3).permutation(steady)
    both = likelihood(np.stack([steady, mixed]), _runs(60))
    assert both[0] > both[1] + 10.0


def _told(
    peaks_deg: np.ndarray,
    widths_s: np.ndarray,
    power: np.ndarray | None = None,
    strokes: pd.DataFrame | None = None,
) -> tuple[BreathResult, Quality]:
    """Return the breaths in half sines of these signed peaks and widths, 20 to a length.

    Raised to a power below 1 their tops are flatter.
    """
    power = np.ones(len(peaks_deg)) if power is None else power
    edges = 5.0 + np.r_[0.0, np.cumsum(widths_s)]
    time_s = np.arange(int((edges[-1] + 5.0) * 100)) / 100.0
    k = np.clip(np.searchsorted(edges, time_s) - 1, 0, len(widths_s) - 1)
    way = np.clip((time_s - edges[k]) / widths_s[k], 0.0, 1.0)
    wave = peaks_deg[k] * np.sin(np.pi * way) ** power[k]
    wave[(time_s < edges[0]) | (time_s > edges[-1])] = 0.0
    cuts = edges[::20]
    lengths = pd.DataFrame({"length_no": np.arange(1, len(cuts)), "start_s": cuts[:-1] - 0.05,
                            "swim_start_s": cuts[:-1] - 0.05, "end_s": cuts[1:] + 0.05,
                            "activity": "front_crawl"})  # fmt: skip
    recording = Recording(rate_hz=100.0, time_s=time_s, tracks={}, clocks={})
    roll = RollResult(signals_deg={"ankles": wave}, table=empty("roll"), best_source="ankles")
    quality, strokes = Quality(), empty("arm_strokes") if strokes is None else strokes
    return detect_breaths(roll, recording, lengths, {}, strokes, quality), quality


def _swum_halves(
    breath: np.ndarray, *, lean_deg: float, added_s: float
) -> tuple[np.ndarray, np.ndarray]:
    """Return peaks and widths of a swimmer who rolls more to one side and holds at breaths."""
    rng, count = np.random.default_rng(6), len(breath)
    sign = np.where(np.arange(count) % 2 == 0, 1.0, -1.0)
    peaks = sign * (38.0 + 2.0 * rng.standard_normal(count)) + lean_deg
    return peaks, 0.8 * (1 + 0.025 * rng.standard_normal(count)) + added_s * breath


@pytest.mark.parametrize("lean_deg", [0.0, 8.0, -5.0, 12.0])
def test_a_lopsided_swimmer_who_never_breathes_has_no_breaths(lean_deg: float) -> None:
    result, quality = _told(*_swum_halves(np.zeros(160), lean_deg=lean_deg, added_s=0.0))
    assert result.breaths.empty
    assert "no_breaths_found" in quality.codes()


@pytest.mark.parametrize("lean_deg", [0.0, 8.0, -5.0])
@pytest.mark.parametrize("gap", [2, 3, 4])
def test_breaths_of_a_lopsided_swimmer_are_told_by_what_they_add(gap: int, lean_deg: float) -> None:
    halves = np.arange(160)
    breath = (halves % 20 >= 3) & (halves % 20 < 19) & ((halves - 4) % gap == 0)
    peaks, widths_s = _swum_halves(breath, lean_deg=lean_deg, added_s=0.2)
    result, _ = _told(peaks, widths_s)
    at_s = pd.Series(5.0 + np.cumsum(widths_s) - 0.5 * widths_s)
    for side, sign in (("left", 1.0), ("right", -1.0)):
        own = result.breaths.loc[result.breaths["side"] == side, "peak_s"]
        assert f1(at_s[breath & (np.sign(peaks) == sign)], own, 0.3) >= 0.95 or not len(own)
    assert f1(at_s[breath], result.breaths["peak_s"], 0.3) >= 0.95


@pytest.mark.parametrize("every", [2, 3])
def test_small_and_large_breaths_are_told_alike(every: int) -> None:
    """A small one adds a third of what a large one does, to the width and to the peak."""
    rng, halves = np.random.default_rng(11), np.arange(160)
    breath = (halves % 20 >= 3) & (halves % 20 < 19) & ((halves - 4) % every == 0)
    size = breath * rng.uniform(0.5, 1.5, len(halves))
    peaks, widths_s = _swum_halves(size, lean_deg=0.0, added_s=0.06)
    peaks += np.sign(peaks) * 4.0 * size
    result, _ = _told(peaks, widths_s)
    at_s = pd.Series(5.0 + np.cumsum(widths_s) - 0.5 * widths_s)
    assert f1(at_s[breath], result.breaths["peak_s"], 0.3) >= 0.95


def test_a_breath_every_cycle_that_flattens_the_roll_is_told_from_a_larger_roll() -> None:
    rng, count = np.random.default_rng(6), 160
    left = np.arange(count) % 2 == 0
    peaks = np.where(left, 1.0, -1.0) * 38.0 * (1 + 0.1 * rng.standard_normal(count)) + 4.0 * left
    widths_s = 0.8 * (1 + 0.04 * rng.standard_normal(count))
    held, _ = _told(peaks, widths_s, np.where(left, 0.7, 1.0))
    larger, _ = _told(peaks, widths_s)
    assert set(held.breaths["side"]) == {"left"}
    assert len(held.breaths) > 0.9 * left.sum()
    assert larger.breaths.empty


@pytest.mark.parametrize("quiet_deg", [21.0, 23.0])
def test_breaths_that_rise_higher_and_narrower_than_flat_quiet_rolls_are_told(
    quiet_deg: float,
) -> None:
    """The flat rolls are no breaths for being broad a quarter of the way down."""
    rng, halves = np.random.default_rng(8), np.arange(160)
    left = halves % 2 == 0
    breath = left & (halves % 20 >= 3) & (halves % 20 < 19) & (rng.random(160) < 0.6)
    size_deg = np.where(breath, 30.0, np.where(left, quiet_deg, 28.0)) + rng.standard_normal(160)
    peaks = np.where(left, 1.0, -1.0) * size_deg
    widths_s = 1.15 * (1 + 0.01 * rng.standard_normal(160)) + 0.1 * breath
    result, _ = _told(peaks, widths_s, np.where(left & ~breath, 0.8, 1.0))
    at_s = pd.Series(5.0 + np.cumsum(widths_s) - 0.5 * widths_s)
    assert f1(at_s[breath], result.breaths["peak_s"], 0.3) >= 0.95


def _one_arm(count: int, alone: int) -> pd.DataFrame:
    """Return ten strokes of each arm a length, of the right one none in one length."""
    rows = [(n, side) for n in range(1, count + 1) for side in ("left", "right") * 10]
    rows = [(n, side) for n, side in rows if n != alone or side == "left"]
    table = pd.DataFrame(rows, columns=["length_no", "side"])
    return table.assign(entry_s=np.nan, next_entry_s=np.nan)


def test_a_length_of_one_arm_draws_the_breaths_of_no_other() -> None:
    """Every third half cycle, then one arm that holds the left side up, then all to the right."""
    halves, rng = np.arange(100), np.random.default_rng(5)
    length, up = halves // 20 + 1, halves % 2 == 0
    breath = np.where(length == 1, (halves - 4) % 3 == 0, np.where(length == 2, up, ~up))
    breath &= (halves % 20 >= 3) & (halves % 20 < 19)
    peaks, widths_s = _swum_halves(breath, lean_deg=0.0, added_s=0.2)
    peaks += np.sign(peaks) * 6.0 * breath
    alone = length == 2
    peaks[alone] = np.where(up, 48.0, -17.0)[alone] + rng.standard_normal(alone.sum())
    widths_s[alone & up] += 0.2
    result, _ = _told(peaks, widths_s, strokes=_one_arm(5, 2))
    at_s = pd.Series(5.0 + np.cumsum(widths_s) - 0.5 * widths_s)
    found = result.breaths.loc[result.breaths["length_no"] != 2]
    assert f1(at_s[breath & ~alone], found["peak_s"], 0.3) >= 0.95


@pytest.mark.parametrize(
    ("evidence", "apart", "one_sided", "every", "listed"),
    [
        (9.0, 3.5, False, 4, True),
        (7.0, 3.5, False, 4, False),
        (9.0, 2.8, False, 4, False),
        (25.0, 2.8, False, 4, True),
        (4.0, 3.5, True, 2, True),
        (25.0, 2.8, True, 2, False),
        (25.0, 5.0, False, 10, False),
    ],
)
def test_rolls_that_are_hardly_apart_need_plenty_of_evidence(
    *, evidence: float, apart: float, one_sided: bool, every: int, listed: bool
) -> None:
    breath = np.arange(100) % every == 0
    told = Told(
        breath=breath,
        chance=breath * 1.0,
        evidence=evidence,
        added_s=0.1,
        apart=apart,
        one_sided=one_sided,
    )
    assert believed(told) is listed


@pytest.mark.parametrize(
    ("any_size", "one_size", "chosen"),
    [
        ((20.0, 0.3, False), (30.0, 0.4, True), 0.3),
        ((20.0, 0.12, True), (30.0, 0.3, True), 0.3),
        ((20.0, 0.12, True), (10.0, 0.1, False), 0.12),
        ((20.0, 0.12, True), (30.0, 0.1, False), 0.1),
        ((20.0, 0.12, True), (-5.0, 0.2, True), 0.12),
        ((20.0, 0.08, True), (-5.0, 0.2, True), None),
        ((20.0, 0.03, True), (10.0, 0.2, True), None),
        ((20.0, 0.03, True), (30.0, 0.2, True), 0.2),
        ((-5.0, 0.03, True), (30.0, 0.2, True), 0.2),
    ],
)
def test_breaths_to_one_side_are_long_or_of_one_size(
    monkeypatch: pytest.MonkeyPatch,
    any_size: tuple[float, float, bool],
    one_size: tuple[float, float, bool],
    chosen: float | None,
) -> None:
    """One size says best what they add; where they hardly broaden the roll there are none."""

    def told(_: object, sizes: float) -> Told:
        evidence, added_s, one_sided = any_size if sizes else one_size
        breath = np.arange(100) % 2 == 0
        return Told(breath=breath, chance=breath * 1.0, evidence=evidence, added_s=added_s,
                    apart=6.0, one_sided=one_sided)  # fmt: skip

    monkeypatch.setattr(breath_classes, "_told", told)
    found = breath_classes.tell(None)  # type: ignore[arg-type]
    assert found is not None
    assert (found.added_s if believed(found) else None) == chosen


@pytest.mark.parametrize("along", [0.1, 0.95])
@pytest.mark.parametrize("turn_deg", [62.0, 85.0])
def test_head_breathes_only_where_it_turns_further_than_the_trunk(
    along: float, turn_deg: float
) -> None:
    """Whether the head is kept still or rolls along with the trunk between the breaths."""
    time_s = np.arange(6000) / 100.0
    phase = np.pi * time_s / 0.8
    trunk_deg, half = 42.0 * np.sin(phase), (phase // np.pi).astype(int)
    breath = half % 3 == 1
    head_deg = np.sign(np.sin(phase)) * np.where(breath, turn_deg, along * 42.0)
    head_deg *= np.abs(np.sin(phase)) ** 0.5
    lengths = pd.DataFrame(
        {"length_no": [1], "start_s": [0.0], "swim_start_s": [0.5], "end_s": [59.0]}
    )
    halves = find_half_cycles(time_s, trunk_deg, lengths)
    told, _, _ = turned_to_breathe(halves, head_deg, trunk_deg)
    assert np.array_equal(told > 0, (halves.peak_s * np.pi / 0.8 // np.pi) % 3 == 1)
    head_deg[2000:2400] = np.nan
    again, chance, by_rhythm = turned_to_breathe(halves, head_deg, trunk_deg)
    assert np.array_equal(again, told)
    assert by_rhythm.sum() >= 4
    assert ((halves.peak_s > 19.0) & (halves.peak_s < 25.0))[by_rhythm].all()
    assert chance[by_rhythm].max() < 1.0


def test_without_head_and_rhythm_a_breath_cant_be_told() -> None:
    time_s = np.arange(6000) / 100.0
    phase = np.pi * time_s / 0.8
    wave, half = np.sin(phase), (phase // np.pi).astype(int)
    breath = np.random.default_rng(3).random(half.max() + 1)[half] < 0.4
    head_deg = np.sign(wave) * np.where(breath, 75.0, 5.0) * np.abs(wave) ** 0.5
    head_deg[2000:2400] = np.nan
    lengths = pd.DataFrame(
        {"length_no": [1], "start_s": [0.0], "swim_start_s": [0.5], "end_s": [59.0]}
    )
    halves = find_half_cycles(time_s, 42.0 * wave, lengths)
    assert -1 in turned_to_breathe(halves, head_deg, 42.0 * wave)[0]


def test_a_head_that_turns_less_than_a_far_rolling_trunk_still_breathes() -> None:
    """Breaths roll the trunk to 72 degrees and the head to 57, others 45 and 5."""
    time_s = np.arange(6000) / 100.0
    phase = np.pi * time_s / 0.8
    half = (phase // np.pi).astype(int)
    breath = half % 4 == 1
    wave = np.sin(phase)
    spread = 1.0 + 0.15 * np.sin(2.4 * half)
    head_deg = np.where(breath, 57.0 * spread, 5.0) * np.sign(wave) * np.abs(wave) ** 0.5
    trunk_deg = np.where(breath, 72.0, 45.0) * wave
    lengths = pd.DataFrame(
        {"length_no": [1], "start_s": [0.0], "swim_start_s": [0.5], "end_s": [59.0]}
    )
    halves = find_half_cycles(time_s, trunk_deg, lengths)
    told, _, _ = turned_to_breathe(halves, head_deg, trunk_deg)
    assert np.array_equal(told > 0, (halves.peak_s * np.pi / 0.8 // np.pi) % 4 == 1)


def test_a_head_that_rolls_along_all_the_time_never_breathes() -> None:
    time_s = np.arange(6000) / 100.0
    trunk_deg = 45.0 * np.sin(np.pi * time_s / 0.8) * (1.0 + 0.1 * np.sin(0.7 * time_s))
    lengths = pd.DataFrame(
        {"length_no": [1], "start_s": [0.0], "swim_start_s": [0.5], "end_s": [59.0]}
    )
    halves = find_half_cycles(time_s, trunk_deg, lengths)
    assert not turned_to_breathe(halves, 0.9 * trunk_deg, trunk_deg)[0].any()


def test_a_head_that_is_up_nearly_half_of_the_time_keeps_its_zero() -> None:
    """Breathing to the left every cycle and staying long; the middle of all would be 20 off."""
    rehearsal, recording = swim(
        seed=5,
        breath_every=2,
        breath_side=Side.LEFT,
        breath_hold_s=0.8,
        breath_roll_extra_deg=14.0,
        stroke_rate_cycles_min=28.0,
    )
    found = _breaths(rehearsal, recording).breaths
    assert set(found["side"]) == {"left"}
    assert f1(rehearsal.truth["breaths"]["peak_s"], found["peak_s"], 0.3) > 0.97


def test_a_head_that_is_turned_for_longer_than_not_keeps_its_zero() -> None:
    """Up a little more than half of the time: where it is kept longest is no zero, the glide is."""
    rng = np.random.default_rng(3)
    roll_deg = np.r_[0.0 + rng.normal(0.0, 4.0, 420), 80.0 + rng.normal(0.0, 3.0, 580)]
    assert _head_zero_deg(1.0, roll_deg) == 1.0
    assert _head_zero_deg(40.0, roll_deg) == pytest.approx(np.median(roll_deg))
    assert _head_zero_deg(None, roll_deg) == pytest.approx(np.median(roll_deg))


def test_a_head_that_rides_along_with_the_trunk_keeps_the_zero_of_its_glides() -> None:
    """It is hardly ever flat, and lies longer on the side that it breathes to, as its median."""
    time_s = np.arange(0.0, 60.0, 0.02)
    trunk_deg = 20.0 + 50.0 * np.sin(np.pi * time_s)
    head_deg = 15.0 + trunk_deg + np.where(trunk_deg > 40.0, 45.0, 0.0)
    rides = [head_deg - trunk_deg]
    assert _head_zero_deg(15.0, head_deg, rides) == 15.0
    assert _head_zero_deg(80.0, head_deg, rides) == pytest.approx(np.median(head_deg))


@pytest.mark.parametrize(("glide_deg", "within_deg"), [(-45.0, 0.1), (60.0, 3.0), (None, 3.0)])
def test_no_strap_makes_a_face_that_is_up_half_of_the_time_lie_between(
    glide_deg: float | None, within_deg: float
) -> None:
    """The face is down at -45 degrees, as the casing tells; the median lies half-way up."""
    rng = np.random.default_rng(3)
    still, turned = -45.0 + rng.normal(0.0, 4.0, 400), 45.0 + rng.normal(0.0, 3.0, 410)
    roll_deg = np.r_[still, turned, np.linspace(-45.0, 45.0, 190)]
    found = _head_zero_deg(glide_deg, roll_deg, casing_deg=-60.0)
    assert found == pytest.approx(-45.0, abs=within_deg)
    middle = pytest.approx(np.median(roll_deg))
    assert _head_zero_deg(None, roll_deg, casing_deg=0.0) == middle
    assert _head_zero_deg(None, roll_deg, casing_deg=150.0) == middle


def test_a_heads_roll_is_held_against_the_backs_where_that_has_data(
    swum: tuple[Rehearsal, Recording], monkeypatch: pytest.MonkeyPatch
) -> None:
    rehearsal, recording = swum
    rides: list[list[FloatArray]] = []

    def zero_deg(
        _glide: float | None, _head_deg: FloatArray, riding: list[FloatArray], _casing: float
    ) -> float:
        rides.append(riding)
        return 0.0

    monkeypatch.setattr(straps, "_head_zero_deg", zero_deg)
    worn = wearing(recording, P.HEAD, P.LOWER_BACK)
    back = worn.tracks[P.LOWER_BACK]
    nearly_none = replace(back, valid=back.valid & (np.arange(len(back.valid)) % 1000 == 0))
    for track in (back, nearly_none):
        tracks = worn.tracks | {P.LOWER_BACK: track}
        align(replace(worn, tracks=tracks), rehearsal.truth["lengths"], Quality())
    assert [len(one) for one in rides] == [1, 0]


def test_a_head_kept_still_over_a_rolling_trunk_rides_along_with_no_glide_on_the_side() -> None:
    time_s = np.arange(0.0, 60.0, 0.02)
    trunk_deg = 40.0 * np.sin(np.pi * time_s)
    head_deg = 2.0 * np.sin(np.pi * time_s) + np.where((trunk_deg > 25.0) & (time_s % 6 < 2), 80, 0)
    for glide_deg in (20.0, 25.0, 30.0, 40.0):
        assert abs(_head_zero_deg(glide_deg, head_deg, [head_deg - trunk_deg])) < 3.0
