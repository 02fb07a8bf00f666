"""Kicks: downbeats are peaks of the shank's extension speed about its lateral axis.

Small kicks hide in the body's roll, but come back at the same phase of the arm cycle: the phases
of a length are pooled before a small peak counts as a kick.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, Final

import numpy as np
import pandas as pd
from scipy.ndimage import maximum_filter1d
from scipy.signal import butter, find_peaks, sosfiltfilt

from sensorswim.model import Placement, Quality, Recording
from sensorswim.model.streams import BoolArray, FloatArray, IntArray
from sensorswim.model.tables import frame, rows_of
from sensorswim.signal.straps import ANKLES

_NO_CYCLES: Final = np.zeros((0, 2))
_AROUND_S: Final = 0.04
"""So far from the moment of a kick its full speed is looked for."""
_SHARP_S: Final = 0.06
"""So far from there the sharp moment."""


@dataclass(frozen=True, kw_only=True)
class KickRule:
    """When a peak of extension speed is a kick.

    Parameters
    ----------
    low_pass_hz : float
        Takes water noise off the turn rate; lower blunts fast kicks.
    moment_low_pass_hz : float
        The same to tell when a kick is strongest, but for what blunting moves all of a leg by.
    sharp_low_pass_hz : float
        The same to tell that: shaken, single kicks are off by more, but their median isn't.
    apart_s : float
        Smallest time between two downbeats of a leg.
    least_deg_s : float
        No smaller peak is ever a kick.
    rides_deg_s : float
        A leg whose strong peaks are smaller rides along: it swings with the roll, but doesn't kick.
    sure_share, small_share : float
        Of the leg's strong kicks: above the first a peak is a kick, between the two only where
        it comes back at its phase.
    recurrence : float
        Share of the cycles in which a small peak must come back.
    phase_width : float
        Phases this near (share of the cycle) are the same kick.
    push_s : float
        The legs' extension in the push-off takes this long.
    together_s : float
        Downbeats of both legs nearer than this before the first entry may be a dolphin kick.
    alike : float
        They are one where the other leg extends at least at this share of the leg's own speed.
    under_water_s : float
        Without arm strokes, dolphin kicks come in this time after the push-off.
    """

    low_pass_hz: float = 7.0
    moment_low_pass_hz: float = 5.0
    sharp_low_pass_hz: float = 14.0
    apart_s: float = 0.2
    least_deg_s: float = 40.0
    rides_deg_s: float = 70.0
    sure_share: float = 0.3
    small_share: float = 0.15
    recurrence: float = 0.4
    phase_width: float = 0.07
    push_s: float = 0.5
    together_s: float = 0.1
    alike: float = 0.4
    under_water_s: float = 3.0


@dataclass(frozen=True, kw_only=True)
class _Leg:
    """Candidate downbeats (K,) of one leg over the session, and its extension speed (N,)."""

    side: str
    time_s: FloatArray
    rate_deg_s: FloatArray
    at: IntArray
    speed_deg_s: FloatArray


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
    legs = [
        _candidates(recording, place, limb_from_sensor, rule)
        for place in ANKLES
        if place in recording.tracks and place in limb_from_sensor
    ]
    rows: list[dict[str, Any]] = []
    cycles = phase_cycles(arm_strokes)
    for leg in legs:
        other = next((other for other in legs if other is not leg), None)
        spans = {
            int(row["length_no"]): _inside(leg, other, row, rule)
            for row in rows_of(lengths, "length_no", "start_s", "swim_start_s", "end_s")
        }
        strong = _strong(leg.rate_deg_s, spans)
        if not strong > rule.rides_deg_s:
            continue
        for number, inside in spans.items():
            own = cycles.get(number, _NO_CYCLES)
            rows += _length_rows(leg, inside, own, number, strong, rule)
    table = frame("kicks", rows)
    return table.sort_values(["length_no", "downbeat_s"], ignore_index=True)


def _length_rows(
    leg: _Leg,
    inside: BoolArray,
    cycles_s: FloatArray,
    length_no: int,
    strong: float,
    rule: KickRule,
) -> list[dict[str, Any]]:
    """Return the rows of one leg in one length."""
    time_s, rate = leg.time_s[inside], leg.rate_deg_s[inside]
    keep = _kept(rate, _pooled_phase(time_s, cycles_s), strong, rule)
    phase = cycle_phase(time_s, cycles_s)
    return [
        {
            "length_no": length_no,
            "side": leg.side,
            "downbeat_s": float(time_s[i]),
            "peak_rate_deg_s": float(rate[i]),
            "cycle_phase": float(phase[i]),
        }
        for i in np.flatnonzero(keep)
    ]


def phase_cycles(arm_strokes: pd.DataFrame) -> dict[int, FloatArray]:
    """Return entry and next entry (K, 2) of the left hand's strokes, by length number.

    Of the right hand where the session has no left stroke.
    """
    side = "left" if (arm_strokes["side"] == "left").any() else "right"
    own = arm_strokes[arm_strokes["side"] == side]
    cycles_s = own[["entry_s", "next_entry_s"]].to_numpy(dtype=float)
    numbers = own["length_no"].to_numpy(dtype=int)
    return {int(number): cycles_s[numbers == number] for number in np.unique(numbers)}


def cycle_phase(time_s: FloatArray, cycles_s: FloatArray) -> FloatArray:
    """Return the phase (K,) 0..1 of moments, NaN outside complete cycles.

    Parameters
    ----------
    time_s : (K,)
    cycles_s : (C, 2)
        A length's entries and next entries, from `phase_cycles`.
    """
    out = np.full(len(time_s), np.nan)
    for start_s, end_s in cycles_s:
        if np.isfinite(start_s) and np.isfinite(end_s) and end_s > start_s:
            here = (time_s >= start_s) & (time_s < end_s)
            out[here] = (time_s[here] - start_s) / (end_s - start_s)
    return out


def _pooled_phase(time_s: FloatArray, cycles_s: FloatArray) -> FloatArray:
    """Return cycles (K,) since the nearest earlier entry, carried on beyond complete cycles."""
    marks = np.unique(cycles_s[np.isfinite(cycles_s)])
    if len(marks) < 2:
        return np.full(len(time_s), np.nan)
    return np.asarray(
        np.interp(time_s, marks, np.arange(len(marks)))
        + np.minimum(0.0, time_s - marks[0]) / (marks[1] - marks[0])
        + np.maximum(0.0, time_s - marks[-1]) / (marks[-1] - marks[-2])
    )


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
    smooth = extension_deg_s(recording, place, straps[place], rule.moment_low_pass_hz)
    peaks, _ = find_peaks(
        smooth,
        height=rule.least_deg_s,
        distance=max(1, round(rule.apart_s * recording.rate_hz)),
        prominence=rule.least_deg_s,
    )
    peaks = peaks[recording.tracks[place].valid[peaks]]
    rate = extension_deg_s(recording, place, straps[place], rule.low_pass_hz)
    around = 2 * round(_AROUND_S * recording.rate_hz) + 1
    sharp = extension_deg_s(recording, place, straps[place], rule.sharp_low_pass_hz)
    moments = peaks + _between(smooth, peaks) + _blunted(smooth, sharp, peaks, recording.rate_hz)
    return _Leg(
        side=str(place.side),
        time_s=recording.time_s[0] + moments / recording.rate_hz,
        rate_deg_s=maximum_filter1d(rate, around)[peaks],
        at=peaks,
        speed_deg_s=rate,
    )


def _blunted(smooth: FloatArray, sharp: FloatArray, peaks: IntArray, rate_hz: float) -> float:
    """Return by how many samples the smooth speed has a leg's stronger peaks too early.

    A leg may speed up sooner or later than it slows down: blunting moves such a peak to the slower
    side, in all kicks alike.
    """
    if not len(peaks):
        return 0.0
    strong = peaks[smooth[peaks] >= np.median(smooth[peaks])]
    reach = round(_SHARP_S * rate_hz)
    near = (strong[:, None] + np.arange(-reach, reach + 1)).clip(1, len(sharp) - 2)
    top = near[np.arange(len(strong)), sharp[near].argmax(axis=1)]
    late = top + _between(sharp, top) - strong - _between(smooth, strong)
    return float(np.median(late))


def _between(values: FloatArray, peaks: np.ndarray) -> FloatArray:
    """Return the vertex of the parabola through each peak and its neighbours, in samples."""
    before, at, after = values[peaks - 1], values[peaks], values[peaks + 1]
    bend = before - 2.0 * at + after
    vertex = 0.5 * (before - after) / np.where(bend < 0, bend, -1.0)
    return np.where(bend < 0, vertex, 0.0).clip(-0.5, 0.5)


def _inside(leg: _Leg, other: _Leg | None, length: dict[str, Any], rule: KickRule) -> BoolArray:
    """Return which candidates fall into the swimming of a length.

    Kicks of one leg alone under water, before the first entry, belong to it; dolphin kicks, where
    both legs beat together, and all before them don't. With one ankle nobody can tell, so the
    swimming begins with the first entry.
    """
    swim, pushed = length["swim_start_s"], length["start_s"] + rule.push_s
    if other is None:
        first = swim if np.isfinite(swim) else length["start_s"]
    else:
        until = swim if np.isfinite(swim) else length["start_s"] + rule.under_water_s
        early = np.flatnonzero((leg.time_s > length["start_s"]) & (leg.time_s < until))
        dolphin = leg.time_s[early[_both(leg, other, early, rule)]]
        first = max(pushed, dolphin.max() + rule.together_s if len(dolphin) else -np.inf)
    return np.asarray((leg.time_s >= first) & (leg.time_s < length["end_s"]))


def _both(leg: _Leg, other: _Leg, which: IntArray, rule: KickRule) -> BoolArray:
    """Return which of these downbeats the other leg beats along with."""
    near = _distance_s(leg.time_s[which], other.time_s) < rule.together_s
    return np.asarray(
        near & (other.speed_deg_s[leg.at[which]] > rule.alike * leg.rate_deg_s[which])
    )


def _distance_s(time_s: FloatArray, other_s: FloatArray) -> FloatArray:
    """Return the time (K,) to the nearest of the others, which are in order."""
    edges = np.concatenate([[-np.inf], other_s, [np.inf]])
    after = np.searchsorted(edges, time_s)
    return np.minimum(time_s - edges[after - 1], edges[after] - time_s)


def _strong(rate_deg_s: FloatArray, spans: dict[int, BoolArray]) -> float:
    """Return the size of the leg's strong kicks, NaN without any candidate."""
    seen = [rate_deg_s[inside] for inside in spans.values()]
    all_rates = np.concatenate(seen) if seen else np.zeros(0)
    return float(np.quantile(all_rates, 0.8)) if len(all_rates) else np.nan


def _kept(rate: FloatArray, cycles: FloatArray, strong: float, rule: KickRule) -> BoolArray:
    """Return which candidates of one leg in one length are kicks."""
    sure = rate >= rule.sure_share * strong
    if not len(rate) or not np.isfinite(cycles).all():
        return np.asarray(sure)
    small = ~sure & (rate >= rule.small_share * strong)
    apart = np.abs(cycles[:, None] - cycles[None, :]) % 1.0
    near = np.minimum(apart, 1.0 - apart) < rule.phase_width
    often = near.sum(axis=1) >= rule.recurrence * max(1.0, np.ptp(cycles))
    return np.asarray(sure | (small & often))
