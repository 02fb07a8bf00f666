"""Every figure that a rule can be written about, by name."""

from __future__ import annotations

from collections.abc import Callable
from typing import Final

from sensorswim.findings import arm_measures as arms
from sensorswim.findings import breath_measures as breaths
from sensorswim.findings import kick_measures as kicks
from sensorswim.findings import kick_rhythm as rhythm
from sensorswim.findings import roll_measures as roll
from sensorswim.findings import session_measures as session
from sensorswim.findings.evidence import Measured, Swum

Measure = Callable[[Swum], list[Measured]]

MEASURES: Final[dict[str, Measure]] = {
    "breath_excess_s": breaths.excess_s,
    "breath_share_pct": breaths.share_pct,
    "breath_lateness_pct": breaths.lateness_pct,
    "lead_arm_tilt_deg": breaths.lead_arm_tilt_deg,
    "breath_kick_extra_pct": kicks.breath_extra_pct,
    "roll_deg": roll.size_deg,
    "breath_roll_deg": roll.breath_size_deg,
    "roll_difference_pct": roll.difference_pct,
    "kicks_per_cycle": kicks.per_cycle,
    "kick_count_odd_pct": rhythm.odd_pct,
    "kick_slip_pct": rhythm.slip_pct,
    "kick_size_difference_pct": kicks.size_difference_pct,
    "elbow_angle_deg": arms.elbow_angle_deg,
    "elbow_difference_deg": arms.elbow_difference_deg,
    "pull_depth_pct": arms.pull_depth_pct,
    "arm_lag_pct": arms.lag_pct,
    "arm_lag_difference_pct": arms.lag_difference_pct,
    "stroke_rate_drift_pct": session.rate_drift_pct,
    "stroke_length_drift_pct": session.length_drift_pct,
    "felt_apart": session.felt_apart,
}
"""An empty answer means: not with what was worn and swum."""
