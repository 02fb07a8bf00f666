"""The best moments to look at: clear examples, from different lengths."""

from __future__ import annotations

from typing import Final

import numpy as np

from sensorswim.findings.evidence import Measured
from sensorswim.model.findings import Moment, Rule
from sensorswim.model.session import Session, video_time

MOST: Final = 3
_CLEAR: Final = 0.8
"""Quantile in the fault's direction: clearer than most, but not the odd one out."""


def clear_moments(measured: Measured, rule: Rule, session: Session) -> tuple[Moment, ...]:
    """Return up to three moments near the upper end of the fault, at most one a length.

    Moments that a placed video shows come first among equals.
    """
    low_side = rule.low is not None and measured.value < rule.low
    worth = -measured.each if low_side else measured.each
    order = np.argsort(np.abs(worth - np.quantile(worth, _CLEAR)), kind="stable")
    moments: list[Moment] = []
    for at in order:
        length_no = int(measured.length_no[at])
        if length_no not in {m.length_no for m in moments}:
            moment_s = float(measured.session_s[at])
            video, video_s = in_video(moment_s, session)
            value = float(measured.each[at])
            moments.append(
                Moment(
                    session_s=moment_s,
                    length_no=length_no,
                    value=value,
                    video=video,
                    video_s=video_s,
                )
            )
    seen = sorted(moments[: 4 * MOST], key=lambda m: m.video is None)
    return tuple(sorted(seen[:MOST], key=lambda m: m.session_s))


def in_video(session_s: float, session: Session) -> tuple[str | None, float | None]:
    """Return the first placed video and its time for a moment.

    How long a clip runs isn't known here, so a moment may lie after its end.
    """
    for video in session.videos:
        placed = video_time(video)
        if placed is not None and placed[0] + placed[1] * session_s >= 0:
            return video.file.name, placed[0] + placed[1] * session_s
    return None, None
