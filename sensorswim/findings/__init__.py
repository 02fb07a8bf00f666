"""What stands out in a session, the drills for it, and a plan of some weeks."""

from sensorswim.findings.diary import after_diary
from sensorswim.findings.find import find
from sensorswim.findings.measures import MEASURES
from sensorswim.findings.plan import fitting_drills, make_plan
from sensorswim.model.findings import Finding, Findings, Moment, Rule, Rules, Unsupported

__all__ = [
    "MEASURES",
    "Finding",
    "Findings",
    "Moment",
    "Rule",
    "Rules",
    "Unsupported",
    "after_diary",
    "find",
    "fitting_drills",
    "make_plan",
]
