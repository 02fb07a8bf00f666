"""Clean speed: the hips' way over the time of swimming."""

from __future__ import annotations

import numpy as np
import pytest

from sensorswim.swim.strokes import clean_speed


@pytest.mark.parametrize(("flips", "away", "later_s"), [(True, 0.70, 0.3), (False, 1.08, 0.0)])
def test_the_hips_begin_and_end_a_length_away_from_the_wall(
    flips: bool, away: float, later_s: float
) -> None:
    """Without a glide the way is the pool less what feet and hands take, and 0.18 m of the push."""
    found = clean_speed(100.0, 100.0, 120.0, 25.0, height_m=1.8, flips=flips)
    assert found == pytest.approx((25.0 - 1.8 * away - 0.18) / (20.0 - later_s))


@pytest.mark.parametrize("flips", [False, True])
def test_a_first_entry_right_before_the_wall_gives_a_speed_at_all(flips: bool) -> None:
    found = clean_speed(100.0, 119.9, 120.0, 25.0, flips=flips)
    assert np.isfinite(found)
    assert found > 0.0
