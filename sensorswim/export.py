"""Writes a result folder: beside its place first, then swapped in whole.

A reader sees the old result or the new one, never half of either. What a killed run left
beside the place is put right by the next one.
"""

from __future__ import annotations

import functools
import os
import re
import shutil
from collections.abc import Callable
from pathlib import Path
from typing import Any, Final

from sensorswim.errors import InputError, OutputError
from sensorswim.formats.tables_io import read_json, read_table, write_json, write_table
from sensorswim.metrics.carry_over import carry_over
from sensorswim.model import Quality, Session, Settings, Severity
from sensorswim.model.analysis import Analysis
from sensorswim.model.tables import SCHEMAS
from sensorswim.report import cue_files, report_html

GENERATOR: Final = "sensorswim"
"""The value of ``generator`` in summary.json: the mark of an own result folder."""

Progress = Callable[[float, str], None]
"""Called with the share done (0..1) and what is being done."""


def check_out(out: Path) -> Path:
    """Return the resolved place of a result, if one may be written there.

    Raises
    ------
    OutputError
        The place is a file, or a folder that holds anything but an own result.
    """
    place = out.expanduser().resolve()
    if not place.exists():
        return place
    if not place.is_dir():
        raise OutputError("is a file", where=str(out), mend="name a folder that doesn't exist yet")
    present = {entry.name for entry in place.iterdir()}
    foreign = present - _own_files(place)
    if foreign:
        raise OutputError(
            f"holds {sorted(foreign)[0]!r}, which isn't part of a sensorswim result",
            where=str(out),
            mend="name a folder that doesn't exist yet",
        )
    return place


def write_result(
    analysis: Analysis, out: Path, *, csv: bool = False, progress: Progress | None = None
) -> Path:
    """Write summary, report, cues and tables, and return the folder they are in.

    Parameters
    ----------
    analysis : Analysis
    out : Path
        The result folder; an own one that is there already is replaced as a whole.
    csv : bool
        Write each table as CSV, too.
    progress : callable, optional
        Told the share done and the step.

    Raises
    ------
    OutputError
        The place is taken by something else, or can't be written to; nothing is left behind.
    """
    place = check_out(out)
    partial = place.with_name(f".{place.name}.{os.getpid()}.partial")
    try:
        place.parent.mkdir(parents=True, exist_ok=True)
        _mend(place)
        partial.mkdir()
        _fill(analysis, partial, csv=csv, progress=progress or (lambda _share, _step: None))
        _swap(partial, place)
    except OSError as failure:
        raise OutputError(
            f"can't be written ({failure.strerror or failure})",
            where=str(out),
            mend="free some space or name another folder",
        ) from failure
    finally:
        shutil.rmtree(partial, ignore_errors=True)
    return place


def read_result(out: Path, session: Session, settings: Settings) -> Analysis:
    """Return the analysis that `write_result` wrote, without its streams.

    Parameters
    ----------
    out : Path
        The result folder.
    session, settings
        What it was made from; they are not in the folder.

    Raises
    ------
    InputError
        The folder holds no whole result of this format.
    """
    told = read_json(out / "summary.json")
    quality = Quality()
    for row in told.get("quality", []):
        rest = {key: row[key] for key in ("placement", "length_no", "start_s", "end_s")}
        quality.add(row["code"], Severity(row["severity"]), row["text"], **rest)
    return Analysis(
        session=session,
        settings=settings,
        quality=quality,
        version=str(told.get("version", "")),
        tables={name: read_table(out / f"{name}.parquet") for name in SCHEMAS},
        facts=dict(told.get("figures", {})),
        findings=list(told.get("findings", [])),
        unsupported=list(told.get("not_looked_for", [])),
    )


def summary(analysis: Analysis) -> dict[str, Any]:
    """Return what summary.json holds, without its list of files."""
    session = analysis.session
    return {
        "generator": GENERATOR,
        "version": analysis.version,
        "session": {
            "session_id": session.session_id,
            "swimmer_id": session.swimmer_id,
            "swimmer": session.swimmer,
            "started_at": session.started_at.isoformat(),
            "pool_length_m": session.pool_length_m,
            "sensors": [str(sensor.placement) for sensor in session.sensors],
            "invented": bool(session.extra.get("invented", False)),
        },
        "figures": whole_session(analysis),
        "findings": analysis.findings,
        "not_looked_for": analysis.unsupported,
        "carry_over": carry_over(analysis.lengths).to_dict("records"),
        "quality": [row.as_dict() for row in analysis.quality],
        "settings": analysis.settings.as_dict(),
        "settings_hash": analysis.settings.hash,
    }


