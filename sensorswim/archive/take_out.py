"""A swimmer's data as files: every session's result, the kept logs, notes and plans.

By default under the pseudonym: the name, the ids and the folders stay behind, and the name is
replaced wherever a text holds it. Other free text goes as it was written.
"""

from __future__ import annotations

import gzip
import re
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import replace
from datetime import datetime
from pathlib import Path
from typing import Any

import pandas as pd
import sqlalchemy as sa

from sensorswim.archive.read import (
    Swimmer,
    documents_of,
    felt_of,
    result_summary,
    result_tables,
    sessions,
    visits_of,
)
from sensorswim.archive.schema import RAW_FILE
from sensorswim.archive.store import Store
from sensorswim.errors import OutputError
from sensorswim.export import write_result
from sensorswim.formats.session_toml import read_session
from sensorswim.formats.session_write import write_session
from sensorswim.formats.tables_io import write_json
from sensorswim.model import Quality, Session, Settings, Severity
from sensorswim.model.analysis import Analysis
from sensorswim.model.tables import SCHEMAS, empty


@contextmanager
def session_folder(store: Store, session_id: int) -> Iterator[tuple[Path, bool]]:
    """Lay out a session's kept files as a folder; tell whether all of its logs are there.

    Logs that aren't kept are laid out empty, so that session.toml can be read all the same.
    """
    query = sa.select(RAW_FILE).where(RAW_FILE.c.session_id == session_id)
    with tempfile.TemporaryDirectory(prefix="sensorswim-") as name:
        folder, whole = Path(name), True
        with store.read() as connection:
            for row in connection.execute(query):
                path = folder / row.name
                path.parent.mkdir(parents=True, exist_ok=True)
                path.write_bytes(b"" if row.content is None else gzip.decompress(row.content))
                whole = whole and row.content is not None
        yield folder, whole


def stored_analysis(store: Store, row: dict[str, Any], session: Session) -> Analysis:
    """Return the current analysis of a session as it was stored.

    Parameters
    ----------
    row : dict
        A row of `sessions`.
    session : Session
        From the kept session.toml.
    """
    found = result_summary(store, row["analysis_id"])
    quality = Quality()
    for told in found["quality"]:
        quality.add(**(told | {"severity": Severity(told["severity"])}))
    known = Settings().as_dict()
    return Analysis(
        session=session,
        settings=Settings(**{k: v for k, v in found["settings"].items() if k in known}),
        quality=quality,
        version=row["version"],
        tables={name: empty(name) for name in SCHEMAS} | result_tables(store, row["analysis_id"]),
        facts=found["figures"],
        findings=found["findings"],
    )


def take_out(store: Store, swimmer: Swimmer, out: Path, *, names: bool = False) -> int:
    """Write all that the archive holds of a swimmer into a new folder; return the sessions.

    Parameters
    ----------
    out : Path
        A folder that isn't there yet, or is empty.
    names : bool
        With name, ids, notes and plans, in place of the pseudonym.

    Raises
    ------
    OutputError
        The folder holds something, or can't be written.
    """
    if out.exists() and (not out.is_dir() or any(out.iterdir())):
        raise OutputError("is there already", where=str(out), mend="name a new folder")
    rows = sessions(store, swimmer).to_dict("records")
    try:
        out.mkdir(parents=True, exist_ok=True)
        for number, row in enumerate(rows, start=1):
            place = out / f"{row['started_at'][:10]}-{number}"
            _session_out(store, swimmer, {str(k): v for k, v in row.items()}, place, names=names)
        _tables_out(store, swimmer, out, names=names)
    except OSError as failure:
        raise OutputError(f"can't be written ({failure.strerror})", where=str(out)) from failure
    return len(rows)


def _session_out(
    store: Store, swimmer: Swimmer, row: dict[str, Any], place: Path, *, names: bool
) -> None:
    with session_folder(store, row["id"]) as (folder, whole):
        if not (folder / "session.toml").is_file():
            return
        session = read_session(folder, Quality())
        analysis = stored_analysis(store, row, session)
        if not names:
            analysis = _without_name(analysis, swimmer)
        write_result(analysis, place / "result", csv=True)
        if whole:
            (place / "session").mkdir()
            write_session(analysis.session, place / "session")
            for sensor in session.sensors:
                for log in (sensor.file, sensor.accel_file, sensor.gyro_file):
                    if log is not None:
                        target = place / "session" / log.relative_to(folder)
                        target.parent.mkdir(parents=True, exist_ok=True)
                        target.write_bytes(log.read_bytes())


def _without_name(analysis: Analysis, swimmer: Swimmer) -> Analysis:
    session = analysis.session
    hide = _Hider(swimmer)
    hidden = replace(
        session,
        swimmer=swimmer.pseudonym,
        swimmer_id=None,
        session_id=None,
        blocks=tuple(replace(block, label=hide.text(block.label)) for block in session.blocks),
        marks=tuple(replace(mark, label=hide.text(mark.label)) for mark in session.marks),
        videos=(),
        extra={key: value for key, value in session.extra.items() if key == "invented"},
    )
    tables = {name: hide.table(table) for name, table in analysis.tables.items()}
    return replace(analysis, session=hidden, tables=tables, findings=hide.value(analysis.findings))


class _Hider:
    """Replaces a swimmer's name, and each longer word of it, by the pseudonym."""

    def __init__(self, swimmer: Swimmer) -> None:
        words = [w for w in re.findall(r"\w+", swimmer.name) if len(w) > 2 and w != "invented"]
        parts = [re.escape(part) for part in [swimmer.name, *words] if part]
        self._pattern = re.compile("|".join(parts) or r"(?!)", re.IGNORECASE)
        self._pseudonym = swimmer.pseudonym

    def text(self, text: str) -> str:
        return self._pattern.sub(self._pseudonym, text)

    def table(self, table: pd.DataFrame) -> pd.DataFrame:
        texts = [name for name in table if isinstance(table[name].dtype, pd.StringDtype)]
        return table.assign(
            **{name: table[name].map(self.text, na_action="ignore") for name in texts}
        )

    def value(self, value: Any) -> Any:
        if isinstance(value, dict):
            return {key: self.value(item) for key, item in value.items()}
        if isinstance(value, list):
            return [self.value(item) for item in value]
        return self.text(value) if isinstance(value, str) else value


def _tables_out(store: Store, swimmer: Swimmer, out: Path, *, names: bool) -> None:
    """Write the figures of all visits, what was felt, and notes and plans where named."""
    hide = _Hider(swimmer)
    for name, table in (("figures", visits_of(store, swimmer)), ("felt", felt_of(store, swimmer))):
        kept = table.drop(columns=["session_id", "analysis_id", "key"], errors="ignore")
        texts = {c: kept[c].astype("string") for c in kept if kept[c].dtype == object}
        kept = kept.assign(**texts)
        (kept if names else hide.table(kept)).to_csv(out / f"{name}.csv", index=False)
    who = swimmer.name if names else swimmer.pseudonym
    written = datetime.now().astimezone().isoformat(timespec="seconds")
    data: dict[str, Any] = {"swimmer": who, "written_at": written}
    if names:
        notes = documents_of(store, swimmer).drop(columns=["id", "swimmer_id"])
        data |= {"key": swimmer.key, "squad": swimmer.squad, "documents": notes.to_dict("records")}
    write_json(data, out / "swimmer.json")
