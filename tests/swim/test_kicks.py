"""Kicks: found at their downbeats for every beat, and nothing where the legs ride."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

from sensorswim.model import Placement, Quality, Recording, Track
from sensorswim.model.tables import SCHEMAS, empty
from sensorswim.rehearsal import Rehearsal
from sensorswim.signal.straps import align
from sensorswim.swim.kicks import (
    KickRule,
    _candidates,
    cycle_phase,
    detect_kicks,
    phase_cycles,
)
from tests.swim.swum import ANKLES, P, f1, swim, wearing


def _kicks(rehearsal: Rehearsal, recording: Recording) -> pd.DataFrame:
    truth = rehearsal.truth
    straps = align(recording, truth["lengths"], Quality())
    return detect_kicks(recording, truth["lengths"], straps, truth["arm_strokes"], Quality())


@pytest.mark.parametrize(
    ("kick", "rate"),
    [
        ("2", 26.0),
        ("4", 34.0),
        ("3+1", 30.0),
        ("6", 45.0),
        ("crossover", 38.0),
        ("irregular", 32.0),
    ],
)
def test_every_beat_is_found_on_the_right_leg(kick: str, rate: float) -> None:
    rehearsal, recording = swim(
        seed=7, lengths=2, kit={"placements": ANKLES}, kick=kick, stroke_rate_cycles_min=rate,
        kick_unevenness=0.5,
    )  # fmt: skip
    found, truth = _kicks(rehearsal, recording), rehearsal.truth["kicks"]
    for side in ("left", "right"):
        own = found[found["side"] == side]["downbeat_s"]
        assert f1(truth[truth["side"] == side]["downbeat_s"], own, 0.08) >= 0.97


def test_shaking_water_moves_a_kick_little_and_leaves_its_size() -> None:
    """Half of them within 8 ms; at the bandwidth that the size needs it would be 13."""
    kit = {"placements": ANKLES, "turbulence_m_s2": 1.2, "wobble": 2.0}
    rehearsal, recording = swim(seed=7, lengths=4, kit=kit, kick="6", stroke_rate_cycles_min=32.0)
    found, truth = _kicks(rehearsal, recording), rehearsal.truth["kicks"]
    late_s, sizes = [], []
    for side in ("left", "right"):
        own, true = found[found["side"] == side], truth[truth["side"] == side]
        apart_s = own["downbeat_s"].to_numpy()[:, None] - true["downbeat_s"].to_numpy()
        nearest = np.abs(apart_s).argmin(axis=0)
        late_s += list(apart_s[nearest, np.arange(len(true))])
        sizes += list(
            own["peak_rate_deg_s"].to_numpy()[nearest] / true["peak_rate_deg_s"].to_numpy()
        )
    assert np.median(np.abs(late_s)) < 0.010
    assert np.median(sizes) == pytest.approx(1.0, abs=0.05)


@pytest.mark.parametrize("rise_s", [0.09, 0.14, 0.19])
def test_a_leg_that_whips_or_slows_down_late_keeps_the_moment_of_its_kicks(rise_s: float) -> None:
    """It speeds up over `rise_s` and slows down over the rest of 0.28 s, each by a half cosine.

    Blunted to 5 Hz they would be off by 0.022 s.
    """
    time_s = np.arange(0.0, 20.0, 0.01)
    true_s = np.arange(1.0, 19.0, 0.55)
    apart_s = time_s[:, None] - true_s
    share = apart_s / np.where(apart_s < 0.0, rise_s, 0.28 - rise_s)
    speed = 5.0 * np.where(np.abs(share) < 1.0, 0.5 + 0.5 * np.cos(np.pi * share), 0.0).sum(axis=1)
    speed += np.random.default_rng(2).normal(0.0, 0.1, len(time_s))
    track = Track(
        placement=P.LEFT_ANKLE,
        accel_m_s2=np.zeros((len(time_s), 3)),
        gyro_rad_s=np.outer(speed, [0.0, 0.0, -P.LEFT_ANKLE.side.sign]),
        valid=np.ones(len(time_s), dtype=bool),
        source_rate_hz=100.0,
    )
    recording = Recording(rate_hz=100.0, time_s=time_s, tracks={P.LEFT_ANKLE: track})
    leg = _candidates(recording, P.LEFT_ANKLE, {P.LEFT_ANKLE: np.eye(3)}, KickRule())
    np.testing.assert_allclose(leg.time_s, true_s, atol=0.012)
    assert np.median(leg.time_s - true_s) == pytest.approx(0.0, abs=0.009)


@pytest.mark.parametrize("beat", [2, 6])
def test_beats_a_second_are_beats_times_stroke_rate(beat: int) -> None:
    """N beats a cycle at SR cycles a minute are N SR / 60 beats a second (plain arithmetic)."""
    rehearsal, recording = swim(
        seed=8, lengths=2, kit={"placements": ANKLES}, kick=str(beat), stroke_rate_cycles_min=32.0
    )
    cycles = rehearsal.truth["arm_cycles"]
    moments = _kicks(rehearsal, recording)["downbeat_s"].to_numpy()
    own = [
        np.sum((moments >= row.start_s) & (moments < row.end_s)) / (row.end_s - row.start_s)
        for row in cycles.itertuples()
    ]
    rate = cycles["stroke_rate_cycles_min"].mean()
    assert np.mean(own) == pytest.approx(beat * rate / 60.0, rel=0.04)


def test_riding_legs_have_no_kicks() -> None:
    rehearsal, recording = swim(seed=9, lengths=2, kit={"placements": ANKLES}, kick="none")
    assert _kicks(rehearsal, recording).empty


def test_dolphin_kicks_are_not_listed() -> None:
    rehearsal, recording = swim(
        seed=10, lengths=2, kit={"placements": ANKLES}, kick="6", dolphin_kicks=3
    )
    found, lengths = _kicks(rehearsal, recording), rehearsal.truth["lengths"]
    for row in lengths.itertuples():
        own = found[(found["length_no"] == row.length_no)]
        early = own[own["downbeat_s"] < row.swim_start_s].sort_values("downbeat_s")
        together = early["downbeat_s"].diff() < 0.1
        assert not together.any()
        assert (early["downbeat_s"] > row.start_s + 1.0).all()


def test_mirrored_swimmer_has_mirrored_kicks() -> None:
    rehearsal, recording = swim(seed=11, lengths=2, kit={"placements": ANKLES}, kick="4")
    tracks = {
        Placement(p.partner): _mirrored(track, Placement(p.partner))
        for p, track in recording.tracks.items()
    }
    plain = _kicks(rehearsal, recording)
    mirrored = _kicks(rehearsal, replace(recording, tracks=tracks))
    for side, other in (("left", "right"), ("right", "left")):
        a = plain[plain["side"] == side]["downbeat_s"]
        b = mirrored[mirrored["side"] == other]["downbeat_s"]
        assert np.allclose(a, b, atol=1e-6)


def _mirrored(track: Track, place: Placement) -> Track:
    """Return the track as seen in a mirror: y of vectors, x and z of turns change sign."""
    assert track.q_world_from_sensor is not None
    return replace(
        track,
        placement=place,
        accel_m_s2=track.accel_m_s2 * [1, -1, 1],
        gyro_rad_s=track.gyro_rad_s * [-1, 1, -1],
        q_world_from_sensor=track.q_world_from_sensor * [1, -1, 1, -1],
    )


def test_no_kick_rests_on_a_gap() -> None:
    rehearsal, recording = swim(seed=12, lengths=2, kit={"placements": ANKLES})
    track = recording.tracks[P.LEFT_ANKLE]
    first = np.searchsorted(recording.time_s, rehearsal.truth["lengths"]["swim_start_s"].iloc[0])
    valid = track.valid.copy()
    valid[first + 300 : first + 500] = False
    cut = replace(recording, tracks=recording.tracks | {P.LEFT_ANKLE: replace(track, valid=valid)})
    at = np.searchsorted(
        recording.time_s, _kicks(rehearsal, cut).query("side == 'left'")["downbeat_s"]
    )
    assert not np.any((at > first + 301) & (at < first + 499))


def test_nothing_worn_or_swum_gives_the_empty_table() -> None:
    rehearsal, recording = swim(seed=13, lengths=1, kit={"placements": ANKLES})
    for worn, lengths in (
        (wearing(recording), rehearsal.truth["lengths"]),
        (recording, empty("lengths")),
    ):
        straps = align(worn, lengths, Quality())
        table = detect_kicks(worn, lengths, straps, empty("arm_strokes"), Quality())
        assert table.empty
        assert list(table.columns) == SCHEMAS["kicks"].names


def test_phase_runs_from_left_entry_to_left_entry() -> None:
    strokes = pd.DataFrame(
        {"length_no": [1], "side": ["left"], "entry_s": [10.0], "next_entry_s": [12.0]}
    )
    phase = cycle_phase(np.array([9.9, 10.0, 11.5, 12.0]), phase_cycles(strokes)[1])
    assert np.allclose(phase, [np.nan, 0.0, 0.75, np.nan], equal_nan=True)


def test_a_leg_that_rides_along_has_no_kicks() -> None:
    rehearsal, recording = swim(
        seed=15, lengths=2, kit={"placements": ANKLES, "wobble": 2.0}, kick="none",
        stroke_rate_cycles_min=46.0, leg_split_deg=8.0,
    )  # fmt: skip
    assert _kicks(rehearsal, recording).empty


def test_small_slow_kicks_count_as_kicks() -> None:
    """Strong ones of 70 to 100 degrees/s: a shank that swings by some 12 degrees."""
    rehearsal, recording = swim(
        seed=15, lengths=2, kit={"placements": ANKLES}, kick="2", stroke_rate_cycles_min=30.0,
        kick_knee_deg=12.0, kick_hip_deg=5.0,
    )  # fmt: skip
    found, truth = _kicks(rehearsal, recording), rehearsal.truth["kicks"]
    assert truth["peak_rate_deg_s"].quantile(0.8) < 100.0
    assert f1(truth["downbeat_s"], found["downbeat_s"], 0.08) > 0.9


def test_flutter_kicks_before_the_first_entry_belong_to_the_length() -> None:
    rehearsal, recording = swim(
        seed=16, lengths=4, kit={"placements": ANKLES}, kick="6", stroke_rate_cycles_min=45.0
    )
    found, truth = _kicks(rehearsal, recording), rehearsal.truth["kicks"]
    starts_s = rehearsal.truth["lengths"].set_index("length_no")["swim_start_s"]

    def early(table: pd.DataFrame) -> pd.Series:
        return table.loc[table["downbeat_s"] < table["length_no"].map(starts_s), "downbeat_s"]

    assert len(early(truth)) >= 12
    assert f1(early(truth), early(found), 0.08) >= 0.85
