"""From a session folder to an `Analysis`: the one line that everything else calls."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any, Final

import numpy as np
import pandas as pd

from sensorswim import __version__
from sensorswim.errors import LogError
from sensorswim.findings import Rules, find
from sensorswim.formats.drills_toml import note_unknown_drills, read_drills
from sensorswim.formats.logs import read_stream
from sensorswim.formats.rules_toml import read_rules
from sensorswim.formats.session_toml import read_session
from sensorswim.formats.settings_toml import read_settings
from sensorswim.metrics.lengths import arm_cycles, fill_lengths
from sensorswim.metrics.pulls import crawl_pulls, say_unsolved, with_pulls
from sensorswim.metrics.set_and_seen import say_disagreements
from sensorswim.metrics.video_marks import with_video_elbows
from sensorswim.model import (
    Limb,
    Placement,
    Quality,
    Recording,
    Session,
    Settings,
    Severity,
    Side,
    Stream,
)
from sensorswim.model.analysis import Analysis
from sensorswim.model.session import video_time
from sensorswim.model.streams import ClockFit, FloatArray
from sensorswim.model.tables import empty, frame, rows_of
from sensorswim.signal import orient, prepare
from sensorswim.signal.standing import who_stands
from sensorswim.signal.straps import align, exchanged, swapped
from sensorswim.swim.activity import CRAWL_LIKE, ActivityRule, prone_measure
from sensorswim.swim.arms import WristMotion
from sensorswim.swim.body_signs import read_body
from sensorswim.swim.breaths import BreathResult, detect_breaths
from sensorswim.swim.hand_path import hand_paths
from sensorswim.swim.kicks import detect_kicks
from sensorswim.swim.lengths import LengthFinder, LengthSearch
from sensorswim.swim.roll import RollResult, estimate_roll
from sensorswim.swim.shoulder import Key
from sensorswim.swim.strokes import (
    ArmResult,
    StrokeFinder,
    follow_wrists,
    with_lead_arm,
    wrists_swapped,
)
from sensorswim.swim.upper_arm import upper_arm_straps
from sensorswim.swim.wrist_strap import align_wrist, unsure_arms

Progress = Callable[[str], None]

_OF_A_SPAN: Final = (
    "length_no",
    "start_s",
    "end_s",
    "finished",
    "block_no",
    "block_label",
    "set_as",
    "drill",
    "aids",
    "breathing",
)
"""What is known of a length before it is looked into."""


_TWICE: Final = (
    "; kicks a cycle of a length are twice its count, those of a single cycle the one leg's own"
)
"""What a lone ankle's kicks mean where the arms tell cycles."""
_HALF: Final = 0.5
"""Least share of a length that a wrist has data of to tell what was swum."""


def _silent(_step: str) -> None:
    return None


def analyse(path: Path | str, *, streams: bool = False, progress: Progress = _silent) -> Analysis:
    """Analyse one session folder.

    Parameters
    ----------
    path : path-like
        A folder with session.toml and one log a sensor (file contract).
    streams : bool
        Keep the aligned signals in `Analysis.streams`.
    progress : callable
        Called with the name of each step as it begins.

    Returns
    -------
    Analysis

    Raises
    ------
    SensorswimError
        The input can't be used; its text is one clear line.
    """
    rules = read_rules(Path(path))
    answer = measure(path, streams=streams, progress=progress)
    progress("looking for what stands out")
    return with_findings(with_marks(answer, answer.session), rules)


def measure(path: Path | str, *, streams: bool = False, progress: Progress = _silent) -> Analysis:
    """Return what the logs of a session folder say, before marks and findings; see `analyse`."""
    folder = Path(path)
    quality = Quality()
    progress("reading the logs")
    session = read_session(folder, quality)
    note_unknown_drills(session, read_drills(folder), quality)
    settings = read_settings(folder)
    logs = {s.placement: read_stream(s, quality) for s in session.sensors}
    return analyse_streams(session, logs, settings, quality, streams=streams, progress=progress)


