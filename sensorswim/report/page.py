"""report.html: one self-contained page for a coach and a swimmer."""

from __future__ import annotations

from typing import Any, NamedTuple

from sensorswim.figures import alt_of, is_blank
from sensorswim.model.analysis import Analysis
from sensorswim.model.placement import Limb
from sensorswim.model.tables import FORMAT
from sensorswim.report import tables, words
from sensorswim.report.findings_section import findings_html
from sensorswim.report.headline import headline, sides_worn, worn
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


class _Part(NamedTuple):
    """A section of the page; without content it is left out, of the menu too."""

    key: str
    menu: str
    title: str
    content: Html


def _body(analysis: Analysis, title: str) -> Html:
    parts = [part for part in _parts(analysis) if part.content]
    skip = tag("a", "Skip to the report", href="#main", class_="skip")
    main = tag("main", *(_section(part) for part in parts), id="main")
    return join([skip, _header(analysis, title), _contents(parts), main, _footer(analysis)])


def _parts(analysis: Analysis) -> list[_Part]:
    cautions = tag("ul", *(tag("li", c) for c in words.CAUTIONS))
    return [
        _Part("headline", "In short", "In short", _headline(analysis)),
        _Part("findings", "What stands out", "What stands out", findings_html(analysis)),
        _Part("swum", "What was swum", "What was swum", _drawn(swum_pictures(analysis))),
        _Part("kicks", "Kicks", "Kicks", _drawn(kicks_pictures(analysis))),
        _Part("roll", "Roll and breaths", "Roll and breaths", _drawn(roll_pictures(analysis))),
        _Part("arms", "Arms", "Arms", _arms(analysis)),
        _Part("felt", "Felt and measured", "Felt and measured", _felt(analysis)),
        _Part("carry-over", "Drill to swim", "From drill to swum lengths", _carry_over(analysis)),
        _Part("lengths", "Length by length", "Length by length",
              tables.lengths_sheet(
                  analysis.lengths,
                  sides_worn(analysis, Limb.WRIST),
                  sides_worn(analysis, Limb.ANKLE),
              )),
        _Part("unseen", "Not seen", "What these sensors can't see", _unseen(analysis)),
        _Part("quality", "How sure", "How sure the data are", tables.quality_sheet(analysis)),
        _Part("cautions", "Cautions", "Cautions", cautions),
        _Part("definitions", "Words", "What the words mean",
              tables.definition_list(words.DEFINITIONS)),
    ]  # fmt: skip


def _header(analysis: Analysis, title: str) -> Html:
    session = analysis.session
    sensors = ", ".join(sensor.placement.label for sensor in session.sensors)
    line = f"Pool of {session.pool_length_m:g} m. Sensors worn: {sensors}."
    parts = [tag("h1", title), tag("p", line)]
    if session.extra.get("invented"):
        parts.insert(0, tag("p", "Invented demo data: no such swim took place.", class_="invented"))
    return tag("header", *parts)


def _contents(parts: list[_Part]) -> Html:
    links = [tag("li", tag("a", part.menu, href=f"#{part.key}")) for part in parts]
    return tag("nav", tag("ul", *links), aria_label="Sections")


def _section(part: _Part) -> Html:
    heading = tag("h2", part.title, id=f"{part.key}-title")
    return tag("section", heading, part.content, id=part.key, aria_labelledby=f"{part.key}-title")


def _headline(analysis: Analysis) -> Html:
    facts = [tag("div", tag("dt", s), tag("dd", line)) for s, line in headline(analysis)]
    note = tag(
        "p", "Stroke, kicks, roll and arms: the front-crawl lengths, if there are any.",
        class_="reading",
    )  # fmt: skip
    return join([note, tag("dl", *facts, class_="facts")])


def _carry_over(analysis: Analysis) -> Html:
    """Return how drills carried over, "" where none was set."""
    drilled = analysis.lengths["set_as"].eq("drill").any()
    return tables.carry_over_sheet(analysis) if drilled else Html("")


def _drawn(pictures: list[Picture]) -> Html:
    """Return the pictures, and in one box after them why the others can't be drawn."""
    missing = [picture for picture in pictures if is_blank(picture.figure)]
    if len(missing) < 2:
        return join(picture_html(picture) for picture in pictures)
    drawn = [picture_html(picture) for picture in pictures if picture not in missing]
    return join([*drawn, _missing(missing)])


def _missing(pictures: list[Picture]) -> Html:
    titles: dict[str, list[str]] = {}
    for picture in pictures:
        titles.setdefault(alt_of(picture.figure), []).append(picture.title)
    lines = [tag("li", tag("b", "; ".join(own)), ". ", why) for why, own in titles.items()]
    return tag("ul", *lines, class_="nothing")


def _arms(analysis: Analysis) -> Html:
    return join([_drawn(arms_pictures(analysis)), tables.elbow_pictures_sheet(analysis)])


def _felt(analysis: Analysis) -> Html:
    """Return belief beside measurement, "" where nobody wrote down what was felt."""
    if not any(block.felt for block in analysis.session.blocks):
        return Html("")
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
