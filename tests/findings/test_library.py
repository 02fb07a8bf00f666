"""The packaged rules and drills are whole, and a coach's own copy changes them safely."""

from __future__ import annotations

from pathlib import Path

import pytest

from sensorswim.errors import SettingsError
from sensorswim.formats.drills_toml import note_unknown_drills, read_drills
from sensorswim.formats.rules_toml import PACKAGED, read_rules
from sensorswim.model import Block, Quality
from tests.plausible import plausible_session


def test_there_are_at_least_twenty_drills_each_complete() -> None:
    drills = read_drills()
    assert len(drills) >= 20
    assert len({drill.id for drill in drills}) == len({drill.name for drill in drills})
    for drill in drills:
        texts = (drill.aim, drill.how, drill.feel, drill.sensors, drill.cautions)
        assert all(len(text) > 15 for text in texts), drill.id


def test_every_finding_has_a_drill_and_every_drill_a_known_finding() -> None:
    rules = {rule.id for rule in read_rules().rules}
    helped = {name for drill in read_drills() for name in drill.helps}
    assert helped == rules


def test_the_packaged_files_are_valid_as_a_coachs_own_copy(tmp_path: Path) -> None:
    for name in ("rules.toml", "drills.toml"):
        (tmp_path / name).write_text((PACKAGED / name).read_text("utf-8"), encoding="utf-8")
    assert read_rules(tmp_path) == read_rules()
    assert read_drills(tmp_path) == read_drills()


def test_a_coach_changes_one_band_and_switches_one_rule_off(tmp_path: Path) -> None:
    (tmp_path / "rules.toml").write_text(
        'least_certainty = 0.9\n[[rule]]\nid = "long-on-side"\nhigh = 0.5\n'
        '[[rule]]\nid = "arm-gap"\nuse = false\n',
        encoding="utf-8",
    )
    own, given = read_rules(tmp_path), read_rules()
    rule = next(r for r in own.rules if r.id == "long-on-side")
    assert (rule.high, own.least_certainty) == (0.5, 0.9)
    assert rule.says == next(r for r in given.rules if r.id == "long-on-side").says
    assert not next(r for r in own.rules if r.id == "arm-gap").use


@pytest.mark.parametrize(
    ("text", "line"),
    [
        ('[[rule]]\nid = "long-on-side"\nsays = "{valeu} s"\n', "unknown place 'valeu'"),
        ('[[rule]]\nid = "long-on-side"\nsays = "{value s"\n', "brace"),
        ('[[rule]]\nid = "mine"\nhigh = 1.0\n', "is missing"),
        ('[[rule]]\nid = "long-on-side"\nhigh_setting = "luck"\n', "'luck' is no setting"),
        ("[[rule]]\nhigh = 1.0\n", "has no id"),
        ('[[rule]]\nid = "arm-gap"\nby_source.a = { low = "x" }\n', "low must be a number"),
        ('[[rule]]\nid = "arm-gap"\nby_source.a = { confused_with = 1.0 }\n', "must be a text"),
        ('[[rule]]\nid = "arm-gap"\nby_source.a = { confused_with = "{x}" }\n', "place 'x'"),
        ('[[rule]]\nid = "long-on-side"\ncolour = "red"\n', "colour"),
        ("format = 2\n", "newer"),
        ("rule = 3\n", "has no id"),
        ('[[rule]]\nid = "felt-apart"\ntolerance = { luck = 1.0 }\n', "column of lengths"),
    ],
)
def test_bad_rules_are_one_clear_line(text: str, line: str, tmp_path: Path) -> None:
    (tmp_path / "rules.toml").write_text(text, encoding="utf-8")
    with pytest.raises(SettingsError) as caught:
        read_rules(tmp_path)
    assert line in str(caught.value)
    assert "\n" not in str(caught.value)


def test_a_drill_without_breath_is_refused(tmp_path: Path) -> None:
    (tmp_path / "drills.toml").write_text(
        '[[drill]]\nid = "half-goggle"\nhow = "25 m, hold your breath."\n', encoding="utf-8"
    )
    with pytest.raises(SettingsError, match="without breath"):
        read_drills(tmp_path)


def test_an_unknown_drill_of_a_block_is_said_with_the_nearest_name() -> None:
    quality = Quality()
    block = Block(start_s=0.0, end_s=9.0, lengths=("drill",), drill="single-armed")
    known = Block(start_s=9.0, end_s=19.0, lengths=("drill",), drill="catch-up")
    note_unknown_drills(plausible_session(blocks=(block, known)), read_drills(), quality)
    assert [row.code for row in quality] == ["drill_unknown"]
    assert "Is it single-arm?" in quality.rows[0].text