def with_marks(analysis: Analysis, session: Session) -> Analysis:
    """Return the analysis with what was marked on video since: its marks and elbow angles.

    Parameters
    ----------
    analysis : Analysis
        What the logs say.
    session : Session
        The session as it is now, with today's marks and clips.
    """
    marks = marks_table(session)
    strokes = with_video_elbows(analysis.arm_strokes, marks)
    tables = analysis.tables | {"marks": marks, "arm_strokes": strokes}
    return replace(analysis, session=session, tables=tables)


def with_findings(analysis: Analysis, rules: Rules) -> Analysis:
    """Return the analysis with what stands out by the rules, and what could not be looked for."""
    answer = find(analysis, rules)
    return replace(
        analysis,
        findings=[finding.as_dict() for finding in answer.found],
        unsupported=[missing.as_dict() for missing in answer.unsupported],
    )


@dataclass(frozen=True, kw_only=True)
class ArmsFound:
    """How far an analysis has come once the arms are done.

    Parameters
    ----------
    recording : Recording
        All sensors on one grid, oriented, on the sides they were worn on.
    lengths : DataFrame
        The spans with what was swum in them, without figures.
    straps : dict
        Placement -> how the sensor sat on its limb.
    """

    session: Session
    settings: Settings
    quality: Quality
    recording: Recording
    lengths: pd.DataFrame
    arms: ArmResult
    straps: dict[Placement, FloatArray]
    roll: RollResult

    @property
    def strokes(self) -> pd.DataFrame:
        """The table `arm_strokes`."""
        return crawl_pulls(_strokes_swum(self.arms.arm_strokes, self.lengths), self.prone)

    @property
    def prone(self) -> list[int]:
        """Numbers of the lengths swum as crawl is."""
        return _numbers(self.lengths, CRAWL_LIKE)


def analyse_streams(
    session: Session,
    logs: dict[Placement, Stream],
    settings: Settings,
    quality: Quality,
    *,
    streams: bool = False,
    progress: Progress = _silent,
) -> Analysis:
    """Analyse streams that are already read; see `analyse`."""
    found = find_arms(session, logs, settings, quality, progress=progress)
    events = find_events(found, progress=progress)
    progress("working out the figures")
    return finished(found, events, streams=streams)


def find_arms(
    session: Session,
    logs: dict[Placement, Stream],
    settings: Settings,
    quality: Quality,
    *,
    progress: Progress = _silent,
    clocks: dict[Placement, ClockFit] | None = None,
) -> ArmsFound:
    """Do the first part of `analyse_streams`: orientation, lengths, roll and arm strokes.

    `clocks` are those of the sensors where they are known already; else they are fitted.
    """
    progress("putting the sensors on one clock")
    recording = prepare(session, logs, settings, quality, clocks=clocks)
    progress("working out orientation")
    recording = orient(recording, settings)
    progress("finding the lengths")
    search = LengthFinder().find(recording, pool_length_m=session.pool_length_m)
    lengths = _with_blocks(session, search)
    if not len(lengths):
        _say_nothing_swum(recording, quality)
    progress("following the arms")
    straps = _wrist_straps(recording, lengths, quality)
    flips = frozenset(number for number, span in enumerate(search.spans, 1) if span.flips)
    pushed = frozenset(n for n, span in enumerate(search.spans, 1) if span.starts_at_wall)
    finder = StrokeFinder(session=session, unsure=unsure_arms(quality), flips=flips)
    motions = follow_wrists(recording, lengths, straps, pushed)
    if wrists_swapped(motions):
        recording = _swap_wrists(recording, quality)
        straps = _wrist_straps(recording, lengths, Quality())
        motions = follow_wrists(recording, lengths, straps, pushed)
    lengths = lengths.assign(swim_start_s=_first_recoveries(lengths, motions))
    others = align(recording, lengths, quality)
    if swapped(others):
        recording = exchanged(recording, Limb.ANKLE)
        others = align(recording, lengths, Quality())
    straps |= others
    progress("finding rolls")
    roll = estimate_roll(recording, lengths, straps, quality)
    progress("finding strokes")
    arms = finder.find(recording, lengths, motions, roll)
    lengths = lengths.assign(swim_start_s=_swim_starts(lengths, arms.arm_strokes))
    return ArmsFound(
        session=session,
        settings=settings,
        quality=quality,
        recording=recording,
        lengths=lengths.assign(activity=_activities(recording, lengths, arms, straps)),
        arms=arms,
        straps=straps,
        roll=roll,
    )


