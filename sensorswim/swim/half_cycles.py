"""Half cycles of roll: from one zero crossing to the next, with what is measured on each.

A lopsided swimmer, or a strap that is a few degrees off, shifts the whole wave: holds beyond a
fixed angle and the time between zero crossings then differ between the sides. The width between
the levels half-way (and a quarter of the way) from a peak to its neighbours doesn't care.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from itertools import pairwise
from typing import Any, Final

import numpy as np
import pandas as pd

from sensorswim.model import Side
from sensorswim.model.streams import BoolArray, FloatArray, IntArray
from sensorswim.model.tables import rows_of

_SOMERSAULT_DEG: Final = 110.0
_TURN_S: Final = 3.0
"""Who is further over than so rolls no half cycle, and none after it so near the wall."""
_USUAL_GLIDE_S: Final = 3.0
"""From the push-off to the first entry (common practice, no source), where no wrist tells it."""
_EACH: Final = ("length_no", "run", "opens", "sign", "first", "peak", "stop")


@dataclass(frozen=True, kw_only=True)
class HalfRule:
    """What counts as a half cycle.

    Parameters
    ----------
    least_deg, least_s, longest_s : float
        Smaller, shorter or longer half cycles are not listed.
    """

    least_deg: float = 5.0
    least_s: float = 0.15
    longest_s: float = 3.0


@dataclass(frozen=True, kw_only=True)
class HalfCycles:
    """Half cycles in the order of time, K of them.

    Parameters
    ----------
    time_s, roll_deg : (N,)
        The signal they were cut from.
    length_no, run : (K,) int
        A run goes on while one half cycle follows the other without a gap.
    opens : (K,) bool
        The first of its length.
    sign : (K,) float
        +1 left side up, -1 right side up.
    first, peak, stop : (K,) int
        Last sample before the zero crossing, sample of the peak, second sample after the end.
    """

    time_s: FloatArray
    roll_deg: FloatArray
    length_no: IntArray
    run: IntArray
    opens: BoolArray
    sign: FloatArray
    first: IntArray
    peak: IntArray
    stop: IntArray

    def __len__(self) -> int:
        return len(self.sign)

    def only(self, which: BoolArray) -> HalfCycles:
        """Return those half cycles (K,) alone."""
        own = {name: getattr(self, name)[which] for name in _EACH}
        return replace(self, **own)

    @property
    def step_s(self) -> float:
        """Time between samples."""
        return float(self.time_s[1] - self.time_s[0])

    @property
    def side(self) -> list[str]:
        """Name of the upper side."""
        return [Side.LEFT.value if sign > 0 else Side.RIGHT.value for sign in self.sign]

    @property
    def peak_s(self) -> FloatArray:
        """Moment of the peaks."""
        return self.time_s[self.peak]

    @property
    def peak_roll_deg(self) -> FloatArray:
        """Size of the peaks, positive."""
        return np.asarray(self.sign * self.roll_deg[self.peak])

    @property
    def closes(self) -> BoolArray:
        """The last of its length: held while reaching for the wall anyway."""
        return np.append(np.diff(self.length_no) != 0, True)

    def beyond(self, level_deg: float) -> tuple[FloatArray, FloatArray]:
        """Return when the roll passes a level before and after each peak; NaN where it doesn't."""
        if not len(self):
            return np.zeros(0), np.zeros(0)
        counts = self.stop - self.first
        starts = np.cumsum(counts) - counts
        which = np.repeat(np.arange(len(self)), counts)
        at = np.arange(counts.sum()) - starts[which] + self.first[which]
        low = self.sign[which] * self.roll_deg[at] <= level_deg
        before = np.maximum.reduceat(np.where(low & (at < self.peak[which]), at, -1), starts)
        far = len(self.roll_deg)
        after = np.minimum.reduceat(np.where(low & (at >= self.peak[which]), at, far), starts)
        known = (self.peak_roll_deg > level_deg) & (before >= 0) & (after < far)
        i, j = np.where(known, before, 0), np.where(known, after, 1)
        up, down = (self._pass(k, k + 1, level_deg) for k in (i, j - 1))
        start_s = self.time_s[i] + up * self.step_s
        end_s = self.time_s[j - 1] + down * self.step_s
        return np.where(known, start_s, np.nan), np.where(known, end_s, np.nan)

    def _pass(self, a: IntArray, b: IntArray, level_deg: float) -> FloatArray:
        """Return where between two samples the level is passed, 0..1."""
        one, two = self.sign * self.roll_deg[a], self.sign * self.roll_deg[b]
        rise = np.where(two == one, 1.0, two - one)
        return np.clip((level_deg - one) / rise, 0.0, 1.0)

    def widths_s(self) -> tuple[FloatArray, FloatArray, FloatArray]:
        """Return width half-way down, width a quarter of the way down, and cycle, in s.

        The cycle runs from the peak before to the peak after; all are NaN at the ends of a run.
        """
        out = np.full((3, len(self)), np.nan)
        joined = np.diff(self.run) == 0
        left = np.flatnonzero(joined)
        if not len(left):
            return out[0], out[1], out[2]
        quarter, half, late = (np.full(len(self) - 1, np.nan) for _ in range(3))
        quarter[left], half[left], late[left] = self._falls_s(left)
        out[0, 1:-1] = half[1:] - half[:-1]
        out[1, 1:-1] = quarter[1:] - late[:-1]
        both = joined[1:] & joined[:-1]
        out[2, 1:-1] = np.where(both, self.peak_s[2:] - self.peak_s[:-2], np.nan)
        return out[0], out[1], out[2]

    def _falls_s(self, left: IntArray) -> list[FloatArray]:
        """Return when the way from each peak to the next is covered to 1/4, 1/2 and 3/4."""
        start, stop = self.peak[left], self.peak[left + 1]
        counts = stop - start
        offset = np.cumsum(counts) - counts
        which = np.repeat(np.arange(len(left)), counts)
        roll = self.roll_deg[np.arange(counts.sum()) - offset[which] + start[which]]
        way = (self.roll_deg[stop] - self.roll_deg[start])[which]
        share = (roll - self.roll_deg[start][which]) / np.where(way == 0.0, 1.0, way)
        return [
            self.time_s[start] + self.step_s * np.add.reduceat((share < part) * 1.0, offset)
            for part in (0.25, 0.5, 0.75)
        ]


