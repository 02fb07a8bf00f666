"""The band that is wanted of a season figure, from the rules that hold the same figure."""

from __future__ import annotations

from typing import Final

from sensorswim.model.findings import Rules

_MEASURES: Final = {
    "side_hold_excess_s": "breath_excess_s",
    "roll_onto_left_deg": "roll_deg",
    "roll_onto_right_deg": "roll_deg",
    "kicks_per_cycle": "kicks_per_cycle",
    "index_of_coordination_pct": "arm_lag_pct",
    "elbow_angle_left_deg": "elbow_angle_deg",
    "elbow_angle_right_deg": "elbow_angle_deg",
}
"""By figure of `sensorswim.metrics.season`, the rules' measure."""


def band_of(name: str, source: str, rules: Rules) -> tuple[float | None, float | None]:
    """Return the lowest and the highest wanted value of a figure, None where nothing is set.

    Parameters
    ----------
    name : str
        A figure of `FIGURES`.
    source : str
        The sensor that it rests on, as bands differ between them.
    rules : Rules
        As `read_rules` returns them.
    """
    own = [
        rule.seen_by(source)
        for rule in rules.rules
        if rule.use and rule.measure == _MEASURES.get(name)
    ]
    lows = [rule.low for rule in own if rule.low is not None]
    highs = [rule.high for rule in own if rule.high is not None]
    return max(lows, default=None), min(highs, default=None)
