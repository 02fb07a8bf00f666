"""Kicks: downbeats are peaks of the shank's extension speed about its lateral axis.

Small kicks hide in the body's roll, but come back at the same phase of the arm cycle: the phases
of a length are pooled before a small peak counts as a kick.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
import pandas as pd
from scipy.signal import butter, find_peaks, sosfiltfilt

from sensorswim.model import Placement, Quality, Recording
from sensorswim.model.streams import BoolArray, FloatArray
from sensorswim.model.tables import frame
from sensorswim.signal.straps import ANKLES, worn_side

SWUM: Final = ("front_crawl", "backstroke", "butterfly", "breaststroke", "kick", "drill", "other")


@dataclass(frozen=True, kw_only=True)
class KickRule:
    """When a peak of extension speed is a kick.

    Parameters
    ----------
    low_pass_hz : float
        Takes water noise off the turn rate; lower blunts fast kicks.
    apart_s : float
        Smallest time between two downbeats of a leg.
    least_deg_s : float
        No smaller peak is ever a kick.
    sure_share, small_share : float
        Of the leg's strong kicks: above the first a peak is a kick, between the two only where
        it comes back at its phase.
    recurrence : float
        Share of the cycles in which a small peak must come back.
    phase_width : float
        Phases this near (share of the cycle) are the same kick.
    """

    low_pass_hz: float = 8.0
    apart_s: float = 0.2
    least_deg_s: float = 40.0
    sure_share: float = 0.4
    small_share: float = 0.15
    recurrence: float = 0.5
    phase_width: float = 0.07


@dataclass(frozen=True, kw_only=True)
class _Leg:
    """Candidate downbeats of one leg over the session."""

    side: str
    time_s: FloatArray
    rate_deg_s: FloatArray


def detect_kicks(
    recording: Recording,
    lengths: pd.DataFrame,
    limb_from_sensor: dict[Placement, FloatArray],
    arm_strokes: pd.DataFrame,
    quality: Quality,
    rule: KickRule | None = None,
) -> pd.DataFrame:
    """Return the contract's table ``kicks``.

    Parameters
    ----------
    recording : Recording
    lengths : DataFrame
        length_no, swim_start_s (start_s where empty) and end_s.
    limb_from_sensor : dict
        From `signal.straps.align`.
    arm_strokes : DataFrame
        Left entries give the phase, right entries where only the right wrist is worn.
    quality : Quality
        Nothing is added yet: missing ankles are said where all sensors are counted.
    rule : KickRule, optional
    """
    rule = rule or KickRule()
    rows = []
    for place in ANKLES:
        if place not in recording.tracks or place not in limb_from_sensor:
            continue
        leg = _candidates(recording, place, limb_from_sensor, rule)
        spans = {
            int(row["length_no"]): _inside(leg.time_s, row) for row in lengths.to_dict("records")
        }
        strong = _strong(leg.rate_deg_s, spans)
        for number, inside in spans.items():
            phase = cycle_phase(leg.time_s[inside], arm_strokes, number)
            keep = _kept(leg.rate_deg_s[inside], phase, strong, rule)
            rows += [
                {
                    "length_no": number,
                    "side": leg.side,
                    "downbeat_s": float(time_s),
                    "peak_rate_deg_s": float(rate),
                    "cycle_phase": float(share),
                }
                for time_s, rate, share in zip(
                    leg.time_s[inside][keep],
                    leg.rate_deg_s[inside][keep],
                    phase[keep],
                    strict=True,
                )
            ]
    table = frame("kicks", rows)
    return table.sort_values(["length_no", "downbeat_s"], ignore_index=True)


def cycle_phase(time_s: FloatArray, arm_strokes: pd.DataFrame, length_no: int) -> FloatArray:
    """Return the phase (K,) 0..1 from the left hand's entry, NaN outside complete cycles.

    Right entries where the session has no left stroke.
    """
    out = np.full(len(time_s), np.nan)
    side = "left" if (arm_strokes["side"] == "left").any() else "right"
    own = arm_strokes[(arm_strokes["length_no"] == length_no) & (arm_strokes["side"] == side)]
    for start_s, end_s in zip(own["entry_s"], own["next_entry_s"], strict=True):
        if np.isfinite(start_s) and np.isfinite(end_s) and end_s > start_s:
            here = (time_s >= start_s) & (time_s < end_s)
            out[here] = (time_s[here] - start_s) / (end_s - start_s)
    return out


def extension_deg_s(
    recording: Recording, place: Placement, strap: FloatArray, low_pass_hz: float
) -> FloatArray:
    """Return the shank's extension speed (N,), positive when the foot swings down."""
    assert place.side is not None
    raw = -place.side.sign * np.degrees(recording.tracks[place].gyro_rad_s @ strap[2])
    sos = butter(2, low_pass_hz, fs=recording.rate_hz, output="sos")
    return np.asarray(sosfiltfilt(sos, raw)) if len(raw) > 12 else raw


def _candidates(
    recording: Recording, place: Placement, straps: dict[Placement, FloatArray], rule: KickRule
) -> _Leg:
    rate = extension_deg_s(recording, place, straps[place], rule.low_pass_hz)
    peaks, _ = find_peaks(
        rate,
        height=rule.least_deg_s,
        distance=max(1, round(rule.apart_s * recording.rate_hz)),
        prominence=rule.least_deg_s,
    )
    peaks = peaks[recording.tracks[place].valid[peaks]]
    return _Leg(
        side=worn_side(place, straps).value,
        time_s=recording.time_s[peaks] + _between(rate, peaks) / recording.rate_hz,
        rate_deg_s=rate[peaks],
    )


def _between(values: FloatArray, peaks: np.ndarray) -> FloatArray:
    """Return the vertex of the parabola through each peak and its neighbours, in samples."""
    before, at, after = values[peaks - 1], values[peaks], values[peaks + 1]
    bend = before - 2.0 * at + after
    return np.where(bend < 0, 0.5 * (before - after) / np.where(bend < 0, bend, -1.0), 0.0)


def _inside(time_s: FloatArray, length: dict) -> BoolArray:
    swim = length["swim_start_s"]
    first = swim if np.isfinite(swim) else length["start_s"]
    return (time_s >= first) & (time_s < length["end_s"])


def _strong(rate_deg_s: FloatArray, spans: dict[int, BoolArray]) -> float:
    """Return the size of the leg's strong kicks, NaN without any candidate."""
    seen = [rate_deg_s[inside] for inside in spans.values()]
    all_rates = np.concatenate(seen) if seen else np.zeros(0)
    return float(np.quantile(all_rates, 0.8)) if len(all_rates) else np.nan


def _kept(rate: FloatArray, phase: FloatArray, strong: float, rule: KickRule) -> BoolArray:
    """Return which candidates of one leg in one length are kicks."""
    sure = rate >= rule.sure_share * strong
    small = ~sure & (rate >= rule.small_share * strong) & np.isfinite(phase)
    known = np.isfinite(phase)
    cycles = max(1, int(np.sum(np.diff(phase[known]) < 0)) + 1)
    apart = np.abs(phase[:, None] - phase[None, :])
    near = np.minimum(apart, 1.0 - apart) < rule.phase_width
    often = near.sum(axis=1) / cycles >= rule.recurrence
    return np.asarray(sure | (small & often))
