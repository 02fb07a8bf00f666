"""Figures of the roll: how far, and left against right."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pandas as pd

from sensorswim.findings.evidence import (
    Measured,
    Swum,
    apart,
    by_side,
    only_source,
    typical,
)

SEGMENT = {
    "upper_back": "shoulders",
    "lower_back": "hips",
    "ankles": "shanks (an estimate: smaller than the hips, and a little later)",
}
"""What rolls, by the sensor that saw it."""
_FEW = 6
_BREATH_ADDS_PCT = 12.0
_ONTO = {"left": "right", "right": "left"}


def _quiet(rolls: pd.DataFrame) -> pd.DataFrame:
    return rolls.loc[rolls["is_breath"].eq(other=False).fillna(value=False).astype(bool)]


def _words(rolls: pd.DataFrame) -> dict[str, str]:
    return {"what": SEGMENT.get(only_source(rolls), "body")}


def _onto(rolls: pd.DataFrame) -> list[Measured]:
    """Return the typical peak onto each side; its `side` is the side the swimmer lies on."""
    found = []
    for up, onto in _ONTO.items():
        own = by_side(rolls, up)
        figure = typical(
            own,
            "peak_roll_deg",
            "peak_s",
            source=only_source(own),
            side=onto,
            words=_words(own),
        )
        found += [] if figure is None else [figure]
    return found


def size_deg(swum: Swum) -> list[Measured]:
    """Peak roll onto each side in rolls without a breath; all rolls if breaths aren't told."""
    quiet = _quiet(swum.rolls)
    return _onto(quiet if len(quiet) >= _FEW else swum.rolls)


def breath_size_deg(swum: Swum) -> list[Measured]:
    """Peak roll of the breaths, by the side the swimmer lies on."""
    return _onto(swum.rolls.loc[swum.rolls["is_breath"].fillna(value=False).astype(bool)])


def difference_pct(swum: Swum) -> list[Measured]:
    """Roll onto the left against the right, in % of their mean; ``side`` is the larger one.

    Rolls without a breath where both sides have enough of them, else all: a swimmer who always
    breathes to one side has none there, and a breath adds some roll of its own (error and trust).
    """
    quiet = _quiet(swum.rolls)
    fair = all(len(by_side(quiet, side)) >= _FEW for side in _ONTO)
    onto = _onto(quiet if fair else swum.rolls)
    figures = apart(onto, percent=True)
    if fair:
        return figures
    return [replace(m, trust=0.9, error=float(np.hypot(m.error, _BREATH_ADDS_PCT)))
            for m in figures]  # fmt: skip
