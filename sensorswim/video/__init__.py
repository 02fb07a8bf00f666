"""Clips: what they are, copies that a browser plays, knocks in their sound, films written."""

from sensorswim.video.align import Place, place_by_knocks
from sensorswim.video.copies import make_copy, plays_as_it_is
from sensorswim.video.encode import write_film
from sensorswim.video.facts import VideoFacts, read_facts
from sensorswim.video.sound import knocks_heard

__all__ = [
    "Place",
    "VideoFacts",
    "knocks_heard",
    "make_copy",
    "place_by_knocks",
    "plays_as_it_is",
    "read_facts",
    "write_film",
]
