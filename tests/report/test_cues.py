"""Cues fall where the moment is seen: in video time where a video is given."""

from __future__ import annotations

from pathlib import Path

import pytest

from sensorswim.formats.webvtt import parse_vtt
from sensorswim.model import Video, VideoMark
from sensorswim.model.session import video_time
from sensorswim.report import cue_files
from tests.plausible import bare_analysis, filmed_session, plausible_analysis, plausible_session


def test_without_a_video_cues_are_in_session_time() -> None:
    files = cue_files(plausible_analysis())
    assert set(files) == {"cues.vtt"}
    first = next(c for c in parse_vtt(files["cues.vtt"]) if c.identifier == "length-1")
    assert first.start_s == 120.0
    assert first.text == "Length 1: drill"


def test_lengths_breaths_missing_kicks_and_marks_all_have_cues() -> None:
    analysis = plausible_analysis()
    analysis.tables["arm_cycles"].loc[3, "kicks"] = 4
    names = [c.identifier for c in parse_vtt(cue_files(analysis)["cues.vtt"])]
    assert {name.split("-")[0] for name in names} == {"length", "breath", "kicks", "mark"}
    assert sum(name.startswith("kicks") for name in names) == 1


def test_a_filmed_session_has_cues_in_the_time_of_its_video() -> None:
    files = cue_files(plausible_analysis(session=filmed_session()))
    assert set(files) == {"cues.vtt", "side.vtt"}
    assert files["cues.vtt"] == files["side.vtt"]
    second = next(c for c in parse_vtt(files["side.vtt"]) if c.identifier == "length-2")
    assert second.start_s == pytest.approx(3.0 + 100.0 * (165.0 - 123.0) / 100.1, abs=0.001)


def test_a_length_under_way_as_the_video_begins_is_told_at_once() -> None:
    late = plausible_session(videos=(Video(file=Path("late.mp4"), starts_at_s=130.0),))
    cues = {
        c.identifier: c for c in parse_vtt(cue_files(plausible_analysis(session=late))["late.vtt"])
    }
    assert (cues["length-1"].start_s, cues["length-1"].end_s) == (0.0, 4.0)
    past = plausible_session(videos=(Video(file=Path("past.mp4"), starts_at_s=144.5),))
    first = parse_vtt(cue_files(plausible_analysis(session=past))["past.vtt"])[0]
    assert first.identifier == "length-2"


def test_a_length_under_way_as_session_time_begins_is_told_at_once() -> None:
    analysis = plausible_analysis()
    analysis.tables["lengths"].loc[0, ["start_s", "end_s"]] = [-6.0, 18.0]
    first = parse_vtt(cue_files(analysis)["cues.vtt"])[0]
    assert (first.identifier, first.start_s, first.end_s) == ("length-1", 0.0, 4.0)


def test_one_mark_gives_the_offset_and_beats_the_start() -> None:
    mark = VideoMark(video_s=3.2, session_s=15.6)
    placed = video_time(Video(file=Path("a.mp4"), starts_at_s=99.0, marks=(mark,)))
    assert placed == pytest.approx((-12.4, 1.0))


def test_a_start_alone_places_the_video_and_nothing_leaves_it_unplaced() -> None:
    assert video_time(Video(file=Path("a.mp4"), starts_at_s=12.4)) == pytest.approx((-12.4, 1.0))
    assert video_time(Video(file=Path("a.mp4"))) is None


def test_videos_of_one_name_get_a_file_each() -> None:
    clips = tuple(
        Video(file=Path(name), starts_at_s=float(i))
        for i, name in enumerate(("a/side.mp4", "b/side.mp4", "cues.webm"))
    )
    files = cue_files(plausible_analysis(session=plausible_session(videos=clips)))
    assert set(files) == {"cues.vtt", "side.vtt", "side-2.vtt", "cues-2.vtt"}


def test_nothing_found_is_a_cue_file_without_cues() -> None:
    assert parse_vtt(cue_files(bare_analysis())["cues.vtt"]) == []