def find_half_cycles(
    time_s: FloatArray, roll_deg: FloatArray, lengths: pd.DataFrame, rule: HalfRule | None = None
) -> HalfCycles:
    """Return the half cycles of these lengths; one that touches a gap or a somersault is left out.

    Parameters
    ----------
    time_s, roll_deg : (N,)
        Smooth roll, NaN in gaps.
    lengths : DataFrame
        length_no, start_s, swim_start_s, end_s.
    rule : HalfRule, optional
    """
    rule = rule or HalfRule()
    rows: list[tuple[int, int, int, int]] = []
    run, over = 0, np.abs(roll_deg) > _SOMERSAULT_DEG
    level_deg = np.where(over, np.nan, roll_deg)
    glided_s = lengths["start_s"] + _USUAL_GLIDE_S
    lengths = lengths.assign(swim_start_s=lengths["swim_start_s"].fillna(glided_s))
    for length in rows_of(lengths, "length_no", "swim_start_s", "end_s"):
        run += 1
        for a, b in pairwise(_edges(time_s, level_deg, over, length)):
            if _counts(level_deg[a : b + 2], (b - a) * float(time_s[1] - time_s[0]), rule):
                rows.append((int(length["length_no"]), run, a, b + 2))
            else:
                run += 1
    number, runs, first, stop = (np.array(c, dtype=int) for c in zip(*rows, strict=True)) if rows \
        else (np.zeros(0, dtype=int),) * 4  # fmt: skip
    means = [roll_deg[a + 1 : b - 1].mean() for a, b in zip(first, stop, strict=True)]
    sign = np.where(np.array(means) > 0, 1.0, -1.0) if rows else np.zeros(0)
    peak = [a + int(np.argmax(s * roll_deg[a:b]))
            for a, b, s in zip(first, stop, sign, strict=True)]  # fmt: skip
    return HalfCycles(
        time_s=time_s, roll_deg=roll_deg, length_no=number, run=runs, sign=sign, first=first,
        opens=_opens(time_s, lengths, number, first), peak=np.array(peak, dtype=int), stop=stop,
    )  # fmt: skip


def _edges(
    time_s: FloatArray, roll_deg: FloatArray, over: BoolArray, length: dict[str, Any]
) -> IntArray:
    """Return the last samples before the zero crossings of a length, up to the turn at its end."""
    turn_s = max(length["end_s"] - _TURN_S, length["swim_start_s"])
    spans_s = [length["swim_start_s"], turn_s, length["end_s"]]
    first, late, last = np.searchsorted(time_s, spans_s)
    turns = late + np.flatnonzero(over[late:last])
    part = roll_deg[first : int(turns.min(initial=last))]
    known = np.isfinite(part)
    change = (np.sign(part[1:]) * np.sign(part[:-1]) < 0) | (known[1:] != known[:-1])
    return np.asarray(first + np.flatnonzero(change))


def _counts(piece: FloatArray, duration_s: float, rule: HalfRule) -> bool:
    return bool(
        np.isfinite(piece).all()
        and rule.least_s < duration_s < rule.longest_s
        and np.abs(piece).max() > rule.least_deg
    )


def _opens(
    time_s: FloatArray, lengths: pd.DataFrame, number: IntArray, first: IntArray
) -> BoolArray:
    """Return which half cycles are the first of a length that was seen from its beginning."""
    new = np.append(True, np.diff(number) != 0)[: len(number)]
    begin_s = lengths.set_index("length_no")["swim_start_s"].reindex(number).to_numpy(dtype=float)
    return np.asarray(new & (time_s[first] - begin_s < 2.0))
