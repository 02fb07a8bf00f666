"""One stretch of a session on one time axis: roll and breaths, arm phases, kicks."""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cached_property
from typing import Any, Final

import numpy as np
import pandas as pd
from tsdownsample import MinMaxDownsampler

from sensorswim.figures import style
from sensorswim.figures.arms import PHASE_FILLS, PHASES
from sensorswim.figures.roll import best_source
from sensorswim.model.streams import FloatArray

FINE_S: Final = 180.0
"""Longest stretch over which single strokes and kicks are drawn."""
_POINTS: Final = 1500
_MOST_NOTES: Final = 24
_EVENTS: Final = ("entry_s", "catch_s", "mid_pull_s", "exit_s", "next_entry_s")
_SIDES: Final = ("left", "right")
_DOMAINS: Final = {"yaxis": (0.58, 1.0), "yaxis2": (0.32, 0.5), "yaxis3": (0.0, 0.27)}
_FIXED: Final = {"automargin": False}
"""The margins hold all words of the axes; to try that out, plotly would draw all of it twice."""
HEIGHT_PX: Final = 520

LEGEND: Final = (
    *(("■", colour, name) for name, (colour, _) in zip(PHASES, PHASE_FILLS, strict=True)),
    ("◀", style.LEFT, "left: breath, downbeat"),
    ("◆", style.RIGHT, "right: breath, downbeat"),
    ("▬", style.SOFT, "time on the side"),
)
"""Glyph, colour and words of what is drawn, for a legend beside the picture."""

Spec = dict[str, Any]
"""A figure as plotly's JSON has it: ``data`` and ``layout``."""


@dataclass(frozen=True, kw_only=True)
class Stretch:
    """A stretch of session time."""

    start_s: float
    end_s: float

    @property
    def is_fine(self) -> bool:
        """Whether single strokes and kicks are drawn."""
        return self.end_s - self.start_s <= FINE_S

    def widened(self, share: float = 0.5) -> Stretch:
        """Return the stretch with a margin on both sides, so that a small move finds data."""
        margin = share * (self.end_s - self.start_s)
        return Stretch(start_s=self.start_s - margin, end_s=self.end_s + margin)

    def cut(self, table: pd.DataFrame, first: str, last: str | None = None) -> pd.DataFrame:
        """Return the rows whose span touches the stretch."""
        late = table[first] <= self.end_s
        return table[late & (table[last or first] >= self.start_s)]


