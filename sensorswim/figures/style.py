"""How every picture looks: an own palette, a light and a dark template, notes and alt texts.

Left and right differ by colour, by marker shape and by words, so that no picture rests on
colour alone. Blue-violet and amber stay apart under the common kinds of colour blindness
because they differ in lightness as well as in hue. No colour carries a verdict.
"""

from __future__ import annotations

import json
import math
from typing import Any, Final

import pandas as pd
import plotly.graph_objects as go
import plotly.io as pio

INK: Final = "#1b2733"
SOFT: Final = "#566573"
GRID: Final = "#d5dce2"
PAPER: Final = "#fdfdfb"
BAND: Final = "#c3ccd6"
LEFT: Final = "#4a3fa8"
RIGHT: Final = "#b5690a"
THIRD: Final = "#177a80"
FOURTH: Final = "#9a3b76"
PALE: Final = "#eceff2"

DARK_OF: Final[dict[str, str]] = {
    INK: "#eef2f5",
    SOFT: "#a9b7c4",
    GRID: "#34424f",
    PAPER: "#141b22",
    BAND: "#4a5a69",
    LEFT: "#a79df5",
    RIGHT: "#f2b35c",
    THIRD: "#5cc7cd",
    FOURTH: "#e493c2",
    PALE: "#1f2933",
}
"""Each colour of the light look and what stands for it in the dark one."""

SIDE_COLOUR: Final = {"left": LEFT, "right": RIGHT}
SIDE_MARKER: Final = {"left": "triangle-left", "right": "diamond"}
ACTIVITY_WORDS: Final = {
    "front_crawl": "front crawl",
    "backstroke": "backstroke",
    "breaststroke": "breaststroke",
    "butterfly": "butterfly",
    "kick": "kick only",
    "drill": "drill",
    "other": "other",
}
SOURCE_WORDS: Final = {
    "upper_back": "measured at the upper back",
    "lower_back": "measured at the lower back",
    "ankles": "an estimate from the ankles",
    "head": "seen by the head sensor",
}
CONFIG: Final[dict[str, Any]] = {
    "displaylogo": False,
    "responsive": True,
    "modeBarButtonsToRemove": ["sendChartToCloud", "select2d", "lasso2d", "autoScale2d"],
}
"""Plotly's own buttons, without the one that would send data away."""

_TITLE_PX: Final = 36
"""The height of a panel's title with air above it, where a tall legend makes the plot low, too."""

_MOST_NUMBERS: Final = 12
_STEPS: Final = (1, 2, 5, 10, 20, 50, 100)
"""How many lengths' numbers stand side by side on a phone, and the steps between them."""

FONT: Final = "system-ui, 'Segoe UI', Roboto, 'Helvetica Neue', Arial, sans-serif"


def _template() -> go.layout.Template:
    axis = {
        "gridcolor": GRID,
        "linecolor": SOFT,
        "zerolinecolor": SOFT,
        "zerolinewidth": 1,
        "ticks": "outside",
        "tickcolor": SOFT,
        "automargin": True,
        "title": {"font": {"size": 15}, "standoff": 10},
        "tickfont": {"size": 14},
    }
    layout = go.Layout(
        font={"family": FONT, "size": 15, "color": INK},
        paper_bgcolor=PAPER,
        plot_bgcolor=PAPER,
        colorway=[LEFT, RIGHT, THIRD, FOURTH, SOFT],
        xaxis=axis,
        yaxis=axis,
        legend={
            "orientation": "h",
            "x": 0,
            "xanchor": "left",
            "y": 1.0,
            "yref": "container",
            "yanchor": "top",
            "font": {"size": 14},
            "bgcolor": PAPER,
        },
        hoverlabel={"font": {"family": FONT, "size": 14}},
        margin={"l": 16, "r": 16, "t": 64, "b": 56},
        dragmode=False,
    )
    return go.layout.Template(layout=layout)


TEMPLATE: Final = _template()


def new_figure(*, height: int = 420) -> go.Figure:
    """Return an empty figure in the house style, `height` in pixels."""
    return dress(go.Figure(), height=height)


def dress(fig: go.Figure, *, height: int = 420) -> go.Figure:
    """Put the house style on a figure and return it."""
    fig.update_layout(template=TEMPLATE, height=height)
    return fig


