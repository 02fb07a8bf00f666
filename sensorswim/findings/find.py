"""Holds every rule's figure against its band and ranks what lies beyond."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable
from dataclasses import replace
from math import erf, isfinite, sqrt
from typing import Final

import numpy as np

from sensorswim.errors import SettingsError
from sensorswim.findings.evidence import Measured, Swum
from sensorswim.findings.measures import MEASURES, Measure
from sensorswim.findings.moments import clear_moments
from sensorswim.model import Side
from sensorswim.model.analysis import Analysis
from sensorswim.model.findings import POSSIBLE, Finding, Findings, Rule, Rules, Unsupported
from sensorswim.model.settings import Settings

MOST_STEPS: Final = 3.0
"""Beyond so many steps a finding doesn't rank higher."""
_FOLLOWS: Final = 0.4
"""Share of its weight that is left to a finding that often follows from another one there."""
_DECIDED_SD: Final = 2.0
"""A count lies beyond the band if so many of its own standard deviations fit between."""
_EITHER: Final = {
    "side": "left or right",
    "other": "other",
    "more": "more or less",
    "rose": "rose or fell",
}
"""What stands in a title where no side was measured and no way."""
_SURE: Final = ((0.97, "sure"), (0.9, "likely"), (0.0, POSSIBLE))


def find(analysis: Analysis, rules: Rules) -> Findings:
    """Return what stands out in an analysis, ranked, and what could not be looked for.

    A figure stands out when it lies beyond its band with at least `rules.least_certainty`, given
    the spread of its counts and the measure's own error. The rank rests on how far beyond, how
    sure and how much follows; no figure of it is shown to anybody.

    Parameters
    ----------
    analysis : Analysis
        Its tables and its session are read.
    rules : Rules

    Raises
    ------
    SettingsError
        A rule about a measure that isn't known.
    """
    swum = Swum.of(analysis)
    found: list[tuple[float, Finding]] = []
    unsupported: list[Unsupported] = []
    for rule in (with_settings(rule, analysis.settings) for rule in rules.rules if rule.use):
        measured = [m for m in _measure(rule)(swum) if len(m.each) >= rule.least]
        if not measured and not rule.tolerance:
            unsupported.append(
                Unsupported(id=rule.id, title=_either(rule), needs=rule.needs, view=rule.view)
            )
        beyond = [b for m in measured if (b := _beyond(m, rule, rules.least_certainty)) is not None]
        worst = sorted(beyond, key=lambda pair: -pair[0])
        for weight, one in worst if rule.tolerance else worst[:1]:
            finding = _with_other_side(_finding(*one), rule, measured, rules.least_certainty)
            moments = clear_moments(one[1], one[0], analysis.session)
            found.append((weight, replace(finding, moments=moments)))
    return Findings(found=_ranked(found, rules), unsupported=tuple(unsupported))


def _either(rule: Rule) -> str:
    """Return the title of a rule that could not be looked for."""
    return rule.title.format_map(defaultdict(lambda: "…", _EITHER))


def _measure(rule: Rule) -> Measure:
    if rule.measure not in MEASURES:
        raise SettingsError(
            f"there is no measure {rule.measure!r}",
            where=f"rules.toml, rule {rule.id}",
            mend=f"use one of {', '.join(MEASURES)}",
        )
    return MEASURES[rule.measure]


def with_settings(rule: Rule, settings: Settings) -> Rule:
    """Return the rule with the band that a setting gives, where it names one."""
    values = settings.as_dict()
    if rule.low_setting:
        rule = replace(rule, low=float(values[rule.low_setting]))
    if rule.high_setting:
        rule = replace(rule, high=float(values[rule.high_setting]))
    return rule


def certainty_beyond(measured: Measured, rule: Rule) -> tuple[float, float]:
    """Return the distance beyond the nearer end of the band, and how likely it is beyond.

    The distance is negative inside the band. The counts' spread and the level's error, as the
    analysis states it or else as the rule does, are taken as independent and normal.
    """
    above = -np.inf if rule.high is None else measured.value - rule.high
    below = -np.inf if rule.low is None else rule.low - measured.value
    distance = float(max(above, below))
    level = measured.stated if isfinite(measured.stated) else rule.error
    error = sqrt(measured.error**2 + level**2)
    if not isfinite(error):
        return distance, 0.0
    if error == 0:
        return distance, measured.trust if distance > 0 else 0.0
    return distance, measured.trust * 0.5 * (1.0 + erf(distance / error / sqrt(2.0)))


_Beyond = tuple[Rule, Measured, float, float]


