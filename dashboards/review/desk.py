"""What the server of the review knows: the shelf, the results, and what was made from them."""

from __future__ import annotations

import asyncio
import threading
from collections import OrderedDict
from dataclasses import dataclass, field
from pathlib import Path

import dash

from sensorswim.dashboards.review.clips import Clips
from sensorswim.dashboards.review.results import Results
from sensorswim.dashboards.review.shelf import Shelf
from sensorswim.figures import TimeAxis
from sensorswim.model.analysis import Analysis

_KEPT = 4


@dataclass(frozen=True, kw_only=True)
class Opened:
    """A session that is on the desk."""

    key: str
    folder: Path
    analysis: Analysis
    axis: TimeAxis


@dataclass(frozen=True, kw_only=True)
class Desk:
    """One server's state; the sessions are its shelf's, so nothing else can be opened."""

    shelf: Shelf
    results: Results
    clips: Clips
    _axes: OrderedDict[int, TimeAxis] = field(default_factory=OrderedDict)
    _lock: threading.Lock = field(default_factory=threading.Lock)

    @classmethod
    def of(cls, shelf: Shelf) -> Desk:
        """Return the desk for a shelf."""
        return cls(shelf=shelf, results=Results(shelf.cache), clips=Clips(shelf.cache))

    def open(self, key: str) -> Opened | None:
        """Return a session and its analysis, None where the analysis isn't there yet.

        Raises
        ------
        SensorswimError
            No such session, or it can't be read.
        """
        folder = self.shelf.folder_of(key)
        analysis = self.results.get(folder)
        if analysis is None:
            return None
        return Opened(key=key, folder=folder, analysis=analysis, axis=self._axis(analysis))

    def _axis(self, analysis: Analysis) -> TimeAxis:
        """Return the time axis of an analysis, made once."""
        name = id(analysis.tables)
        with self._lock:
            known = self._axes.get(name)
            if known is None or known.tables is not analysis.tables:
                known = self._axes[name] = TimeAxis.of(analysis.tables)
            self._axes.move_to_end(name)
            while len(self._axes) > _KEPT:
                self._axes.popitem(last=False)
        return known


async def opened_or_stop(desk: Desk, key: str, scheme: str | None) -> Opened:
    """Return the open session; nothing is drawn before the page knows its look."""
    if not scheme or not key:
        raise dash.exceptions.PreventUpdate
    opened = await asyncio.to_thread(desk.open, key)
    if opened is None:
        raise dash.exceptions.PreventUpdate
    return opened
