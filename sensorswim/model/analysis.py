"""What an analysis returns: the tables, what they rest on and what was doubtful."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

import pandas as pd

from sensorswim.model.quality import Quality
from sensorswim.model.session import Session
from sensorswim.model.settings import Settings
from sensorswim.model.tables import SCHEMAS, empty


def _all_empty() -> dict[str, pd.DataFrame]:
    return {name: empty(name) for name in SCHEMAS}


@dataclass(frozen=True, kw_only=True)
class Analysis:
    """The answer to one session; each table of `SCHEMAS` is also a property of that name.

    Parameters
    ----------
    session : Session
        What the swimmer and the coach told.
    settings : Settings
        The resolved settings that the figures rest on.
    quality : Quality
        What was degraded, doubtful or missing.
    tables : dict of str to DataFrame
        One typed table for each key of `SCHEMAS`; empty ones have all their columns.
    streams : DataFrame or None
        The aligned body-frame signals, where they were asked for.
    version : str
        The version of the program.
    facts : dict
        Whole-session figures such as ``typical_roll_deg``; None where one can't be had.
    findings : list of dict
        What stands out, ranked, each a `Finding` as plain types; empty where nothing does or
        nothing was looked for.
    unsupported : list of dict
        Rules that these sensors can't answer, each with the sensor or view that would.
    """

    session: Session
    settings: Settings
    quality: Quality
    version: str
    tables: dict[str, pd.DataFrame] = field(default_factory=_all_empty)
    streams: pd.DataFrame | None = None
    facts: dict[str, Any] = field(default_factory=dict)
    findings: list[dict[str, Any]] = field(default_factory=list)
    unsupported: list[dict[str, Any]] = field(default_factory=list)

    @property
    def lengths(self) -> pd.DataFrame:
        """One row a length."""
        return self.tables["lengths"]

    @property
    def arm_strokes(self) -> pd.DataFrame:
        """One row an arm stroke."""
        return self.tables["arm_strokes"]

    @property
    def kicks(self) -> pd.DataFrame:
        """One row a downbeat of one leg."""
        return self.tables["kicks"]

    @property
    def arm_cycles(self) -> pd.DataFrame:
        """One row a cycle of two arm strokes."""
        return self.tables["arm_cycles"]

    @property
    def rolls(self) -> pd.DataFrame:
        """One row a half cycle of the roll."""
        return self.tables["rolls"]

    @property
    def breaths(self) -> pd.DataFrame:
        """One row a breath."""
        return self.tables["breaths"]

    @property
    def roll(self) -> pd.DataFrame:
        """The roll over time, at 50 Hz, from every source there is."""
        return self.tables["roll"]

    @property
    def marks(self) -> pd.DataFrame:
        """The coach's marks, carried through."""
        return self.tables["marks"]
