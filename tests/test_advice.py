"""The swimmer's folder: plan, diary, words and handout, from a session or from a result."""

from __future__ import annotations

import os
import re
from dataclasses import replace
from datetime import date
from pathlib import Path

import av
import numpy as np
import pytest

from sensorswim import cli
from sensorswim.advice import answer_of, export_clip
from sensorswim.analyse import with_findings
from sensorswim.errors import InputError
from sensorswim.export import write_result
from sensorswim.formats.handout_toml import (
    read_consent,
    read_words,
    write_consent,
    write_words,
)
from sensorswim.formats.plan_toml import read_plan
from sensorswim.formats.rules_toml import read_rules
from sensorswim.model import Mark, Video
from sensorswim.model.analysis import Analysis
from sensorswim.model.handout import Agreement, Consent
from sensorswim.report.print_pdf import INSTALL, browser
from sensorswim.video.encode import write_film
from tests.findings.made import calm, changed
from tests.plausible import bare_analysis
from tests.report.test_report_page import read

DAY = date(2026, 3, 14)
AGREED = Agreement(
    name="Mira",
    sensing=True,
    filming=True,
    agreed_on=date(2026, 1, 1),
    until=date(2026, 12, 31),
)


@pytest.fixture(scope="module")
def result(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A result with two aims that both have pictures."""
    analysis = changed(calm(), "breaths", lambda t: t.assign(excess_s=0.44))
    analysis = changed(analysis, "arm_cycles", lambda t: t.assign(index_of_coordination_pct=-20.0))
    advised = with_findings(analysis, read_rules())
    return write_result(advised, tmp_path_factory.mktemp("advice") / "result")


def told(*arguments: object) -> int:
    return cli.main([*(str(a) for a in arguments)])


def test_a_result_reads_back_with_its_findings(result: Path) -> None:
    answer = answer_of(result, lambda _step: None)
    assert [f["id"] for f in answer.findings if f["is_aim"]] == ["long-on-side", "arm-gap"]
    assert answer.session.started_at.date() == DAY
    assert len(answer.lengths) == 8


def test_a_place_that_is_neither_session_nor_result_is_refused(tmp_path: Path) -> None:
    with pytest.raises(InputError, match=r"neither session\.toml nor summary\.json"):
        answer_of(tmp_path, lambda _step: None)


def test_a_plan_is_made_once_kept_and_stopped_by_its_diary(
    result: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    desk = tmp_path / "desk"
    assert told("plan", result, "--out", desk, "--weeks", 4, "--check-set", "8x50") == 0
    assert "Next check 2026-04-11: 8 x 50 m" in capsys.readouterr().out
    assert told("plan", result, "--out", desk, "--weeks", 6) == 0
    assert "2026-04-11" in capsys.readouterr().out
    (desk / "diary.toml").write_text(
        '[[entry]]\nday = 2026-03-17\npain_after = 2\npain_where = "shoulder"\n', "utf-8"
    )
    assert told("plan", result, "--out", desk) == 0
    shown = capsys.readouterr().out
    assert "see a doctor or a physiotherapist" in shown
    assert "STOPPED: pain 2 of 10 (shoulder)" in shown


def test_a_new_plan_keeps_the_check_set_and_puts_the_old_one_aside(
    result: Path, tmp_path: Path
) -> None:
    desk = tmp_path / "desk"
    assert told("plan", result, "--out", desk, "--check-set", "4x100", "--quiet") == 0
    assert told("plan", result, "--out", desk, "--new", "--weeks", 6, "--quiet") == 0
    plan = read_plan(desk / "plan.toml")
    assert (len(plan.weeks), plan.check_set.repeats, plan.check_set.distance_m) == (6, 4, 100.0)
    assert {"plan-2026-03-14.toml", "diary-2026-03-14.toml"} <= {p.name for p in desk.iterdir()}


@pytest.mark.parametrize(
    ("options", "line"),
    [
        (["--kit", "wings"], "'wings' is no kit"),
        (["--check-set", "lots"], "write repeats x metres"),
        (["--weeks", "9"], "--weeks"),
    ],
)
def test_bad_options_are_one_line(
    options: list[str], line: str, result: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert told("plan", result, "--out", tmp_path / "desk", *options) == 2
    err = capsys.readouterr().err
    assert line in err
    assert len(err.splitlines()) == 1


def test_the_handout_has_aims_pictures_drills_plan_diary_and_cautions(
    result: Path, tmp_path: Path
) -> None:
    assert told("handout", result, "--out", tmp_path, "--no-pdf", "--quiet") == 0
    page = read((tmp_path / "handout.html").read_text("utf-8"))
    for words in (
        "1. Long on the side when breathing to the",
        "2. A gap between the arms",
        "One goggle in",
        "The sensors then show",
        "w1-a",
        "The check set, the same at every visit: 6 x 50 m",
        "Diary until 18 April 2026",
        "Never swim alone",
        "Invented demo data",
        "nothing is on file yet",
    ):
        assert words in page.text, words
    assert {"plot-side-time", "plot-coordination"} <= set(page.ids)


def test_a_coachs_words_are_kept_and_stay_text(result: Path, tmp_path: Path) -> None:
    assert told("handout", result, "--out", tmp_path, "--no-pdf", "--quiet") == 0
    words = read_words(tmp_path / "handout.toml")
    first = replace(words.aims[0], heading="Breathe <b>small</b>")
    write_words(replace(words, coach="A. Coach", aims=(first,)), tmp_path / "handout.toml")
    assert told("handout", result, "--out", tmp_path, "--no-pdf", "--quiet") == 0
    text = (tmp_path / "handout.html").read_text("utf-8")
    assert "1. Breathe &lt;b&gt;small&lt;/b&gt;" in text
    assert "A. Coach" in text
    assert "2. A gap between the arms" in text


def test_a_swim_without_aims_has_a_handout_with_the_check_set(tmp_path: Path) -> None:
    place = write_result(with_findings(bare_analysis(), read_rules()), tmp_path / "result")
    assert told("handout", place, "--out", tmp_path / "desk", "--no-pdf", "--quiet") == 0
    page = read((tmp_path / "desk" / "handout.html").read_text("utf-8"))
    assert "nothing in this swim lies clearly beyond" in page.text
    assert "6 x 50 m" in page.text
    assert "Your plan" not in page.text


@pytest.mark.skipif(browser() is None and os.environ.get("CI") != "true", reason=INSTALL)
def test_the_printed_handout_has_two_to_four_pages_of_a4(result: Path, tmp_path: Path) -> None:
    assert browser() is not None, INSTALL
    assert told("handout", result, "--out", tmp_path, "--weeks", 6, "--quiet") == 0
    pdf = (tmp_path / "handout.pdf").read_bytes()
    assert 2 <= len(re.findall(rb"/Type\s*/Page\b(?!s)", pdf)) <= 4
    assert re.search(rb"/MediaBox\s*\[0 0 59[45][.\d]* 84[12][.\d]*\]", pdf)


def test_consent_is_none_without_a_file_and_survives_one(tmp_path: Path) -> None:
    assert read_consent(tmp_path).missing("filming", DAY) == "nobody has agreed yet"
    write_consent(Consent(agreements=(AGREED,)), tmp_path)
    assert read_consent(tmp_path) == Consent(agreements=(AGREED,))
    assert read_consent(tmp_path).missing("filming", DAY) == ""


@pytest.mark.parametrize(
    ("change", "why"),
    [
        ({"filming": False}, "has not agreed to filming"),
        ({"until": date(2026, 3, 13)}, "holds from 2026-01-01 to 2026-03-13"),
        ({"minor": True}, "no guardian has agreed"),
    ],
)
def test_one_missing_agreement_is_enough(change: dict[str, object], why: str) -> None:
    other = replace(AGREED, name="Ada", **change)  # type: ignore[arg-type]
    consent = Consent(agreements=(AGREED, other))
    assert why in consent.missing("filming", DAY)


def test_a_minor_without_a_guardian_is_refused_in_the_file(tmp_path: Path) -> None:
    write_consent(Consent(agreements=(replace(AGREED, minor=True),)), tmp_path)
    with pytest.raises(InputError, match="name the guardian"):
        read_consent(tmp_path)


def test_rules_and_drills_are_printed_to_copy(capsys: pytest.CaptureFixture[str]) -> None:
    assert told("rules") == 0
    assert 'id = "long-on-side"' in capsys.readouterr().out
    assert told("rules", "--drills") == 0
    assert 'id = "half-goggle"' in capsys.readouterr().out


def filmed(folder: Path) -> Analysis:
    """A session with ten seconds of plain grey film that begin at 165 s."""
    grey = np.full((90, 160, 3), 127, dtype=np.uint8)
    write_film(folder / "side.webm", (grey for _ in range(250)), rate_hz=25)
    video = Video(file=folder / "side.webm", starts_at_s=165.0)
    session = replace(calm().session, folder=folder, videos=(video,))
    return replace(calm(), session=session)


def test_no_clip_leaves_without_consent(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="no video leaves without consent: nobody has agreed"):
        export_clip(filmed(tmp_path), 170.0, 4.0, tmp_path / "out.webm")
    assert not (tmp_path / "out.webm").exists()


def test_a_clip_is_silent_as_long_as_asked_and_has_the_measures_drawn_in(tmp_path: Path) -> None:
    write_consent(Consent(agreements=(AGREED,)), tmp_path)
    place = export_clip(filmed(tmp_path), 170.0, 4.0, tmp_path / "out.webm")
    with av.open(str(place)) as clip:
        assert not clip.streams.audio
        frames = [frame.to_ndarray(format="rgb24") for frame in clip.decode(video=0)]
        assert set(clip.metadata) <= {"ENCODER"}
    assert len(frames) == pytest.approx(100, abs=2)
    assert frames[0].shape[0] > 90
    assert max(frame[95:].max() for frame in frames) > 200


def test_what_was_measured_on_a_frame_is_drawn_into_the_picture(tmp_path: Path) -> None:
    write_consent(Consent(agreements=(AGREED,)), tmp_path)
    answer = filmed(tmp_path)
    mark = Mark(
        kind="right_elbow_angle", session_s=170.0, video="side.webm", video_s=5.0, value=132.4,
        unit="deg", points=((0.2, 0.5), (0.4, 0.5), (0.5, 0.7)),
    )  # fmt: skip
    answer = replace(answer, session=replace(answer.session, marks=(mark,)))
    place = export_clip(answer, 170.0, 4.0, tmp_path / "out.webm")
    with av.open(str(place)) as clip:
        frames = [frame.to_ndarray(format="rgb24") for frame in clip.decode(video=0)]
    far, near = frames[10], frames[50]
    assert np.abs(far[40:50, 40:60].astype(int) - 127).max() < 40
    assert near[42:48, 40:60].max() > 220


def test_a_moment_that_no_clip_shows_is_refused(tmp_path: Path) -> None:
    write_consent(Consent(agreements=(AGREED,)), tmp_path)
    with pytest.raises(InputError, match="holds no picture"):
        export_clip(filmed(tmp_path), 400.0, 4.0, tmp_path / "out.webm")
