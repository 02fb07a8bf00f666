"""Roll and straps: against the rehearsal's geometry, with sensors worn wrongly or not at all."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from sensorswim.model import Limb, Quality, Recording
from sensorswim.model.tables import SCHEMAS, empty
from sensorswim.rehearsal import Rehearsal
from sensorswim.signal import straps
from sensorswim.signal.straps import _glide_deg, align, exchanged, swapped
from sensorswim.swim.roll import estimate_roll
from tests.swim.swum import ANKLES, WORN, P, swim, wearing


@pytest.fixture(scope="module")
def swum() -> tuple[Rehearsal, Recording]:
    return swim(seed=90, kit={"strap_deg": 25.0}, breath_hold_s=0.25)


def _rms_deg(rehearsal: Rehearsal, recording: Recording, source: str) -> float:
    lengths = rehearsal.truth["lengths"]
    result = estimate_roll(recording, lengths, align(recording, lengths, Quality()), Quality())
    truth = rehearsal.truth["roll"].query("source == @source")
    error = result.signals_deg[source] - np.interp(
        recording.time_s, truth["time_s"], truth["roll_deg"]
    )
    inside = np.zeros(len(error), dtype=bool)
    for row in lengths.itertuples():
        inside |= (recording.time_s >= row.swim_start_s) & (recording.time_s < row.end_s - 1.0)
    return float(np.sqrt(np.nanmean(error[inside] ** 2)))


def test_trunk_roll_is_within_3_degrees(swum: tuple[Rehearsal, Recording]) -> None:
    assert _rms_deg(*swum, "lower_back") < 3.0


def test_ankle_roll_is_within_5_degrees(swum: tuple[Rehearsal, Recording]) -> None:
    assert _rms_deg(*swum, "ankles") < 5.0


@pytest.mark.parametrize("tilt_deg", [6.0, -6.0])
def test_hips_that_rock_with_the_kicks_shift_no_zero_of_roll(
    swum: tuple[Rehearsal, Recording], tilt_deg: float, monkeypatch: pytest.MonkeyPatch
) -> None:
    """They turn the axis that the kicks show, on either leg the same way."""
    kick_axis = straps._kick_axis

    def rocked(*args: Any) -> np.ndarray | None:
        axis = kick_axis(*args)
        about = np.radians(tilt_deg) * np.asarray(args[-1])
        return None if axis is None else Rotation.from_rotvec(about).apply(axis)

    upright = _rms_deg(*swum, "ankles")
    monkeypatch.setattr(straps, "_kick_axis", rocked)
    assert _rms_deg(*swum, "ankles") < upright + 1.5


def test_wrong_way_up_and_swapped_are_mended_and_said() -> None:
    rehearsal, recording = swim(
        seed=91, lengths=2, kit={"swapped": ("ankle",), "wrong_way_up": (P.LOWER_BACK,)}
    )
    quality = Quality()
    worn_as = align(recording, rehearsal.truth["lengths"], quality)
    assert {"left_right_swapped", "strap_wrong_way_up"} <= quality.codes()
    assert swapped(worn_as)
    mended = exchanged(recording, Limb.ANKLE)
    assert not swapped(align(mended, rehearsal.truth["lengths"], Quality()))
    assert mended.tracks[P.LEFT_ANKLE].placement is P.LEFT_ANKLE
    for worn in (recording, mended):
        assert _rms_deg(rehearsal, worn, "ankles") < 5.0
    assert _rms_deg(rehearsal, recording, "lower_back") < 3.0


def test_straight_straps_raise_no_alarm(swum: tuple[Rehearsal, Recording]) -> None:
    quality = Quality()
    align(swum[1], swum[0].truth["lengths"], quality)
    assert not quality.codes()


@pytest.mark.parametrize(
    ("glides_deg", "zero_deg"),
    [
        ((2.0, 55.0, 3.0, 30.0), 2.5),
        ((2.0, 55.0, 30.0, -20.0), None),
        ((2.0, 3.0, 1.0, 2.0), 2.0),
        ((-178.0, 3.0, 181.0, -178.0), 2.0),
    ],
    ids=["two alike", "none alike", "all alike", "on the back"],
)
def test_glides_on_the_side_are_left_out_of_the_zero_of_roll(
    swum: tuple[Rehearsal, Recording], glides_deg: tuple[float, ...], zero_deg: float | None
) -> None:
    lengths, recording = swum[0].truth["lengths"], swum[1]
    roll_deg = np.zeros(len(recording.time_s))
    for (_, row), glide_deg in zip(lengths.iterrows(), glides_deg, strict=True):
        gliding = (recording.time_s >= row["start_s"]) & (recording.time_s < row["swim_start_s"])
        roll_deg[gliding] = glide_deg
    found = _glide_deg(recording, recording.tracks[P.LOWER_BACK], roll_deg, lengths)
    assert (found and found.roll_deg) == (None if zero_deg is None else pytest.approx(zero_deg))
    assert found is None or found.flat


def test_a_glide_on_the_back_is_flat_though_its_roll_wraps(
    swum: tuple[Rehearsal, Recording],
) -> None:
    lengths, recording = swum[0].truth["lengths"], swum[1]
    roll_deg = 180.0 + 1.5 * np.sin(7.0 * recording.time_s)
    wrapped = (roll_deg + 180.0) % 360.0 - 180.0
    found = _glide_deg(recording, recording.tracks[P.LOWER_BACK], wrapped, lengths)
    assert found is not None
    assert found.roll_deg == pytest.approx(0.0, abs=1.6)
    assert found.flat


def test_a_leg_that_rides_takes_the_zero_of_the_one_that_kicks(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """Its own peaks would tell that of a swimmer who rolls as far to either side."""
    rehearsal, recording = swim(seed=92, roll_onto_left_deg=30.0, roll_onto_right_deg=58.0)
    kick_axis, glide_deg = straps._kick_axis, straps._glide_deg

    def rides(track: Any, *args: Any) -> np.ndarray | None:
        return None if track.placement is P.LEFT_ANKLE else kick_axis(track, *args)

    monkeypatch.setattr(straps, "_kick_axis", rides)
    monkeypatch.setattr(straps, "_glide_deg", lambda *_: None)
    lengths, legs = rehearsal.truth["lengths"], wearing(recording, *ANKLES)
    worn_as = align(legs, lengths, Quality())
    monkeypatch.setattr(straps, "_glide_deg", glide_deg)
    left, right = (straps.roll_deg(legs.tracks[p], worn_as[p]) for p in ANKLES)
    assert abs(np.nanmedian(left - right)) < 3.0


def test_who_turns_over_in_the_glide_does_not_lie_flat(swum: tuple[Rehearsal, Recording]) -> None:
    lengths, recording = swum[0].truth["lengths"], swum[1]
    since_s = np.full(len(recording.time_s), np.inf)
    for start_s in lengths["start_s"]:
        since_s[recording.time_s >= start_s] = (
            recording.time_s[recording.time_s >= start_s] - start_s
        )
    turning_deg = 40.0 * np.clip((1.4 - since_s) / 0.8, 0.0, 1.0)
    found = _glide_deg(recording, recording.tracks[P.LOWER_BACK], turning_deg, lengths)
    assert found is None or not found.flat


@pytest.mark.parametrize(("flat", "zero_deg"), [(True, -5.0), (False, 11.0)])
def test_flat_glides_are_the_zero_though_the_middle_of_the_peaks_is_far_off(
    flat: bool, zero_deg: float
) -> None:
    glide = straps._Glide(roll_deg=-5.0, flat=flat)
    assert straps._zero_deg(glide, 11.0, None) == zero_deg
    assert straps._zero_deg(glide, 11.0, 2.0) == 2.0


def test_a_lopsided_back_alone_keeps_its_zero_by_flat_glides() -> None:
    rehearsal, recording = swim(
        seed=93, lengths=4, roll_onto_left_deg=62.0, roll_onto_right_deg=30.0, kick="6",
        kit={"placements": (P.LOWER_BACK,), "strap_deg": 20.0},
    )  # fmt: skip
    lengths = rehearsal.truth["lengths"].assign(swim_start_s=np.nan)
    result = estimate_roll(recording, lengths, align(recording, lengths, Quality()), Quality())
    truth = rehearsal.truth["roll"].query("source == 'lower_back'")
    off_deg = result.signals_deg["lower_back"] - np.interp(
        recording.time_s, truth["time_s"], truth["roll_deg"]
    )
    swims = np.zeros(len(off_deg), dtype=bool)
    for row in rehearsal.truth["lengths"].itertuples():
        swims |= (recording.time_s >= row.swim_start_s) & (recording.time_s < row.end_s - 1.0)
    assert abs(float(np.nanmedian(off_deg[swims]))) < 3.0


def test_roll_table_is_at_50_hz_with_every_source(swum: tuple[Rehearsal, Recording]) -> None:
    lengths = swum[0].truth["lengths"]
    table = estimate_roll(swum[1], lengths, align(swum[1], lengths, Quality()), Quality()).table
    assert set(table["source"]) == {"lower_back", "ankles"}
    steps = table.query("source == 'ankles'")["time_s"].diff().dropna()
    assert np.allclose(steps, 0.02, atol=1e-6)


def test_no_sensor_and_no_length_give_an_empty_table(swum: tuple[Rehearsal, Recording]) -> None:
    quality = Quality()
    result = estimate_roll(wearing(swum[1]), swum[0].truth["lengths"], {}, quality)
    assert list(result.table.columns) == SCHEMAS["roll"].names
    assert result.best_source is None
    assert "no_roll_source" in quality.codes()
    assert set(align(swum[1], empty("lengths"), Quality())) == set(WORN)


def test_roll_is_empty_inside_a_gap(swum: tuple[Rehearsal, Recording]) -> None:
    rehearsal, recording = swum
    straps = align(recording, rehearsal.truth["lengths"], Quality())
    track = recording.tracks[P.LOWER_BACK]
    valid = track.valid.copy()
    valid[3000:3100] = False
    cut = replace(recording, tracks={P.LOWER_BACK: replace(track, valid=valid)})
    roll = estimate_roll(cut, empty("lengths"), straps, Quality()).signals_deg["lower_back"]
    assert np.isnan(roll[3000:3100]).all()


def test_one_ankle_is_enough(swum: tuple[Rehearsal, Recording]) -> None:
    assert _rms_deg(swum[0], wearing(swum[1], ANKLES[0]), "ankles") < 8.0


def test_a_lopsided_trunk_keeps_its_zero_where_the_legs_kick() -> None:
    """Glides on one side would shift it by their own roll, the middle of the peaks by the lean."""
    rehearsal, recording = swim(
        seed=93, lengths=4, roll_onto_left_deg=60.0, roll_onto_right_deg=34.0, kick="6",
        kit={"placements": (*ANKLES, P.UPPER_BACK), "strap_deg": 20.0},
    )  # fmt: skip
    assert _rms_deg(rehearsal, recording, "upper_back") < 3.0


def test_a_leg_that_rides_along_has_its_roll() -> None:
    rehearsal, recording = swim(
        seed=94, lengths=4, kick="none", leg_split_deg=9.0, stroke_rate_cycles_min=46.0,
        kit={"placements": ANKLES, "wobble": 1.9},
    )  # fmt: skip
    assert _rms_deg(rehearsal, recording, "ankles") < 5.0


def test_an_axis_that_would_lay_a_leg_on_its_side_is_not_that_of_the_kicks(
    swum: tuple[Rehearsal, Recording], monkeypatch: pytest.MonkeyPatch
) -> None:
    """A slow kick at a high stroke rate, drowned in the body's roll: 43 degrees off in one swim."""
    askew = np.array([0.0, np.sin(np.radians(43.0)), np.cos(np.radians(43.0))])
    monkeypatch.setattr(straps, "_kick_axis", lambda *_: askew)
    assert _rms_deg(*swum, "ankles") < 5.0
