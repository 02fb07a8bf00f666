"""What was swum, told from the legs alone or from the arms alone: whole analyses."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from types import SimpleNamespace

import numpy as np
import pytest

from sensorswim import analyse
from sensorswim.model import Placement, Quality, Recording, Side, Track
from sensorswim.model.analysis import Analysis
from sensorswim.model.streams import FloatArray
from sensorswim.rehearsal import Kit, Length, Plan, Rehearsal, Rest, Stand, rehearse
from sensorswim.signal.straps import align
from sensorswim.swim.activity import ActivityRule, prone_measure
from sensorswim.swim.arms import WristMotion
from sensorswim.swim.body_signs import BodySigns, read_body
from sensorswim.swim.periodicity import Period
from tests.swim.swum import ANKLES, P, oriented, swim

_SWUM = ("front_crawl", "kick", "backstroke", "butterfly")


@pytest.fixture(scope="module")
def told(tmp_path_factory: pytest.TempPathFactory) -> tuple[Rehearsal, Analysis]:
    segments = [Stand(duration_s=6.0)]
    for activity in _SWUM:
        segments += [Length(activity=activity, turn="stop"), Rest(duration_s=4.0)]
    kit = Kit(placements=ANKLES, clock_offset_s=0.0, drift_ppm=0.0)
    swim = rehearse(Plan(segments=tuple(segments)), kit=kit, seed=83)
    folder: Path = tmp_path_factory.mktemp("legs") / "swim"
    return swim, analyse(swim.write(folder))


def test_rolling_legs_are_crawl_on_the_front_and_backstroke_on_the_back(
    told: tuple[Rehearsal, Analysis],
) -> None:
    found = list(told[1].lengths["activity"])
    assert (found[0], found[2]) == ("front_crawl", "backstroke")


def test_a_flutter_without_roll_is_kick_and_legs_together_are_not_named(
    told: tuple[Rehearsal, Analysis],
) -> None:
    found = list(told[1].lengths["activity"])
    assert (found[1], found[3]) == ("kick", "other")


def test_the_result_says_that_it_rests_on_the_legs(told: tuple[Rehearsal, Analysis]) -> None:
    assert "activity_from_body" in told[1].quality.codes()
    assert not len(told[1].arm_strokes)


def test_wrists_alone_tell_the_back_by_arms_that_rise_upright(tmp_path: Path) -> None:
    segments = [Stand(duration_s=6.0)]
    for activity in ("backstroke", "front_crawl"):
        segments += [Length(activity=activity, turn="stop"), Rest(duration_s=4.0)]
    kit = Kit(placements=(P.LEFT_WRIST, P.RIGHT_WRIST), clock_offset_s=0.0, drift_ppm=0.0)
    swim = rehearse(Plan(segments=tuple(segments)), kit=kit, seed=84)
    result = analyse(swim.write(tmp_path / "swim"))
    assert list(result.lengths["activity"]) == ["backstroke", "front_crawl"]
    assert "kick_lengths_unseen" in result.quality.codes()


@pytest.mark.parametrize("place", [P.LOWER_BACK, P.UPPER_BACK])
def test_a_trunk_alone_knows_crawl_and_backstroke_by_its_roll(
    place: Placement, tmp_path: Path
) -> None:
    activities = ("front_crawl", "backstroke", "butterfly")
    segments = [Stand(duration_s=6.0)]
    for activity in activities:
        segments += [Length(activity=activity, turn="stop"), Rest(duration_s=4.0)]
    kit = Kit(placements=(place,), clock_offset_s=0.0, drift_ppm=0.0)
    swim = rehearse(Plan(segments=tuple(segments)), kit=kit, seed=85)
    result = analyse(swim.write(tmp_path / "swim"))
    assert list(result.lengths["activity"]) == ["front_crawl", "backstroke", "other"]
    assert result.lengths["roll_onto_left_deg"].notna().tolist() == [True, False, False]
    assert not any("a sure roll" in row.text for row in result.quality)


def _arms(
    swing: float, apart: float, travel_m: float
) -> tuple[dict[Side, SimpleNamespace], dict[Side, SimpleNamespace]]:
    """Return wrists that come overhead every 2 s, a share of that apart, and their shoulders."""
    period = SimpleNamespace(period_s=2.0, swing=swing)
    passes_s = np.arange(5.0, 25.0, 2.0)
    motions = {
        side: SimpleNamespace(period=period, overhead=True, recoveries_s=passes_s + late_s)
        for side, late_s in ((Side.LEFT, 0.0), (Side.RIGHT, 2.0 * apart))
    }
    shoulder = SimpleNamespace(wrist_travel_m=np.array([travel_m, 0.3, 0.4]), residual_m=0.0)
    return motions, dict.fromkeys(Side, shoulder)


@pytest.mark.parametrize(
    ("swing", "apart", "travel_m", "name"),
    [
        (1.3, 0.49, 1.0, "front_crawl"),
        (1.3, 0.05, 0.5, "breaststroke"),
        (1.86, 0.05, 0.5, "breaststroke"),
        (2.06, 0.05, 0.9, "butterfly"),
        (2.06, 0.22, 0.9, "butterfly"),
        (2.06, 0.34, 0.9, "front_crawl"),
    ],
    ids=[
        "catch-up",
        "small swing",
        "forearms that point back",
        "butterfly",
        "one arm a little late",
        "galloping crawl",
    ],
)
def test_two_arms_tell_crawl_breaststroke_and_butterfly_apart(
    swing: float, apart: float, travel_m: float, name: str
) -> None:
    """In catch-up each arm waits ahead and swings little, but half a cycle from the other."""
    motions, shoulders = _arms(swing, apart, travel_m)
    assert ActivityRule().name(motions, shoulders, 0.9, 2, "") == name


def test_arms_whose_period_is_that_of_two_cycles_are_no_more_together() -> None:
    motions, shoulders = _arms(2.3, 0.44, 0.9)
    for motion in motions.values():
        motion.period = SimpleNamespace(period_s=4.0, swing=2.3)
    assert ActivityRule().name(motions, shoulders, 1.0, 2, "") == "front_crawl"


def _arm(forearm: FloatArray, swing: float = 2.5) -> WristMotion:
    """Return a wrist whose forearm passes back as in its first row, forward as in its last."""
    rows = len(forearm)
    return WristMotion(
        side=Side.LEFT,
        time_s=np.arange(float(rows)),
        accel_m_s2=np.zeros((rows, 3)),
        forearm=forearm,
        skin=np.zeros((rows, 3)),
        turn_rate_rad_s=np.zeros(rows),
        valid=np.ones(rows, dtype=bool),
        period=Period(period_s=2.0, strength=1.0, swing=swing),
        overhead=True,
        recoveries_s=np.array([rows - 1.0]),
        reaches_s=np.empty(0),
        backs_s=np.array([0.0]),
    )


def _lone(
    travel_m: float, *, passes: float, misfit_m: float, wide_m: float = 0.3, swing: float = 2.5
) -> tuple[dict[Side, WristMotion], dict[Side, SimpleNamespace]]:
    """Return a lone left wrist that points up by `passes` as it comes forward."""
    tilt = np.r_[np.full(50, -0.9), np.full(50, passes)]
    arm = _arm(np.stack([0.0 * tilt, 0.0 * tilt, tilt], axis=1), swing)
    shoulder = SimpleNamespace(
        wrist_travel_m=np.array([travel_m, wide_m, 0.8]), residual_m=misfit_m
    )
    return {Side.LEFT: arm}, {Side.LEFT: shoulder}


@pytest.mark.parametrize(
    ("top_deg", "misfit_m", "supine"),
    [(10.0, 0.01, False), (75.0, 0.01, False), (75.0, 0.03, True), (89.0, 0.03, True)],
)
def test_arms_that_recover_straight_are_on_the_back_only_where_they_fit_no_prone_shoulder(
    top_deg: float, misfit_m: float, supine: bool
) -> None:
    """The forearm hangs by 40 degrees in the pull and rises to the top in the recovery."""
    tilt = np.sin(np.radians(np.tile(np.r_[np.full(50, -40.0), np.full(50, top_deg)], 5)))
    forearm = np.stack([0.0 * tilt, 0.0 * tilt, tilt], axis=1)
    shoulder = SimpleNamespace(residual_m=misfit_m)
    told = ActivityRule()._on_back({Side.LEFT: _arm(forearm)}, {Side.LEFT: shoulder})
    assert told is supine


@pytest.mark.parametrize(("pulls", "supine"), [(-0.1, True), (-0.4, True), (-0.9, False)])
def test_arms_that_rise_upright_and_pull_level_are_on_the_back_whatever_they_fit(
    pulls: float, supine: bool
) -> None:
    """Who recovers straight on the front pulls with the forearm down, whatever the strap hides."""
    tilt = np.r_[np.full(60, pulls), np.full(500, -0.2), np.full(500, 0.85)]
    forearm = np.stack([0.0 * tilt, 0.0 * tilt, tilt], axis=1)
    fits = {Side.LEFT: SimpleNamespace(residual_m=0.0)}
    assert ActivityRule()._on_back({Side.LEFT: _arm(forearm)}, fits) is supine


@pytest.mark.parametrize(("lowest", "supine"), [(-0.5, True), (-0.7, False)])
def test_an_arm_that_rises_upright_and_never_hangs_is_on_the_back(
    lowest: float, supine: bool
) -> None:
    """Straight arms that pull deep beside the trunk fit a prone shoulder, but don't go below it."""
    tilt = np.r_[np.full(100, lowest), np.full(500, -0.2), np.full(500, 0.95)]
    arm = {Side.LEFT: _arm(np.stack([0.0 * tilt, 0.0 * tilt, tilt], axis=1))}
    fits = {Side.LEFT: SimpleNamespace(residual_m=0.0)}
    assert ActivityRule()._on_back(arm, fits) is supine