def whole_session(analysis: Analysis) -> dict[str, Any]:
    """Return the whole-session figures: the facts of the analysis and the sums of the lengths."""
    lengths = analysis.lengths
    counts = lengths["activity"].fillna("other").value_counts(sort=False)
    sums = {
        "lengths": len(lengths),
        "lengths_by_activity": {str(kind): int(count) for kind, count in counts.items()},
        "distance_m": lengths["distance_m"].sum(min_count=1),
        "swimming_s": (lengths["end_s"] - lengths["start_s"]).sum(min_count=1),
        "arm_strokes": lengths["arm_strokes"].sum(min_count=1),
        "kicks": lengths["kicks"].sum(min_count=1),
        "breaths_left": lengths["breaths_left"].sum(min_count=1),
        "breaths_right": lengths["breaths_right"].sum(min_count=1),
    }
    return sums | dict(analysis.facts)


def _fill(analysis: Analysis, folder: Path, *, csv: bool, progress: Progress) -> None:
    for done, (what, step) in enumerate(steps := _steps(analysis, folder, csv=csv)):
        progress(done / len(steps), what)
        step()
    progress(1.0, "done")


def _steps(analysis: Analysis, folder: Path, *, csv: bool) -> list[tuple[str, Callable[[], None]]]:
    """Return what is to be written, in order, each with its name."""
    steps: list[tuple[str, Callable[[], None]]] = []
    for name in SCHEMAS:
        for suffix in (".parquet", ".csv") if csv else (".parquet",):
            path = folder / f"{name}{suffix}"
            steps.append((name, functools.partial(write_table, analysis.tables[name], name, path)))
    if analysis.streams is not None:
        path = folder / "streams.parquet"
        steps.append(("streams", functools.partial(write_table, analysis.streams, "streams", path)))
    steps += [
        ("report", lambda: _write_text(folder / "report.html", report_html(analysis))),
        ("cues", lambda: _write_cues(analysis, folder)),
        ("summary", lambda: _write_summary(analysis, folder)),
    ]
    return steps


def _write_cues(analysis: Analysis, folder: Path) -> None:
    for name, content in cue_files(analysis).items():
        _write_text(folder / name, content)


def _write_summary(analysis: Analysis, folder: Path) -> None:
    names = sorted([entry.name for entry in folder.iterdir()] + ["summary.json"])
    write_json(summary(analysis) | {"files": names}, folder / "summary.json")


def _write_text(path: Path, content: str) -> None:
    path.write_text(content, encoding="utf-8", newline="\n")


def _own_files(place: Path) -> set[str]:
    """Return the names that an own result says it holds, none where it isn't one."""
    try:
        found = read_json(place / "summary.json")
    except InputError:
        return set()
    if found.get("generator") != GENERATOR:
        return set()
    return {str(name) for name in found.get("files", [])}


def _swap(partial: Path, place: Path) -> None:
    """Put the new folder in the old one's place; the old one is back if that fails."""
    old = place.with_name(f".{place.name}.{os.getpid()}.old")
    if place.exists():
        place.rename(old)
    try:
        partial.rename(place)
    except BaseException:
        if old.exists():
            old.rename(place)
        raise
    shutil.rmtree(old, ignore_errors=True)


def _mend(place: Path) -> None:
    """Put right what runs that were killed left beside the place."""
    pattern = re.compile(rf"\.{re.escape(place.name)}\.(\d+)\.(partial|old)")
    for entry in sorted(place.parent.iterdir()):
        match = pattern.fullmatch(entry.name)
        if match is None or _alive(int(match[1])):
            continue
        if match[2] == "old" and not place.exists():
            entry.rename(place)
        else:
            shutil.rmtree(entry, ignore_errors=True)


def _alive(pid: int) -> bool:
    if pid == os.getpid():
        return False
    try:
        os.kill(pid, 0)
    except ProcessLookupError:
        return False
    except PermissionError:
        return True
    return True
