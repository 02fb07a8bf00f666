"""Findings name what lies beyond a band, say how sure they are, and stay silent otherwise."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

from sensorswim.errors import SettingsError
from sensorswim.findings import MEASURES, Finding, Rules, find
from sensorswim.formats.rules_toml import read_rules
from sensorswim.model import Settings
from sensorswim.model.analysis import Analysis
from tests.findings.made import calm, changed
from tests.plausible import bare_analysis, filmed_session


@pytest.fixture(scope="module")
def rules() -> Rules:
    return read_rules()


def ids(analysis: Analysis, rules: Rules) -> list[str]:
    return [finding.id for finding in find(analysis, rules).found]


def long_breaths(analysis: Analysis, excess_s: float = 0.4) -> Analysis:
    noise = np.random.default_rng(1)

    def longer(table: pd.DataFrame) -> pd.DataFrame:
        return table.assign(excess_s=excess_s + noise.normal(0, 0.03, len(table)))

    return changed(analysis, "breaths", longer)


def test_nothing_stands_out_in_a_calm_session(rules: Rules) -> None:
    assert ids(calm(), rules) == []


def test_a_session_without_swimming_has_no_findings_and_names_what_it_needs(rules: Rules) -> None:
    answer = find(bare_analysis(), rules)
    assert answer.found == ()
    named = {missing.id for missing in answer.unsupported}
    assert named == {rule.id for rule in rules.rules} - {"felt-apart"}
    assert all(missing.needs and missing.view for missing in answer.unsupported)
    titles = {missing.title for missing in answer.unsupported}
    assert "Long on the side when breathing to the left or right" in titles
    assert not any("{" in title for title in titles)


def test_a_finding_says_what_was_measured_how_sure_and_where_to_look(rules: Rules) -> None:
    found = find(long_breaths(calm()), rules).found[0]
    assert (found.id, found.rank, found.is_aim) == ("long-on-side", 1, True)
    assert found.value == pytest.approx(0.4, abs=0.03)
    assert (found.low, found.high, found.unit) == (None, 0.2, "s")
    assert found.certainty > 0.85
    assert found.count == found.of > 10
    assert "0.40 s longer" in found.text
    assert found.aim and found.why and found.confused_with and found.view and found.reference
    assert len({m.length_no for m in found.moments}) == len(found.moments) == 3
    assert all(m.video_s is None for m in found.moments)


def test_a_long_breath_says_which_rolls_it_was_held_against(rules: Rules) -> None:
    both = long_breaths(calm())
    side = find(both, rules).found[0].side
    assert f"own rolls to the {side} without a breath; up to" in find(both, rules).found[0].text

    def every_left_is_a_breath(table: pd.DataFrame) -> pd.DataFrame:
        return table.assign(is_breath=table["is_breath"] | table["side"].eq("left"))

    lefts = changed(both, "breaths", lambda t: t.loc[t["side"].eq("left")])
    only = find(changed(lefts, "rolls", every_left_is_a_breath), rules).found[0]
    assert "to the right without a breath, as there are none to the left; up to" in only.text


def test_moments_have_video_time_where_a_clip_is_placed(rules: Rules) -> None:
    session = filmed_session()
    analysis = replace(long_breaths(calm()), session=replace(session, blocks=()))
    moments = find(analysis, rules).found[0].moments
    assert all(m.video == session.videos[0].file.name for m in moments)
    assert all(m.video_s is not None and m.video_s != m.session_s for m in moments)


def test_a_figure_within_its_error_of_the_band_is_not_a_finding(rules: Rules) -> None:
    assert ids(long_breaths(calm(), 0.23), rules) == []
    assert ids(long_breaths(calm(), 0.33), rules) == ["long-on-side"]


def test_breaths_that_are_unsure_are_no_finding(rules: Rules) -> None:
    unsure = changed(long_breaths(calm()), "breaths", lambda t: t.assign(confidence=0.5))
    assert ids(unsure, rules) == []


def test_fewer_breaths_are_never_an_aim(rules: Rules) -> None:
    for rule in rules.rules:
        assert "fewer breaths" not in f"{rule.aim} {rule.says}".lower()
        assert rule.measure not in ("breaths", "side_hold_s", "hold_s")


def test_a_steady_two_beat_kick_is_a_choice_and_an_unsteady_one_is_not(rules: Rules) -> None:
    def two(table: pd.DataFrame) -> pd.DataFrame:
        keep = (table["cycle_phase"] % 0.5) < 0.12
        return table.loc[keep]

    steady = changed(calm(), "kicks", two)
    steady = changed(steady, "arm_cycles", lambda t: t.assign(kicks=2))
    assert ids(steady, rules) == []
    counts = np.tile([0, 2, 1, 2, 0], 100)
    sparse = changed(steady, "arm_cycles", lambda t: t.assign(kicks=counts[: len(t)]))
    assert ids(sparse, rules) == ["kick-sparse"]


def test_legs_without_a_kick_are_sparse_only_where_ankles_are_worn(rules: Rules) -> None:
    still = changed(calm(), "kicks", lambda t: t.iloc[:0])
    still = changed(still, "arm_cycles", lambda t: t.assign(kicks=None))
    assert ids(still, rules) == ["kick-sparse"]
    wrists = tuple(s for s in still.session.sensors if s.placement.limb == "wrist")
    bare = replace(still, session=replace(still.session, sensors=wrists))
    answer = find(bare, rules)
    assert answer.found == ()
    assert "kick-sparse" in {missing.id for missing in answer.unsupported}


def test_over_rotation_says_of_which_segment_and_knows_its_band(rules: Rules) -> None:
    def far(source: str) -> Analysis:
        return changed(
            calm(),
            "rolls",
            lambda t: t.assign(peak_roll_deg=t["peak_roll_deg"] + 40, source=source),
        )

    shoulders = find(far("upper_back"), rules).found[0]
    assert shoulders.id == "roll-too-far"
    assert "the shoulders turn" in shoulders.text
    shanks = find(far("ankles"), rules).found[0]
    assert "shanks (an estimate" in shanks.text
    assert shanks.high < shoulders.high
    assert shanks.certainty < shoulders.certainty


def test_a_straight_pull_takes_its_band_from_the_settings(rules: Rules) -> None:
    straight = changed(calm(), "arm_strokes", lambda t: t.assign(elbow_angle_deg=150.0))
    found = find(straight, rules).found[0]
    assert (found.id, found.high) == ("pull-straight", 120.0)
    wide = replace(straight, settings=Settings(elbow_band_high_deg=155.0))
    assert "pull-straight" not in ids(wide, rules)


def test_a_finding_on_one_side_says_when_the_other_side_is_beyond_as_well(rules: Rules) -> None:
    def arms(right_deg: float) -> Finding:
        def bent(table: pd.DataFrame) -> pd.DataFrame:
            left = table["side"].eq("left").fillna(value=False).astype(bool)
            return table.assign(elbow_angle_deg=np.where(left, 150.0, right_deg))

        return find(changed(calm(), "arm_strokes", bent), rules).found[0]

    both, unsure, slight, one = arms(144.0), arms(127.0), arms(121.0), arms(118.0)
    assert both.title == "The left arm pulls straighter than the band; the other side too"
    assert both.text.endswith("The other side, the right, is beyond it too: 144 degrees.")
    assert both.aim.endswith("The same goes for the other side.")
    assert unsure.title.endswith("band; perhaps the other side too")
    assert unsure.text.endswith("The other side, the right, may be beyond it too: 127 degrees.")
    assert "other side" not in f"{slight.title} {slight.text} {slight.aim}"
    assert "other side" not in f"{one.title} {one.text} {one.aim}"


def test_what_looks_alike_depends_on_the_sensor_behind_the_figure(rules: Rules) -> None:
    straight = changed(calm(), "arm_strokes", lambda t: t.assign(elbow_angle_deg=150.0))
    assert "from the wrist alone" in find(straight, rules).found[0].confused_with
    worn = changed(straight, "arm_strokes", lambda t: t.assign(elbow_source="upper_arm"))
    assert "from the wrist alone" not in find(worn, rules).found[0].confused_with
    seen = changed(long_breaths(calm()), "breaths", lambda t: t.assign(source="head"))
    assert "a head sensor or" not in find(seen, rules).found[0].confused_with
    assert "a head sensor or" in find(long_breaths(calm()), rules).found[0].confused_with


def test_an_elbow_more_bent_than_the_band_is_not_called_straight(rules: Rules) -> None:
    bent = changed(calm(), "arm_strokes", lambda t: t.assign(elbow_angle_deg=80.0))
    assert ids(bent, rules) == []


def test_strokes_whose_own_uncertainty_reaches_the_band_are_not_counted(rules: Rules) -> None:
    def straight(table: pd.DataFrame) -> pd.DataFrame:
        sure = np.arange(len(table)) % 4 < 2
        return table.assign(elbow_angle_deg=132.0, elbow_sd_deg=np.where(sure, 5.0, 7.0))

    found = find(changed(calm(), "arm_strokes", straight), rules).found[0]
    assert found.title.startswith("The left arm pulls straighter than the band")
    assert found.count == pytest.approx(found.of / 2, abs=1)
    assert f"Of {found.of} strokes {found.count} lie beyond it" in found.text
    unknown = changed(
        calm(), "arm_strokes", lambda t: t.assign(elbow_angle_deg=150.0, elbow_sd_deg=np.nan)
    )
    assert find(unknown, rules).found[0].count == 0


def test_an_empty_elbow_is_not_supported_and_names_what_would_show_it(rules: Rules) -> None:
    empty = changed(calm(), "arm_strokes", lambda t: t.assign(elbow_angle_deg=np.nan))
    missing = {m.id: m for m in find(empty, rules).unsupported}
    assert "upper-arm sensor" in missing["pull-straight"].needs
    assert missing["pull-straight"].view.startswith("from the front")


def test_what_was_felt_stands_out_only_beyond_its_tolerance(rules: Rules) -> None:
    def felt(value: float) -> Analysis:
        analysis = calm()
        block = replace(analysis.session.blocks[0], felt={"kick_beat": value})
        blocks = (block, *analysis.session.blocks[1:])
        return replace(analysis, session=replace(analysis.session, blocks=blocks))

    assert ids(felt(6.0), rules) == []
    found = find(felt(2.0), rules).found
    assert {f.id for f in found} == {"felt-apart"}
    assert "kicks in a cycle: felt 2, measured 6 (mean 6.0)." in found[0].text


def test_a_felt_roll_is_not_held_against_the_estimate_from_the_ankles(rules: Rules) -> None:
    analysis = calm()
    block = replace(analysis.session.blocks[0], felt={"roll_onto_left_deg": 70.0})
    analysis = replace(analysis, session=replace(analysis.session, blocks=(block,)))
    assert ids(analysis, rules) == []
    back = changed(analysis, "lengths", lambda t: t.assign(roll_source="upper_back"))
    assert ids(back, rules) == ["felt-apart"]


def test_a_long_breath_calls_the_roll_from_the_ankles_an_estimate(rules: Rules) -> None:
    words = "The roll is an estimate from the ankles."
    assert words in find(long_breaths(calm()), rules).found[0].text
    back = changed(long_breaths(calm()), "rolls", lambda t: t.assign(source="upper_back"))
    assert words not in next(f.text for f in find(back, rules).found if f.id == "long-on-side")


def test_a_rate_that_drifts_is_found_and_one_that_scatters_is_not(rules: Rules) -> None:
    def with_rates(rates: list[float]) -> Analysis:
        return changed(calm(), "lengths", lambda t: t.assign(stroke_rate_cycles_min=rates))

    assert ids(with_rates([34, 33, 32.5, 32, 31, 30.5, 29.5, 29]), rules) == ["rate-drift"]
    assert ids(with_rates([34, 29, 33, 30, 34, 29, 31, 33]), rules) == []


def test_lengths_with_aids_and_drills_are_left_out(rules: Rules) -> None:
    fins = changed(long_breaths(calm()), "lengths", lambda t: t.assign(aids="fins"))
    assert ids(fins, rules) == []


def test_the_larger_and_surer_fault_comes_first(rules: Rules) -> None:
    both = changed(
        long_breaths(calm(), 0.7),
        "arm_cycles",
        lambda t: t.assign(index_of_coordination_pct=-17.0),
    )
    assert ids(both, rules)[:2] == ["long-on-side", "arm-gap"]


def test_findings_survive_the_way_through_plain_types(rules: Rules) -> None:
    for finding in find(long_breaths(calm()), rules).found:
        assert Finding.from_dict(finding.as_dict()) == finding


def test_every_measure_has_a_rule_and_every_rule_a_known_measure(rules: Rules) -> None:
    assert {rule.measure for rule in rules.rules} == set(MEASURES)
    odd = replace(rules, rules=(replace(rules.rules[0], measure="luck"),))
    with pytest.raises(SettingsError, match="there is no measure 'luck'"):
        find(calm(), odd)


def test_the_left_right_mirror_of_a_session_has_the_mirrored_findings(rules: Rules) -> None:
    uneven = changed(
        calm(),
        "rolls",
        lambda t: t.assign(
            peak_roll_deg=t["peak_roll_deg"] + 12 * t["side"].eq("left").astype(float)
        ),
    )
    mirrored = changed(
        uneven,
        "rolls",
        lambda t: t.assign(side=t["side"].map({"left": "right", "right": "left"})),
    )
    first, second = (find(a, rules).found[0] for a in (uneven, mirrored))
    assert first.id == second.id == "roll-lopsided"
    assert (first.side, second.side) == ("right", "left")
    assert first.value == pytest.approx(second.value)


def test_what_is_only_possible_is_no_aim_and_keeps_its_place(rules: Rules) -> None:
    swum = changed(long_breaths(calm(), 0.7), "breaths", lambda t: t.assign(confidence=0.87))
    gap = changed(swum, "arm_cycles", lambda t: t.assign(index_of_coordination_pct=-20.0))
    found = find(gap, rules).found
    assert [(f.id, f.rank, f.sure, f.is_aim) for f in found[:2]] == [
        ("long-on-side", 1, "possible", False),
        ("arm-gap", 2, "sure", True),
    ]
    assert [f.id for f in find(gap, replace(rules, aims=1)).aims] == ["arm-gap"]
    assert find(swum, rules).aims == ()
