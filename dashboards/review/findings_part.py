"""What stands out, on the review page: the aims first, each with its moments to look at."""

from __future__ import annotations

from typing import Any

from dash import html

from sensorswim.model.analysis import Analysis
from sensorswim.model.findings import POSSIBLE, Finding
from sensorswim.report.findings_section import (
    LOOK_AT,
    SURE_WORDS,
    WORK_ON,
    by_sureness,
    findings_of,
    moment_words,
    no_aim,
    no_breaths,
    waiting_of,
)


def section(analysis: Analysis) -> html.Section:
    """Return this part of the page."""
    found = findings_of(analysis)
    firm = [finding for finding in found if finding.is_aim]
    aims = [_aim(number, finding) for number, finding in enumerate(firm, start=1)]
    parts: list[Any] = [html.H2("What stands out")]
    if aims:
        parts += [html.P(WORK_ON, className="reading"), html.Div(aims, className="aims")]
    else:
        parts.append(html.P(no_aim(analysis), className="nothing"))
    if unsaid := no_breaths(analysis):
        parts.append(html.P(unsaid, className="nothing"))
    parts += [_waits(heading, waiting) for heading, waiting in waiting_of(found)]
    if analysis.unsupported:
        parts.append(_unsupported(analysis))
    return html.Section(parts)


def _aim(number: int, finding: Finding) -> html.Article:
    rows = (
        ("What to change", finding.aim),
        ("Why it matters", finding.why),
        ("How sure", SURE_WORDS[finding.sure]),
        ("What looks alike", finding.confused_with),
        ("Camera", finding.view),
        ("Where the band comes from", finding.reference),
    )
    facts = [html.Div([html.Dt(name), html.Dd(words)]) for name, words in rows if words]
    return html.Article(
        [
            html.H3(f"Aim {number}: {finding.title}"),
            html.P(finding.text, className="measured"),
            html.Div(_moments(finding), className="row"),
            html.Details([html.Summary("More about it"), html.Dl(facts, className="facts")]),
        ],
        className="aim",
    )


def _moments(finding: Finding) -> list[html.Button]:
    return [
        html.Button(
            f"Look: {moment_words(moment)}",
            type="button",
            **{"data-moment": f"{moment.session_s:.3f}"},
        )
        for moment in finding.moments
    ]


def _waits(heading: str, rest: list[Finding]) -> html.Details:
    parts: list[Any] = [html.Summary(f"{heading} ({len(rest)})")]
    for words, waiting in by_sureness(rest):
        lines = [html.Li(_waiting(finding)) for finding in waiting]
        parts += [html.P(words, className="reading"), html.Ul(lines)]
    return html.Details(parts, open=heading == LOOK_AT)


def _waiting(finding: Finding) -> list[Any]:
    words = [html.Strong(finding.title), f". {finding.text}"]
    if finding.sure != POSSIBLE:
        return words
    return [*words, html.Div(_moments(finding), className="row"), f"Camera: {finding.view}."]


def _unsupported(analysis: Analysis) -> html.Details:
    rows = [
        html.Li([html.Strong(row["title"]), f": needs {row['needs']}. Camera: {row['view']}."])
        for row in analysis.unsupported
    ]
    summary = html.Summary(f"Not looked for with what was worn ({len(rows)})")
    return html.Details([summary, html.Ul(rows)])