@dataclass(frozen=True, kw_only=True)
class TimeAxis:
    """A session, made ready for drawing any stretch of it at once.

    Parameters
    ----------
    tables : dict
        The result tables by name.
    source : str or None
        Where the roll is from.
    roll_time_s, roll_deg : (N,)
        The roll of that source, in order.
    """

    tables: dict[str, pd.DataFrame]
    source: str | None
    roll_time_s: FloatArray
    roll_deg: FloatArray

    @classmethod
    def of(cls, tables: dict[str, pd.DataFrame]) -> TimeAxis:
        """Return the axis of a session's result tables."""
        source = best_source(tables["lengths"], tables["roll"])
        roll = tables["roll"]
        own = roll[(roll["source"] == source).fillna(value=False).astype(bool)]
        own = own.sort_values("time_s")
        return cls(
            tables=tables,
            source=source,
            roll_time_s=own["time_s"].to_numpy(dtype=float),
            roll_deg=own["roll_deg"].to_numpy(dtype=float, na_value=np.nan),
        )

    def draw(self, stretch: Stretch) -> Spec:
        """Return the picture of a stretch, with a margin of data beside it.

        Up to `FINE_S` it has each stroke, breath and kick, beyond that only roll and lengths.
        Made of plain values, as plotly's own objects take ten times as long.
        """
        wide = stretch.widened()
        data = [self._roll(wide)]
        if stretch.is_fine:
            data += self._breaths(wide) + self._arms(wide) + self._legs(wide)
        lengths = wide.cut(self._lengths, "start_s", "end_s")
        layout = _layout(stretch) | _length_marks(lengths, fine=stretch.is_fine)
        return {"data": data, "layout": layout | {"meta": {"alt": self._alt(stretch)}}}

    def roll_at(self, time_s: FloatArray) -> FloatArray:
        """Return the roll in degrees at session times, zeros where there is none."""
        known_s, known_deg = self._known_roll
        return np.interp(time_s, known_s, known_deg) if len(known_s) else np.zeros(len(time_s))

    @cached_property
    def _known_roll(self) -> tuple[FloatArray, FloatArray]:
        known = np.isfinite(self.roll_deg)
        return self.roll_time_s[known], self.roll_deg[known]

    @cached_property
    def _lengths(self) -> pd.DataFrame:
        return self.tables["lengths"][["length_no", "start_s", "end_s", "activity"]]

    @cached_property
    def _breath_rows(self) -> dict[str, pd.DataFrame]:
        """The breaths of each side, those with a time."""
        known = self.tables["breaths"].dropna(subset=["peak_s"])
        columns = ["start_s", "end_s", "peak_s", "hold_s"]
        return {side: style.side_of(known, side)[columns] for side in _SIDES}

    @cached_property
    def _kick_rows(self) -> dict[str, pd.DataFrame]:
        """The kicks of each side."""
        kicks, columns = self.tables["kicks"], ["downbeat_s", "peak_rate_deg_s"]
        return {side: style.side_of(kicks, side)[columns] for side in _SIDES}

    @cached_property
    def _stroke_events(self) -> tuple[FloatArray, Any]:
        """The times (N, 5) of the strokes' events, NaN where not known, and their sides (N,)."""
        strokes = self.tables["arm_strokes"]
        times = strokes[list(_EVENTS)].to_numpy(dtype=float, na_value=np.nan)
        return times, strokes["side"].to_numpy(dtype=object)

    def _roll(self, wide: Stretch) -> Spec:
        a, b = np.searchsorted(self.roll_time_s, [wide.start_s, wide.end_s])
        time_s, value = self.roll_time_s[a:b], self.roll_deg[a:b]
        if len(time_s) > _POINTS:
            keep = MinMaxDownsampler().downsample(np.nan_to_num(value), n_out=_POINTS)
            time_s, value = time_s[keep], value[keep]
        return {
            "type": "scatter",
            "x": _plain(time_s, 2),
            "y": _plain(value, 1),
            "mode": "lines",
            "line": {"color": style.INK, "width": 1.8},
            "hovertemplate": "%{x:.2f} s: %{y:.0f} degrees<extra></extra>",
        }

    def _breaths(self, wide: Stretch) -> list[Spec]:
        traces = []
        for side in _SIDES:
            rows = wide.cut(self._breath_rows[side], "peak_s")
            ends = rows[["start_s", "end_s"]].dropna().to_numpy(float)
            level = self.roll_at(ends.ravel()).reshape(ends.shape)
            traces.append(_lines(ends, level, style.SIDE_COLOUR[side], width=6))
            peaks = rows["peak_s"].to_numpy(float)
            holds = [f"{style.number(value, 2)} s" for value in rows["hold_s"]]
            traces.append(
                _marks(peaks, self.roll_at(peaks), side)
                | {
                    "mode": "markers+text",
                    "text": holds,
                    "textposition": "top center" if side == "left" else "bottom center",
                    "textfont": {"size": 13, "color": style.SIDE_COLOUR[side]},
                    "name": f"breath to the {side}",
                    "hovertemplate": f"breath to the {side} at %{{x:.2f}} s, %{{text}} on the "
                    "side<extra></extra>",
                }
            )
        return traces

    def _arms(self, wide: Stretch) -> list[Spec]:
        times, sides = self._stroke_events
        first, last = np.fmin.reduce(times, axis=1), np.fmax.reduce(times, axis=1)
        near = (first <= wide.end_s) & (last >= wide.start_s)
        times, sides = times[near], sides[near]
        traces = []
        for index, (name, (colour, _)) in enumerate(zip(PHASES, PHASE_FILLS, strict=True)):
            begin, end = times[:, index], times[:, index + 1]
            there = np.isfinite(begin) & np.isfinite(end)
            traces.append(
                {
                    "type": "bar",
                    "base": _plain(begin[there], 3),
                    "x": _plain((end - begin)[there], 3),
                    "y": [f"{side} arm" for side in sides[there]],
                    "yaxis": "y2",
                    "orientation": "h",
                    "width": 0.66,
                    "marker": {"color": colour, "line": {"color": style.SOFT, "width": 1}},
                    "name": name,
                    "hovertemplate": f"%{{y}}, {name}: %{{x:.2f}} s<extra></extra>",
                }
            )
        return traces

    def _legs(self, wide: Stretch) -> list[Spec]:
        traces = []
        for side, sign in zip(_SIDES, (1, -1), strict=True):
            rows = wide.cut(self._kick_rows[side], "downbeat_s")
            at = rows["downbeat_s"].to_numpy(float)
            size = sign * rows["peak_rate_deg_s"].fillna(0.0).to_numpy(float)
            stems = _lines(
                np.column_stack([at, at]),
                np.column_stack([np.zeros(len(at)), size]),
                style.SIDE_COLOUR[side],
                width=2,
            )
            marks = _marks(at, size, side) | {
                "name": f"downbeat, {side} leg",
                "customdata": _plain(np.abs(size), 0),
                "hovertemplate": f"{side} leg at %{{x:.2f}} s: %{{customdata}} degrees a second"
                "<extra></extra>",
            }
            traces += [stems | {"yaxis": "y3"}, marks | {"yaxis": "y3"}]
        return traces

    def _alt(self, stretch: Stretch) -> str:
        def count(times: Any) -> int:
            return int(np.sum((times >= stretch.start_s) & (times <= stretch.end_s)))

        strokes = self._stroke_events[0][:, _EVENTS.index("mid_pull_s")]
        return (
            f"From {stretch.start_s:.1f} to {stretch.end_s:.1f} s of the session: "
            f"{count(strokes)} arm strokes, "
            f"{count(self.tables['breaths']['peak_s'])} breaths, "
            f"{count(self.tables['kicks']['downbeat_s'])} kicks; "
            f"roll {style.SOURCE_WORDS.get(self.source or '', 'not known')}."
        )


