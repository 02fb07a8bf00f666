"""What was swum: every length and every rest on the session's time line."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

import pandas as pd
import plotly.graph_objects as go

from sensorswim.figures import style
from sensorswim.model.session import Block
from sensorswim.units import counted

_COLOURS: Final = {
    "front_crawl": style.LEFT,
    "drill": style.RIGHT,
    "kick": style.THIRD,
    "backstroke": style.FOURTH,
    "breaststroke": style.SOFT,
    "butterfly": style.SOFT,
    "other": style.BAND,
}
_LONG_REST_S: Final = 5.0
_LABEL_ROW: Final = "block"
_LEAST_WORDS_PX: Final = 11
_MOST_RIMMED: Final = 40
"""With more lengths of a kind, bars on a phone are narrower than the rim that parts them."""


def draw_swum(lengths: pd.DataFrame, blocks: Sequence[Block] = ()) -> go.Figure:
    """Draw the lengths as bars on the session's time line, one row an activity.

    Parameters
    ----------
    lengths : DataFrame
        The `lengths` table.
    blocks : sequence of Block
        What was set; each is a band with its label at its top, where that has room.
    """
    timed = lengths.dropna(subset=["start_s", "end_s"])
    if timed.empty:
        return style.blank("no length was found in this session.")
    kinds = list(dict.fromkeys(timed["activity"].fillna("other")))
    fig = style.new_figure(height=122 + 46 * (len(kinds) + 1))
    named = [block for block in blocks if block.label]
    if named:
        _add_labels(fig, named, max(float(timed["end_s"].max()), named[-1].end_s))
    for kind in kinds:
        _add_bars(fig, timed[timed["activity"].fillna("other") == kind], kind)
    rests = _rests(timed)
    _add_rests(fig, rests)
    for block in blocks:
        _add_block(fig, block)
    fig.update_xaxes(title_text="minutes of session time", rangemode="nonnegative")
    fig.update_yaxes(autorange="reversed", showgrid=False)
    fig.update_layout(barmode="overlay", showlegend=False, bargap=0.25, margin={"t": 16})
    return style.with_alt(fig, _alt(timed, kinds, rests, named))


def _add_bars(fig: go.Figure, rows: pd.DataFrame, kind: str) -> None:
    word = style.ACTIVITY_WORDS.get(kind, kind)
    took = rows["end_s"] - rows["start_s"]
    fig.add_bar(
        y=[word] * len(rows),
        x=(took / 60).tolist(),
        base=(rows["start_s"] / 60).tolist(),
        orientation="h",
        marker={
            "color": _COLOURS.get(kind, style.BAND),
            "line": {"color": style.PAPER, "width": 1.5 if len(rows) <= _MOST_RIMMED else 0},
        },
        customdata=list(zip(rows["length_no"].tolist(), took.round(1).tolist(), strict=True)),
        hovertemplate=f"length %{{customdata[0]}}: {word}, %{{customdata[1]}} s<extra></extra>",
        name=word,
    )


def _rests(timed: pd.DataFrame) -> pd.DataFrame:
    ordered = timed.sort_values("start_s")
    rest = pd.DataFrame(
        {
            "start_s": ordered["end_s"].to_numpy()[:-1],
            "end_s": ordered["start_s"].to_numpy()[1:],
        }
    )
    return rest[rest["end_s"] - rest["start_s"] >= _LONG_REST_S]


def _add_rests(fig: go.Figure, rests: pd.DataFrame) -> None:
    took = rests["end_s"] - rests["start_s"]
    fig.add_bar(
        y=["rest"] * len(rests),
        x=(took / 60).tolist(),
        base=(rests["start_s"] / 60).tolist(),
        orientation="h",
        marker={"color": style.PALE, "line": {"color": style.SOFT, "width": 1}},
        customdata=took.round(0).tolist(),
        hovertemplate="rest of %{customdata} s<extra></extra>",
        name="rest",
    )


def _add_labels(fig: go.Figure, blocks: Sequence[Block], ends_s: float) -> None:
    """Add a row of words, each with the room up to the next one; what has none is left out.

    How much room that is depends on the screen, so it is plotly that leaves words out. They are
    told where the pointer is, too.
    """
    ordered = sorted(blocks, key=lambda block: block.start_s)
    starts = [block.start_s / 60 for block in ordered]
    until = [*starts[1:], ends_s / 60]
    fig.add_bar(
        y=[_LABEL_ROW] * len(ordered),
        x=[end - start for start, end in zip(starts, until, strict=True)],
        base=starts,
        orientation="h",
        width=1.0,
        marker={"color": style.clear(style.PAPER, 0.0), "line": {"width": 0}},
        text=[_two_lines(block.label) for block in ordered],
        textposition="inside",
        insidetextanchor="start",
        textangle=0,
        insidetextfont={"color": style.INK},
        hovertemplate="%{text}<extra></extra>",
        name="what was set",
    )
    fig.update_layout(uniformtext={"mode": "hide", "minsize": _LEAST_WORDS_PX})


def _two_lines(words: str) -> str:
    """Return words on two lines of about the same length, as narrow as two lines can be."""
    wrapped = (style.wrap(words, width=width) for width in range(1, 2 + len(style.escape(words))))
    return next(text for text in wrapped if text.count("<br>") <= 1)


def _add_block(fig: go.Figure, block: Block) -> None:
    fig.add_vrect(
        x0=block.start_s / 60,
        x1=block.end_s / 60,
        fillcolor=style.clear(style.BAND, 0.25),
        line={"color": style.SOFT, "width": 1, "dash": "dot"},
        layer="below",
    )


def _alt(
    timed: pd.DataFrame, kinds: list[str], rests: pd.DataFrame, blocks: Sequence[Block]
) -> str:
    counts = timed["activity"].fillna("other").value_counts()
    parts = [f"{counts[kind]} of {style.ACTIVITY_WORDS.get(kind, kind)}" for kind in kinds]
    told = ", ".join(f"“{block.label}”" for block in sorted(blocks, key=lambda b: b.start_s))
    return (
        f"Time line of {counted(len(timed), 'length')} ({', '.join(parts)}) "
        f"with {counted(len(rests), 'rest')}.{f' Blocks in order: {told}.' if told else ''}"
    )
