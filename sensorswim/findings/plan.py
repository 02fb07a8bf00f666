"""From the aims and the drill library to a plan of four to six weeks."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date, timedelta
from typing import Final

from sensorswim.model.drills import Drill
from sensorswim.model.findings import Finding
from sensorswim.model.plan import Plan, PlanAim, PlanOptions, PlanSet, PlanWeek

MOST_AIMS: Final = 2
_STAGES: Final = (
    (
        "Learn the movement: drill and swim in turn, slowly, with long rests.",
        ("drill", "swim"),
        4,
        30.0,
    ),
    (
        "Take it along: after each drill two swum lengths that feel like it.",
        ("drill", "swim", "swim"),
        4,
        25.0,
    ),
    (
        "Keep it: mostly swum, one drill length as a reminder.",
        ("drill", "swim", "swim", "swim"),
        4,
        20.0,
    ),
)
"""Thought, pattern, repeats, rest; repeats grow by one from week to week within a stage."""


def make_plan(
    findings: Sequence[Finding],
    drills: Sequence[Drill],
    options: PlanOptions,
    *,
    swimmer: str,
    made_on: date,
) -> Plan:
    """Return a plan for the aims among the findings; without aims it only repeats the check set.

    Parameters
    ----------
    findings : sequence of Finding
        The first two that are aims count.
    drills : sequence of Drill
        The library; of the drills that help an aim and whose kit is there, the first two are
        taken, one after the other.
    options : PlanOptions
    swimmer : str
    made_on : date
        The day of the visit; the next check comes when the weeks are over.

    Raises
    ------
    ValueError
        Fewer than four or more than six weeks: a defect of the caller.
    """
    if not 4 <= options.weeks <= 6:
        raise ValueError(f"a plan has four to six weeks, not {options.weeks}")
    chosen = [finding for finding in findings if finding.is_aim][:MOST_AIMS]
    aims = tuple(_aim(finding) for finding in chosen)
    fitting = [fitting_drills(finding.id, drills, options.kit) for finding in chosen]
    weeks = tuple(_week(number, aims, fitting, options) for number in range(1, options.weeks + 1))
    return Plan(
        swimmer=swimmer,
        made_on=made_on,
        next_check=made_on + timedelta(weeks=options.weeks),
        aims=aims,
        weeks=weeks if aims else (),
        per_week=options.per_week,
        check_set=options.check_set,
        should_change=tuple(_should_change(aim) for aim in aims),
    )


def fitting_drills(
    finding_id: str, drills: Sequence[Drill], kit: tuple[str, ...] | None
) -> list[Drill]:
    """Return the drills that help a finding with the kit that there is, most fitting first."""
    there = [drill for drill in drills if kit is None or set(drill.kit) <= set(kit)]
    helping = [drill for drill in there if finding_id in drill.helps]
    return sorted(helping, key=lambda drill: drill.helps.index(finding_id))


def _aim(finding: Finding) -> PlanAim:
    return PlanAim(
        finding_id=finding.id,
        title=finding.title,
        text=finding.aim,
        measure=finding.measure,
        unit=finding.unit,
        now=finding.value,
        wanted=_wanted(finding),
        digits=finding.digits,
    )


def _wanted(finding: Finding) -> float:
    """Return the end of the band that the value lies beyond."""
    ends = [end for end in (finding.low, finding.high) if end is not None]
    return min(ends, key=lambda end: abs(end - finding.value))


def _stage(number: int, weeks: int) -> int:
    return min(len(_STAGES) - 1, (number - 1) * len(_STAGES) // weeks)


def _week(
    number: int, aims: tuple[PlanAim, ...], fitting: list[list[Drill]], options: PlanOptions
) -> PlanWeek:
    stage = _stage(number, options.weeks)
    first = next(n for n in range(1, number + 1) if _stage(n, options.weeks) == stage)
    thought, pattern, repeats, rest_s = _STAGES[stage]
    sets = []
    for place, (aim, drills) in enumerate(zip(aims, fitting, strict=True)):
        if not drills:
            continue
        drill = drills[min((number - 1) % 2, len(drills) - 1)]
        sets.append(
            PlanSet(
                id=f"w{number}-{'ab'[place]}",
                aim_id=aim.finding_id,
                drill=drill.id,
                pattern=tuple(drill.pattern if part == "drill" else part for part in pattern),
                repeats=repeats + number - first,
                distance_m=options.distance_m,
                rest_s=rest_s,
                aids=drill.kit,
                target=_on_the_way(aim, number, options.weeks),
                sensors=drill.sensors,
            )
        )
    return PlanWeek(number=number, thought=thought, sets=tuple(sets))


def _on_the_way(aim: PlanAim, number: int, weeks: int) -> str:
    """Return where the swum lengths should be by this week, on a straight way to the band."""
    return f"about {_shown(aim.now + (aim.wanted - aim.now) * number / weeks, aim)}"


def _shown(value: float, aim: PlanAim) -> str:
    return f"{abs(value):.{aim.digits}f} {aim.unit}".strip()


def _should_change(aim: PlanAim) -> str:
    way = "fallen" if abs(aim.wanted) < abs(aim.now) else "risen"
    breaths = ", with breaths as frequent as before" if aim.measure.startswith("breath") else ""
    return (
        f"{aim.title}: the figure should have {way} from {_shown(aim.now, aim)} to "
        f"{_shown(aim.wanted, aim)} or near it{breaths}. A change counts when it is larger than "
        "the usual differences between visits."
    )
