"""Clips made up for tests: a box that moves, clicks in the sound."""

from __future__ import annotations

from collections.abc import Sequence
from fractions import Fraction
from pathlib import Path

import av
import numpy as np

WIDTH, HEIGHT = 128, 96


def picture(index: int, *, width: int = WIDTH, height: int = HEIGHT) -> np.ndarray:
    """Return a grey picture with a white top left corner and a bar that moves."""
    image = np.full((height, width, 3), 90, dtype=np.uint8)
    image[: height // 3, : width // 3] = 255
    column = (7 * index) % (width - 8)
    image[height // 2 : height // 2 + 10, column : column + 8] = (0, 60, 200)
    return image


def write_clip(
    path: Path,
    times_s: Sequence[float],
    *,
    codec: str = "libx264",
    metadata: dict[str, str] | None = None,
    clicks_s: Sequence[float] = (),
    rotation_deg: int = 0,
) -> Path:
    """Write a clip whose frames are shown at these times, with clicks in its sound if any."""
    options = {"movflags": "use_metadata_tags"} if path.suffix in (".mp4", ".mov") else {}
    with av.open(str(path), "w", options=options) as film:
        film.metadata.update(metadata or {})
        stream = film.add_stream(codec, rate=30)
        stream.width, stream.height, stream.pix_fmt = WIDTH, HEIGHT, "yuv420p"
        stream.time_base = Fraction(1, 90000)
        stream.codec_context.time_base = Fraction(1, 90000)
        stream.options = {"x265-params": "log-level=none", "bf": "0"}
        if rotation_deg:
            stream.set_display_rotation(rotation_deg)
        heard = film.add_stream("aac", rate=48000, layout="mono") if len(clicks_s) else None
        for index, time_s in enumerate(times_s):
            frame = av.VideoFrame.from_ndarray(picture(index), format="rgb24")
            frame.pts, frame.time_base = round(time_s * 90000), Fraction(1, 90000)
            film.mux(stream.encode(frame))
        film.mux(stream.encode(None))
        if heard is not None:
            _add_sound(film, heard, clicks_s, times_s[-1] + 0.5)
    return path


def _add_sound(film: object, stream: object, clicks_s: Sequence[float], until_s: float) -> None:
    rng = np.random.default_rng(1)
    sound = (0.003 * rng.standard_normal(int(until_s * 48000))).astype(np.float32)
    for moment in clicks_s:
        first = round(moment * 48000)
        sound[first : first + 150] += 0.7 * np.exp(-np.arange(150) / 40).astype(np.float32)
    for first in range(0, len(sound) - 1024, 1024):
        frame = av.AudioFrame.from_ndarray(sound[None, first : first + 1024], "fltp", "mono")
        frame.sample_rate, frame.pts, frame.time_base = 48000, first, Fraction(1, 48000)
        film.mux(stream.encode(frame))  # type: ignore[attr-defined]
    film.mux(stream.encode(None))  # type: ignore[attr-defined]
