"""What a clip is: codec, size, rotation, the true time of each frame."""

from __future__ import annotations

import contextlib
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final

import av
import numpy as np

from sensorswim.errors import InputError
from sensorswim.model.streams import FloatArray

CAPTURE_RATE_KEYS: Final = ("com.android.capture.fps", "com.apple.quicktime.capture.fps")
"""Keys under which phones say at how many frames a second a slow-motion clip was taken."""


@dataclass(frozen=True, kw_only=True)
class VideoFacts:
    """A clip as it is stored.

    Parameters
    ----------
    codec : str
        Of the pictures, in lower case: ``h264``, ``hevc``, ``vp9`` ...
    container : str
        Short names of the file's format, separated by commas.
    width_px, height_px : int
        As shown, after the rotation.
    rotation_deg : int
        By how much a frame has to be turned, counterclockwise: 0, 90, 180, 270.
    frame_s : (N,)
        When each frame is shown, from 0 for the first one, as stored.
    slow_factor : float
        How many times slower than life it plays as stored; 1 for ordinary clips.
    has_sound : bool
    """

    codec: str
    container: str
    width_px: int
    height_px: int
    rotation_deg: int
    frame_s: FloatArray
    slow_factor: float
    has_sound: bool

    @property
    def duration_s(self) -> float:
        """From the first frame to the end of the last one, as stored."""
        return float(self.frame_s[-1] + self.frame_gap_s)

    @property
    def frame_gap_s(self) -> float:
        """Usual time from frame to frame, as stored."""
        return float(np.median(np.diff(self.frame_s))) if len(self.frame_s) > 1 else 1.0 / 30.0


@contextlib.contextmanager
def opened(path: Path) -> Iterator[Any]:
    """Open a clip.

    Raises
    ------
    InputError
        It isn't there, or it is no clip that can be read.
    """
    try:
        container = av.open(str(path))
    except (av.error.FFmpegError, OSError) as failure:
        raise InputError("can't be read as a video", where=path.name) from failure
    with container:
        yield container


def read_facts(path: Path) -> VideoFacts:
    """Return what a clip is, from its packets; only its first frame is decoded.

    Raises
    ------
    InputError
        No clip that can be read, or one without pictures.
    """
    with opened(path) as container:
        if not container.streams.video:
            raise InputError("has no pictures", where=path.name, mend="give a video")
        stream = container.streams.video[0]
        times = [p.pts * float(p.time_base) for p in container.demux(stream) if p.pts is not None]
    if not times:
        raise InputError("has no pictures", where=path.name, mend="give a video")
    with opened(path) as container:
        stream = container.streams.video[0]
        first = next(container.decode(stream), None)
        if first is None:
            raise InputError("has no picture that can be read", where=path.name)
        frame_s = np.sort(np.array(times))
        rotation = round(first.rotation / 90) * 90 % 360
        width, height = first.width, first.height
        return VideoFacts(
            codec=stream.codec_context.name.removeprefix("lib"),
            container=container.format.name,
            width_px=height if rotation % 180 else width,
            height_px=width if rotation % 180 else height,
            rotation_deg=rotation,
            frame_s=frame_s - frame_s[0],
            slow_factor=_slow_factor(container, frame_s),
            has_sound=bool(container.streams.audio),
        )


def _slow_factor(container: Any, frame_s: FloatArray) -> float:
    """Return how many times slower than life the clip is stored; phones say what they took."""
    gap_s = float(np.median(np.diff(frame_s))) if len(frame_s) > 2 else 0.0
    if gap_s <= 0.0:
        return 1.0
    stored = 1.0 / gap_s
    for key in CAPTURE_RATE_KEYS:
        try:
            taken = float(container.metadata.get(key, "nan"))
        except ValueError:
            continue
        if taken > 1.5 * stored:
            return float(taken / stored)
    return 1.0
