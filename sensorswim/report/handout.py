"""The handout: two to four printed pages that a swimmer takes home."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from itertools import groupby
from typing import Final

from sensorswim.model.analysis import Analysis
from sensorswim.model.drills import Drill
from sensorswim.model.findings import Finding
from sensorswim.model.handout import Consent, HandoutWords
from sensorswim.model.plan import Plan, PlanSet, PlanWeek
from sensorswim.report.findings_section import findings_of, moment_words
from sensorswim.report.markup import Html, tag
from sensorswim.report.pictures import document, evidence_picture, picture_html
from sensorswim.report.words import CAUTIONS

_DIARY_ROWS: Final = 10
_PICTURE_PX: Final = 380
"""Height of a printed picture, so that two aims fit one page and a half."""
_DIARY_HEADS: Final = (
    "day",
    "sets done",
    "how it felt",
    "pain before (0 to 10)",
    "pain after",
    "where; dizzy?",
)


@dataclass(frozen=True, kw_only=True)
class Handout:
    """What a handout is made of.

    Parameters
    ----------
    analysis : Analysis
    plan : Plan
    drills : sequence of Drill
        The library.
    words : HandoutWords
    consent : Consent
    """

    analysis: Analysis
    plan: Plan
    drills: Sequence[Drill]
    words: HandoutWords
    consent: Consent


def handout_html(handout: Handout) -> str:
    """Return the whole self-contained page.

    Parameters
    ----------
    handout : Handout
        Also one without aims: then it holds the check set and the cautions.
    """
    parts = [
        _head(handout),
        *_stop(handout.plan),
        *_aims(handout),
        _drills(handout),
        _plan(handout),
        _check(handout.plan),
        _diary(handout.plan),
        _cautions(handout),
    ]
    body = tag("main", *parts, class_="handout", data_print_height=str(_PICTURE_PX))
    version = handout.analysis.version
    return document(handout.words.title, version, ("look.css", "handout.css"), body)


def _head(handout: Handout) -> Html:
    parts = [tag("h1", handout.words.title), tag("p", handout.words.greeting, class_="lead")]
    if handout.analysis.session.extra.get("invented"):
        parts.insert(0, tag("p", "Invented demo data: no such swim took place.", class_="invented"))
    return tag("header", *parts)


def _stop(plan: Plan) -> list[Html]:
    if not plan.see_somebody:
        return []
    return [tag("section", tag("h2", "First of all"), tag("p", plan.see_somebody), class_="stop")]


def _aims(handout: Handout) -> list[Html]:
    aims = [finding for finding in findings_of(handout.analysis) if finding.is_aim]
    return [_aim(number, finding, handout) for number, finding in enumerate(aims, start=1)]


def _aim(number: int, finding: Finding, handout: Handout) -> Html:
    words = handout.words.of(finding)
    picture = evidence_picture(finding, handout.analysis)
    moments = "; ".join(moment_words(moment) for moment in finding.moments)
    parts = [
        tag("h2", f"{number}. {words.heading}"),
        tag("p", tag("b", "What we saw. "), words.saw),
        tag("p", tag("b", "Why it matters. "), words.why),
        tag("p", tag("b", "What to try. "), words.try_this),
    ]
    if picture is not None:
        parts.append(picture_html(picture))
    if moments:
        parts.append(tag("p", f"Clear examples: {moments}.", class_="reading"))
    return tag("section", *parts, class_="part")


def _drills(handout: Handout) -> Html:
    used = dict.fromkeys(one.drill for week in handout.plan.weeks for one in week.sets)
    known = {drill.id: drill for drill in handout.drills}
    cards = [_drill(known[name]) for name in used if name in known]
    if not cards:
        return Html("")
    return tag("section", tag("h2", "Your drills"), tag("div", *cards, class_="cards"))


def _drill(drill: Drill) -> Html:
    rows = (
        ("Kit", ", ".join(drill.kit) or "none"),
        ("How", drill.how),
        ("Feel for", drill.feel),
        ("The sensors then show", drill.sensors),
        ("Careful", drill.cautions),
    )
    lines = [tag("p", tag("b", f"{name}: "), words) for name, words in rows]
    return tag("article", tag("h3", drill.name), tag("p", drill.aim, ".", class_="lead"), *lines)


def _plan(handout: Handout) -> Html:
    plan = handout.plan
    if not plan.weeks:
        return Html("")
    names = {drill.id: drill.name for drill in handout.drills}
    note = (
        f"{plan.per_week} times a week in the pool, within your usual swimming. A set is for every "
        "visit of its week. Warm up easily first."
    )
    body = [row for week in plan.weeks for row in _week(week, names)]
    heads = tag(
        "tr", *(tag("th", h, scope="col") for h in ("set", "what to swim", "swum lengths then"))
    )
    table = tag("table", tag("thead", heads), tag("tbody", *body))
    return tag("section", tag("h2", "Your plan"), tag("p", note), _scrolls(table, "Your plan"))


def _scrolls(table: Html, name: str) -> Html:
    """Return a table that scrolls within itself on a narrow screen."""
    return tag("div", table, class_="sheet", role="region", aria_label=name, tabindex="0")


def _week(week: PlanWeek, names: dict[str, str]) -> Iterable[Html]:
    title = f"Week {week.number}. {week.thought}"
    yield tag("tr", tag("th", title, colspan="3", scope="colgroup"), class_="week")
    for one in week.sets:
        cells = [tag("th", one.id, scope="row"), tag("td", set_words(one, names)), _target(one)]
        yield tag("tr", *cells)


def _target(one: PlanSet) -> Html:
    if one.stopped:
        return tag("td", tag("b", "Stopped: "), one.stopped)
    return tag("td", one.target)


def set_words(one: PlanSet, names: dict[str, str]) -> str:
    """Return a set for people: 4 x (25 m drill + 25 m swim), which drill, which kit, the rest."""
    parts = [(kind, len(list(same))) for kind, same in groupby(one.pattern)]
    lengths = " + ".join(
        f"{f'{count} x ' if count > 1 else ''}{one.distance_m:g} m {kind}" for kind, count in parts
    )
    drill = names.get(one.drill, one.drill)
    kit = f", with {' and '.join(one.aids)} in the drill lengths" if one.aids else ""
    return f"{one.repeats} x ({lengths}): {drill}{kit}; {one.rest_s:g} s rest after each length"


def _check(plan: Plan) -> Html:
    changes = [tag("li", line) for line in plan.should_change]
    parts = [
        tag("h2", "The next check"),
        tag("p", f"On or about {plan.next_check:%d %B %Y}, with the same sensors."),
        tag("p", tag("b", "The check set, the same at every visit: "), f"{plan.check_set.words}."),
    ]
    if changes:
        parts.append(tag("ul", *changes))
    return tag("section", *parts, class_="part")


def _diary(plan: Plan) -> Html:
    heads = tag("tr", *(tag("th", head, scope="col") for head in _DIARY_HEADS))
    blank = [tag("tr", *(tag("td", Html("&nbsp;")) for _ in _DIARY_HEADS))] * _DIARY_ROWS
    note = (
        "One line for each visit to the pool. Write the numbers of the sets you did. Shoulder pain "
        "or dizziness stops the plan until a doctor or a physiotherapist has seen you."
    )
    table = tag("table", tag("thead", heads), tag("tbody", *blank), class_="diary")
    title = f"Diary until {plan.next_check:%d %B %Y}"
    return tag("section", tag("h2", title), tag("p", note), _scrolls(table, "Diary"), class_="part")


def _cautions(handout: Handout) -> Html:
    parts = [
        tag("h2", "Cautions"),
        tag("ul", *(tag("li", line) for line in CAUTIONS)),
        tag("p", handout.words.closing),
    ]
    if handout.words.coach:
        parts.append(tag("p", handout.words.coach, class_="sign"))
    parts.append(tag("p", _agreed(handout.consent), class_="reading"))
    return tag("section", *parts, class_="part")


def _agreed(consent: Consent) -> str:
    if not consent.agreements:
        return "Consent: nothing is on file yet for sensing or filming; please settle it first."
    lines = []
    for one in consent.agreements:
        what = [w for w in ("sensing", "filming") if getattr(one, w)]
        by = f", agreed by {one.guardian}" if one.minor else ""
        lines.append(f"{one.name}: {' and '.join(what) or 'neither'} until {one.until}{by}")
    return f"Consent on file: {'; '.join(lines)}."
