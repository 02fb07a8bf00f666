"""Every picture of the report and the dashboards: functions from result tables to figures."""

from sensorswim.figures.agreement import draw_agreement
from sensorswim.figures.arms import draw_arm_phases, draw_coordination, phase_shares
from sensorswim.figures.breaths import draw_side_time
from sensorswim.figures.elbows import draw_elbows
from sensorswim.figures.felt import draw_felt
from sensorswim.figures.hand_paths import draw_hand_paths
from sensorswim.figures.kicks import draw_kick_rhythm
from sensorswim.figures.library import LIBRARY_FOLDER, LIBRARY_NAME, plotting_library
from sensorswim.figures.pace import draw_pace
from sensorswim.figures.roll import draw_roll_of_length, draw_roll_peaks, draw_typical_roll
from sensorswim.figures.season import draw_against_speed, draw_carry_over, draw_sense, draw_trend
from sensorswim.figures.side_by_side import same_scales
from sensorswim.figures.style import CONFIG, alt_of, blank, is_blank, recolour, recolour_spec
from sensorswim.figures.swum import draw_swum
from sensorswim.figures.time_axis import LEGEND, Stretch, TimeAxis
from sensorswim.metrics.felt import felt_against_measured

__all__ = [
    "CONFIG",
    "LEGEND",
    "LIBRARY_FOLDER",
    "LIBRARY_NAME",
    "Stretch",
    "TimeAxis",
    "alt_of",
    "blank",
    "draw_against_speed",
    "draw_agreement",
    "draw_arm_phases",
    "draw_carry_over",
    "draw_coordination",
    "draw_elbows",
    "draw_felt",
    "draw_hand_paths",
    "draw_kick_rhythm",
    "draw_pace",
    "draw_roll_of_length",
    "draw_roll_peaks",
    "draw_sense",
    "draw_side_time",
    "draw_swum",
    "draw_trend",
    "draw_typical_roll",
    "felt_against_measured",
    "is_blank",
    "phase_shares",
    "plotting_library",
    "recolour",
    "recolour_spec",
    "same_scales",
]