def below_legend(fig: go.Figure) -> go.Figure:
    """Give the titles over the panels of a dressed figure room of their own, and return it.

    Panels reach to the top of the plot, and a legend pushes that down just below itself: on a
    narrow screen, where it takes several rows, titles above the plot would lie in it. So panels
    and their titles are moved down within the plot, and the figure grows by as much.
    """
    margin = fig.layout.margin.t or TEMPLATE.layout.margin.t
    fig.update_layout(height=fig.layout.height + _TITLE_PX)
    share = 1 - _TITLE_PX / (fig.layout.height - margin - TEMPLATE.layout.margin.b)
    fig.for_each_yaxis(lambda axis: axis.update(domain=[share * end for end in axis.domain]))
    for note in fig.select_annotations({"yref": "paper"}):
        note.update(y=share * note.y)
    return fig


def number_lengths(fig: go.Figure, numbers: pd.Series[int]) -> None:
    """Give an axis over lengths whole numbers, each once, no more than a phone has room for."""
    if numbers.empty:
        return
    low, high = int(numbers.min()), int(numbers.max())
    step = next((step for step in _STEPS if (high - low) / step < _MOST_NUMBERS), _STEPS[-1])
    fig.update_xaxes(tick0=0, dtick=step, tickformat="d", range=[low - 0.6, high + 0.6])


def with_alt(fig: go.Figure, text: str) -> go.Figure:
    """Store the one-sentence text alternative in the figure and return it."""
    fig.update_layout(meta={"alt": " ".join(text.split())})
    return fig


def alt_of(fig: go.Figure) -> str:
    """Return the text alternative of a figure, "" where there is none."""
    return str((fig.layout.meta or {}).get("alt", ""))


def is_blank(fig: go.Figure) -> bool:
    """Tell whether a figure only says why there is nothing to draw."""
    return bool((fig.layout.meta or {}).get("blank", False))


def blank(reason: str) -> go.Figure:
    """Return a figure that says why there is nothing to draw."""
    text = f"Nothing to draw: {reason}"
    fig = new_figure(height=140)
    fig.add_annotation(
        text=wrap(text, width=44),
        x=0.5,
        y=0.5,
        xref="paper",
        yref="paper",
        showarrow=False,
        font={"size": 16, "color": SOFT},
    )
    fig.update_xaxes(visible=False)
    fig.update_yaxes(visible=False)
    fig.update_layout(margin={"l": 8, "r": 8, "t": 8, "b": 8})
    fig.update_layout(meta={"alt": text, "blank": True})
    return fig


def wrap(text: str, *, width: int) -> str:
    """Break a text into lines of at most `width` characters, plotly's way."""
    lines: list[str] = [""]
    for word in escape(text).split():
        longer = f"{lines[-1]} {word}".strip()
        if len(longer) <= width or not lines[-1]:
            lines[-1] = longer
        else:
            lines.append(word)
    return "<br>".join(lines)


def escape(text: object) -> str:
    """Return a user's text with the characters that plotly would read as markup made plain."""
    return str(text).replace("&", "&amp;").replace("<", "&lt;").replace(">", "&gt;")


def recolour(fig: go.Figure, theme: str) -> go.Figure:
    """Return a copy of the figure for the theme ``light`` or ``dark``.

    Raises
    ------
    KeyError
        Another theme.
    """
    return go.Figure(recolour_spec(spec_of(fig), theme))


def spec_of(fig: go.Figure) -> dict[str, Any]:
    """Return a figure as plotly's JSON has it: plain values under ``data`` and ``layout``."""
    return dict(json.loads(pio.to_json(fig, validate=False)))


def recolour_spec(spec: dict[str, Any], theme: str) -> dict[str, Any]:
    """Return a figure's plain JSON values in the colours of the theme ``light`` or ``dark``.

    Raises
    ------
    KeyError
        Another theme.
    """
    text = json.dumps(spec)
    for light, dark in {"light": {}, "dark": DARK_OF}[theme].items():
        text = text.replace(light, dark)
    return dict(json.loads(text))


def clear(colour: str, opacity: float) -> str:
    """Return a palette colour as eight-digit hex, so that themes can swap its first six."""
    return f"{colour}{round(255 * opacity):02x}"


def number(value: object, digits: int = 1) -> str:
    """Return a value for a sentence, "not known" where it is empty."""
    if value is None or value is pd.NA or math.isnan(float(value)):  # type: ignore[arg-type]
        return "not known"
    return f"{float(value):.{digits}f}".replace("-", "−")  # type: ignore[arg-type]


def side_of(frame: pd.DataFrame, side: str) -> pd.DataFrame:
    """Return the rows of one side."""
    return frame[(frame["side"] == side).fillna(value=False).astype(bool)]


def cycle_title(cycles: pd.DataFrame) -> str:
    """Return the title of an axis over the arm cycle, with the hand that begins it."""
    sides = cycles["cycle_side"].dropna()
    return f"arm cycle (0 = {sides.iloc[0] if len(sides) else 'left'} hand enters)"