@dataclass(frozen=True, kw_only=True)
class Events:
    """What happened in the lengths, as `find_events` tells it."""

    strokes: pd.DataFrame
    kicks: pd.DataFrame
    breath: BreathResult
    cycles: pd.DataFrame


def find_events(found: ArmsFound, *, progress: Progress = _silent) -> Events:
    """Do the second part of `analyse_streams`: kicks, breaths and arm cycles."""
    recording, lengths, straps, quality = (
        found.recording,
        found.lengths,
        found.straps,
        found.quality,
    )
    strokes = found.strokes
    crawl = strokes.loc[strokes["length_no"].isin(found.prone)]
    progress("finding kicks")
    kicks = detect_kicks(recording, lengths, straps, crawl, quality)
    progress("finding breaths")
    breath = detect_breaths(found.roll, recording, lengths, straps, crawl, quality)
    cycles = arm_cycles(
        lengths,
        strokes,
        kicks,
        breath.rolls,
        breath.breaths,
        legs_unseen_s=_legs_unseen_s(recording),
    )
    return Events(strokes=strokes, kicks=kicks, breath=breath, cycles=cycles)


def finished(found: ArmsFound, events: Events, *, streams: bool = False) -> Analysis:
    """Do the rest of `analyse_streams`: the figures of each length."""
    recording, lengths, arms = found.recording, found.lengths, found.arms
    quality, prone, strokes = found.quality, found.prone, events.strokes
    roll, breath = found.roll, events.breath
    worn = list(recording.tracks)
    full = fill_lengths(
        found.session,
        lengths,
        strokes=strokes,
        kicks=events.kicks,
        cycles=events.cycles,
        rolls=breath.rolls,
        breaths=breath.breaths,
        clean_speed_m_s=arms.clean_speed_m_s,
        ankles=sum(p.limb is Limb.ANKLE for p in worn),
        wrists=sum(p.limb is Limb.WRIST for p in worn),
        roll_source=roll.best_source,
    )
    _say_what_is_missing(worn, quality)
    say_disagreements(found.session, full, quality, worn={p.limb for p in worn})
    say_unsolved(arms.pulls, prone, quality)
    tables = {
        "lengths": with_pulls(full, strokes, arms.pulls),
        "arm_strokes": strokes,
        "hand_paths": hand_paths(arms.pulls, strokes, prone),
        "kicks": events.kicks,
        "arm_cycles": events.cycles,
        "rolls": breath.rolls,
        "breaths": with_lead_arm(breath.breaths, arms),
        "roll": roll.table,
        "marks": marks_table(found.session),
    }
    return Analysis(
        session=found.session,
        settings=found.settings,
        quality=quality,
        version=__version__,
        tables=tables,
        streams=_streams(recording, lengths, found.straps) if streams else None,
        facts=_facts(recording, roll, breath, full),
    )


def _with_blocks(session: Session, search: LengthSearch) -> pd.DataFrame:
    """Return the spans with what the blocks say of each length."""
    rows: list[dict[str, Any]] = []
    seen: dict[int, int] = {}
    for number, span in enumerate(search.spans, start=1):
        block = session.block_at(0.5 * (span.start_s + span.end_s))
        row: dict[str, Any] = {
            "length_no": number,
            "start_s": span.start_s,
            "end_s": span.end_s,
            "finished": span.finished,
        }
        if block is not None:
            block_no = session.blocks.index(block) + 1
            index = seen.get(block_no, 0)
            seen[block_no] = index + 1
            set_as = block.kind_of(index)
            row |= {
                "block_no": block_no,
                "block_label": block.label,
                "set_as": set_as,
                "drill": block.drill if set_as == "drill" else None,
                "aids": " ".join(block.aids) or None,
                "breathing": block.breathing,
            }
        rows.append(row)
    return frame("lengths", rows, _OF_A_SPAN)


