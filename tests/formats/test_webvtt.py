from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from sensorswim.formats.webvtt import Cue, cues_to_vtt, parse_vtt

LINE = st.text(st.characters(codec="utf-8", exclude_characters="\0\r\n"), min_size=1, max_size=30)
CUES = st.builds(
    lambda start, length, lines, name: Cue(
        start_s=start / 1000,
        end_s=(start + length) / 1000,
        text="\n".join(lines),
        identifier=name.strip(),
    ),
    st.integers(0, 400_000_000),
    st.integers(1, 100_000),
    st.lists(LINE.filter(str.strip), min_size=1, max_size=3),
    LINE.filter(lambda text: "-->" not in text),
)


@given(st.lists(CUES, max_size=6))
def test_cues_are_read_back_as_they_were(cues: list[Cue]) -> None:
    order = sorted(cues, key=lambda cue: (cue.start_s, cue.end_s))
    assert parse_vtt(cues_to_vtt(cues)) == order


def test_the_file_is_written_as_the_standard_says() -> None:
    # W3C WebVTT 4.1: signature, comment, identifier, timings hh:mm:ss.ttt, payload; blank lines
    cues = [Cue(start_s=3661.2345, end_s=3662.0, text="a < b & c\n\nnext", identifier="one")]
    assert cues_to_vtt(cues) == (
        "WEBVTT\n\nNOTE format = 1\n\none\n01:01:01.234 --> 01:01:02.000\na &lt; b &amp; c\nnext\n"
    )


def test_no_cue_is_a_valid_file() -> None:
    assert cues_to_vtt([]) == "WEBVTT\n\nNOTE format = 1\n"
    assert parse_vtt("\ufeffWEBVTT some title\r\n\r\n") == []


def test_cues_before_the_video_are_cut_or_left_out() -> None:
    early = Cue(start_s=-5.0, end_s=-1.0, text="gone")
    cut = Cue(start_s=-1.0, end_s=1.0, text="cut")
    assert parse_vtt(cues_to_vtt([early, cut])) == [Cue(start_s=0.0, end_s=1.0, text="cut")]


def test_an_arrow_in_text_does_not_make_a_timing_line() -> None:
    cue = Cue(start_s=0.0, end_s=1.0, text="00:00.000 --> 00:01.000", identifier="a --> b")
    vtt = cues_to_vtt([cue])
    assert vtt.count("-->") == 1
    assert parse_vtt(vtt)[0].text == cue.text


def test_a_cue_without_length_or_text_is_still_valid() -> None:
    (cue,) = parse_vtt(cues_to_vtt([Cue(start_s=2.0, end_s=2.0, text="\n")]))
    assert cue.end_s == 2.001
    assert cue.text == "-"


def test_notes_styles_and_settings_are_skipped() -> None:
    text = "WEBVTT\n\nNOTE a --> b\nmore\n\nSTYLE\n::cue {}\n\n00:01.500 --> 00:02.000 line:0\nhi\n"
    assert parse_vtt(text) == [Cue(start_s=1.5, end_s=2.0, text="hi")]


@pytest.mark.parametrize("time_s", [math.nan, math.inf])
def test_a_time_that_is_none_is_refused(time_s: float) -> None:
    with pytest.raises(ValueError, match="finite"):
        cues_to_vtt([Cue(start_s=0.0, end_s=time_s, text="a")])


def test_another_file_is_refused() -> None:
    with pytest.raises(ValueError, match="WEBVTT"):
        parse_vtt("WEBVTTX\n")
