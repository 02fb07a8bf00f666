"""Body roll: about the head-ward axis, positive = left side up, from trunk or shanks."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
import pandas as pd

from sensorswim.model import Placement, Quality, Recording, Severity
from sensorswim.model.streams import FloatArray
from sensorswim.model.tables import frame
from sensorswim.signal.straps import roll_deg

SOURCES: Final = ("upper_back", "lower_back", "ankles")
"""Best first."""
_TABLE_HZ: Final = 50.0


@dataclass(frozen=True, kw_only=True)
class RollResult:
    """Roll by source.

    Parameters
    ----------
    signals_deg : dict
        Source -> (N,) degrees on `Recording.time_s`, NaN in gaps and where the limb is upright.
    table : DataFrame
        The contract's table ``roll`` at 50 Hz.
    best_source : str or None
        The source that lengths, rolls and breaths rest on.
    """

    signals_deg: dict[str, FloatArray]
    table: pd.DataFrame
    best_source: str | None


def estimate_roll(
    recording: Recording,
    lengths: pd.DataFrame,
    limb_from_sensor: dict[Placement, FloatArray],
    quality: Quality,
) -> RollResult:
    """Return roll from every source that is worn.

    Roll is atan2(up_y, up_z) in the body frame. The ankles' roll is the mean of both shanks, in
    which the legs' spreading cancels; of one shank where only one is valid.

    Parameters
    ----------
    recording : Recording
        Oriented.
    lengths : DataFrame
        Empty is fine: roll needs no lengths.
    limb_from_sensor : dict
        From `signal.straps.align`.
    quality : Quality
        Gets ``roll_from_ankles`` and ``no_roll_source``.
    """
    signals: dict[str, FloatArray] = {}
    for place in (Placement.UPPER_BACK, Placement.LOWER_BACK):
        if place in recording.tracks and place in limb_from_sensor:
            signals[place.value] = segment_roll_deg(recording, place, limb_from_sensor)
    shanks = [
        segment_roll_deg(recording, place, limb_from_sensor)
        for place in (Placement.LEFT_ANKLE, Placement.RIGHT_ANKLE)
        if place in recording.tracks and place in limb_from_sensor
    ]
    if shanks:
        signals["ankles"] = _mean_angle_deg(shanks)
    best = next((source for source in SOURCES if source in signals), None)
    _report(best, len(lengths) > 0, quality)
    return RollResult(signals_deg=signals, table=_table(recording, signals), best_source=best)


def whole_roll_deg(recording: Recording, result: RollResult) -> FloatArray:
    """Return the roll (N,) of the best source, its sensor's gaps filled from the next ones.

    The hips roll less than the shoulders and the shanks less than the hips: what fills a gap is
    scaled to the best source's roll where both are known. Upright moments stay NaN.
    """
    assert result.best_source is not None
    best = result.signals_deg[result.best_source]
    places = [p for p in recording.tracks if p.value == result.best_source]
    if not places:
        return best
    whole = best.copy()
    for source in SOURCES:
        other = result.signals_deg.get(source)
        if other is None or source == result.best_source:
            continue
        both = np.isfinite(best) & np.isfinite(other)
        scale = (best[both] @ other[both]) / max(float(other[both] @ other[both]), 1e-9)
        lost = ~recording.tracks[places[0]].valid & np.isnan(whole)
        whole[lost] = scale * other[lost]
    return whole


def segment_roll_deg(
    recording: Recording, place: Placement, limb_from_sensor: dict[Placement, FloatArray]
) -> FloatArray:
    """Return the roll (N,) of one segment in degrees, NaN in gaps and where it is upright."""
    return roll_deg(recording.tracks[place], limb_from_sensor[place])


def _mean_angle_deg(parts: list[FloatArray]) -> FloatArray:
    stacked = np.radians(np.stack(parts))
    known = np.isfinite(stacked)
    sine = np.where(known, np.sin(stacked), 0.0).sum(axis=0)
    cosine = np.where(known, np.cos(stacked), 0.0).sum(axis=0)
    mean = np.degrees(np.arctan2(sine, cosine))
    return np.where(known.any(axis=0), mean, np.nan)


def _report(best: str | None, swum: bool, quality: Quality) -> None:
    if best is None and swum:
        quality.add(
            "no_roll_source",
            Severity.LOST,
            "Roll and breaths need a sensor on the back or on an ankle; there is none.",
        )
    if best == "ankles":
        quality.add(
            "roll_from_ankles",
            Severity.NOTE,
            "Roll is estimated from the ankles: it follows the hips, smaller and a little later.",
        )


def _table(recording: Recording, signals: dict[str, FloatArray]) -> pd.DataFrame:
    count = len(recording.time_s)
    if count < 2 or not signals:
        return frame("roll", [])
    start, end = recording.time_s[[0, -1]]
    at = np.clip(
        np.rint(np.arange(0.0, end - start + 1e-9, 1.0 / _TABLE_HZ) * recording.rate_hz),
        0,
        count - 1,
    ).astype(int)
    parts = [
        pd.DataFrame({"time_s": recording.time_s[at], "roll_deg": roll[at], "source": source})
        for source, roll in signals.items()
    ]
    return frame("roll", pd.concat(parts, ignore_index=True))
