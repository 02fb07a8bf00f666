"""WebVTT cues, written and read.

Source: W3C, WebVTT: The Web Video Text Tracks Format, https://www.w3.org/TR/webvtt1/
(file body and comment blocks 4.1, cue identifier and payload 4.2, timestamps 4.1 and 6.3). Only
plain cue text is written: tags, settings, regions and styles are not used. A comment block at the
top carries the format.
"""

from __future__ import annotations

import math
import re
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Final

from sensorswim.model.tables import FORMAT

_TIMING: Final = re.compile(
    r"\s*(?:(\d{2,}):)?([0-5]\d):([0-5]\d)\.(\d{3})\s+-->\s+"
    r"(?:(\d{2,}):)?([0-5]\d):([0-5]\d)\.(\d{3})(?:\s.*)?"
)
_ESCAPES: Final = (("&", "&amp;"), ("<", "&lt;"), (">", "&gt;"))


@dataclass(frozen=True, kw_only=True)
class Cue:
    """One cue.

    Parameters
    ----------
    start_s, end_s : float
        Seconds of video time; a cue ends at least a millisecond after its start.
    text : str
        Plain text; its line breaks are kept, its empty lines are not (they'd end the cue).
    identifier : str
        Optional name, on one line, without ``-->``.
    """

    start_s: float
    end_s: float
    text: str
    identifier: str = ""


def cues_to_vtt(cues: Iterable[Cue]) -> str:
    """Return a WebVTT file with the cues in order of their start.

    Cues that begin before zero are cut to zero (WebVTT has no negative times) and cues that end
    by then are left out, as they'd never be shown.

    Raises
    ------
    ValueError
        A time that isn't finite.
    """
    blocks = ["WEBVTT\n", f"NOTE format = {FORMAT}\n"]
    for cue in sorted(cues, key=lambda cue: (cue.start_s, cue.end_s)):
        if not (math.isfinite(cue.start_s) and math.isfinite(cue.end_s)):
            raise ValueError(f"cue {cue.identifier!r} has no finite time")
        end_ms = round(cue.end_s * 1000)
        if end_ms <= 0:
            continue
        start_ms = max(0, round(cue.start_s * 1000))
        blocks.append(_block(cue, start_ms, max(end_ms, start_ms + 1)))
    return "\n".join(blocks)


def parse_vtt(text: str) -> list[Cue]:
    """Return the cues of a WebVTT file; cue settings, notes, styles and regions are skipped.

    Raises
    ------
    ValueError
        The text doesn't begin with the WEBVTT signature.
    """
    lines = _lines(text.removeprefix("\ufeff").replace("\0", "\ufffd"))
    if not re.match(r"WEBVTT(?:[ \t]|$)", lines[0]):
        raise ValueError("not a WebVTT file: it doesn't begin with WEBVTT")
    cues: list[Cue] = []
    block: list[str] = []
    for line in [*lines[1:], ""]:
        if line:
            block.append(line)
            continue
        cue = _cue(block)
        if cue is not None:
            cues.append(cue)
        block = []
    return cues


def _lines(text: str) -> list[str]:
    return text.replace("\r\n", "\n").replace("\r", "\n").split("\n")


def _block(cue: Cue, start_ms: int, end_ms: int) -> str:
    identifier = " ".join(_lines(cue.identifier.replace("\0", ""))).strip()
    while "-->" in identifier:
        identifier = identifier.replace("-->", "->")
    payload = [line for line in _lines(cue.text.replace("\0", "")) if line.strip()] or ["-"]
    for plain, escaped in _ESCAPES:
        payload = [line.replace(plain, escaped) for line in payload]
    head = [identifier] if identifier else []
    timing = f"{_timestamp(start_ms)} --> {_timestamp(end_ms)}"
    return "\n".join([*head, timing, *payload, ""])


def _timestamp(milliseconds: int) -> str:
    seconds, ms = divmod(milliseconds, 1000)
    minutes, s = divmod(seconds, 60)
    hours, m = divmod(minutes, 60)
    return f"{hours:02d}:{m:02d}:{s:02d}.{ms:03d}"


def _cue(block: list[str]) -> Cue | None:
    at = next((i for i, line in enumerate(block[:2]) if "-->" in line), None)
    match = None if at is None else _TIMING.fullmatch(block[at])
    if at is None or match is None:
        return None
    numbers = [int(part or 0) for part in match.groups()]
    start_ms, end_ms = (
        ((h * 60 + m) * 60 + s) * 1000 + ms for h, m, s, ms in (numbers[:4], numbers[4:])
    )
    text = "\n".join(block[at + 1 :])
    for plain, escaped in reversed(_ESCAPES):
        text = text.replace(escaped, plain)
    identifier = block[0] if at == 1 else ""
    return Cue(start_s=start_ms / 1000, end_s=end_ms / 1000, text=text, identifier=identifier)
