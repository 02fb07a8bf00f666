"""The report for coach and swimmer, and the cues that run beside a video."""

from sensorswim.report.cues import cue_files, cues_in_video, session_cues
from sensorswim.report.headline import headline
from sensorswim.report.page import report_html

__all__ = ["cue_files", "cues_in_video", "headline", "report_html", "session_cues"]
