"""The report's pictures: which there are, and how one stands on a page."""

from __future__ import annotations

import json
from collections.abc import Callable
from dataclasses import dataclass, replace
from importlib.resources import files
from typing import Final

import pandas as pd
import plotly.graph_objects as go
import plotly.io as pio

from sensorswim import figures
from sensorswim.figures.style import CONFIG, DARK_OF
from sensorswim.metrics.felt import ankle_roll
from sensorswim.model.analysis import Analysis
from sensorswim.model.findings import Finding
from sensorswim.report.markup import Html, in_script, join, tag, text

_POLICY: Final = (
    "default-src 'none'; script-src 'unsafe-inline'; style-src 'unsafe-inline'; "
    "img-src data: blob:; form-action 'none'; base-uri 'none'"
)
"""The browser itself keeps the page from asking anything of any network."""


@dataclass(frozen=True, kw_only=True)
class Picture:
    """A figure with the sentence that stands before it."""

    key: str
    title: str
    reading: str
    figure: go.Figure


def document(title: str, version: str, styles: tuple[str, ...], body: Html) -> str:
    """Return a whole self-contained page that draws its pictures itself.

    Parameters
    ----------
    title, version : str
    styles : tuple of str
        Names of style sheets of this package, in order.
    body : Html
        What the body holds.
    """
    sheets = "".join(resource(name) for name in styles)
    head = join(
        [
            Html('<meta charset="utf-8">'),
            Html(f'<meta http-equiv="Content-Security-Policy" content="{_POLICY}">'),
            Html('<meta name="viewport" content="width=device-width, initial-scale=1">'),
            Html('<meta name="color-scheme" content="light dark">'),
            Html(f'<meta name="generator" content="sensorswim {text(version)}">'),
            tag("title", title),
            Html(f"<style>{sheets}</style>"),
        ]
    )
    whole = tag("body", body, _scripts())
    return f'<!DOCTYPE html>\n<html lang="en">{tag("head", head)}{whole}</html>\n'


def resource(name: str) -> str:
    """Return a text file of this package."""
    return files("sensorswim.report").joinpath(name).read_text(encoding="utf-8")


def _scripts() -> Html:
    look = in_script(json.dumps({"dark": DARK_OF, "config": CONFIG}))
    return join(
        [
            Html(f"<script>{figures.plotting_library()}</script>"),
            Html(f'<script type="application/json" id="look">{look}</script>'),
            Html(f"<script>{resource('look.js')}</script>"),
        ]
    )


def picture_html(picture: Picture) -> Html:
    """Return the picture with its sentence and its text alternative."""
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


def swum_pictures(analysis: Analysis) -> list[Picture]:
    """Return the pictures of what was swum."""
    return [
        Picture(
            key="swum",
            title="The session on its time line",
            reading="Each bar is one length, in the row of what was swum; pale bars are rests. "
            "Dotted frames are the blocks that were set.",
            figure=figures.draw_swum(analysis.lengths, analysis.session.blocks),
        ),
        Picture(
            key="pace",
            title="Speed, stroke rate and stroke length",
            reading="One mark a length. Read the three together: speed is what rate and length "
            "make of each other. Open marks are drills or kicking.",
            figure=figures.draw_pace(analysis.lengths),
        ),
    ]


