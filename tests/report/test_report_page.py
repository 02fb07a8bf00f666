"""The page says what was found in plain words, and is safe with any text in it."""

from __future__ import annotations

import re
from dataclasses import replace
from html.parser import HTMLParser

import pytest

from sensorswim.metrics.video_marks import with_video_elbows
from sensorswim.model import Quality, SensorFile
from sensorswim.model.placement import Placement
from sensorswim.model.tables import empty, frame
from sensorswim.report import headline, report_html
from sensorswim.report.tables import lengths_sheet
from tests.plausible import bare_analysis, plausible_analysis, plausible_session, plausible_tables

VOID = {"meta", "link", "br", "img", "hr", "input"}


class Reader(HTMLParser):
    """Collects ids, links and visible text, and fails on a tag that isn't closed in order."""

    def __init__(self) -> None:
        super().__init__()
        self.open: list[str] = []
        self.ids: list[str] = []
        self.links: list[str] = []
        self.words: list[str] = []
        self.tags: list[str] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        given = dict(attrs)
        self.tags.append(tag)
        self.ids += [given["id"] or ""] if "id" in given else []
        self.links += [given["href"] or ""] if "href" in given else []
        assert not any(name.startswith("on") or name == "src" for name in given)
        if tag not in VOID:
            self.open.append(tag)

    def handle_endtag(self, tag: str) -> None:
        assert self.open.pop() == tag

    def handle_data(self, data: str) -> None:
        if not {"script", "style"} & set(self.open):
            self.words.append(data)

    @property
    def text(self) -> str:
        return " ".join(" ".join(self.words).split())


def read(page: str) -> Reader:
    reader = Reader()
    reader.feed(page)
    assert reader.open == []
    return reader


@pytest.fixture(scope="module")
def page() -> Reader:
    return read(report_html(plausible_analysis()))


def test_an_angle_in_a_picture_stands_beside_the_modelled_arm_and_its_own_band() -> None:
    tables = plausible_tables()
    strokes = tables["arm_strokes"].assign(elbow_front_deg=128.0, elbow_side_deg=165.0)
    middle = float(strokes["mid_pull_s"].dropna().iloc[3])
    for view, value, stands in (("front", 150.0, "straighter than the band"),
                                ("side", 160.0, "undecided"), ("below", 20.0, "–")):  # fmt: skip
        marks = frame("marks", [{"kind": "elbow_angle", "session_s": middle, "value": value,
                                 "unit": "deg", "view": view}])  # fmt: skip
        own = tables | {"arm_strokes": with_video_elbows(strokes, marks)}
        text = read(report_html(plausible_analysis(tables=own))).text
        assert f"{view} {value:.0f}" in text
        assert stands in text.partition("Elbow angles measured in pictures")[2][:600]


def test_elbows_from_upper_arm_sensors_do_not_ask_for_these_sensors() -> None:
    tables, words = plausible_tables(), "an upper-arm sensor or a film tells more"
    assert words in read(report_html(plausible_analysis(tables=tables))).text
    own = tables | {"arm_strokes": tables["arm_strokes"].assign(elbow_source="upper_arm")}
    assert words not in read(report_html(plausible_analysis(tables=own))).text


def test_ids_are_unique_and_every_link_leads_somewhere_in_the_page(page: Reader) -> None:
    assert len(page.ids) == len(set(page.ids))
    assert all(link.startswith("#") and link[1:] in page.ids for link in page.links)


def test_there_is_one_main_and_one_first_heading(page: Reader) -> None:
    for name in ("main", "header", "footer", "nav", "h1"):
        assert page.tags.count(name) == 1


def test_plotly_is_embedded_once() -> None:
    assert report_html(plausible_analysis()).count("plotly.js (cartesian - minified) v") == 1


def test_what_was_swum_comes_first(page: Reader) -> None:
    assert "8 lengths, 200 m in 3:12 min of swimming: 2 drill and 6 front crawl." in page.text
    assert page.text.index("8 lengths") < page.text.index("Rhythm of the kicks")


def test_roll_from_the_ankles_is_called_an_estimate(page: Reader) -> None:
    assert "52 degrees onto the right side, 41 degrees onto the left (an estimate" in page.text
    assert page.text.count("estimate from the ankles") >= 4


