"""What stands out in a session: figures held against the bands of a rule file."""

from sensorswim.findings.find import find
from sensorswim.findings.measures import MEASURES
from sensorswim.model.findings import Finding, Findings, Moment, Rule, Rules, Unsupported

__all__ = [
    "MEASURES",
    "Finding",
    "Findings",
    "Moment",
    "Rule",
    "Rules",
    "Unsupported",
    "find",
]
