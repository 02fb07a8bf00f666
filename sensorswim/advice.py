"""The swimmer's folder: from a session or a result to plan, diary and handout."""

from __future__ import annotations

import shutil
from collections.abc import Callable
from dataclasses import fields, replace
from datetime import datetime
from pathlib import Path
from typing import Any, Final

from sensorswim.analyse import analyse
from sensorswim.errors import InputError
from sensorswim.export import read_result
from sensorswim.findings import after_diary, make_plan
from sensorswim.formats.drills_toml import read_drills
from sensorswim.formats.handout_toml import (
    CONSENT_FILE,
    WORDS_FILE,
    read_consent,
    read_words,
    write_words,
)
from sensorswim.formats.plan_toml import (
    DIARY_FILE,
    PLAN_FILE,
    diary_start,
    read_diary,
    read_plan,
    write_plan,
)
from sensorswim.formats.session_toml import SESSION_FILE
from sensorswim.formats.tables_io import read_json
from sensorswim.model import Mark, Placement, SensorFile, Session, Settings
from sensorswim.model.analysis import Analysis
from sensorswim.model.findings import Finding
from sensorswim.model.handout import HandoutWords, first_words
from sensorswim.model.plan import Plan, PlanOptions
from sensorswim.model.session import video_time
from sensorswim.report.cues import session_cues
from sensorswim.report.handout import Handout, handout_html, set_words
from sensorswim.video.moments import Drawn, Line, export_moment

SUMMARY_FILE: Final = "summary.json"
HANDOUT_FILE: Final = "handout.html"


def answer_of(place: Path, progress: Callable[[str], None]) -> Analysis:
    """Return the analysis of a session folder, or the one that a result folder holds.

    Raises
    ------
    SensorswimError
        Neither of the two, or one that can't be used.
    """
    if (place / SESSION_FILE).is_file():
        return analyse(place, progress=progress)
    if not (place / SUMMARY_FILE).is_file():
        raise InputError(
            f"holds neither {SESSION_FILE} nor {SUMMARY_FILE}",
            where=str(place),
            mend="give a session folder or the result of analyse",
        )
    told = read_json(place / SUMMARY_FILE)
    try:
        session = _session(place, told["session"])
    except (KeyError, TypeError, ValueError) as failure:
        raise InputError("is not a summary that sensorswim wrote", where=SUMMARY_FILE) from failure
    known = {field.name for field in fields(Settings)}
    settings = {key: value for key, value in told.get("settings", {}).items() if key in known}
    return read_result(place, session, Settings(**settings))


def _session(place: Path, told: dict[str, Any]) -> Session:
    """Return what a summary tells of its session: enough for words and pictures."""
    return Session(
        folder=place,
        started_at=datetime.fromisoformat(told["started_at"]),
        swimmer=str(told["swimmer"]),
        pool_length_m=float(told["pool_length_m"]),
        sensors=tuple(SensorFile(placement=Placement(name)) for name in told["sensors"]),
        session_id=told.get("session_id"),
        swimmer_id=told.get("swimmer_id"),
        extra={"invented": True} if told.get("invented") else {},
    )


def plan_for(answer: Analysis, folder: Path, options: PlanOptions, *, new: bool = False) -> Plan:
    """Return the plan of a swimmer's folder, made where there is none, after its diary.

    Parameters
    ----------
    answer : Analysis
        Gives the aims of a new plan.
    folder : Path
        Gets plan.toml and an empty diary.toml where they are missing.
    options : PlanOptions
        For a new plan; the check set of an old one stays, since it is defined once.
    new : bool
        Plan anew; the old plan and its diary are kept beside it, with their day in the name.
    """
    path = folder / PLAN_FILE
    if path.is_file() and not new:
        plan = read_plan(path)
    else:
        if path.is_file():
            old = read_plan(path)
            options = replace(options, check_set=old.check_set)
            _put_aside(folder, old)
        plan = _new_plan(answer, options)
        write_plan(plan, path)
    diary = folder / DIARY_FILE
    if not diary.exists():
        diary.write_text(diary_start(plan), encoding="utf-8", newline="\n")
    return after_diary(plan, read_diary(diary))


def _put_aside(folder: Path, old: Plan) -> None:
    for name in (PLAN_FILE, DIARY_FILE):
        path = folder / name
        if path.is_file():
            shutil.move(path, path.with_stem(f"{path.stem}-{old.made_on.isoformat()}"))


def _new_plan(answer: Analysis, options: PlanOptions) -> Plan:
    session = answer.session
    return make_plan(
        [Finding.from_dict(finding) for finding in answer.findings],
        read_drills(session.folder),
        options,
        swimmer=session.swimmer,
        made_on=session.started_at.date(),
    )


