"""What was swum, told from the legs alone or from the arms alone: whole analyses."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from sensorswim import analyse
from sensorswim.model import Quality, Recording, Track
from sensorswim.model.analysis import Analysis
from sensorswim.rehearsal import Kit, Length, Plan, Rehearsal, Rest, Stand, rehearse
from sensorswim.signal.straps import align
from sensorswim.swim.activity import prone_measure
from sensorswim.swim.leg_signs import read_legs
from tests.swim.swum import ANKLES, P, swim

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
    assert "activity_from_legs" in told[1].quality.codes()
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


def test_a_sensor_without_data_does_not_tell_front_from_back() -> None:
    rehearsal, recording = swim(seed=21, lengths=2)
    straps = align(recording, rehearsal.truth["lengths"], Quality())
    span_s = tuple(rehearsal.truth["lengths"].loc[1, ["start_s", "end_s"]])
    told = prone_measure(recording, straps, *span_s)
    dead, half = (_that_ends(recording, end_s) for end_s in (span_s[0], float(np.mean(span_s))))
    assert told is not None and told > 0.5
    assert prone_measure(dead, straps, *span_s) is None
    assert prone_measure(half, straps, *span_s) == pytest.approx(told, abs=0.1)
    assert read_legs(recording, straps, *span_s) is not None
    assert read_legs(dead, straps, *span_s) is None


def _that_ends(recording: Recording, end_s: float) -> Recording:
    """Return a recording whose data end, and whose sensors' orientation is then that of a stand."""
    gone = recording.time_s >= end_s

    def ended(track: Track) -> Track:
        assert track.q_world_from_sensor is not None
        held = np.where(gone[:, None], [0.0, 0.0, 1.0, 0.0], track.q_world_from_sensor)
        return replace(track, valid=track.valid & ~gone, q_world_from_sensor=held)

    return replace(recording, tracks={p: ended(track) for p, track in recording.tracks.items()})
