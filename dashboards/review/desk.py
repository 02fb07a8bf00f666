"""What the server of the review knows: the shelf, the results, and what was made from them."""

from __future__ import annotations

import asyncio
import contextlib
import threading
from collections import OrderedDict
from dataclasses import dataclass, field
from pathlib import Path
from typing import Final

import dash

from sensorswim import figures
from sensorswim.dashboards.review.clips import Clips
from sensorswim.dashboards.review.results import Results
from sensorswim.dashboards.review.shelf import Shelf, key_of
from sensorswim.errors import SensorswimError
from sensorswim.figures import TimeAxis, style
from sensorswim.figures.time_axis import Spec
from sensorswim.model.analysis import Analysis

_KEPT: Final = 4
_STRIP_SHARE: Final = 0.88
"""Of the height that the strip has in the report."""


@dataclass(frozen=True, kw_only=True)
class Drawn:
    """What is drawn of an analysis again and again, made once.

    Parameters
    ----------
    axis : TimeAxis
    strip : dict
        The strip of the lengths, as plotly's JSON has it, in the light look.
    """

    axis: TimeAxis
    strip: Spec

    @classmethod
    def of(cls, analysis: Analysis) -> Drawn:
        """Return what is drawn of an analysis."""
        fig = figures.draw_swum(analysis.lengths, analysis.session.blocks)
        height = int(_STRIP_SHARE * fig.layout.height)
        fig.update_layout(height=height, margin={"t": 8, "b": 44})
        return cls(axis=TimeAxis.of(analysis.tables), strip=style.spec_of(fig))


@dataclass(frozen=True, kw_only=True)
class Opened:
    """A session that is on the desk."""

    key: str
    folder: Path
    analysis: Analysis
    drawn: Drawn

    @property
    def axis(self) -> TimeAxis:
        """The session, ready for drawing any stretch of it."""
        return self.drawn.axis


@dataclass(frozen=True, kw_only=True)
class Desk:
    """One server's state; the sessions are its shelf's, so nothing else can be opened."""

    shelf: Shelf
    results: Results
    clips: Clips
    _drawn: OrderedDict[int, Drawn] = field(default_factory=OrderedDict)
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
        return Opened(key=key, folder=folder, analysis=analysis, drawn=self._drawings(analysis))

    def read_ahead(self) -> None:
        """Open the session that is likely to be asked for first, if it was analysed before.

        Reading two hours takes about as long as a browser takes to load the page.
        """
        first = self.shelf.likely()
        if first is None:
            return
        with contextlib.suppress(SensorswimError):
            self.open(key_of(first))

    def _drawings(self, analysis: Analysis) -> Drawn:
        name = id(analysis.tables)
        with self._lock:
            known = self._drawn.get(name)
            if known is None or known.axis.tables is not analysis.tables:
                known = self._drawn[name] = Drawn.of(analysis)
            self._drawn.move_to_end(name)
            while len(self._drawn) > _KEPT:
                self._drawn.popitem(last=False)
        return known


async def opened_or_stop(desk: Desk, key: str, scheme: str | None) -> Opened:
    """Return the open session; nothing is drawn before the page knows its look."""
    if not scheme or not key:
        raise dash.exceptions.PreventUpdate
    opened = await asyncio.to_thread(desk.open, key)
    if opened is None:
        raise dash.exceptions.PreventUpdate
    return opened