def test_an_arm_without_a_shoulder_is_on_the_back_where_it_rises_more_than_it_falls() -> None:
    tilt = np.tile(np.r_[np.full(50, -0.1), np.full(50, 0.99)], 5)
    forearm = np.stack([0.0 * tilt, 0.0 * tilt, tilt], axis=1)
    assert ActivityRule()._on_back({Side.LEFT: _arm(forearm)}, {})


@pytest.mark.parametrize(("passes", "supine"), [(0.3, False), (0.9, True)])
def test_an_arm_that_fits_no_prone_shoulder_is_on_the_back_only_if_it_comes_out_upright(
    passes: float, supine: bool
) -> None:
    """The heading of a lone wrist may be off, and the path with it."""
    arms, shoulders = _lone(1.0, passes=passes, misfit_m=0.08)
    assert ActivityRule()._on_back(arms, shoulders) is supine


@pytest.mark.parametrize(
    ("passes", "misfit_m", "wide_m", "name"),
    [
        (0.0, 0.015, 0.7, "butterfly"),
        (0.0, 0.015, 0.56, "butterfly"),
        (0.0, 0.015, 0.53, "front_crawl"),
        (-0.6, 0.015, 0.7, "front_crawl"),
        (0.98, 0.015, 0.7, "front_crawl"),
        (0.0, 0.006, 0.7, "front_crawl"),
    ],
    ids=["level", "less wide", "close", "hangs under a high elbow", "straight over the top",
         "on a body that rolls"],
)  # fmt: skip
def test_a_lone_arm_that_swings_wide_is_butterflys_only_if_level_on_a_body_that_heaves(
    passes: float, misfit_m: float, wide_m: float, name: str
) -> None:
    arms, shoulders = _lone(1.0, passes=passes, misfit_m=misfit_m, wide_m=wide_m)
    assert ActivityRule().name(arms, shoulders, None, 1, "") == name