def _wrist_straps(
    recording: Recording, lengths: pd.DataFrame, quality: Quality
) -> dict[Placement, FloatArray]:
    standing = who_stands(recording, lengths)
    return {
        p: align_wrist(recording, track, lengths, standing, quality)
        for p, track in recording.tracks.items()
        if p.limb is Limb.WRIST
    }


def _swap_wrists(recording: Recording, quality: Quality) -> Recording:
    """Return the recording with the two wrist tracks exchanged."""
    quality.add(
        "left_right_swapped",
        Severity.NOTE,
        "The two wrist sensors were on the wrong sides; left and right were exchanged.",
    )
    return exchanged(recording, Limb.WRIST)


def _first_recoveries(lengths: pd.DataFrame, motions: dict[Key, WristMotion]) -> pd.Series:
    """Return when an arm first comes forward in each length: shortly before its first entry."""
    first: dict[int, float] = {}
    for (number, _), motion in motions.items():
        first[number] = min(float(motion.recoveries_s[0]), first.get(number, np.inf))
    return lengths["length_no"].map(first).astype("float64")


def _swim_starts(lengths: pd.DataFrame, strokes: pd.DataFrame) -> pd.Series:
    first = strokes.groupby("length_no")["entry_s"].min()
    return lengths["length_no"].map(first).astype("float64")


def _activities(
    recording: Recording,
    lengths: pd.DataFrame,
    arms: ArmResult,
    straps: dict[Placement, FloatArray],
) -> list[str]:
    rule = ActivityRule()
    names = []
    for row in rows_of(lengths, "length_no", "start_s", "end_s", "set_as"):
        keys = [(int(row["length_no"]), side) for side in Side]
        rows = slice(*np.searchsorted(recording.time_s, [row["start_s"], row["end_s"]]))
        wrists = sum(
            p.limb is Limb.WRIST and bool(t.valid[rows].mean() >= _HALF)
            for p, t in recording.tracks.items()
        )
        names.append(
            rule.name(
                {k[1]: arms.motions[k] for k in keys if k in arms.motions},
                {k[1]: arms.shoulders[k] for k in keys if k in arms.shoulders},
                prone_measure(recording, straps, row["start_s"], row["end_s"]),
                wrists,
                "" if pd.isna(row["set_as"]) else str(row["set_as"]),
                read_body(recording, straps, row["start_s"], row["end_s"]),
            )
        )
    return names


def _numbers(lengths: pd.DataFrame, activities: tuple[str, ...]) -> list[int]:
    return list(lengths.loc[lengths["activity"].isin(activities), "length_no"])


def _strokes_swum(strokes: pd.DataFrame, lengths: pd.DataFrame) -> pd.DataFrame:
    """Leave out arm movements of lengths that were kicked."""
    kicked = _numbers(lengths, ("kick",))
    return strokes.loc[~strokes["length_no"].isin(kicked)].reset_index(drop=True)


def marks_table(session: Session) -> pd.DataFrame:
    """Return the marks of the session as its table, those of placed clips in session time."""
    if not session.marks:
        return empty("marks")
    places = {video.file.name: video_time(video) for video in session.videos}
    keys = ("session_s", "video_s", "kind", "label", "value", "unit", "view")
    rows = [{key: getattr(mark, key) for key in keys} for mark in session.marks]
    for row, mark in zip(rows, session.marks, strict=True):
        placed = places.get(Path(mark.video or "").name)
        if mark.session_s is None and mark.video_s is not None and placed is not None:
            row["session_s"] = (mark.video_s - placed[0]) / placed[1]
    return frame("marks", rows)


