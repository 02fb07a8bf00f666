"""Breaths, lengths, gaps in the kick and coach's marks as cues beside a video."""

from __future__ import annotations

from typing import Final

import pandas as pd

from sensorswim.figures.style import ACTIVITY_WORDS, number
from sensorswim.formats.webvtt import Cue, cues_to_vtt
from sensorswim.model.analysis import Analysis
from sensorswim.model.session import video_time
from sensorswim.units import counted

_MARK_S: Final = 2.0
_LENGTH_CUE_S: Final = 4.0


def session_cues(analysis: Analysis, *, from_s: float = 0.0) -> list[Cue]:
    """Return all cues in session time.

    Parameters
    ----------
    analysis : Analysis
    from_s : float
        Where what they run beside begins; a length that is under way then is told at once.
    """
    return [
        *_length_cues(analysis.lengths, from_s),
        *_breath_cues(analysis.breaths),
        *_kick_cues(analysis.arm_cycles, analysis.lengths),
        *_mark_cues(analysis.marks),
    ]


def cue_files(analysis: Analysis) -> dict[str, str]:
    """Return the cue files by name: always ``cues.vtt``, and one named after each video.

    ``cues.vtt`` is in the time of the first video that can be placed, else in session time.
    """
    files: dict[str, str] = {}
    first: str | None = None
    for video in analysis.session.videos:
        placed = video_time(video)
        if placed is None:
            continue
        text = cues_in_video(analysis, *placed)
        first = first or text
        files[_free_name(f"{video.file.stem}.vtt", files)] = text
    return {"cues.vtt": first or cues_to_vtt(session_cues(analysis))} | files


def cues_in_video(analysis: Analysis, offset_s: float, rate: float) -> str:
    """Return all cues as WebVTT in video time, which is offset_s + rate * session time."""
    cues = session_cues(analysis, from_s=-offset_s / rate)
    return cues_to_vtt(_moved(cue, offset_s, rate) for cue in cues)


def _free_name(name: str, taken: dict[str, str]) -> str:
    stem, count = name.removesuffix(".vtt"), 2
    while name in taken or name == "cues.vtt":
        name, count = f"{stem}-{count}.vtt", count + 1
    return name


def _moved(cue: Cue, offset_s: float, rate: float) -> Cue:
    return Cue(
        start_s=offset_s + rate * cue.start_s,
        end_s=offset_s + rate * cue.end_s,
        text=cue.text,
        identifier=cue.identifier,
    )


def _length_cues(lengths: pd.DataFrame, from_s: float) -> list[Cue]:
    cues = []
    for row in lengths.dropna(subset=["start_s", "end_s"]).to_dict("records"):
        kind = "other" if pd.isna(row["activity"]) else str(row["activity"])
        start_s = max(from_s, row["start_s"])
        if start_s >= row["end_s"]:
            continue
        cues.append(
            Cue(
                start_s=start_s,
                end_s=min(row["end_s"], start_s + _LENGTH_CUE_S),
                text=f"Length {row['length_no']}: {ACTIVITY_WORDS.get(kind, kind)}",
                identifier=f"length-{row['length_no']}",
            )
        )
    return cues


def _breath_cues(breaths: pd.DataFrame) -> list[Cue]:
    known = breaths.dropna(subset=["peak_s"])
    return [
        Cue(
            start_s=row["peak_s"] - 0.3 if pd.isna(row["start_s"]) else row["start_s"],
            end_s=row["peak_s"] + 0.3 if pd.isna(row["end_s"]) else row["end_s"],
            text=f"Breath to the {row['side']}, {number(row['hold_s'], 2)} s on the side",
            identifier=f"breath-{index}",
        )
        for index, row in enumerate(known.to_dict("records"), start=1)
    ]


def _kick_cues(arm_cycles: pd.DataFrame, lengths: pd.DataFrame) -> list[Cue]:
    """Return a cue for each cycle that holds fewer kicks than its length's own beat."""
    beats = lengths.set_index("length_no")["kick_beat"]
    known = arm_cycles.dropna(subset=["start_s", "end_s", "kicks"])
    cues = []
    for row in known.to_dict("records"):
        beat = beats.get(row["length_no"])
        if beat is None or pd.isna(beat) or row["kicks"] >= beat:
            continue
        cues.append(
            Cue(
                start_s=row["start_s"],
                end_s=row["end_s"],
                text=f"{counted(row['kicks'], 'kick')} in this cycle, {beat} in most of the length",
                identifier=f"kicks-{row['length_no']}-{row['cycle_no']}",
            )
        )
    return cues


def _mark_cues(marks: pd.DataFrame) -> list[Cue]:
    cues = []
    for index, row in enumerate(marks.dropna(subset=["session_s"]).to_dict("records"), start=1):
        words = [str(row[key]) for key in ("kind", "label") if not pd.isna(row[key]) and row[key]]
        words[:1] = [kind.replace("_", " ") for kind in words[:1]]
        cues.append(
            Cue(
                start_s=row["session_s"],
                end_s=row["session_s"] + _MARK_S,
                text=": ".join(words) or "mark",
                identifier=f"mark-{index}",
            )
        )
    return cues
