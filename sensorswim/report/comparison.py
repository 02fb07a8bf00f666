"""A self-contained page that holds a session against somebody's labels."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Final

from sensorswim import __version__
from sensorswim.figures import draw_agreement
from sensorswim.figures.style import number
from sensorswim.metrics.compare import Comparison
from sensorswim.report.markup import Html, join, tag
from sensorswim.report.pictures import Picture, document, picture_html
from sensorswim.report.tables import sheet

HEADS: Final = (
    "what",
    "labels",
    "matched",
    "found of labels",
    "labelled of ours",
    "bias",
    "limits of agreement",
)


def name_of(one: Comparison) -> str:
    """Return what was compared, in words."""
    return f"{one.kind.replace('_', ' ')}{f', {one.side}' if one.side else ''}"


def cells(one: Comparison) -> list[str]:
    """Return one line of the table, in the order of `HEADS`."""
    both = one.agreement
    limits = (
        f"{number(both.low)} to {number(both.high)} {one.unit}"
        if math.isfinite(both.low)
        else "needs three pairs"
    )
    shares = [f"{100 * s:.0f} %" if math.isfinite(s) else "–" for s in (one.recall, one.precision)]
    bias = f"{number(both.bias)}\u00a0{one.unit}" if math.isfinite(both.bias) else "–"
    return [name_of(one), str(one.labels), str(one.matched), *shares, bias, limits]


def comparison_html(comparisons: Sequence[Comparison], title: str, notes: Sequence[str]) -> str:
    """Return the page: a table of all kinds, and a picture of each.

    Parameters
    ----------
    comparisons : sequence of Comparison
    title : str
        What was compared with what.
    notes : sequence of str
        What was chosen: tolerance, shift.
    """
    pictures = [
        picture_html(
            Picture(
                key=f"kind-{number_}",
                title=name_of(one).capitalize(),
                reading="One ring a pair. The closer the rings to zero, and the closer the dashed "
                "limits, the better ours and the label agree.",
                figure=draw_agreement(one),
            )
        )
        for number_, one in enumerate(comparisons)
    ]
    body: list[Html] = [
        tag("header", tag("h1", title), *(tag("p", note) for note in notes)),
        tag("main", sheet("All kinds", HEADS, map(cells, comparisons)), *pictures, id="main"),
    ]
    return document(title, __version__, ("look.css",), join(body))
