"""What is left to tell of the lengths when sensors are taken off the synthetic swimmers."""

from __future__ import annotations

from pathlib import Path

import pandas as pd
import pytest

from sensorswim.rehearsal import Length, Plan, Rest, Stand, rehearse
from tests.validation.part_kits import KITS, judge, measure, table, wear

pytestmark = pytest.mark.long

WRIST = KITS["one wrist"]


@pytest.mark.parametrize(("build", "seed"), [("first", 5004), ("second", 5036), ("third", 5035)])
def test_every_part_kit_finds_and_names_the_lengths(build: str, seed: int) -> None:
    """Short swims of each build; some others miss lengths: the README says how many.

    A trunk sensor that is carried about before the swim may look like one that swims.
    """
    for kit, part in measure(build, seed).items():
        assert part.once == part.lengths, kit
        assert part.named == part.lengths, kit
        assert part.strays == 0 or "back" in kit, kit


def _lengths(*rows: tuple[float, float, str]) -> pd.DataFrame:
    return pd.DataFrame(rows, columns=["start_s", "end_s", "activity"])


TRUE = _lengths(
    (10.0, 30.0, "front_crawl"), (32.0, 52.0, "kick"), (60.0, 81.0, "front_crawl"),
)  # fmt: skip


def test_one_constant_time_and_what_a_kit_cant_see_count_for_nothing() -> None:
    found = _lengths((110.0, 130.0, "front_crawl"), (160.0, 181.0, "front_crawl"))
    part = judge(found, TRUE, WRIST)
    assert (part.lengths, part.once, part.named, part.strays) == (2, 2, 2, 0)
    with_legs = judge(found, TRUE, ("left_wrist", "left_ankle"))
    assert (with_legs.lengths, with_legs.once) == (3, 2)


@pytest.mark.parametrize(
    ("rows", "once", "named", "strays"),
    [
        ([(10.0, 30.0, "front_crawl"), (60.0, 81.0, "backstroke")], 2, 1, 0),
        ([(10.0, 81.0, "front_crawl")], 0, 2, 0),
        ([(10.0, 20.0, "front_crawl"), (20.0, 30.0, "front_crawl")], 0, 1, 0),
        ([(10.0, 30.0, "front_crawl"), (90.0, 99.0, "other")], 1, 1, 1),
        ([], 0, 0, 0),
    ],
    ids=["wrong name", "one for all", "cut in two", "where nobody swam", "nothing found"],
)
def test_faults_are_counted(
    rows: list[tuple[float, float, str]], once: int, named: int, strays: int
) -> None:
    part = judge(_lengths(*rows), TRUE, WRIST)
    assert (part.once, part.named, part.strays) == (once, named, strays)
    assert f"| {strays} |" in table({"one wrist": [part]})


def test_legs_alone_may_call_butterfly_other_but_not_crawl() -> None:
    true = _lengths((10.0, 30.0, "butterfly"), (40.0, 60.0, "butterfly"))
    found = _lengths((10.0, 30.0, "other"), (40.0, 60.0, "front_crawl"))
    assert judge(found, true, KITS["both ankles"]).named == 1
    assert judge(found, true, WRIST).named == 0


def test_sensors_are_taken_off_a_copy(tmp_path: Path) -> None:
    plan = Plan(segments=(Stand(duration_s=1.0), Length(turn="stop"), Rest(duration_s=1.0)))
    whole = rehearse(plan).write(tmp_path / "whole")
    text = (wear(whole, tmp_path / "part", WRIST) / "session.toml").read_text()
    assert "left_wrist" in text
    assert "right_wrist" not in text
    assert "pool_length_m" in text
    assert "right_wrist" in (whole / "session.toml").read_text()
