"""Truth in the contract's tables, read from the simulated geometry alone."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
import pandas as pd

from .arms import arm_path
from .body import SIDES, Skeleton
from .events import (
    NOTHING,
    HalfRoll,
    Stroke,
    arm_strokes,
    beat,
    crossings,
    downbeats,
    half_rolls,
    hold,
    index_of_coordination,
    not_together,
)
from .maths import RATE_HZ, Array, roll_of, turning_rate
from .outing import Outing, Swum
from .sensors import Clock

CRAWL = {"front_crawl", "drill"}
MOUTH_FREE_DEG = 45.0
STEEP = np.sin(np.radians(55.0))
OFF_THE_WALL = 0.02
SIDE_OF = {1.0: "left", -1.0: "right"}


@dataclass(frozen=True)
class Rolls:
    """One length's roll in the best worn signal: samples, degrees and the half cycles."""

    time: Array
    roll: Array
    halves: list[HalfRoll]
    breath: list[bool]


@dataclass(frozen=True)
class LengthTruth:
    """What happened in one length, in s of true time."""

    swum: Swum
    activity: str
    start: float
    end: float
    swim_start: float
    strokes: dict[str, list[Stroke]]
    kicks: dict[str, tuple[Array, Array]]
    rolls: Rolls | None


@dataclass
class Truth:
    """Everything true of a session: tables in session time, lengths in true time."""

    tables: dict[str, pd.DataFrame]
    lengths: list[LengthTruth] = field(default_factory=list)


def water_level(outing: Outing) -> Array:
    """Return the water's height in m along the swimmer's way: small waves, up to 1 cm."""
    t = np.arange(outing.motion["x"].size) / RATE_HZ
    x = outing.motion["x"]
    return 0.006 * np.sin(2.1 * x - 4.5 * t) + 0.004 * np.sin(4.4 * x + 6.6 * t + 1.0)


def observe(outing: Outing, skeleton: Skeleton, sources: tuple[str, ...], clock: Clock) -> Truth:
    """Return the truth of a session; `sources` are the roll signals worn, best first."""
    level = water_level(outing)
    rolls = {source: roll_signal(skeleton, source) for source in sources}
    lengths = [_length(outing, skeleton, swum, level, rolls[sources[0]]) for swum in outing.swum]
    tables = {
        "lengths": _lengths_table(lengths, clock),
        "arm_strokes": _strokes_table(lengths, skeleton, clock),
        "kicks": _kicks_table(lengths, clock),
        "arm_cycles": _cycles_table(lengths, clock),
        "rolls": _breaths_table(lengths, sources[0], clock, breathing=False),
        "breaths": _breaths_table(lengths, sources[0], clock, breathing=True),
        "roll": _roll_table(rolls, clock),
    }
    return Truth(tables, lengths)


def roll_signal(skeleton: Skeleton, source: str) -> Array:
    """Return one source's roll in degrees; NaN where its head-ward axis stands too steep."""
    if source == "ankles":
        axes = [skeleton.shank(side).axes for side in SIDES]
    else:
        axes = [(skeleton.thorax if source == "upper_back" else skeleton.pelvis).axes]
    angles = [roll_of(one) for one in axes]
    mean = np.arctan2(sum(np.sin(a) for a in angles), sum(np.cos(a) for a in angles))
    level = np.all([np.abs(one[:, 2, 0]) < STEEP for one in axes], axis=0)
    return np.where(level, np.degrees(mean), np.nan)