def kicks_pictures(analysis: Analysis) -> list[Picture]:
    """Return the pictures of the kicks."""
    return [
        Picture(
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


def roll_pictures(analysis: Analysis) -> list[Picture]:
    """Return the pictures of roll and breaths."""
    number = _typical_length(analysis.lengths)
    t = analysis.tables
    example = figures.draw_roll_of_length(t["roll"], t["breaths"], t["lengths"], length_no=number)
    return [
        Picture(
            key="roll-typical",
            title="Roll over the arm cycle",
            reading="The line is the typical cycle, the band holds 8 of 10 cycles. Up means "
            "rolled onto the right side, down onto the left; 0 is flat on the front."
            + _estimate(analysis),
            figure=figures.draw_typical_roll(t["roll"], t["arm_cycles"], t["lengths"]),
        ),
        Picture(
            key="roll-length",
            title=f"Roll over length {number}",
            reading="The length whose roll is nearest to the session's middle. Marks are the "
            "breaths, at the largest roll." + _estimate(analysis),
            figure=example,
        ),
        Picture(
            key="roll-peaks",
            title="How far each roll goes",
            reading="One mark a roll; the box holds the middle half, its line is the median. "
            "Compare left with right, and rolls with and without a breath." + _estimate(analysis),
            figure=figures.draw_roll_peaks(t["rolls"]),
        ),
        Picture(
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


def arms_pictures(analysis: Analysis) -> list[Picture]:
    """Return the pictures of the arms."""
    t = analysis.tables
    return [
        Picture(
            key="phases",
            title="Phases of each arm",
            reading="Each bar is one arm's whole cycle: reaching and gliding, the two parts of the "
            "pull, and the way back over the water. Compare the arms part by part.",
            figure=figures.draw_arm_phases(t["arm_strokes"]),
        ),
        Picture(
            key="coordination",
            title="How the arms take over from each other",
            reading="At the dashed line one arm starts to pull as the other ends; below it there "
            "is a gap, above it they overlap. Neither is better as such: it goes with speed "
            "and distance. Dashes are single cycles.",
            figure=figures.draw_coordination(t["lengths"], t["arm_cycles"]),
        ),
        Picture(
            key="hand-paths",
            title="The way of each hand",
            reading="The wrist's way over one cycle, seen from its shoulder; the thick line is "
            "the median, thin lines single lengths, crosses the spread between cycles. It is "
            "all an estimate, worked out from the wrist to within several centimetres. How far out "
            "it lies rests on an assumption, so the lines are dotted in the view from the front.",
            figure=figures.draw_hand_paths(t["hand_paths"]),
        ),
        Picture(
            key="elbows",
            title="Elbow angle at mid-pull",
            reading="180 degrees is a straight arm. The grey band is the one of the settings "
            "(default 100 to 120 degrees: common practice, no source). Open marks are undecided: "
            "the band's edge lies within their uncertainty." + _from_the_wrist(t["arm_strokes"]),
            figure=figures.draw_elbows(
                t["arm_strokes"],
                t["lengths"],
                analysis.settings.elbow_band_low_deg,
                analysis.settings.elbow_band_high_deg,
            ),
        ),
    ]


def _from_the_wrist(arm_strokes: pd.DataFrame) -> str:
    """Return what an angle that was worked out from the wrist alone is good for, "" without one."""
    if not arm_strokes["elbow_source"].eq("wrist_model").any():
        return ""
    return (
        " From the wrist alone, a change is surer than the level; an upper-arm sensor or a film "
        "tells more."
    )


def felt_pictures(analysis: Analysis) -> list[Picture]:
    """Return the picture of belief and measurement."""
    return [
        Picture(
            key="felt",
            title="Belief and measurement side by side",
            reading="Diamonds: what the swimmer felt before seeing any figure. Dots: what was "
            "measured in that block. Where the two lie apart there is something to feel for."
            + _roll_felt(analysis),
            figure=figures.draw_felt(analysis.session.blocks, analysis.lengths),
        )
    ]


def _roll_felt(analysis: Analysis) -> str:
    """Return that a felt roll can't be held against the ankles', "" where none was."""
    felt = {column for block in analysis.session.blocks for column in block.felt}
    if not any(ankle_roll(column, analysis.lengths) for column in felt):
        return ""
    return (
        " The roll is the exception: the ankles' estimate is smaller than the roll that is felt, "
        "so the two can't be held against each other."
    )


_EVIDENCE: Final = {
    "breath_excess_s": "side-time",
    "breath_share_pct": "side-time",
    "breath_lateness_pct": "roll-length",
    "lead_arm_tilt_deg": "roll-length",
    "breath_kick_extra_pct": "kicks",
    "roll_deg": "roll-peaks",
    "breath_roll_deg": "roll-peaks",
    "roll_difference_pct": "roll-peaks",
    "kicks_per_cycle": "kicks",
    "kick_count_odd_pct": "kicks",
    "kick_slip_pct": "kicks",
    "kick_size_difference_pct": "kicks",
    "arm_lag_pct": "coordination",
    "arm_lag_difference_pct": "phases",
    "elbow_angle_deg": "elbows",
    "elbow_difference_deg": "elbows",
    "pull_depth_pct": "hand-paths",
    "stroke_rate_drift_pct": "pace",
    "stroke_length_drift_pct": "pace",
    "felt_apart": "felt",
}
"""Which picture shows the figure of a finding."""


def evidence_key(measure: str) -> str | None:
    """Return the key of the picture that shows a measure, None where none does."""
    return _EVIDENCE.get(measure)


def evidence_picture(finding: Finding, analysis: Analysis) -> Picture | None:
    """Return a small picture of a finding, None where none shows it or there is nothing to draw.

    Kicks are drawn for the lengths of the finding's moments only, beliefs for its own figure only,
    elbows for its own arm only.
    """
    key = evidence_key(finding.measure)
    if key is None:
        return None
    part = _part_of(analysis, finding, key)
    found = next(p for p in _MAKERS[key](part) if p.key == key)
    return None if figures.is_blank(found.figure) else found


def _part_of(analysis: Analysis, finding: Finding, key: str) -> Analysis:
    if key == "felt":
        blocks = tuple(
            replace(b, felt={k: v for k, v in b.felt.items() if k == finding.source})
            for b in analysis.session.blocks
        )
        return replace(analysis, session=replace(analysis.session, blocks=blocks))
    if key == "elbows":
        strokes = analysis.arm_strokes
        own = strokes.loc[strokes["side"].eq(finding.side).fillna(value=False).astype(bool)]
        return replace(analysis, tables=dict(analysis.tables) | {"arm_strokes": own})
    if key == "kicks" and finding.moments:
        numbers = {moment.length_no for moment in finding.moments}
        tables = {
            name: analysis.tables[name].loc[analysis.tables[name]["length_no"].isin(numbers)]
            for name in ("kicks", "arm_cycles")
        }
        return replace(analysis, tables=dict(analysis.tables) | tables)
    return analysis


_MAKERS: Final[dict[str, Callable[[Analysis], list[Picture]]]] = {
    "side-time": roll_pictures,
    "roll-length": roll_pictures,
    "roll-peaks": roll_pictures,
    "kicks": kicks_pictures,
    "coordination": arms_pictures,
    "phases": arms_pictures,
    "elbows": arms_pictures,
    "hand-paths": arms_pictures,
    "pace": swum_pictures,
    "felt": felt_pictures,
}
