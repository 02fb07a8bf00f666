"""The shipped sample sessions: invented, small, and analysed as their truth says."""

from __future__ import annotations

import shutil
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from sensorswim.analyse import analyse
from sensorswim.rehearsal.named import rehearse_named
from tests.validation.scoring import score_lengths, score_strokes

LOGS = Path(__file__).resolve().parents[1] / "sample_logs"
NAMES = ("mira", "mira_first_visit", "mira_follow_up", "mira_every_sensor")


def truth(name: str, table: str) -> pd.DataFrame:
    return pd.read_parquet(LOGS / name / "truth" / f"{table}.parquet")


@pytest.mark.parametrize("name", NAMES)
def test_a_sample_says_that_it_is_invented(name: str) -> None:
    text = (LOGS / name / "session.toml").read_text(encoding="utf-8")
    assert text.startswith("# Invented data")
    assert "invented = true" in text


def test_all_samples_together_stay_under_6_mb() -> None:
    assert sum(f.stat().st_size for f in LOGS.rglob("*") if f.is_file()) < 6_000_000


@pytest.mark.parametrize("name", NAMES)
def test_a_sample_is_analysed_as_its_truth_says(name: str) -> None:
    found = analyse(LOGS / name)
    assert score_lengths(found.lengths, truth(name, "lengths")).f1 == 1.0
    assert score_strokes(found.arm_strokes, truth(name, "arm_strokes")).f1 > 0.98
    told, true = (
        t[t["activity"] == "front_crawl"] for t in (found.lengths, truth(name, "lengths"))
    )
    assert told["arm_strokes"].tolist() == true["arm_strokes"].tolist()
    np.testing.assert_allclose(told["clean_speed_m_s"], true["clean_speed_m_s"], rtol=0.04)
    assert not [row.text for row in found.quality if row.code == "block_disagrees"]


def test_a_length_that_was_set_as_a_kick_and_is_swum_is_named_in_quality(tmp_path: Path) -> None:
    folder = shutil.copytree(LOGS / "mira", tmp_path / "mira")
    text = (folder / "session.toml").read_text(encoding="utf-8")
    otherwise = text.replace('lengths = ["swim", "swim", "swim", "swim"]', 'lengths = ["kick"]')
    assert otherwise != text
    (folder / "session.toml").write_text(otherwise, encoding="utf-8")
    found = analyse(folder)
    set_as_kick = found.lengths[found.lengths["set_as"] == "kick"]
    assert set(set_as_kick["activity"]) == {"front_crawl"}
    told = [row.length_no for row in found.quality if row.code == "block_disagrees"]
    assert told == set_as_kick["length_no"].tolist()
    assert len(told) == 4


def test_breaths_of_a_breathing_drill_are_told_beside_the_swim() -> None:
    found, true = analyse(LOGS / "mira").lengths, truth("mira", "lengths")
    drill = found["activity"] == "drill"
    assert drill.sum() == 4
    for column in ("breaths_left", "breaths_right"):
        off = (found[column] - true[column])[drill].abs()
        assert off.max() <= 1
        assert true[column][drill].min() >= 2


def test_the_follow_up_is_half_corrected() -> None:
    before, after = (truth(f"mira_{v}", "lengths") for v in ("first_visit", "follow_up"))
    assert after["side_hold_s"].median() < before["side_hold_s"].median() - 0.1
    assert after["kicks_per_cycle"].median() > before["kicks_per_cycle"].median() + 1.0


def test_a_sample_is_made_by_its_name() -> None:
    made = rehearse_named("sample-every-sensor")
    assert len(made.streams) == 9
    assert len(made.truth["lengths"]) == len(truth("mira_every_sensor", "lengths"))
