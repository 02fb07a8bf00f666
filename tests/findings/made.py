"""Plausible sessions with one habit changed, for the findings."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import Any

import numpy as np
import pandas as pd

from sensorswim.model.analysis import Analysis
from sensorswim.model.tables import frame
from tests.plausible import plausible_analysis

Change = Callable[[pd.DataFrame], pd.DataFrame]


def calm(**session: Any) -> Analysis:
    """Return a session in which nothing lies beyond a band."""
    analysis = plausible_analysis()
    noise = np.random.default_rng(7)
    tables = dict(analysis.tables)
    tables["breaths"] = tables["breaths"].assign(excess_s=0.1, hold_share=0.36, confidence=0.95)
    rolls = tables["rolls"]
    tables["rolls"] = frame(
        "rolls", rolls.assign(peak_roll_deg=28.0 + noise.normal(0, 1.5, len(rolls)))
    )
    tables["arm_strokes"] = tables["arm_strokes"].assign(
        elbow_angle_deg=112.0 + noise.normal(0, 3, len(tables["arm_strokes"])), pull_depth_m=0.45
    )
    tables["arm_cycles"] = tables["arm_cycles"].assign(index_of_coordination_pct=-6.0)
    blocks = tuple(replace(block, felt={}) for block in analysis.session.blocks)
    told = replace(analysis.session, blocks=blocks, **session)
    return replace(analysis, tables=tables, session=told)


def changed(analysis: Analysis, name: str, change: Change) -> Analysis:
    """Return the analysis with one table changed."""
    return replace(
        analysis,
        tables=dict(analysis.tables) | {name: frame(name, change(analysis.tables[name].copy()))},
    )
