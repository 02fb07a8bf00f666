"""Writes a film: WebM with VP9 pictures and Opus sound, which every current browser plays."""

from __future__ import annotations

from collections.abc import Iterable
from fractions import Fraction
from pathlib import Path
from typing import Any, Final

import av
import numpy as np
import numpy.typing as npt

from sensorswim.model.streams import FloatArray

SOUND_HZ: Final = 48000
_CHUNK: Final = 960


def write_film(
    path: Path,
    frames: Iterable[npt.NDArray[np.uint8]],
    *,
    rate_hz: int,
    sound: FloatArray | None = None,
    bits_s: int = 110_000,
) -> Path:
    """Write frames (H, W, 3), and sound (N,) at 48 kHz if given, and return the path.

    The file is made beside and swapped in whole.

    Parameters
    ----------
    bits_s : int
        Most that the pictures take, in bits a second.
    """
    part = path.with_name(f"{path.name}.part")
    with av.open(str(part), "w", format="webm") as film:
        pictures = film.add_stream("libvpx-vp9", rate=rate_hz)
        pictures.pix_fmt = "yuv420p"
        pictures.bit_rate = bits_s
        pictures.options = {"crf": "36", "deadline": "realtime", "cpu-used": "8"}
        heard = _sound_stream(film) if sound is not None else None
        for index, image in enumerate(frames):
            if index == 0:
                pictures.height, pictures.width = image.shape[:2]
            frame = av.VideoFrame.from_ndarray(image, format="rgb24")
            frame.pts, frame.time_base = index, Fraction(1, rate_hz)
            film.mux(pictures.encode(frame))
        film.mux(pictures.encode(None))
        if heard is not None and sound is not None:
            _write_sound(film, heard, sound)
    return part.replace(path)


def _sound_stream(film: Any) -> Any:
    stream = film.add_stream("libopus", rate=SOUND_HZ, layout="mono")
    stream.bit_rate = 20000
    return stream


def _write_sound(film: Any, stream: Any, sound: FloatArray) -> None:
    for first in range(0, len(sound), _CHUNK):
        part = sound[first : first + _CHUNK].astype(np.float32)[None, :]
        frame = av.AudioFrame.from_ndarray(part, format="fltp", layout="mono")
        frame.sample_rate, frame.pts = SOUND_HZ, first
        frame.time_base = Fraction(1, SOUND_HZ)
        film.mux(stream.encode(frame))
    film.mux(stream.encode(None))
