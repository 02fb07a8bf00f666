"""report.html: one self-contained page for a coach and a swimmer."""

from __future__ import annotations

import json
from dataclasses import dataclass
from importlib.resources import files
from typing import Any, Final

import pandas as pd
import plotly.graph_objects as go
import plotly.io as pio
from plotly.offline import get_plotlyjs

from sensorswim import figures
from sensorswim.figures.style import CONFIG, DARK_OF
from sensorswim.model.analysis import Analysis
from sensorswim.model.placement import Limb
from sensorswim.model.tables import FORMAT
from sensorswim.report import tables, words
from sensorswim.report.headline import headline, worn
from sensorswim.report.markup import Html, in_script, join, tag, text

_POLICY: Final = (
    "default-src 'none'; script-src 'unsafe-inline'; style-src 'unsafe-inline'; "
    "img-src data: blob:; form-action 'none'; base-uri 'none'"
)
"""The browser itself keeps the page from asking anything of any network."""


@dataclass(frozen=True, kw_only=True)
class _Picture:
    """A figure with the sentence that stands before it."""

    key: str
    title: str
    reading: str
    figure: go.Figure


def report_html(analysis: Analysis) -> str:
    """Return the whole page.

    Parameters
    ----------
    analysis : Analysis
        Any answer, also one in which nothing was found.
    """
    session = analysis.session
    title = f"Swim of {session.swimmer}, {session.started_at:%d %B %Y}"
    head = join(
        [
            Html('<meta charset="utf-8">'),
            Html(f'<meta http-equiv="Content-Security-Policy" content="{_POLICY}">'),
            Html('<meta name="viewport" content="width=device-width, initial-scale=1">'),
            Html('<meta name="color-scheme" content="light dark">'),
            Html(f'<meta name="generator" content="sensorswim {text(analysis.version)}">'),
            tag("title", title),
            Html(f"<style>{_resource('look.css')}</style>"),
        ]
    )
    body = tag("body", _body(analysis, title), _scripts())
    return f'<!DOCTYPE html>\n<html lang="en">{tag("head", head)}{body}</html>\n'


def _resource(name: str) -> str:
    return files("sensorswim.report").joinpath(name).read_text(encoding="utf-8")


def _scripts() -> Html:
    look = in_script(json.dumps({"dark": DARK_OF, "config": CONFIG}))
    return join(
        [
            Html(f"<script>{get_plotlyjs()}</script>"),
            Html(f'<script type="application/json" id="look">{look}</script>'),
            Html(f"<script>{_resource('look.js')}</script>"),
        ]
    )