def _length(
    outing: Outing, skeleton: Skeleton, swum: Swum, level: Array, roll: Array
) -> LengthTruth:
    direction, spec = swum.crossing.direction, swum.crossing.spec
    start = _push_begins(skeleton, swum)
    end = _arrival(outing, skeleton, swum)
    part = _level_part(skeleton, swum, round(end * RATE_HZ))
    strokes = {
        side: arm_strokes(arm_path(skeleton, side, direction, level, part)) for side in SIDES
    }
    entries = [s.entry for side in SIDES for s in strokes[side] if not np.isnan(s.entry)]
    activity = "drill" if spec.set_as == "drill" else spec.stroke
    strokes_enter = bool(entries) and activity not in {"kick", "breaststroke"}
    swim_start = min(entries) if strokes_enter else NOTHING
    crawling = activity in CRAWL
    kicks = _kicks(skeleton, part) if crawling or activity == "kick" else {}
    rolls = None
    if crawling and not np.isnan(swim_start):
        rolls = _rolls(skeleton, roll, slice(round(swim_start * RATE_HZ), part.stop))
    return LengthTruth(
        swum=swum,
        activity=activity,
        start=start,
        end=end,
        swim_start=swim_start,
        strokes=strokes if crawling else {side: [] for side in SIDES},
        kicks=kicks,
        rolls=rolls,
    )


def _level_part(skeleton: Skeleton, swum: Swum, end: int) -> slice:
    """Return the samples of swimming: from the breakout to the somersault or the touch."""
    begin = swum.start + swum.crossing.strokes_from
    ahead = swum.crossing.direction * skeleton.thorax.axes[begin:end, 0, 0]
    tipped = np.flatnonzero(ahead < 0.5)
    return slice(begin, begin + int(tipped[0]) if tipped.size else end)


def _push_begins(skeleton: Skeleton, swum: Swum) -> float:
    """Return when the hips begin to leave the wall: 2 % of the speed at take-off."""
    part = slice(swum.start, swum.start + swum.crossing.take_off + 1)
    speed = np.gradient(swum.crossing.direction * skeleton.root[part, 0]) * RATE_HZ
    off = int(np.flatnonzero(speed > OFF_THE_WALL * speed[-1])[0])
    return (swum.start + off) / RATE_HZ


def _arrival(outing: Outing, skeleton: Skeleton, swum: Swum) -> float:
    """Return when a hand touches the far wall, or the feet are on it after a flip."""
    crossing = swum.crossing
    part = slice(swum.start + crossing.arrives - 800, swum.start + crossing.motion["x"].size)
    time = np.arange(part.start, part.stop) / RATE_HZ
    wall = outing.plan.pool if crossing.direction > 0.0 else 0.0
    if crossing.spec.ending == "flip":
        feet = 0.5 * (skeleton.ankle_joint("left", part) + skeleton.ankle_joint("right", part))
        far = np.linalg.norm(feet - feet[-1], axis=1)
        return float(time[np.flatnonzero(far > 0.01)[-1] + 1])
    firsts = []
    for side in SIDES:
        tip = crossing.direction * (skeleton.fingertip(side, part)[:, 0] - wall)
        reached, _ = crossings(time, tip)
        firsts += list(reached[:1])
    return float(min(firsts))


def _kicks(skeleton: Skeleton, part: slice) -> dict[str, tuple[Array, Array]]:
    """Return both legs' downbeats: peaks of the shank's turning downwards about its own side."""
    time = np.arange(part.start, part.stop) / RATE_HZ
    found = {}
    for side in SIDES:
        extension = -turning_rate(skeleton.shank(side).axes[part])[:, 1]
        found[side] = downbeats(time, extension)
    left, right = found["left"], found["right"]
    keep = {"left": not_together(left[0], right[0]), "right": not_together(right[0], left[0])}
    return {side: (found[side][0][keep[side]], found[side][1][keep[side]]) for side in SIDES}


def _rolls(skeleton: Skeleton, roll: Array, part: slice) -> Rolls:
    """Return the half cycles of a length's roll and which of them go with a turned head."""
    time, roll = np.arange(part.start, part.stop) / RATE_HZ, roll[part]
    halves = half_rolls(time, roll)
    axes = skeleton.head.axes[part]
    head = np.where(np.abs(axes[:, 2, 0]) < STEEP, np.degrees(roll_of(axes)), 0.0)
    turned = []
    for sign in (1.0, -1.0):
        out, back = crossings(time, sign * head - MOUTH_FREE_DEG)
        for begin in out:
            end = back[back > begin]
            part_out = (time >= begin) & (time <= (end[0] if end.size else time[-1]))
            turned.append((sign, float(time[part_out][np.argmax(sign * head[part_out])])))
    breath = [False] * len(halves)
    for sign, at in turned:
        same = [k for k, half in enumerate(halves) if half.sign == sign]
        if same:
            nearest = min(same, key=lambda k: abs(halves[k].peak - at))
            breath[nearest] |= abs(halves[nearest].peak - at) < 0.6
    return Rolls(time, roll, halves, breath)


