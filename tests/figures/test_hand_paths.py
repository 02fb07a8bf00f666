"""The hand's path: both views, both hands, and a reason where there is none."""

from __future__ import annotations

import numpy as np

from sensorswim import figures
from sensorswim.model.tables import empty, frame


def test_both_hands_are_drawn_in_both_views() -> None:
    phase = np.linspace(0, 1, 21)
    rows = [
        {"length_no": n, "side": side, "phase": p, "x_m": np.cos(6.28 * p), "y_m": 0.1,
         "z_m": -0.6 * np.sin(3.14 * p)}
        for n in (1, 2) for side in ("left", "right") for p in phase
    ]  # fmt: skip
    fig = figures.draw_hand_paths(frame("hand_paths", rows))
    named = {trace.name for trace in fig.data if trace.name}
    assert {"left hand", "right hand", "left hand enters", "right hand enters"} <= named
    assert {trace.xaxis for trace in fig.data} == {"x", "x2"}
    assert "left wrist down to 0.60 m" in figures.alt_of(fig)


def test_without_paths_the_picture_says_why() -> None:
    assert figures.is_blank(figures.draw_hand_paths(empty("hand_paths")))