def test_roll_from_the_ankles_is_an_estimate_in_every_table_and_beside_what_was_felt() -> None:
    def told(source: str) -> str:
        analysis = plausible_analysis()
        analysis.tables["lengths"]["roll_source"] = source
        block = replace(analysis.session.blocks[0], felt={"roll_onto_left_deg": 60.0})
        session = replace(analysis.session, blocks=(block,))
        return read(report_html(replace(analysis, session=session))).text

    marked = (
        "roll left ° (estimate, ankles)",
        "roll onto the left, degrees (estimate) 60 41",
        "roll onto the right, degrees (estimate) 52",
        "roll onto the left, degrees (estimate) (drill) felt 60",
        "can't be held against each other",
    )
    assert [words in told("ankles") for words in marked] == [True] * 5
    assert [words in told("upper_back") for words in marked] == [False] * 5


def test_limits_and_cautions_are_told(page: Reader) -> None:
    for words in ("exhale", "shoulder blade", "trunk", "between the knees", "Never swim alone"):
        assert words in page.text
    assert "does not diagnose" in page.text


def test_no_verdicts_and_no_single_score(page: Reader) -> None:
    verdicts = r"\b(good|bad|poor|excellent|perfect|wrong|great|score|grade|rating)\b"
    assert not re.findall(verdicts, page.text, flags=re.IGNORECASE)


def test_a_swimmers_name_with_markup_stays_text() -> None:
    name = '<img src=x onerror="alert(1)"></script><script>alert(2)</script>'
    source = report_html(plausible_analysis(session=plausible_session(swimmer=name)))
    assert name in read(source).text
    assert "<img" not in source.split("<script>", maxsplit=1)[0]


def test_a_label_with_markup_can_not_end_the_data_it_is_in() -> None:
    analysis = plausible_analysis()
    label = "</script><script>alert(1)</script><!--"
    analysis.tables["lengths"]["block_label"] = label
    blocks = tuple(
        type(b)(start_s=b.start_s, end_s=b.end_s, label=label, felt=b.felt)
        for b in analysis.session.blocks
    )
    source = report_html(plausible_analysis(session=plausible_session(blocks=blocks)))
    assert "<script>alert" not in source
    read(source)


def test_invented_data_are_called_so_and_others_are_not(page: Reader) -> None:
    assert "Invented demo data" in page.text
    assert "Invented" not in read(report_html(bare_analysis())).text


def test_a_session_in_which_nothing_was_found_still_has_a_whole_page() -> None:
    text = read(report_html(bare_analysis())).text
    assert "No length was found in this session." in text
    for section in ("Kicks", "Roll and breaths", "Arms"):
        assert section in text
    assert 4 <= text.count("Nothing to draw:") <= 10


def test_pictures_that_want_the_same_sensor_say_so_together() -> None:
    tables = plausible_tables() | {name: empty(name) for name in ("roll", "rolls", "breaths")}
    tables["lengths"]["roll_source"] = None
    source = report_html(plausible_analysis(tables=tables))
    section = source.partition('<section id="roll"')[2].partition("</section>")[0]
    assert section.count('class="nothing"') == 1
    assert section.count("it needs a sensor on the back, or both ankles") == 1
    told = read(section.partition(">")[2]).text
    assert "Roll over the arm cycle; Roll over length 1; How far" in told


def test_what_was_not_asked_for_is_neither_in_the_page_nor_in_its_menu(page: Reader) -> None:
    assert {"felt", "carry-over"} <= set(page.ids)
    assert {"#felt", "#carry-over"} <= set(page.links)
    analysis = plausible_analysis(session=plausible_session(blocks=()))
    analysis.tables["lengths"]["set_as"] = "swim"
    plain = read(report_html(analysis))
    assert not {"felt", "carry-over"} & set(plain.ids)
    assert not {"#felt", "#carry-over"} & set(plain.links)
    assert "kicks" in plain.ids


def test_a_sensor_not_worn_is_told_with_what_it_would_add() -> None:
    wrist = (SensorFile(placement=Placement.LEFT_WRIST),)
    analysis = plausible_analysis(session=plausible_session(sensors=wrist), quality=Quality())
    text = read(report_html(analysis)).text
    assert "Ankle: the kicks and their rhythm" in text
    assert "Wrist: the arm strokes" not in text
    assert "Nothing was degraded" in text


def test_headline_says_not_known_and_never_zero_where_breaths_could_not_be_told() -> None:
    analysis = plausible_analysis()
    for column in ("breaths_left", "breaths_right"):
        analysis.tables["lengths"][column] = None
    lines = dict(headline(analysis))
    assert lines["Breaths"].startswith("Not known")