def _lengths_table(lengths: list[LengthTruth], clock: Clock) -> pd.DataFrame:
    rows = []
    for number, one in enumerate(lengths, 1):
        cycles = _cycles(one)
        counts = [_kicks_between(one, *cycle) for cycle in cycles]
        times = [
            s.next_entry - s.entry
            for side in SIDES
            for s in one.strokes[side]
            if not np.isnan(s.next_entry - s.entry)
        ]
        both = one.activity == "front_crawl"
        rows.append(
            {
                "length_no": number,
                "start_s": clock.shows(one.start),
                "end_s": clock.shows(one.end),
                "swim_start_s": clock.shows(one.swim_start),
                "activity": one.activity,
                "stroke_rate_cycles_min": 60.0 / float(np.mean(times)) if times else NOTHING,
                "index_of_coordination_pct": index_of_coordination(
                    one.strokes["left"], one.strokes["right"]
                )
                if both
                else NOTHING,
                "kicks": float(sum(times.size for times, _ in one.kicks.values()))
                if one.kicks
                else NOTHING,
                "kicks_per_cycle": float(np.mean(counts)) if counts else NOTHING,
                "kick_beat": float(beat(counts)) if counts else NOTHING,
            }
        )
    return pd.DataFrame(rows)


def _strokes_table(lengths: list[LengthTruth], skeleton: Skeleton, clock: Clock) -> pd.DataFrame:
    rows = []
    for side in SIDES:
        elbow = 180.0 - np.degrees(skeleton.motion[f"{side}_elbow"])
        time = np.arange(elbow.size) / RATE_HZ
        for number, one in enumerate(lengths, 1):
            rows += [
                {
                    "length_no": number,
                    "side": side,
                    "entry_s": clock.shows(s.entry),
                    "catch_s": clock.shows(s.catch),
                    "mid_pull_s": clock.shows(s.mid_pull),
                    "exit_s": clock.shows(s.exit),
                    "next_entry_s": clock.shows(s.next_entry),
                    "pull_depth_m": s.depth,
                    "elbow_angle_deg": float(np.interp(s.mid_pull, time, elbow)),
                }
                for s in one.strokes[side]
            ]
    columns = ["length_no", "side", "entry_s", "catch_s", "mid_pull_s", "exit_s", "next_entry_s"]
    table = pd.DataFrame(rows, columns=[*columns, "pull_depth_m", "elbow_angle_deg"])
    order = table["mid_pull_s"].fillna(table["entry_s"])
    return table.iloc[np.lexsort([order, table["length_no"]])].reset_index(drop=True)


def _left_entries(one: LengthTruth) -> Array:
    """Return the left hand's entries, the last one's next entry included."""
    times: list[float] = []
    for stroke in one.strokes["left"]:
        times += [stroke.entry, stroke.next_entry]
    entries = np.sort(np.array([t for t in times if not np.isnan(t)]))
    return entries[np.diff(entries, prepend=-np.inf) > 0.05]


def _cycles(one: LengthTruth) -> list[tuple[float, float]]:
    """Return the complete arm cycles, left entry to left entry with the pull between."""
    return [
        (s.entry, s.next_entry) for s in one.strokes["left"] if not np.isnan(s.next_entry - s.entry)
    ]


def _kicks_between(one: LengthTruth, start: float, end: float) -> int:
    return sum(int(np.sum((t >= start) & (t < end))) for t, _ in one.kicks.values())


