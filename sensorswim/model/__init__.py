"""What the project talks about: placements, streams, recordings, sessions, tables, quality."""

from sensorswim.model.placement import Limb, Placement, Side
from sensorswim.model.quality import Quality, QualityRow, Severity
from sensorswim.model.session import Block, Mark, SensorFile, Session, Video, VideoMark
from sensorswim.model.settings import Settings
from sensorswim.model.streams import ClockFit, Recording, Samples, Stream, Track

__all__ = [
    "Block",
    "ClockFit",
    "Limb",
    "Mark",
    "Placement",
    "Quality",
    "QualityRow",
    "Recording",
    "Samples",
    "SensorFile",
    "Session",
    "Settings",
    "Severity",
    "Side",
    "Stream",
    "Track",
    "Video",
    "VideoMark",
]
