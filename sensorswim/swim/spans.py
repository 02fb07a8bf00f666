"""Lengths on the way to the table: parts joined, overlaps and bits taken off, unfinished marked."""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import partial

import numpy as np

from sensorswim.model import Recording
from sensorswim.model.streams import FloatArray
from sensorswim.swim.ways import TRUNK_AND_LEGS, arms_keep_way, bodies_way

SEVERAL = 3
"""So many lengths tell how long one takes."""
STOP_S, _AS_LONG, _PART = 15.0, 0.25, 0.75
"""A swimmer who stops on the way goes on within so long, in the same direction; both parts last as
long as another length, within such a share of it, and either is a part of it at most (our
choice)."""


@dataclass(frozen=True, kw_only=True)
class LengthSpan:
    """One length on the way to the table.

    Parameters
    ----------
    start_s, end_s : float
        Push-off and wall, session time.
    starts_at_wall, ends_at_wall : bool
        Whether a push-off and a wall contact were seen.
    finished : bool
        False where it is far shorter than the session's other lengths: swum in part.
    flips : bool
        It ends in a flip turn: the feet come to the wall, no hand.
    """

    start_s: float
    end_s: float
    starts_at_wall: bool
    ends_at_wall: bool
    finished: bool = True
    flips: bool = False


def without_overlap(spans: tuple[LengthSpan, ...]) -> tuple[LengthSpan, ...]:
    """Let no length start before the previous one ended."""
    kept: list[LengthSpan] = []
    for span in spans:
        start_s = max(span.start_s, kept[-1].end_s) if kept else span.start_s
        if span.end_s - start_s > 1.0:
            kept.append(replace(span, start_s=start_s))
    return tuple(kept)


def without_bits(spans: tuple[LengthSpan, ...], least_s: float) -> tuple[LengthSpan, ...]:
    """Return the lengths that take at least so long, or begin with a push-off, as a sprint does."""
    return tuple(s for s in spans if s.starts_at_wall or s.end_s - s.start_s >= least_s)


def without_stops(
    spans: tuple[LengthSpan, ...], recording: Recording, quickest_s: float
) -> tuple[LengthSpan, ...]:
    """Return the lengths with those whole again on whose way the swimmer stopped and went on.

    Legs and trunk: no push-off begins the second part, nobody turned round, and one part alone is
    too short. Arms alone, which may take a start in mid-water for a second push-off: they swim on
    the same way, and one part alone is over before anybody could be at the other end, or both take
    no longer than others. Else a length without arm strokes may lie between.

    Parameters
    ----------
    spans : tuple of LengthSpan
    recording : Recording
        Oriented.
    quickest_s : float
        How long the fastest take for a length.
    """
    goes_on = _goes_on
    if not any(p in recording.tracks for p in TRUNK_AND_LEGS):
        goes_on = partial(_arms_go_on, quickest_s=quickest_s)
    joined: list[LengthSpan] = []
    for span in spans:
        before = joined[-1] if joined else None
        if before is not None and goes_on(before, span, spans, recording):
            joined[-1] = replace(span, start_s=before.start_s, starts_at_wall=before.starts_at_wall)
        else:
            joined.append(span)
    return tuple(joined)


def _others_s(before: LengthSpan, span: LengthSpan, spans: tuple[LengthSpan, ...]) -> FloatArray:
    """Return how long (K,) the other lengths take."""
    own = (before.start_s, span.start_s)
    return np.array([s.end_s - s.start_s for s in spans if s.start_s not in own])


def _goes_on(
    before: LengthSpan, span: LengthSpan, spans: tuple[LengthSpan, ...], recording: Recording
) -> bool:
    """Tell whether a length is the rest of the one before."""
    others_s = _others_s(before, span, spans)
    if span.starts_at_wall or span.start_s - before.end_s > STOP_S or len(others_s) < SEVERAL:
        return False
    typical_s = float(np.median(others_s))
    parts_s = np.array([s.end_s - s.start_s for s in (before, span)])
    whole = abs(parts_s.sum() - typical_s) < _AS_LONG * typical_s
    same_way = bodies_way(recording, (before.start_s, before.end_s), (span.start_s, span.end_s))
    return whole and parts_s.max() < _PART * typical_s and same_way


def _arms_go_on(
    before: LengthSpan,
    span: LengthSpan,
    spans: tuple[LengthSpan, ...],
    recording: Recording,
    *,
    quickest_s: float,
) -> bool:
    """Tell by the arms alone whether a length is the rest of the one before."""
    first_push = span.starts_at_wall and not before.starts_at_wall
    if first_push or span.start_s - before.end_s > STOP_S:
        return False
    parts_s = [s.end_s - s.start_s for s in (before, span)]
    if min(parts_s) >= quickest_s:
        others_s = _others_s(before, span, spans)
        if not len(others_s) or sum(parts_s) > (1.0 + _AS_LONG) * float(np.median(others_s)):
            return False
    return arms_keep_way(recording, (before.start_s, before.end_s), (span.start_s, span.end_s))


def judge_finished(spans: tuple[LengthSpan, ...]) -> tuple[LengthSpan, ...]:
    """Mark lengths that lasted less than 0.55 of the median and saw no wall as unfinished."""
    if not spans:
        return spans
    typical_s = float(np.median([s.end_s - s.start_s for s in spans]))
    return tuple(
        replace(s, finished=s.ends_at_wall or s.end_s - s.start_s > 0.55 * typical_s) for s in spans
    )