def _kicks_table(lengths: list[LengthTruth], clock: Clock) -> pd.DataFrame:
    rows = []
    for number, one in enumerate(lengths, 1):
        entries = _left_entries(one)
        for side, (times, sizes) in one.kicks.items():
            for time, size in zip(times, sizes, strict=True):
                k = int(np.searchsorted(entries, time, side="right")) - 1
                inside = 0 <= k < entries.size - 1
                rows.append(
                    {
                        "length_no": number,
                        "side": side,
                        "downbeat_s": clock.shows(time),
                        "peak_rate_deg_s": float(np.degrees(size)),
                        "cycle_phase": (time - entries[k]) / (entries[k + 1] - entries[k])
                        if inside
                        else NOTHING,
                    }
                )
    columns = ["length_no", "side", "downbeat_s", "peak_rate_deg_s", "cycle_phase"]
    return pd.DataFrame(rows, columns=columns).sort_values("downbeat_s", ignore_index=True)


def _cycles_table(lengths: list[LengthTruth], clock: Clock) -> pd.DataFrame:
    rows = [
        {
            "length_no": number,
            "cycle_no": k,
            "start_s": clock.shows(start),
            "end_s": clock.shows(end),
            "kicks": _kicks_between(one, start, end),
        }
        for number, one in enumerate(lengths, 1)
        for k, (start, end) in enumerate(_cycles(one), 1)
    ]
    return pd.DataFrame(rows, columns=["length_no", "cycle_no", "start_s", "end_s", "kicks"])


def _breaths_table(
    lengths: list[LengthTruth], source: str, clock: Clock, *, breathing: bool
) -> pd.DataFrame:
    """Return the table `breaths`, or `rolls` with every half cycle."""
    swims = [(number, one.rolls) for number, one in enumerate(lengths, 1) if one.rolls]
    plain = [
        (rolls, half)
        for _, rolls in swims
        for half, is_breath in zip(rolls.halves, rolls.breath, strict=True)
        if not is_breath
    ]
    enough = len(plain) >= 10
    every = [half.peak_roll for _, rolls in swims for half in rolls.halves]
    typical = np.abs([half.peak_roll for _, half in plain] if enough else every)
    beyond = 0.5 * float(np.median(typical)) if typical.size else NOTHING
    usual: dict[float, list[float]] = {1.0: [], -1.0: []}
    for rolls, half in plain:
        begin, end = hold(rolls.time, rolls.roll, half, beyond)
        usual[half.sign].append(0.0 if np.isnan(begin) else end - begin)
    rows = []
    for number, rolls in swims:
        for half, is_breath in zip(rolls.halves, rolls.breath, strict=True):
            if breathing and not is_breath:
                continue
            begin, end = hold(rolls.time, rolls.roll, half, beyond)
            length = 0.0 if np.isnan(begin) else end - begin
            row = {
                "length_no": number,
                "side": SIDE_OF[half.sign],
                "peak_s": clock.shows(half.peak),
                "start_s": clock.shows(begin),
                "end_s": clock.shows(end),
                "hold_s": length,
                "peak_roll_deg": half.peak_roll,
            }
            if breathing:
                same = usual[half.sign] or usual[-half.sign]
                row["excess_s"] = length - float(np.median(same)) if enough else NOTHING
            else:
                row["is_breath"] = is_breath
            rows.append(row | {"source": source})
    extra = "excess_s" if breathing else "is_breath"
    columns = ["length_no", "side", "peak_s", "start_s", "end_s", "hold_s", "peak_roll_deg"]
    return pd.DataFrame(rows, columns=[*columns, extra, "source"])


def _roll_table(rolls: dict[str, Array], clock: Clock) -> pd.DataFrame:
    """Return every source's roll at 50 Hz of session time."""
    parts = []
    for source, roll in rolls.items():
        true = np.arange(roll.size) / RATE_HZ
        shown = np.asarray(clock.shows(true))
        grid = np.arange(np.ceil(shown[0] * 50.0), np.floor(shown[-1] * 50.0)) / 50.0
        nearest = np.clip(np.searchsorted(shown, grid), 0, roll.size - 1)
        parts.append(pd.DataFrame({"time_s": grid, "roll_deg": roll[nearest], "source": source}))
    return pd.concat(parts, ignore_index=True)
