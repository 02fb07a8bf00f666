"""What stands out, on the review page: the aims first, each with its moments to look at."""

from __future__ import annotations

from typing import Any

from dash import html

from sensorswim.model.analysis import Analysis
from sensorswim.model.findings import Finding
from sensorswim.report.findings_section import (
    SURE_WORDS,
    by_sureness,
    findings_of,
    moment_words,
)


def section(analysis: Analysis) -> html.Section:
    """Return this part of the page."""
    found = findings_of(analysis)
    aims = [_aim(finding) for finding in found if finding.is_aim]
    rest = [finding for finding in found if not finding.is_aim]
    parts: list[Any] = [html.H2("What stands out")]
    if aims:
        words = "Work on these first; everything else can wait until they are better."
        parts += [html.P(words, className="reading"), html.Div(aims, className="aims")]
    else:
        words = "Nothing lies clearly beyond the bands of the rules in this session."
        parts.append(html.P(words, className="nothing"))
    if rest:
        parts.append(_waits(rest))
    if analysis.unsupported:
        parts.append(_unsupported(analysis))
    return html.Section(parts)


def _aim(finding: Finding) -> html.Article:
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
            html.H3(f"Aim {finding.rank}: {finding.title}"),
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


def _waits(rest: list[Finding]) -> html.Details:
    parts: list[Any] = [html.Summary(f"What waits ({len(rest)})")]
    for words, waiting in by_sureness(rest):
        lines = [html.Li([html.Strong(one.title), f". {one.text}"]) for one in waiting]
        parts += [html.P(words, className="reading"), html.Ul(lines)]
    return html.Details(parts)


def _unsupported(analysis: Analysis) -> html.Details:
    rows = [
        html.Li([html.Strong(row["title"]), f": needs {row['needs']}. Camera: {row['view']}."])
        for row in analysis.unsupported
    ]
    summary = html.Summary(f"Not looked for with what was worn ({len(rows)})")
    return html.Details([summary, html.Ul(rows)])
