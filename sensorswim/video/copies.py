"""Copies of clips that a browser plays, upright and at their true rate; the original stays."""

from __future__ import annotations

from collections.abc import Callable
from fractions import Fraction
from pathlib import Path
from typing import Any, Final

import av
import numpy as np

from sensorswim.errors import InputError
from sensorswim.video.facts import VideoFacts, opened

_PLAYED: Final = {
    "h264": ("mp4",),
    "vp8": ("webm",),
    "vp9": ("webm", "mp4"),
    "av1": ("webm", "mp4"),
    "dav1d": ("webm", "mp4"),
}
_LONGEST_SIDE_PX: Final = 1280
_CLOCK: Final = Fraction(1, 90000)


def plays_as_it_is(facts: VideoFacts, slow_factor: float = 1.0) -> bool:
    """Tell whether browsers play a clip as stored, at its true rate.

    Browsers turn clips and keep their frames' own times; what they lack is some codecs and the
    knowledge that a clip was slowed down.
    """
    containers = _PLAYED.get(facts.codec.removesuffix("-vp9"), ())
    return slow_factor == 1.0 and any(name in facts.container.split(",") for name in containers)


def make_copy(
    source: Path,
    target: Path,
    facts: VideoFacts,
    *,
    slow_factor: float = 1.0,
    progress: Callable[[float], None] = lambda _share: None,
) -> Path:
    """Write a WebM copy of a clip: upright, at most 1280 px, each frame at its true time.

    The sound is kept unless the clip was slowed down, whose sound is of no use.

    Parameters
    ----------
    slow_factor : float
        By how much the clip is slower than life as stored; the copy is that much faster.
    progress : callable
        Told the share done, 0..1.

    Raises
    ------
    InputError
        The clip can't be read to its end.
    """
    part = target.with_name(f"{target.name}.part")
    target.parent.mkdir(parents=True, exist_ok=True)
    try:
        with opened(source) as clip, av.open(str(part), "w", format="webm") as copy:
            _copy(clip, copy, facts, slow_factor, progress)
    except av.error.FFmpegError as failure:
        raise InputError("can't be read to its end as a video", where=source.name) from failure
    finally:
        if part.exists() and _is_broken(part):
            part.unlink()
    return part.replace(target)


def _is_broken(part: Path) -> bool:
    return part.stat().st_size == 0


def _copy(
    clip: Any, copy: Any, facts: VideoFacts, slow: float, progress: Callable[[float], None]
) -> None:
    pictures = copy.add_stream("libvpx-vp9", rate=60)
    pictures.pix_fmt, pictures.codec_context.time_base = "yuv420p", _CLOCK
    pictures.width, pictures.height = _size(facts)
    pictures.bit_rate = 0
    pictures.options = {"crf": "34", "deadline": "realtime", "cpu-used": "8", "row-mt": "1"}
    keep_sound = facts.has_sound and slow == 1.0
    heard: Any = copy.add_stream("libopus", rate=48000) if keep_sound else None
    resampler = av.AudioResampler(format="flt", layout="stereo", rate=48000)
    sources = [clip.streams.video[0], *(clip.streams.audio[:1] if keep_sound else [])]
    first_s: float | None = None
    for frame in clip.decode(*sources):
        if frame.pts is None:
            continue
        time_s = frame.pts * float(frame.time_base)
        if isinstance(frame, av.AudioFrame):
            for piece in resampler.resample(frame):
                copy.mux(heard.encode(piece))
            continue
        first_s = time_s if first_s is None else first_s
        copy.mux(pictures.encode(upright_frame(frame, facts, (time_s - first_s) / slow)))
        progress(min(1.0, (time_s - first_s) / facts.duration_s))
    copy.mux(pictures.encode(None))
    if heard is not None:
        copy.mux(heard.encode(None))


def _size(facts: VideoFacts) -> tuple[int, int]:
    shrink = min(1.0, _LONGEST_SIDE_PX / max(facts.width_px, facts.height_px))
    return tuple(2 * round(shrink * side / 2) for side in (facts.width_px, facts.height_px))  # type: ignore[return-value]


def upright_frame(frame: Any, facts: VideoFacts, time_s: float) -> Any:
    """Return a frame as it is to be seen, at most 1280 px, at a time of its own."""
    width, height = _size(facts)
    turned = facts.rotation_deg % 180 != 0
    small = frame.reformat(
        width=height if turned else width, height=width if turned else height, format="rgb24"
    )
    image = np.rot90(small.to_ndarray(), facts.rotation_deg // 90)
    upright = av.VideoFrame.from_ndarray(np.ascontiguousarray(image), format="rgb24")
    upright.pts, upright.time_base = round(time_s / _CLOCK), _CLOCK
    return upright
