"""report.html: one self-contained page for a coach and a swimmer."""

from __future__ import annotations

from typing import Any

from sensorswim.model.analysis import Analysis
from sensorswim.model.placement import Limb
from sensorswim.model.tables import FORMAT
from sensorswim.report import tables, words
from sensorswim.report.findings_section import findings_html
from sensorswim.report.headline import headline, worn
from sensorswim.report.markup import Html, join, tag
from sensorswim.report.pictures import (
    Picture,
    arms_pictures,
    document,
    felt_pictures,
    kicks_pictures,
    picture_html,
    roll_pictures,
    swum_pictures,
)


def report_html(analysis: Analysis) -> str:
    """Return the whole page.

    Parameters
    ----------
    analysis : Analysis
        Any answer, also one in which nothing was found.
    """
    session = analysis.session
    title = f"Swim of {session.swimmer}, {session.started_at:%d %B %Y}"
    return document(title, analysis.version, ("look.css",), _body(analysis, title))


def _body(analysis: Analysis, title: str) -> Html:
    sections = [
        _section("swum", "What was swum", _drawn(swum_pictures(analysis))),
        _section("kicks", "Kicks", _drawn(kicks_pictures(analysis))),
        _section("roll", "Roll and breaths", _drawn(roll_pictures(analysis))),
        _section("arms", "Arms", _arms(analysis)),
        _section("felt", "Felt and measured", _felt(analysis)),
        _carry_over(analysis),
        _section("lengths", "Length by length", tables.lengths_sheet(analysis.lengths)),
        _section("unseen", "What these sensors can't see", _unseen(analysis)),
        _section("quality", "How sure the data are", tables.quality_sheet(analysis)),
        _section("cautions", "Cautions", tag("ul", *(tag("li", c) for c in words.CAUTIONS))),
        _section("definitions", "What the words mean", tables.definition_list(words.DEFINITIONS)),
    ]
    skip = tag("a", "Skip to the report", href="#main", class_="skip")
    main = tag("main", _headline(analysis), _findings(analysis), *sections, id="main")
    return join([skip, _header(analysis, title), _contents(), main, _footer(analysis)])


def _header(analysis: Analysis, title: str) -> Html:
    session = analysis.session
    sensors = ", ".join(sensor.placement.label for sensor in session.sensors)
    line = f"Pool of {session.pool_length_m:g} m. Sensors worn: {sensors}."
    parts = [tag("h1", title), tag("p", line)]
    if session.extra.get("invented"):
        parts.insert(0, tag("p", "Invented demo data: no such swim took place.", class_="invented"))
    return tag("header", *parts)


def _contents() -> Html:
    entries = (
        ("headline", "In short"),
        ("findings", "What stands out"),
        ("swum", "What was swum"),
        ("kicks", "Kicks"),
        ("roll", "Roll and breaths"),
        ("arms", "Arms"),
        ("felt", "Felt and measured"),
        ("carry-over", "Drill to swim"),
        ("lengths", "Length by length"),
        ("unseen", "Not seen"),
        ("quality", "How sure"),
        ("cautions", "Cautions"),
        ("definitions", "Words"),
    )
    links = [tag("li", tag("a", words_, href=f"#{key}")) for key, words_ in entries]
    return tag("nav", tag("ul", *links), aria_label="Sections")


def _section(key: str, title: str, content: Html) -> Html:
    heading = tag("h2", title, id=f"{key}-title")
    return tag("section", heading, content, id=key, aria_labelledby=f"{key}-title")


def _headline(analysis: Analysis) -> Html:
    facts = [tag("div", tag("dt", s), tag("dd", line)) for s, line in headline(analysis)]
    note = tag(
        "p", "Stroke, kicks, roll and arms: the front-crawl lengths, if there are any.",
        class_="reading",
    )  # fmt: skip
    return _section("headline", "In short", join([note, tag("dl", *facts, class_="facts")]))


def _findings(analysis: Analysis) -> Html:
    return _section("findings", "What stands out", findings_html(analysis))


def _carry_over(analysis: Analysis) -> Html:
    return _section("carry-over", "From drill to swum lengths", tables.carry_over_sheet(analysis))


def _drawn(pictures: list[Picture]) -> Html:
    return join(picture_html(picture) for picture in pictures)


def _arms(analysis: Analysis) -> Html:
    return join([_drawn(arms_pictures(analysis)), tables.elbow_pictures_sheet(analysis)])


def _felt(analysis: Analysis) -> Html:
    return join([_drawn(felt_pictures(analysis)), tables.felt_sheet(analysis)])


def _unseen(analysis: Analysis) -> Html:
    views = tables.sheet(
        "Not seen by any sensor here, and the camera view that shows it",
        ["what", "camera view"],
        words.BLIND_SPOTS,
    )
    missing = [limb for limb in Limb if limb not in worn(analysis)]
    adds = [tag("li", f"{_limb_word(limb)}: {words.SENSOR_ADDS[limb]}.") for limb in missing]
    parts: list[Any] = [views]
    if adds:
        parts += [tag("h3", "What a further sensor would add"), tag("ul", *adds)]
    return join(parts)


def _limb_word(limb: Limb) -> str:
    return limb.value.replace("_", " ").capitalize()


def _footer(analysis: Analysis) -> Html:
    line = (
        f"sensorswim {analysis.version}, format {FORMAT}, settings {analysis.settings.hash[:16]}. "
        "All figures are in the tables beside this page; sensorswim codebook explains them."
    )
    return tag("footer", tag("p", line))
