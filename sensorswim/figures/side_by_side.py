"""Two pictures of the same kind with the same scales, so that they can be compared by eye."""

from __future__ import annotations

import re
from collections.abc import Iterable
from typing import Any, Final

import numpy as np
import plotly.graph_objects as go

from sensorswim.figures import style

_MARGIN: Final = 0.04
"""Room at both ends of an axis, as a share of what is drawn."""


def same_scales(before: go.Figure, after: go.Figure) -> tuple[go.Figure, go.Figure]:
    """Return both figures with the axes that both have set to one range each.

    An axis of words or dates keeps its own range, and so does a picture that is blank.
    """
    pair = (go.Figure(before), go.Figure(after))
    if style.is_blank(before) or style.is_blank(after):
        return pair
    for axis in _axes(pair[0]) & _axes(pair[1]):
        spans = [span for fig in pair for span in _span(fig, axis)]
        if not spans:
            continue
        low, high = min(s[0] for s in spans), max(s[1] for s in spans)
        room = _MARGIN * (high - low or 1.0)
        ends = [low - room, high + room]
        if any(fig.layout[axis].autorange == "reversed" for fig in pair):
            ends.reverse()
        for fig in pair:
            fig.layout[axis].update(range=ends, autorange=False)
    return pair


def _axes(fig: go.Figure) -> set[str]:
    return {key for key in fig.layout.to_plotly_json() if re.fullmatch(r"[xy]axis\d*", key)}


def _span(fig: go.Figure, axis: str) -> Iterable[tuple[float, float]]:
    """Yield the ends of what a figure draws on an axis: a set range, else its data."""
    fixed = fig.layout[axis].range
    if fixed is not None and all(isinstance(end, int | float) for end in fixed):
        yield min(fixed), max(fixed)
        return
    letter, number = axis[0], axis[5:]
    if fig.layout[axis].rangemode == "tozero":
        yield 0.0, 0.0
    for trace in fig.data:
        if (getattr(trace, f"{letter}axis", None) or letter) == f"{letter}{number}":
            values = _numbers(getattr(trace, letter, None))
            if len(values):
                yield float(values.min()), float(values.max())


def _numbers(raw: Any) -> np.ndarray[Any, np.dtype[np.float64]]:
    kept = [
        float(value)
        for value in (raw if raw is not None else [])
        if isinstance(value, int | float | np.number) and np.isfinite(value)
    ]
    return np.array(kept, dtype=float)