def _legs_unseen_s(recording: Recording) -> FloatArray | None:
    """Return start and end (G, 2) of the gaps in either ankle's data, None without ankles."""
    valid = [t.valid for p, t in recording.tracks.items() if p.limb is Limb.ANKLE]
    if not valid:
        return None
    lost = np.r_[False, ~np.all(valid, axis=0), False]
    edges = np.flatnonzero(np.diff(lost.astype(int)))
    spans = edges.reshape(-1, 2) - np.array([0, 1])
    return np.asarray(recording.time_s[spans])


def _facts(
    recording: Recording, roll: RollResult, breath: BreathResult, lengths: pd.DataFrame
) -> dict[str, Any]:
    return {
        "placements": [str(p) for p in recording.tracks],
        "clock_methods": {str(p): c.method for p, c in recording.clocks.items()},
        "clock_error_s": {str(p): _error_s(c) for p, c in recording.clocks.items()},
        "roll_source": roll.best_source,
        "typical_roll_deg": breath.typical_roll_deg,
        "half_cycle_threshold_deg": breath.threshold_deg,
        "lengths": len(lengths),
        "distance_m": float(lengths["distance_m"].sum()),
    }


def _error_s(clock: ClockFit) -> float | None:
    return clock.residual_s if np.isfinite(clock.residual_s) else None


def _streams(
    recording: Recording, lengths: pd.DataFrame, straps: dict[Placement, FloatArray]
) -> pd.DataFrame:
    """Return every sensor's signals in its limb's axes, one row a sample."""
    every = straps | upper_arm_straps(recording, lengths)
    columns: dict[str, Any] = {"time_s": recording.time_s}
    for placement, track in recording.tracks.items():
        turn = every.get(placement, np.eye(3))
        accel, gyro = track.accel_m_s2 @ turn.T, track.gyro_rad_s @ turn.T
        for k, axis in enumerate("xyz"):
            columns[f"{placement}_accel_{axis}_m_s2"] = accel[:, k]
            columns[f"{placement}_gyro_{axis}_rad_s"] = gyro[:, k]
        columns[f"{placement}_valid"] = track.valid
    return pd.DataFrame(columns)


def _say_nothing_swum(recording: Recording, quality: Quality) -> None:
    if not recording.tracks:
        raise LogError("no sensor has data in common", mend="check the files in session.toml")
    quality.add(
        "no_lengths_found",
        Severity.LOST,
        "No length of swimming was found in these logs, so there are no figures.",
    )


def _say_what_is_missing(worn: list[Placement], quality: Quality) -> None:
    limbs = {p.limb for p in worn}
    roll = "" if limbs & {Limb.LOWER_BACK, Limb.UPPER_BACK} else " and a sure roll"
    costs = {
        Placement.LEFT_WRIST: "the left arm's strokes, coordination and kick phases",
        Placement.RIGHT_WRIST: "the right arm's strokes and coordination",
        Placement.LEFT_ANKLE: f"the left leg's kicks{roll}",
        Placement.RIGHT_ANKLE: f"the right leg's kicks{roll}",
    }
    for placement, cost in costs.items():
        if placement not in worn:
            quality.add(
                "sensor_not_worn",
                Severity.LOST,
                f"Without a sensor on the {placement.label} there is no word on {cost}.",
                placement=placement,
            )
    ankles = [p for p in worn if p.limb is Limb.ANKLE]
    if len(ankles) == 1:
        quality.add(
            "kicks_of_one_leg",
            Severity.DEGRADED,
            f"Kicks are those of the leg with the {ankles[0].label} sensor alone, and the kick "
            "beat stays empty" + (_TWICE if Limb.WRIST in limbs else "") + ".",
            placement=ankles[0],
        )
    if Limb.WRIST not in limbs:
        quality.add(
            "activity_from_body",
            Severity.DEGRADED,
            "Without a wrist sensor what was swum was told from trunk or legs: a body that rolls "
            "is taken for crawl or backstroke, a flutter kick without roll for kick, all else is "
            "`other`.",
        )
    if limbs <= {Limb.WRIST, Limb.UPPER_ARM, Limb.HEAD}:
        quality.add(
            "kick_lengths_unseen",
            Severity.LOST,
            "Without a sensor on ankle or back a length that was only kicked can't be seen.",
        )