@pytest.mark.parametrize(
    ("swing", "travel_m", "name"),
    [(1.87, 0.5, "breaststroke"), (1.67, 0.9, "front_crawl"), (2.3, 0.6, "front_crawl")],
)
def test_a_lone_arm_with_a_small_swing_is_breaststrokes_only_if_it_travels_little(
    swing: float, travel_m: float, name: str
) -> None:
    arms, shoulders = _lone(travel_m, swing=swing, passes=-0.5, misfit_m=0.01)
    assert ActivityRule().name(arms, shoulders, None, 1, "") == name


@pytest.mark.parametrize(
    ("roll_deg", "wide_m", "name"), [(1.5, 0.3, "butterfly"), (14.0, 0.7, "front_crawl")]
)
def test_a_body_that_rolls_or_not_tells_a_lone_arms_crawl_from_butterfly(
    roll_deg: float, wide_m: float, name: str
) -> None:
    arms, shoulders = _lone(1.0, passes=0.0, misfit_m=0.015, wide_m=wide_m)
    body = BodySigns(roll_deg=roll_deg, alternation=None)
    assert ActivityRule().name(arms, shoulders, 0.9, 1, "", body) == name


@pytest.mark.parametrize(
    ("roll_deg", "name"), [(None, "drill"), (14.0, "drill"), (1.5, "breaststroke")]
)
def test_a_lone_arm_that_rests_in_a_drill_is_the_other_arms_drill(
    roll_deg: float | None, name: str
) -> None:
    arms, shoulders = _lone(1.0, passes=0.0, misfit_m=0.01, swing=1.2)
    arms[Side.LEFT] = replace(arms[Side.LEFT], overhead=False)
    body = None if roll_deg is None else BodySigns(roll_deg=roll_deg, alternation=None)
    assert ActivityRule().name(arms, shoulders, 0.9, 1, "drill", body) == name