def _beyond(measured: Measured, rule: Rule, least: float) -> tuple[float, _Beyond] | None:
    seen = rule.seen_by(measured.source)
    if rule.tolerance:
        same = rule.tolerance.get(measured.source)
        if same is None:
            return None
        seen = replace(seen, low=-same, high=same, step=same)
    distance, certainty = certainty_beyond(measured, seen)
    if distance <= 0 or certainty < least:
        return None
    steps = distance / seen.step
    return min(steps, MOST_STEPS) * certainty * seen.weight, (seen, measured, steps, certainty)


def _ranked(found: list[tuple[float, Finding]], rules: Rules) -> tuple[Finding, ...]:
    """Return the findings by weight, without those that another one covers.

    The first ones that are at least likely are the aims; one that is only possible keeps its rank.
    """
    ids = {finding.id for _, finding in found}
    of = {rule.id: rule for rule in rules.rules}
    own = [
        (weight * (_FOLLOWS if ids & set(of[finding.id].follows) else 1.0), finding)
        for weight, finding in found
        if not ids & set(of[finding.id].covered_by)
    ]
    order = [finding for _, finding in sorted(own, key=lambda pair: -pair[0])]
    firm = [rank for rank, finding in enumerate(order, start=1) if finding.sure != POSSIBLE]
    return tuple(
        replace(finding, rank=rank, is_aim=rank in firm[: rules.aims])
        for rank, finding in enumerate(order, start=1)
    )


def _count(rule: Rule, measured: Measured) -> int:
    """Return how many counts lie beyond the band, without those that are undecided."""
    doubt = np.zeros(len(measured.each))
    if measured.each_sd is not None:
        doubt = _DECIDED_SD * np.nan_to_num(measured.each_sd, nan=np.inf)
    over = np.zeros(len(measured.each), dtype=bool)
    if rule.high is not None:
        over |= measured.each - doubt > rule.high
    if rule.low is not None:
        over |= measured.each + doubt < rule.low
    return int(over.sum())


def _finding(rule: Rule, measured: Measured, steps: float, certainty: float) -> Finding:
    count = _count(rule, measured)
    words = _words(rule, measured, count)
    return Finding(
        id=rule.id,
        rank=0,
        is_aim=False,
        title=rule.title.format(**words),
        text=f"{rule.says.format(**words)} {measured.note}".strip(),
        measure=rule.measure,
        unit=rule.unit,
        value=measured.value,
        low=rule.low,
        high=rule.high,
        spread=measured.spread,
        certainty=certainty,
        sure=next(word for least, word in _SURE if certainty >= least),
        side=measured.side,
        source=measured.source,
        shows=rule.shows,
        count=count,
        of=len(measured.each),
        steps=steps,
        aim=rule.aim.format(**words),
        why=rule.why.format(**words),
        confused_with=rule.confused_with.format(**words),
        view=rule.view,
        reference=rule.source,
        digits=rule.digits,
    )


def _with_other_side(
    finding: Finding, rule: Rule, measured: Iterable[Measured], least: float
) -> Finding:
    """Return the finding with the other side's value, where that is beyond the band as well."""
    if finding.side is None:
        return finding
    for other in measured:
        seen = rule.seen_by(other.source)
        distance, certainty = certainty_beyond(other, seen)
        if other.side != Side(finding.side).other or distance <= 0 or certainty < least:
            continue
        value = f"{abs(other.value):.{rule.digits}f} {rule.unit}".strip()
        firm = certainty >= _SURE[1][0]
        return replace(
            finding,
            title=f"{finding.title}; {'' if firm else 'perhaps '}the other side too",
            text=f"{finding.text} The other side, the {other.side}, "
            f"{'is' if firm else 'may be'} beyond it too: {value}.",
            aim=f"{finding.aim} The same goes for the other side." if firm else finding.aim,
        )
    return finding


def _words(rule: Rule, measured: Measured, count: int) -> dict[str, str]:
    """Return what the rule's texts may hold in braces."""

    def shown(value: float | None) -> str:
        return "" if value is None else f"{abs(value):.{rule.digits}f}"

    words = {
        "value": shown(measured.value),
        "low": shown(rule.low),
        "high": shown(rule.high),
        "unit": rule.unit,
        "count": str(count),
        "of": str(len(measured.each)),
        "shows": rule.shows,
        "side": measured.side or "",
        "other": str(Side(measured.side).other) if measured.side else "",
        "more": "more" if measured.value > 0 else "less",
        "rose": "rose" if measured.value > 0 else "fell",
    }
    return (
        dict.fromkeys(("against", "what", "where", "felt", "measured"), "")
        | words
        | (measured.words or {})
    )