def plan_text(plan: Plan) -> str:
    """Return a plan for a terminal."""
    names = {drill.id: drill.name for drill in read_drills()}
    lines = [f"Plan for {plan.swimmer}, {plan.made_on} to {plan.next_check}"]
    lines += [plan.see_somebody] if plan.see_somebody else []
    lines += [f"Aim: {aim.title}. {aim.text}" for aim in plan.aims]
    for week in plan.weeks:
        lines.append(f"Week {week.number}. {week.thought}")
        for one in week.sets:
            stop = f" STOPPED: {one.stopped}" if one.stopped else ""
            lines.append(f"  {one.id}  {set_words(one, names)}.{stop}")
    lines.append(f"Next check {plan.next_check}: {plan.check_set.words}.")
    return "\n".join([*lines, *plan.should_change])


def words_of(answer: Analysis, folder: Path) -> tuple[HandoutWords, HandoutWords]:
    """Return the words of a handout as they are, and those that the session brings along."""
    session, path = answer.session, folder / WORDS_FILE
    aims = [f for finding in answer.findings if (f := Finding.from_dict(finding)).is_aim]
    first = first_words(session.swimmer, session.started_at.date(), aims)
    return (read_words(path) if path.is_file() else first), first


def write_handout(
    answer: Analysis, folder: Path, options: PlanOptions, *, new: bool = False
) -> Path:
    """Write the handout into a swimmer's folder and return its path.

    Parameters
    ----------
    answer : Analysis
    folder : Path
        Its plan, diary, handout.toml and consent.toml count; the first three are made where they
        are missing. A consent.toml of the session counts where the folder has none.
    options : PlanOptions
    new : bool
        Plan anew and start from new words.
    """
    plan = plan_for(answer, folder, options, new=new)
    session = answer.session
    path = folder / WORDS_FILE
    if not path.is_file() or new:
        write_words(words_of(answer, folder)[1], path)
    consent = folder if (folder / CONSENT_FILE).is_file() else session.folder
    page = handout_html(
        Handout(
            analysis=answer,
            plan=plan,
            drills=read_drills(session.folder),
            words=read_words(path),
            consent=read_consent(consent),
        )
    )
    place = folder / HANDOUT_FILE
    part = place.with_name(f"{place.name}.part")
    part.write_text(page, encoding="utf-8", newline="\n")
    return part.replace(place)


def export_clip(answer: Analysis, at_s: float, seconds: float, out: Path) -> Path:
    """Write a silent clip around a moment, with what was measured below it; return its path.

    Parameters
    ----------
    answer : Analysis
        Its session names the clips, and its consent.toml who agreed to being filmed.
    at_s, seconds : float
        The middle in session time, and how long the clip is.
    out : Path
        A WebM file.

    Raises
    ------
    InputError
        Nobody agreed to filming, no clip is placed in time, or none shows the moment.
    """
    session = answer.session
    missing = read_consent(session.folder).missing("filming", session.started_at.date())
    if missing:
        raise InputError(
            f"no video leaves without consent: {missing}",
            where=CONSENT_FILE,
            mend="write down who agreed to filming, and until when",
        )
    placed = [(v, place) for v in session.videos if (place := video_time(v)) is not None]
    if not placed:
        raise InputError("no clip is placed in time", mend="give starts_at_s or a mark")
    video, (offset_s, rate) = next(
        (pair for pair in placed if pair[1][0] + pair[1][1] * at_s >= 0), placed[0]
    )
    lines = [
        Line(start_s=offset_s + rate * c.start_s, end_s=offset_s + rate * c.end_s, text=c.text)
        for c in session_cues(answer, from_s=-offset_s / rate)
    ]
    drawn = [
        Drawn(time_s=offset_s + rate * mark.session_s, points=mark.points, text=_measure_text(mark))
        for mark in session.marks
        if mark.points
        and mark.session_s is not None
        and Path(mark.video or "").name == video.file.name
    ]
    middle_s = offset_s + rate * at_s
    return export_moment(
        video.file,
        out,
        lines,
        drawn,
        start_s=middle_s - seconds / 2,
        end_s=middle_s + seconds / 2,
    )


def _measure_text(mark: Mark) -> str:
    """Return a measured mark in a few words."""
    if mark.value is None:
        return mark.label
    figure = f"{mark.value:.0f} degrees" if mark.unit == "deg" else f"{mark.value:.2f} {mark.unit}"
    return f"{mark.kind.replace('_', ' ')} {figure}"
