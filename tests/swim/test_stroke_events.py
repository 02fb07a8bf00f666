"""Events that no whole cycle tells: the reach for the wall."""

from __future__ import annotations

from pathlib import Path

import pytest

from sensorswim import analyse
from tests.swim.swum import ANKLES, P, swim


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_a_slow_arm_reaches_for_the_wall_somewhat_later_than_into_a_stroke(
    seed: int, tmp_path: Path
) -> None:
    """Its entries come late after the recovery already: at the wall not as late again."""
    rehearsal, _ = swim(
        seed=seed,
        kit={"placements": (P.LEFT_WRIST, P.RIGHT_WRIST, *ANKLES)},
        stroke_rate_cycles_min=24.0,
        recovery_share=0.36,
        entry_splash_m_s2=0.0,
    )
    found = analyse(rehearsal.write(tmp_path / "swim")).arm_strokes
    strokes = rehearsal.truth["arm_strokes"]
    reaches = strokes[strokes["mid_pull_s"].isna()].dropna(subset="entry_s")
    assert len(reaches)
    for side, entry_s in zip(reaches["side"], reaches["entry_s"], strict=True):
        own = found.loc[found["side"] == side, "entry_s"]
        assert (own - entry_s).abs().min() < 0.15