def _body(analysis: Analysis, title: str) -> Html:
    sections = [
        _section("swum", "What was swum", _pictures(_swum(analysis))),
        _section("kicks", "Kicks", _pictures(_kicks(analysis))),
        _section("roll", "Roll and breaths", _pictures(_roll(analysis))),
        _section("arms", "Arms", _pictures(_arms(analysis))),
        _section("felt", "Felt and measured", _felt(analysis)),
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
        ("swum", "What was swum"),
        ("kicks", "Kicks"),
        ("roll", "Roll and breaths"),
        ("arms", "Arms"),
        ("felt", "Felt and measured"),
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
    lines = [str(finding["text"]) for finding in analysis.findings if finding.get("text")]
    if not lines:
        return Html("")
    return _section("findings", "What stands out", tag("ul", *(tag("li", x) for x in lines)))


def _pictures(pictures: list[_Picture]) -> Html:
    return join(_figure(picture) for picture in pictures)


def _figure(picture: _Picture) -> Html:
    alt = figures.alt_of(picture.figure)
    if figures.is_blank(picture.figure):
        note = tag("p", alt, class_="nothing")
        return tag("div", tag("h3", picture.title), note, class_="picture")
    data = in_script(pio.to_json(picture.figure, validate=False))
    height = int(picture.figure.layout.height)
    plot = tag(
        "div",
        id=f"plot-{picture.key}",
        class_="plot",
        role="img",
        aria_label=alt,
        style=f"height:{height}px",
    )
    spec = Html(f'<script type="application/json" class="spec">{data}</script>')
    figure = tag("figure", plot, spec, tag("figcaption", "In words: ", alt))
    reading = tag("p", picture.reading, class_="reading")
    return tag("div", tag("h3", picture.title), reading, figure, class_="picture")


def _swum(analysis: Analysis) -> list[_Picture]:
    return [
        _Picture(
            key="swum",
            title="The session on its time line",
            reading="Each bar is one length, in the row of what was swum; pale bars are rests. "
            "Dotted frames are the blocks that were set.",
            figure=figures.draw_swum(analysis.lengths, analysis.session.blocks),
        ),
        _Picture(
            key="pace",
            title="Speed, stroke rate and stroke length",
            reading="One mark a length. Read the three together: speed is what rate and length "
            "make of each other. Open marks are drills or kicking.",
            figure=figures.draw_pace(analysis.lengths),
        ),
    ]


def _kicks(analysis: Analysis) -> list[_Picture]:
    return [
        _Picture(
            key="kicks",
            title="Rhythm of the kicks within the arm cycle",
            reading="Each row is one arm cycle, from one entry of the hand to the next; each mark "
            "is one downbeat. Straight columns are a steady rhythm, slanting ones drift, a hole is "
            "a missing kick. On the right: how many kicks the cycle holds, a square where "
            "it isn't its length's usual number. Below: all cycles together, left leg up, right "
            "leg down.",
            figure=figures.draw_kick_rhythm(analysis.kicks, analysis.arm_cycles),
        )
    ]


def _roll(analysis: Analysis) -> list[_Picture]:
    number = _typical_length(analysis.lengths)
    t = analysis.tables
    example = figures.draw_roll_of_length(t["roll"], t["breaths"], t["lengths"], length_no=number)
    return [
        _Picture(
            key="roll-typical",
            title="Roll over the arm cycle",
            reading="The line is the typical cycle, the band holds 8 of 10 cycles. Up means "
            "rolled onto the right side, down onto the left; 0 is flat on the front."
            + _estimate(analysis),
            figure=figures.draw_typical_roll(t["roll"], t["arm_cycles"], t["lengths"]),
        ),
        _Picture(
            key="roll-length",
            title=f"Roll over length {number}, with its breaths",
            reading="The length whose roll is nearest to the session's middle. Marks are the "
            "breaths, at the largest roll." + _estimate(analysis),
            figure=example,
        ),
        _Picture(
            key="roll-peaks",
            title="How far each roll goes",
            reading="One mark a roll; the box holds the middle half, its line is the median. "
            "Compare left with right, and rolls with and without a breath." + _estimate(analysis),
            figure=figures.draw_roll_peaks(t["rolls"]),
        ),
        _Picture(
            key="side-time",
            title="Time on the side, breath by breath",
            reading="One mark a breath. The dashed line and its band are the same swimmer's rolls "
            "without a breath: what lies above is the time that breathing adds."
            + _estimate(analysis),
            figure=figures.draw_side_time(t["breaths"], t["rolls"]),
        ),
    ]


def _typical_length(lengths: pd.DataFrame) -> int:
    """Return the length whose roll is nearest to the session's median, else the first."""
    size = (lengths["roll_onto_left_deg"] + lengths["roll_onto_right_deg"]).dropna()
    if size.empty:
        return int(lengths["length_no"].iloc[0]) if len(lengths) else 1
    nearest = int((size - size.median()).abs().to_numpy().argmin())
    return int(lengths["length_no"].loc[size.index].iloc[nearest])


def _estimate(analysis: Analysis) -> str:
    if not analysis.lengths["roll_source"].eq("ankles").any():
        return ""
    return " This roll is an estimate from the ankles: smaller and a little later than the back's."


def _arms(analysis: Analysis) -> list[_Picture]:
    t = analysis.tables
    return [
        _Picture(
            key="phases",
            title="Phases of each arm",
            reading="Each bar is one arm's whole cycle: reaching and gliding, the two parts of the "
            "pull, and the way back over the water. Compare the arms part by part.",
            figure=figures.draw_arm_phases(t["arm_strokes"]),
        ),
        _Picture(
            key="coordination",
            title="How the arms take over from each other",
            reading="At the dashed line one arm starts to pull as the other ends; below it there "
            "is a gap, above it they overlap. Neither is better as such: it goes with speed "
            "and distance. Dashes are single cycles.",
            figure=figures.draw_coordination(t["lengths"], t["arm_cycles"]),
        ),
    ]


def _felt(analysis: Analysis) -> Html:
    picture = _Picture(
        key="felt",
        title="Belief and measurement side by side",
        reading="Diamonds: what the swimmer felt before seeing any figure. Dots: what was measured "
        "in that block. Where the two lie apart there is something to feel for.",
        figure=figures.draw_felt(analysis.session.blocks, analysis.lengths),
    )
    return join([_figure(picture), tables.felt_sheet(analysis)])


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
