"""The report names the aims first, in plain words, with where to look; and what it couldn't see."""

from __future__ import annotations

from dataclasses import replace

from sensorswim.analyse import with_findings
from sensorswim.dashboards.review import findings_part
from sensorswim.formats.rules_toml import read_rules
from sensorswim.model.analysis import Analysis
from sensorswim.report import report_html
from sensorswim.report.findings_section import (
    LOOK_AT,
    SURE_WORDS,
    WORK_ON,
    by_sureness,
    findings_of,
)
from tests.findings.made import calm, changed
from tests.plausible import bare_analysis
from tests.report.test_report_page import Reader, read


def advised(analysis: Analysis) -> Reader:
    return read(report_html(with_findings(analysis, read_rules())))


def test_the_aims_come_first_with_everything_to_judge_them() -> None:
    long = changed(calm(), "breaths", lambda t: t.assign(excess_s=0.44))
    page = advised(changed(long, "arm_cycles", lambda t: t.assign(index_of_coordination_pct=-20.0)))
    text = page.text
    assert text.index("Aim 1: Long on the side") < text.index("Aim 2: A gap between the arms")
    for words in (
        "What to change",
        "Why it matters",
        "How sure",
        "What looks alike",
        "min; length",
    ):
        assert words in text
    assert "common practice, no source" in text


def test_a_calm_session_says_that_nothing_stands_out() -> None:
    assert "Nothing lies clearly beyond the bands" in advised(calm()).text
    assert "no plain front crawl" in advised(bare_analysis()).text


def test_what_could_not_be_looked_for_names_sensor_and_view() -> None:
    wrists = [s for s in calm().session.sensors if s.placement.limb == "wrist"]
    analysis = replace(calm(), session=replace(calm().session, sensors=tuple(wrists)))
    text = advised(changed(analysis, "kicks", lambda t: t.iloc[:0])).text
    assert "Sparse kick : needs both ankles and a wrist" in text
    assert "{" not in text.split("Not looked for")[1].split("What was swum")[0]


def test_breaths_that_could_not_be_told_are_named_among_the_findings() -> None:
    words = "Breaths could not be told this time, so nothing about them was looked for."
    blind = changed(calm(), "lengths", lambda t: t.assign(breaths_left=None, breaths_right=None))
    for analysis, shown in ((blind, True), (calm(), False), (bare_analysis(), False)):
        assert (words in advised(analysis).text) is shown
        assert (words in str(findings_part.section(analysis))) is shown


def test_links_of_the_aims_lead_somewhere() -> None:
    page = advised(changed(calm(), "breaths", lambda t: t.assign(excess_s=0.44)))
    inside = {link.removeprefix("#") for link in page.links if link.startswith("#")}
    assert "plot-side-time" in inside
    assert inside <= set(page.ids)


def test_how_sure_what_waits_is_is_said_once_for_all_that_are_as_sure() -> None:
    analysis = with_findings(
        changed(calm(), "breaths", lambda t: t.assign(excess_s=0.44)), read_rules()
    )
    found = findings_of(analysis)[0]
    levels = ("likely", "sure", "likely", "sure")
    waits = [
        replace(found, rank=n, is_aim=False, title=f"Thing {n}", sure=sure)
        for n, sure in enumerate(levels, start=1)
    ]
    assert [(words, [f.rank for f in own]) for words, own in by_sureness(waits)] == [
        (SURE_WORDS["sure"], [2, 4]),
        (SURE_WORDS["likely"], [1, 3]),
    ]
    held = replace(analysis, findings=[f.as_dict() for f in waits])
    report = read(report_html(held)).text.split("What waits")[1]
    page = str(findings_part.section(held)).split("What waits")[1]
    for text in (report, page):
        assert [text.count(SURE_WORDS[level]) for level in ("sure", "likely")] == [1, 1]
        assert all(f"Thing {n}" in text for n in range(1, 5))


def test_what_is_only_possible_is_looked_at_and_never_called_an_aim() -> None:
    unsure = changed(calm(), "breaths", lambda t: t.assign(excess_s=0.7, confidence=0.87))
    both = changed(unsure, "arm_cycles", lambda t: t.assign(index_of_coordination_pct=-20.0))
    text = advised(both).text
    assert "Aim 1: A gap between the arms" in text
    looked = text.split(LOOK_AT)[1].split("What was swum")[0]
    assert "Long on the side" in looked
    assert "Camera: from the side" in looked
    alone = with_findings(unsure, read_rules())
    for page in (read(report_html(alone)).text, str(findings_part.section(alone))):
        assert "No finding is sure enough to be an aim" in page
        assert WORK_ON not in page
        assert LOOK_AT in page
