"""Truth of arm strokes, cycles and kicks, measured from the simulated geometry."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

import numpy as np
import pandas as pd
from scipy.signal import find_peaks

from .body import Motion, sensor_pose
from .curves import RATE_HZ, Array
from .rotations import angular_rate
from .script import LengthRecord
from .traits import CRAWL_LIKE, SIDES, Side, Swimmer, sign
from .wall import ANKLE_OFF_WALL_M

_MOVING_M_S = 0.05
_AT_WALL_M = 0.012
_KICK_DEG_S = 60.0
_BEAT_OF_KICKS = {1: 2, 2: 2, 4: 4, 6: 6, 7: 6}
_STRETCHED_S = 0.75
_AGREEMENT = 0.6
_STROKES = ["length_no", "side", "entry_s", "catch_s", "mid_pull_s", "exit_s", "next_entry_s",
            "pull_depth_m", "elbow_angle_deg"]  # fmt: skip
_KICKS = ["length_no", "side", "downbeat_s", "peak_rate_deg_s", "cycle_phase"]
_CYCLES = ["length_no", "cycle_no", "cycle_side", "start_s", "end_s", "stroke_rate_cycles_min",
           "kicks", "index_of_coordination_pct"]  # fmt: skip
Row = list[object]


@dataclass(frozen=True)
class Bounds:
    """A length as the geometry shows it (s, true time); `stop_s` ends the swimming."""

    length_no: int
    record: LengthRecord
    start_s: float
    end_s: float

    @property
    def crawl(self) -> bool:
        """Whether arm strokes, rolls and breaths are measured in it."""
        return self.record.plan.activity in CRAWL_LIKE

    @property
    def stop_s(self) -> float:
        """The touch, or the begin of the flip turn."""
        return min(self.end_s, self.record.end_s + 0.05)


def _crossings(motion: Motion, values: Array, falling: bool) -> Array:
    """Moments (s) at which `values` passes zero, interpolated between samples."""
    v = -values if falling else values
    at = np.flatnonzero((v[:-1] < 0.0) & (v[1:] >= 0.0))
    return np.asarray(motion.time_s[at] - v[at] / (v[at + 1] - v[at]) / RATE_HZ)


def _between(moments: Array, after: float, before: float, place: int) -> float:
    """First (0) or last (-1) of the moments inside a span (s), NaN without any."""
    found = moments[(moments > after) & (moments < before)]
    return float(found[place]) if found.size else np.nan


def find_bounds(
    motion: Motion, records: list[LengthRecord], swimmer: Swimmer, pool_m: float
) -> list[Bounds]:
    """Start = the hips leave the wall; end = the hand, in a flip turn the feet, reach it."""
    bounds = []
    forward = np.gradient(motion.points["hip"][:, 0]) * RATE_HZ
    for number, record in enumerate(records, start=1):
        window = motion.span(record.push_s - 0.15, record.push_s + 0.5)
        moving = record.heading * forward[window] > _MOVING_M_S
        start_s = motion.time_s[window][int(np.argmax(moving))]
        far = pool_m if record.heading > 0 else 0.0
        window = motion.span(record.end_s - 0.5, record.end_s + 2.0)
        joint, reach = ("ankle", ANKLE_OFF_WALL_M) if record.flip else ("wrist", swimmer.hand_m)
        gaps = [np.abs(far - motion.points[f"{s}_{joint}"][window, 0]) for s in SIDES]
        there = np.min(gaps, axis=0) <= reach + _AT_WALL_M
        end_s = motion.time_s[window][int(np.argmax(there))] if there.any() else np.nan
        bounds.append(Bounds(number, record, float(start_s), float(end_s)))
    return bounds


def _elbow_deg(motion: Motion, side: Side, index: int) -> float:
    shoulder, elbow, wrist = (
        motion.points[f"{side}_{joint}"][index] for joint in ("shoulder", "elbow", "wrist")
    )
    upper, fore = shoulder - elbow, wrist - elbow
    cosine = upper @ fore / np.linalg.norm(upper) / np.linalg.norm(fore)
    return float(np.degrees(np.arccos(cosine)))


def _strokes_of_side(motion: Motion, bound: Bounds, side: Side) -> list[Row]:
    wrist, shoulder = sensor_pose(motion, f"{side}_wrist")[1], motion.points[f"{side}_shoulder"]
    heading, end = bound.record.heading, bound.stop_s
    ahead, height = heading * (wrist[:, 0] - shoulder[:, 0]), wrist[:, 2]
    depth = shoulder[:, 2] - height
    mids = _crossings(motion, ahead, falling=True)
    mids = mids[(mids > bound.record.stroke_s - 0.3) & (mids < end)]
    mids = mids[height[motion.index(mids)] < 0.0]
    entries = _crossings(motion, height, falling=True)
    entries = entries[ahead[motion.index(entries)] > 0.0]
    exits = _crossings(motion, height, falling=False)
    backward = _crossings(motion, heading * np.gradient(wrist[:, 0]), falling=True)
    rows: list[Row] = []
    previous = bound.start_s
    for mid, coming in pairwise([*mids.tolist(), end]):
        entry, exit_s = _between(entries, previous, mid, -1), _between(exits, mid, coming, 0)
        low = entry if np.isfinite(entry) else previous
        high = exit_s if np.isfinite(exit_s) else min(mid + 0.4, end)
        deepest = float(depth[motion.span(max(low, mid - 1.0), high)].max())
        elbow = _elbow_deg(motion, side, int(motion.index(mid)))
        catch, following = _between(backward, low, mid, -1), _between(entries, mid, end, 0)
        rows.append(
            [bound.length_no, side, entry, catch, mid, exit_s, following, deepest, elbow]
        )  # fmt: skip
        previous = mid
    reach = _between(entries, previous, end, 0)
    if rows and np.isfinite(reach):
        rows.append([bound.length_no, side, reach, *[np.nan] * 6])
    return rows


def arm_strokes(motion: Motion, bounds: list[Bounds]) -> pd.DataFrame:
    """All strokes of crawl and drill lengths, in order of time (s, true time)."""
    crawl = [bound for bound in bounds if bound.crawl]
    rows = [row for b in crawl for side in SIDES for row in _strokes_of_side(motion, b, side)]
    table = pd.DataFrame(rows, columns=_STROKES)
    moment = table["mid_pull_s"].fillna(table["entry_s"])
    return table.iloc[np.argsort(moment.to_numpy(), kind="stable")].reset_index(drop=True)


def entries_of(strokes: pd.DataFrame, length_no: int, side: Side = "left") -> Array:
    """Moments (s) of the entries of one hand in a length."""
    own = strokes[(strokes["length_no"] == length_no) & (strokes["side"] == side)]
    return np.sort(own["entry_s"].dropna().to_numpy(dtype=float))


def kicks(motion: Motion, bounds: list[Bounds], strokes: pd.DataFrame) -> pd.DataFrame:
    """Downbeats of one leg alone from the glide on to the touch."""
    rows: list[Row] = []
    for side in SIDES:
        extension = -sign(side) * np.degrees(angular_rate(motion.axes[f"{side}_ankle"])[:, 2])
        peaks, _ = find_peaks(
            extension, height=_KICK_DEG_S, prominence=_KICK_DEG_S, distance=int(0.12 * RATE_HZ)
        )
        for bound in (b for b in bounds if b.crawl or b.record.plan.activity == "kick"):
            begin = _kicks_from_s(bound.record)
            lefts = entries_of(strokes, bound.length_no)
            for peak in peaks:
                time_s = float(motion.time_s[peak])
                if begin <= time_s <= bound.stop_s:
                    share = phase(lefts, time_s)
                    rows.append([bound.length_no, side, time_s, float(extension[peak]), share])
    return pd.DataFrame(rows, columns=_KICKS).sort_values("downbeat_s", ignore_index=True)


def _kicks_from_s(record: LengthRecord) -> float:
    """The stretched legs come to rest after a push-off; dolphin kicks are none."""
    if record.plan.underwater == "flutter":
        return record.push_s + _STRETCHED_S
    return record.stroke_s - 0.1


def phase(entries_s: Array, time_s: float) -> float:
    """Share of the cycle passed since the last entry, NaN outside complete cycles."""
    after = int(np.searchsorted(entries_s, time_s, side="right"))
    if not 0 < after < entries_s.size:
        return float("nan")
    start, end = entries_s[after - 1], entries_s[after]
    return float((time_s - start) / (end - start))


def lags(strokes: pd.DataFrame) -> pd.DataFrame:
    """Exit of one arm minus the next catch of the other (s), with the moment of the exit."""
    own = strokes.dropna(subset=["mid_pull_s"])
    following = own.shift(-1)
    lag = (own["exit_s"] - following["catch_s"]).where(
        (own["side"] != following["side"]) & following["side"].notna()
    )
    return pd.DataFrame({"exit_s": own["exit_s"], "lag_s": lag}).dropna()


def arm_cycles(strokes: pd.DataFrame, kick_table: pd.DataFrame) -> pd.DataFrame:
    """Left entry to left entry (right where only the right arm pulls)."""
    rows: list[Row] = []
    for number, own in strokes.groupby("length_no"):
        pulled = own.dropna(subset=["mid_pull_s"])["side"]
        side: Side = "left" if (pulled == "left").any() else "right"
        delays = lags(own)
        beats = kick_table.loc[kick_table["length_no"] == number, "downbeat_s"]
        for cycle, (start, end) in enumerate(pairwise(entries_of(own, number, side)), start=1):
            within = delays.loc[delays["exit_s"].between(start, end), "lag_s"]
            index = 100.0 * within.mean() / (end - start)
            count = int(((beats >= start) & (beats < end)).sum())
            rows.append([number, cycle, side, start, end, 60.0 / (end - start), count, index])
    return pd.DataFrame(rows, columns=_CYCLES)


def kick_beat(counts: Array) -> int:
    """The beat most cycles agree with, or 0."""
    beats = [_BEAT_OF_KICKS.get(int(count), 0) for count in counts]
    agreed = [b for b in (2, 4, 6) if beats and beats.count(b) >= _AGREEMENT * len(beats)]
    return agreed[0] if agreed else 0