def _plain(values: FloatArray, digits: int) -> list[float | None]:
    """Return rounded values, gaps as None."""
    return [value if math.isfinite(value) else None for value in np.round(values, digits).tolist()]


def _lines(x: FloatArray, y: FloatArray, colour: str, *, width: float) -> Spec:
    """Return a trace of separate lines, one a row of x and y (N, 2)."""
    gap = np.full(len(x), np.nan)
    return {
        "type": "scatter",
        "x": _plain(np.column_stack([x, gap]).ravel(), 3),
        "y": _plain(np.column_stack([y, gap]).ravel(), 1),
        "mode": "lines",
        "line": {"color": colour, "width": width},
        "hoverinfo": "skip",
    }


def _marks(x: FloatArray, y: FloatArray, side: str) -> Spec:
    marker = {"symbol": style.SIDE_MARKER[side], "size": 11, "color": style.SIDE_COLOUR[side]}
    return {
        "type": "scatter",
        "x": _plain(x, 3),
        "y": _plain(y, 1),
        "mode": "markers",
        "marker": marker | {"line": {"color": style.PAPER, "width": 1}},
        "cliponaxis": False,
    }


def _length_marks(lengths: pd.DataFrame, *, fine: bool) -> Spec:
    """Return the bands behind the lengths and the words above them."""
    shapes, notes = [], []
    for row in lengths.to_dict("records"):
        band = {"x0": row["start_s"], "x1": row["end_s"], "y0": 0, "y1": 1, "yref": "paper"}
        fill = {"fillcolor": style.clear(style.BAND, 0.3), "line": {"width": 0}, "layer": "below"}
        shapes.append({"type": "rect", "xref": "x"} | band | fill)
        kind = "other" if pd.isna(row["activity"]) else str(row["activity"])
        word = f"length {row['length_no']}: {style.ACTIVITY_WORDS.get(kind, kind)}"
        place = {"x": row["start_s"], "y": 1.0, "xanchor": "left", "yanchor": "bottom"}
        notes.append(_note(word if fine else str(row["length_no"]), "x", place))
    if len(notes) > _MOST_NOTES:
        notes = []
    if not fine:
        word = f"Strokes and kicks are drawn over {FINE_S / 60:.0f} minutes or less."
        notes.append(_note(word, "paper", {"x": 0.5, "y": 0.27}))
    return {"shapes": shapes, "annotations": notes}


def _note(text: str, xref: str, place: Spec) -> Spec:
    return {"text": text, "xref": xref, "yref": "paper", "showarrow": False} | place


def _layout(stretch: Stretch) -> Spec:
    def row(key: str, **more: Any) -> Spec:
        own = {"domain": list(_DOMAINS[key]), "fixedrange": True, "anchor": "x"}
        return own | _FIXED | more

    return {
        "template": style.TEMPLATE.to_plotly_json(),
        "height": HEIGHT_PX,
        "xaxis": {
            "range": [stretch.start_s, stretch.end_s],
            "anchor": "y3",
            "title": {"text": "seconds of session time"},
        }
        | _FIXED,
        "yaxis": row("yaxis", title={"text": "roll<br>in degrees"}, dtick=30, range=[-80, 80]),
        "yaxis2": row(
            "yaxis2",
            type="category",
            categoryorder="array",
            categoryarray=["left arm", "right arm"],
            range=[1.5, -0.5],
            showgrid=False,
        ),
        "yaxis3": row("yaxis3", title={"text": "kick, degrees<br>a second"}, nticks=5),
        "barmode": "overlay",
        "dragmode": "pan",
        "hovermode": "closest",
        "uirevision": "one",
        "margin": {"l": 84, "r": 16, "t": 28, "b": 56},
        "showlegend": False,
    }
