"""A short film of one moment with words drawn in: silent, and without what the original tells."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Final

import numpy as np
import numpy.typing as npt
from PIL import Image, ImageDraw, ImageFont

from sensorswim.errors import InputError
from sensorswim.video.copies import upright_frame
from sensorswim.video.encode import write_film
from sensorswim.video.facts import opened, read_facts

Picture = npt.NDArray[np.uint8]
_RATE_HZ: Final = 25
_BITS_S: Final = 1_500_000
_AROUND_S: Final = 0.4
_LINES: Final = {3: ((0, 1), (1, 2)), 4: ((0, 1), (2, 3))}
_INK, _PAPER = (253, 253, 251), (20, 27, 34)


@dataclass(frozen=True, kw_only=True)
class Line:
    """Words that stand below the picture for a while, in the clip's true time."""

    start_s: float
    end_s: float
    text: str


@dataclass(frozen=True, kw_only=True)
class Drawn:
    """What was measured on a frame, drawn into the picture around its time.

    Parameters
    ----------
    time_s : float
        In the clip's true time.
    points : sequence of (float, float)
        Shares of width and height: three of an angle, or two lines of two.
    text : str
        What stands beside it.
    """

    time_s: float
    points: Sequence[tuple[float, float]]
    text: str


def export_moment(
    source: Path,
    target: Path,
    lines: Sequence[Line],
    drawn: Sequence[Drawn] = (),
    *,
    start_s: float,
    end_s: float,
) -> Path:
    """Write a part of a clip as WebM with its lines below the picture, and return its path.

    Nothing but pictures is taken over: no sound, no place, no time, no name of the camera.

    Parameters
    ----------
    source, target : Path
    lines : sequence of Line
        In order; at most three are shown at once.
    drawn : sequence of Drawn
        Each is shown from 0.4 s before its time to 0.4 s after it.
    start_s, end_s : float
        In the clip's true time, also where it is stored in slow motion.

    Raises
    ------
    InputError
        The clip can't be read, or holds no picture between the two times.
    """
    shown = _captioned(source, lines, drawn, max(0.0, start_s), end_s)
    first = next(shown, None)
    if first is None:
        raise InputError(
            f"holds no picture between {start_s:.1f} and {end_s:.1f} s",
            where=source.name,
            mend="choose a moment that the clip shows",
        )

    def frames() -> Iterator[Picture]:
        yield first
        yield from shown

    return write_film(target, frames(), rate_hz=_RATE_HZ, bits_s=_BITS_S)


def _captioned(
    source: Path, lines: Sequence[Line], drawn: Sequence[Drawn], start_s: float, end_s: float
) -> Iterator[Picture]:
    """Yield pictures at an even rate, each frame repeated or left out as its time asks."""
    facts = read_facts(source)
    written = 0
    with opened(source) as clip:
        stream = clip.streams.video[0]
        begin_s = float((stream.start_time or 0) * stream.time_base)
        for frame in clip.decode(stream):
            if frame.pts is None:
                continue
            time_s = (frame.pts * float(frame.time_base) - begin_s) / facts.slow_factor
            if time_s > end_s:
                return
            due = int((time_s - start_s) * _RATE_HZ) + 1 - written
            if time_s < start_s or due < 1:
                continue
            image = upright_frame(frame, facts, time_s).to_ndarray(format="rgb24")
            words = [line.text for line in lines if line.start_s <= time_s < line.end_s]
            near = [one for one in drawn if abs(one.time_s - time_s) <= _AROUND_S]
            picture = _with_words(_with_measures(image, near), words[:3])
            for _ in range(due):
                yield picture
            written += due


def _with_measures(image: Picture, drawn: Sequence[Drawn]) -> Picture:
    """Return the picture with lines, points and figures of what was measured on it."""
    if not drawn:
        return image
    canvas = Image.fromarray(image)
    pen, size = ImageDraw.Draw(canvas), max(14, image.shape[0] // 24)
    font = ImageFont.load_default(size=size)
    for one in drawn:
        places = [(x * image.shape[1], y * image.shape[0]) for x, y in one.points]
        for a, b in _LINES.get(len(places), ()):
            pen.line([places[a], places[b]], fill=_PAPER, width=size // 3)
            pen.line([places[a], places[b]], fill=_INK, width=size // 7)
        for x, y in places:
            pen.circle((x, y), size // 3, outline=_INK, width=size // 8)
        if places:
            beside = (places[-1][0] + size, places[-1][1])
            pen.text(beside, one.text, fill=_INK, font=font, stroke_width=2, stroke_fill=_PAPER)
    return np.asarray(canvas)


def _with_words(image: Picture, words: Sequence[str]) -> Picture:
    """Return the picture with a band below that holds up to three lines."""
    size = max(14, image.shape[0] // 24)
    band = 2 * ((4 * size) // 2)
    canvas = Image.new("RGB", (image.shape[1], image.shape[0] + band), _PAPER)
    canvas.paste(Image.fromarray(image), (0, 0))
    pen, font = ImageDraw.Draw(canvas), ImageFont.load_default(size=size)
    for row, text in enumerate(words):
        place = (size // 2, image.shape[0] + size // 4 + row * (size + size // 4))
        pen.text(place, text, fill=_INK, font=font)
    return np.asarray(canvas)