def test_headline_says_which_rolls_the_breaths_were_held_against() -> None:
    analysis = plausible_analysis()
    told = dict(headline(analysis))["Breaths"]
    assert told.endswith("longer than in own rolls to the same side without a breath.")
    rolls = analysis.tables["rolls"]
    rolls["is_breath"] = rolls["is_breath"] | rolls["side"].eq("right")
    told = dict(headline(analysis))["Breaths"]
    assert told.endswith("own rolls to the left without a breath, as there are none to the right.")


def test_breaths_without_a_roll_name_the_sensor_that_they_need() -> None:
    wrist = (SensorFile(placement=Placement.LEFT_WRIST),)
    analysis = plausible_analysis(session=plausible_session(sensors=wrist))
    for column in ("breaths_left", "breaths_right"):
        analysis.tables["lengths"][column] = None
    assert "a sensor on the back, or both ankles" in dict(headline(analysis))["Breaths"]


def test_breaths_that_were_told_are_shown_whatever_was_worn() -> None:
    ankle = (SensorFile(placement=Placement.LEFT_ANKLE),)
    told = dict(headline(plausible_analysis(session=plausible_session(sensors=ankle))))
    assert "Not known" not in told["Breaths"]
    heads = lengths_sheet(
        plausible_analysis().lengths.assign(kicks_per_cycle=float("nan")), ankles=("left",)
    )
    assert "kicks a min (left only)</th>" in heads


def test_strokes_of_one_wrist_are_called_that_arms_alone() -> None:
    wrist = (SensorFile(placement=Placement.LEFT_WRIST),)
    analysis = plausible_analysis(session=plausible_session(sensors=wrist))
    assert dict(headline(analysis))["Stroke"].endswith(". All from the left arm alone.")
    assert "alone" not in dict(headline(plausible_analysis()))["Stroke"]
    assert "arm strokes (left only)</th>" in lengths_sheet(analysis.lengths, ("left",))
    assert "only" not in lengths_sheet(analysis.lengths)
    assert "arm strokes (left only)</th>" in report_html(analysis)


def test_kicks_without_arm_cycles_are_told_a_length_and_a_minute() -> None:
    analysis = plausible_analysis()
    for column in ("kicks_per_cycle", "kick_beat"):
        analysis.tables["lengths"][column] = None
    assert dict(headline(analysis))["Kicks"] == (
        "54 downbeats in a length, 162 in a minute of swimming, of both legs; there are no arm "
        "cycles to set them against."
    )
    page = report_html(analysis)
    assert "kicks in the length</th>" in page
    assert "<td>54</td><td>162</td>" in page
    assert "beat</th>" not in page


def test_an_irregular_beat_is_called_none_in_the_table_of_lengths() -> None:
    analysis = plausible_analysis()
    analysis.tables["lengths"]["kick_beat"] = 0
    row = re.search(r"<tr><th scope=\"row\">1</th>.*?</tr>", report_html(analysis))
    assert row is not None
    assert "<td>none</td>" in row[0]


def test_kicks_a_cycle_come_with_their_range_as_other_figures_do() -> None:
    analysis = plausible_analysis()
    lengths = analysis.tables["lengths"]
    lengths["activity"] = "front_crawl"
    lengths["kicks_per_cycle"] = [4.0, *[5.5] * (len(lengths) - 2), 6.2]
    told = dict(headline(analysis))["Kicks"]
    assert told.endswith("5.5 kicks a cycle of both arms (from 4.0 to 6.2).")
    lengths["kicks_per_cycle"] = [1.0, 1.1, 1.2, 5.0, 5.1, 5.2, 5.2, 5.3]
    lengths["kick_beat"] = [2, 2, 2, 6, 6, 6, 6, 6]
    assert dict(headline(analysis))["Kicks"] == (
        "5 of 8 lengths with most cycles nearest to 6 kicks, but 5.2 on average; 3 of 8 lengths "
        "with most cycles nearest to 2 kicks, but 1.1 on average; kicks a cycle of both arms: 1.1 "
        "in 3 lengths and 5.2 in 5 lengths."
    )
    lengths["kicks_per_cycle"] = [0.0, 0.0, 2.0, 2.0, 4.0, 4.0, 6.0, 6.0]
    assert "(from 0.0 to 6.0)" in dict(headline(analysis))["Kicks"]
    lengths["kick_beat"] = 6
    lengths["kicks_per_cycle"] = 6.0
    assert dict(headline(analysis))["Kicks"].endswith("; 6.0 kicks a cycle of both arms.")
