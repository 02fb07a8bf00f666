"""What stands out, in a coach's words: aims, what to look at, what waits, what wasn't seen."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any, Final

from sensorswim.model.analysis import Analysis
from sensorswim.model.findings import POSSIBLE, Finding, Moment
from sensorswim.report.headline import clock
from sensorswim.report.markup import Html, join, tag
from sensorswim.report.pictures import evidence_key

SURE_WORDS: Final = {
    "sure": "Sure: it stands well clear of what could be chance or error.",
    "likely": "Likely: it stands clear of what could be chance or error, but not by far.",
    POSSIBLE: "Possible: look at it before acting on it.",
}
WORK_ON: Final = "Work on these first; everything else can wait until they are better."
LOOK_AT: Final = "To look at before acting on it"
"""The heading over what is only possible."""


def findings_of(analysis: Analysis) -> list[Finding]:
    """Return the findings of an analysis, in their order."""
    return [Finding.from_dict(finding) for finding in analysis.findings]


def findings_html(analysis: Analysis) -> Html:
    """Return the aims, what to look at, what waits, and what these sensors could not answer."""
    found = findings_of(analysis)
    aims = [finding for finding in found if finding.is_aim]
    parts: list[Html] = []
    if aims:
        parts.append(tag("p", WORK_ON, class_="reading"))
        parts += [_aim(number, finding) for number, finding in enumerate(aims, start=1)]
    else:
        parts.append(tag("p", no_aim(analysis), class_="nothing"))
    if unsaid := no_breaths(analysis):
        parts.append(tag("p", unsaid, class_="nothing"))
    for heading, waiting in waiting_of(found):
        parts += [tag("h3", heading), *_waits(waiting)]
    if analysis.unsupported:
        parts.append(_unsupported(analysis.unsupported))
    return join(parts)


def waiting_of(found: Iterable[Finding]) -> list[tuple[str, list[Finding]]]:
    """Return what is no aim under its headings: what is only possible first, then what waits."""
    rest = [finding for finding in found if not finding.is_aim]
    groups = [
        (LOOK_AT, [finding for finding in rest if finding.sure == POSSIBLE]),
        ("What waits", [finding for finding in rest if finding.sure != POSSIBLE]),
    ]
    return [(heading, own) for heading, own in groups if own]


def _waits(waiting: Iterable[Finding]) -> Iterable[Html]:
    for words, own in by_sureness(waiting):
        yield tag("p", words, class_="reading")
        yield tag("ul", *(_waiting(finding) for finding in own))


def _waiting(finding: Finding) -> Html:
    look = [" ", where_to_look(finding)] if finding.sure == POSSIBLE else []
    return tag("li", tag("b", finding.title), ". ", finding.text, *look)


def by_sureness(findings: Iterable[Finding]) -> list[tuple[str, list[Finding]]]:
    """Return findings that are equally sure together, under the words for that; surest first."""
    known = list(findings)
    groups = [(words, [f for f in known if f.sure == sure]) for sure, words in SURE_WORDS.items()]
    return [(words, own) for words, own in groups if own]


def no_aim(analysis: Analysis) -> str:
    """Return why there is no aim."""
    if analysis.findings:
        return (
            "No finding is sure enough to be an aim. Look at what may lie beyond the bands before "
            "acting on it."
        )
    if analysis.lengths["activity"].eq("front_crawl").any():
        return "Nothing lies clearly beyond the bands of the rules in this session."
    return "There is no plain front crawl in this session to look at."


def no_breaths(analysis: Analysis) -> str:
    """Return that breaths could not be told where crawl was swum, "" where they could."""
    lengths = analysis.lengths
    told = lengths["breaths_left"].notna() | lengths["breaths_right"].notna()
    if told.any() or not lengths["activity"].eq("front_crawl").any():
        return ""
    return "Breaths could not be told this time, so nothing about them was looked for."


def _aim(number: int, finding: Finding) -> Html:
    rows: list[tuple[str, object]] = [
        ("What was measured", finding.text),
        ("What to change", finding.aim),
        ("Why it matters", finding.why),
        ("How sure", SURE_WORDS[finding.sure]),
        ("What looks alike", finding.confused_with),
        ("Where to look", where_to_look(finding)),
        ("Where the band comes from", finding.reference),
    ]
    facts = [tag("div", tag("dt", name), tag("dd", words)) for name, words in rows if words]
    title = tag("h3", f"Aim {number}: {finding.title}")
    return tag("article", title, tag("dl", *facts), class_="aim", id=f"aim-{number}")


def where_to_look(finding: Finding) -> Html:
    """Return the best moments, the picture and the camera view."""
    parts: list[object] = []
    if finding.moments:
        parts.append("; ".join(moment_words(moment) for moment in finding.moments) + ". ")
    key = evidence_key(finding.measure)
    if key is not None:
        anchor = key if key == "felt" else f"plot-{key}"
        parts += [tag("a", "The picture", href=f"#{anchor}"), ". "]
    parts.append(f"Camera: {finding.view}.")
    return join(parts)


def moment_words(moment: Moment) -> str:
    """Return a moment for people: length, session time and the clip's time where there is one."""
    clip = ""
    if moment.video is not None and moment.video_s is not None:
        clip = f" ({moment.video} at {clock(moment.video_s)})"
    return f"length {moment.length_no} at {clock(moment.session_s)}{clip}"


def _unsupported(rows: Iterable[dict[str, Any]]) -> Html:
    lines = [
        tag("li", tag("b", _plain_title(row["title"])), f": needs {row['needs']}. Camera: "
            f"{row['view']}.")
        for row in rows
    ]  # fmt: skip
    summary = tag("summary", f"Not looked for with what was worn ({len(lines)})")
    return tag("details", summary, tag("ul", *lines))


def _plain_title(title: str) -> str:
    """Return a rule's title without its places."""
    for place, words in {"{side}": "one side", "{other}": "other", "{rose}": "changes"}.items():
        title = title.replace(place, words)
    return title.replace(": {what}", "")
