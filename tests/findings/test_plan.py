"""A plan of weeks from two aims; a diary with pain or dizziness stops what it should."""

from __future__ import annotations

from dataclasses import replace
from datetime import date
from pathlib import Path

import pytest

from sensorswim.errors import InputError
from sensorswim.findings import Finding, after_diary, find, fitting_drills, make_plan
from sensorswim.formats.drills_toml import read_drills
from sensorswim.formats.plan_toml import diary_start, read_diary, read_plan, write_plan
from sensorswim.formats.rules_toml import read_rules
from sensorswim.model.plan import CheckSet, Diary, DiaryEntry, Plan, PlanOptions
from tests.findings.made import calm, changed

DAY = date(2026, 3, 14)
DRILLS = read_drills()


@pytest.fixture(scope="module")
def aims() -> tuple[Finding, ...]:
    analysis = changed(calm(), "breaths", lambda t: t.assign(excess_s=0.44))
    analysis = changed(analysis, "arm_cycles", lambda t: t.assign(index_of_coordination_pct=-20.0))
    return find(analysis, read_rules()).aims


def planned(aims: tuple[Finding, ...], **options: object) -> Plan:
    chosen = PlanOptions(**options)  # type: ignore[arg-type]
    return make_plan(aims, DRILLS, chosen, swimmer="Mira", made_on=DAY)


@pytest.mark.parametrize("weeks", [4, 5, 6])
def test_a_plan_has_its_weeks_two_aims_and_the_next_check(
    aims: tuple[Finding, ...], weeks: int
) -> None:
    plan = planned(aims, weeks=weeks)
    assert [week.number for week in plan.weeks] == list(range(1, weeks + 1))
    assert [aim.finding_id for aim in plan.aims] == ["long-on-side", "arm-gap"]
    assert (plan.next_check - DAY).days == 7 * weeks
    assert len(plan.should_change) == 2
    assert "from 0.44 s to 0.20 s" in plan.should_change[0]
    assert all(len(week.sets) == 2 for week in plan.weeks)


def test_weeks_go_from_drill_to_swum_lengths_and_towards_the_band(
    aims: tuple[Finding, ...],
) -> None:
    weeks = planned(aims, weeks=6).weeks
    share = [week.sets[0].pattern.count("swim") / len(week.sets[0].pattern) for week in weeks]
    assert share == sorted(share)
    assert share[0] == 0.5
    assert share[-1] == 0.75
    assert weeks[0].sets[0].target == "about 0.40 s"
    assert weeks[-1].sets[0].target == "about 0.20 s"
    assert len({week.sets[0].drill for week in weeks}) == 2


@pytest.mark.parametrize("weeks", [3, 7])
def test_other_numbers_of_weeks_are_refused(aims: tuple[Finding, ...], weeks: int) -> None:
    with pytest.raises(ValueError, match="four to six"):
        planned(aims, weeks=weeks)


def test_only_drills_whose_kit_is_there_are_planned(aims: tuple[Finding, ...]) -> None:
    bare = planned(aims, kit=())
    by_id = {drill.id: drill for drill in DRILLS}
    assert all(not by_id[one.drill].kit for week in bare.weeks for one in week.sets)
    assert fitting_drills("legs-split-on-breath", DRILLS, ("fins",))


def test_without_aims_the_plan_is_the_check_set_alone() -> None:
    plan = planned(())
    assert plan.weeks == ()
    assert plan.check_set.words.startswith("6 x 50 m, 20 s rest")


def with_diary(plan: Plan, **entry: object) -> Plan:
    return after_diary(plan, Diary(entries=(DiaryEntry(day=DAY, **entry),)))  # type: ignore[arg-type]


def stopped(plan: Plan) -> set[str]:
    return {one.id for week in plan.weeks for one in week.sets if one.stopped}


def all_sets(plan: Plan) -> set[str]:
    return {one.id for week in plan.weeks for one in week.sets}


def test_a_painless_diary_changes_nothing(aims: tuple[Finding, ...]) -> None:
    plan = planned(aims)
    assert with_diary(plan, sets_done=("w1-a",), felt="fine") == plan


def test_shoulder_pain_stops_everything_with_arm_strokes_and_names_who_to_see(
    aims: tuple[Finding, ...],
) -> None:
    plan = with_diary(planned(aims), pain_after=3, pain_where="shoulder", sets_done=("w1-a",))
    assert stopped(plan) == all_sets(plan)
    assert "doctor or a physiotherapist" in plan.see_somebody
    assert "pain 3 of 10 (shoulder) on 14 March 2026" in plan.see_somebody


def test_dizziness_stops_everything(aims: tuple[Finding, ...]) -> None:
    plan = with_diary(planned(aims), dizzy=True)
    assert stopped(plan) == all_sets(plan)
    assert "dizziness" in plan.see_somebody


def test_pain_of_a_knee_stops_that_day_and_its_drill(aims: tuple[Finding, ...]) -> None:
    plan = with_diary(planned(aims), pain_after=2, pain_where="knee", sets_done=("w1-a",))
    drill = plan.weeks[0].sets[0].drill
    same = {one.id for week in plan.weeks for one in week.sets if one.drill == drill}
    assert stopped(plan) == same
    assert same < all_sets(plan)


def test_a_qualified_person_lifts_what_came_before_but_not_what_comes_after(
    aims: tuple[Finding, ...],
) -> None:
    hurt = DiaryEntry(day=date(2026, 3, 16), pain_after=4, pain_where="shoulder")
    cleared = DiaryEntry(day=date(2026, 3, 20), cleared_by="physiotherapist")
    again = replace(hurt, day=date(2026, 3, 25))
    plan = planned(aims)
    assert stopped(after_diary(plan, Diary(entries=(cleared, hurt)))) == set()
    assert stopped(after_diary(plan, Diary(entries=(again, cleared, hurt)))) == all_sets(plan)


def test_a_plan_survives_its_file(aims: tuple[Finding, ...], tmp_path: Path) -> None:
    plan = with_diary(planned(aims, check_set=CheckSet(repeats=4)), dizzy=True)
    assert read_plan(write_plan(plan, tmp_path / "plan.toml")) == plan


def test_the_start_of_a_diary_is_an_empty_diary(aims: tuple[Finding, ...], tmp_path: Path) -> None:
    path = tmp_path / "diary.toml"
    path.write_text(diary_start(planned(aims)), encoding="utf-8")
    assert read_diary(path) == Diary()
    lines = [line.removeprefix("# ") for line in path.read_text().split("# ----\n")[1].splitlines()]
    path.write_text("\n".join(lines), encoding="utf-8")
    entry = read_diary(path).entries[0]
    assert entry.sets_done == ("w1-a", "w1-b")


@pytest.mark.parametrize(
    ("text", "line"),
    [
        ("[[entry]]\nday = 2026-03-16\npain_after = 11\n", "less than or equal to 10"),
        ('[[entry]]\nday = "16 March"\n', "write it like 2026-04-18"),
        ('[[entry]]\nday = 2026-03-16\npain_where = "ego"\n', "'ego' is no place; use one of"),
        ("[[entry]]\nday = 2026-03-16\nmood = 3\n", "entry"),
        ("format = 2\n", "newer"),
    ],
)
def test_a_bad_diary_is_one_clear_line(text: str, line: str, tmp_path: Path) -> None:
    path = tmp_path / "diary.toml"
    path.write_text(text, encoding="utf-8")
    with pytest.raises(InputError) as caught:
        read_diary(path)
    assert line in str(caught.value)
    assert "\n" not in str(caught.value)
