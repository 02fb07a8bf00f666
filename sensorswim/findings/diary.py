"""What a diary stops: pain or dizziness suspends sets and names who is to be seen."""

from __future__ import annotations

from dataclasses import replace
from typing import Final

from sensorswim.model.plan import ARM_PLACES, Diary, DiaryEntry, Plan, PlanSet

SEE: Final = "Stop these sets and see a doctor or a physiotherapist before going on"


def after_diary(plan: Plan, diary: Diary) -> Plan:
    """Return the plan with the sets that the diary stops, and who is to be seen.

    Pain of shoulder, elbow, wrist or neck stops every set with arm strokes and the sets of that
    day; other pain stops the sets of that day and those with the same drill; dizziness stops all.
    An entry that names the qualified person who cleared the swimmer lifts what came before it.

    Parameters
    ----------
    plan : Plan
    diary : Diary
        Entries in any order.
    """
    since = _uncleared(diary)
    reasons = [entry for entry in since if entry.dizzy or entry.pain > 0]
    if not reasons:
        return plan
    weeks = tuple(
        replace(week, sets=tuple(_checked(one, reasons, plan) for one in week.sets))
        for week in plan.weeks
    )
    why = "; ".join(_words(entry) for entry in reasons)
    return replace(plan, weeks=weeks, see_somebody=f"{SEE}: {why}.")


def _uncleared(diary: Diary) -> list[DiaryEntry]:
    entries = sorted(diary.entries, key=lambda entry: entry.day)
    cleared = [at for at, entry in enumerate(entries) if entry.cleared_by]
    return entries[cleared[-1] + 1 :] if cleared else entries


def _checked(one: PlanSet, reasons: list[DiaryEntry], plan: Plan) -> PlanSet:
    stops = [entry for entry in reasons if _concerns(entry, one, plan)]
    return replace(one, stopped=_words(stops[0])) if stops else one


def _concerns(entry: DiaryEntry, one: PlanSet, plan: Plan) -> bool:
    if entry.dizzy or one.id in entry.sets_done:
        return True
    if entry.pain_where in ARM_PLACES or not entry.pain_where:
        return set(one.pattern) != {"kick"}
    done = {s.drill for week in plan.weeks for s in week.sets if s.id in entry.sets_done}
    return one.drill in done


def _words(entry: DiaryEntry) -> str:
    what = []
    if entry.dizzy:
        what.append("dizziness")
    if entry.pain > 0:
        where = f" ({entry.pain_where})" if entry.pain_where else ""
        what.append(f"pain {entry.pain} of 10{where}")
    return f"{' and '.join(what)} on {entry.day:%d %B %Y}"