@pytest.mark.parametrize(
    ("roll_deg", "set_as", "name"),
    [(14.0, "drill", "drill"), (14.0, "", "other"), (1.5, "drill", "breaststroke")],
)
def test_one_of_two_arms_that_swings_little_swims_no_breaststroke_on_a_body_that_rolls(
    roll_deg: float, set_as: str, name: str
) -> None:
    arms, shoulders = _lone(0.9, passes=-0.5, misfit_m=0.01, swing=1.6)
    body = BodySigns(roll_deg=roll_deg, alternation=None)
    assert ActivityRule().name(arms, shoulders, 0.9, 2, set_as, body) == name


def test_a_head_alone_tells_front_from_back(tmp_path: Path) -> None:
    segments = [Stand(duration_s=6.0)]
    for activity in ("backstroke", "front_crawl"):
        segments += [Length(activity=activity, turn="stop"), Rest(duration_s=4.0)]
    placements = (P.HEAD, P.LEFT_WRIST)
    kit = Kit(placements=placements, clock_offset_s=0.0, drift_ppm=0.0)
    rehearsal = rehearse(Plan(segments=tuple(segments)), kit=kit, seed=86)
    recording, true = oriented(rehearsal), rehearsal.truth["lengths"]
    straps = align(recording, true, Quality())
    spans_s = true[["start_s", "end_s"]].to_numpy()
    told = [prone_measure(recording, straps, *span_s) for span_s in spans_s]
    assert told[0] < -0.5 and told[1] > 0.5


def test_breaststroke_of_which_one_forearm_seems_to_come_overhead_is_no_crawl() -> None:
    """Its phase is any, so it says nothing of the arms' being half a cycle apart."""
    motions, shoulders = _arms(1.93, 0.21, 0.5)
    motions[Side.RIGHT].overhead = False
    assert ActivityRule().name(motions, shoulders, 0.9, 2, "") == "breaststroke"


def test_a_sensor_without_data_does_not_tell_front_from_back() -> None:
    rehearsal, recording = swim(seed=21, lengths=2)
    straps = align(recording, rehearsal.truth["lengths"], Quality())
    span_s = tuple(rehearsal.truth["lengths"].loc[1, ["start_s", "end_s"]])
    told = prone_measure(recording, straps, *span_s)
    dead, half = (_that_ends(recording, end_s) for end_s in (span_s[0], float(np.mean(span_s))))
    assert told is not None and told > 0.5
    assert prone_measure(dead, straps, *span_s) is None
    assert prone_measure(half, straps, *span_s) == pytest.approx(told, abs=0.1)
    assert read_body(recording, straps, *span_s) is not None
    assert read_body(dead, straps, *span_s) is None


def _that_ends(recording: Recording, end_s: float) -> Recording:
    """Return a recording whose data end, and whose sensors' orientation is then that of a stand."""
    gone = recording.time_s >= end_s

    def ended(track: Track) -> Track:
        assert track.q_world_from_sensor is not None
        held = np.where(gone[:, None], [0.0, 0.0, 1.0, 0.0], track.q_world_from_sensor)
        return replace(track, valid=track.valid & ~gone, q_world_from_sensor=held)

    return replace(recording, tracks={p: ended(track) for p, track in recording.tracks.items()})
