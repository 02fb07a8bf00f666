"""Nothing of an erased swimmer is left in any file; the others keep everything."""

from __future__ import annotations

import gzip
import hashlib
import json
import shutil
from pathlib import Path

import pandas as pd
import pytest

from sensorswim.archive import find_session, find_swimmer, open_archive, put, sessions
from sensorswim.archive.check import problems
from sensorswim.archive.documents import keep_text
from sensorswim.archive.erase import erase, result_files, session_files
from sensorswim.archive.pack import RawFile
from sensorswim.archive.read import swimmers
from sensorswim.archive.schema import ERASURE
from sensorswim.archive.store import Store, back_up, open_store
from sensorswim.archive.take_out import take_out
from sensorswim.errors import ArchiveError, OutputError
from sensorswim.export import write_result
from tests.archive.made import made
from tests.archive.servers import binaries
from tests.plausible import plausible_analysis

SECRET = "Zzyxqua"
"""A name that nothing else can hold by chance."""
TOML = f"""format = 1
started_at = 2026-03-21T06:30:00Z
session_id = "b1f0c1de-0000-4000-8000-000000000001"
swimmer = "{SECRET} Ö"
pool_length_m = 25.0
[[sensor]]
placement = "left_wrist"
file = "log.csv"
[[block]]
start_s = 0.0
end_s = 9.0
label = "{SECRET.lower()} check set"
"""


def kept(name: str, text: str) -> RawFile:
    raw = text.encode()
    return RawFile(
        name=name,
        sha256=hashlib.sha256(raw).hexdigest(),
        size=len(raw),
        content=gzip.compress(raw),
    )


def files_with(secret: str, folder: Path) -> list[str]:
    """Return the files below a folder that hold the bytes, packed or not, or bear the name."""
    wanted = secret.casefold().encode()
    found = []
    for path in sorted(p for p in folder.rglob("*") if p.is_file()):
        raw = path.read_bytes()
        if path.suffix == ".parquet":
            raw += pd.read_parquet(path).to_csv().encode()
        if wanted in raw.lower() or secret.casefold() in str(path.relative_to(folder)).casefold():
            found.append(str(path.relative_to(folder)))
    return found


def filled(store: Store, *, own: str = SECRET) -> None:
    files = (kept("session.toml", TOML), kept("log.csv", f"{SECRET},1\n" * 500))
    put(store, made(1, swimmer=f"{own} Ö", files=files))
    put(store, made(1, swimmer="Noor"))
    keep_text(store, find_swimmer(store, f"{own} Ö"), f"{own} likes short sets", kind="note")


def test_an_erased_swimmer_is_in_no_file(tmp_path: Path) -> None:
    path, folder, out = tmp_path / "data" / "a.sqlite", tmp_path / "logs", tmp_path / "report"
    store = open_store(str(path))
    filled(store)
    back_up(path, "before-0002")
    folder.mkdir()
    (folder / "session.toml").write_text(TOML)
    (folder / "log.csv").write_text(f"{SECRET},1\n")
    write_result(plausible_analysis(), out)
    (out / "cues.vtt").write_text(SECRET)
    assert len(files_with(SECRET, tmp_path)) >= 5
    swimmer = find_swimmer(store, f"{SECRET} Ö")
    erase(store, "swimmer", swimmer.id, files=[*session_files(folder), *result_files(out)])
    assert files_with(SECRET, tmp_path) == []
    assert files_with(swimmer.pseudonym, tmp_path) == []
    assert not folder.exists()
    assert sessions(store)["swimmer"].tolist() == ["Noor"]
    assert list(problems(store)) == []
    store.close()
    assert files_with(SECRET, tmp_path) == []


def test_an_erased_session_leaves_the_others(store: Store) -> None:
    for number in (1, 2):
        put(store, made(number))
    erase(store, "session", find_session(store, "Mira-1")["id"])
    assert sessions(store)["key"].tolist() == ["Mira-2"]
    assert list(problems(store)) == []


def test_an_erased_swimmer_is_in_no_table_of_the_server(server: str) -> None:
    """Its write-ahead log is the server's keeper's to clear: only the tables are searched."""
    assert binaries() is not None
    store = open_store(server)
    filled(store)
    data = Path(server.rpartition("host=")[2]) / "data" / "base"
    with store.engine.connect().execution_options(isolation_level="AUTOCOMMIT") as connection:
        connection.exec_driver_sql("CHECKPOINT")
    assert files_with(SECRET, data)
    erase(store, "swimmer", find_swimmer(store, f"{SECRET} Ö").id)
    with store.engine.connect().execution_options(isolation_level="AUTOCOMMIT") as connection:
        connection.exec_driver_sql("CHECKPOINT")
    assert files_with(SECRET, data) == []
    assert [s.name for s in swimmers(store)] == ["Noor"]
    erase(store, "swimmer", find_swimmer(store, "Noor").id)
    store.close()


def test_an_erasure_that_was_stopped_is_finished_by_the_next_opening(tmp_path: Path) -> None:
    path, log = tmp_path / "a.sqlite", tmp_path / "log.csv"
    store = open_store(str(path))
    filled(store)
    log.write_text(SECRET)
    with store.write() as connection:
        row_id = find_swimmer(open_store(str(path)), f"{SECRET} Ö").id
        row = {"kind": "swimmer", "row_id": row_id, "files": json.dumps([str(log)])}
        connection.execute(ERASURE.insert().values(**row))
    store.close()
    open_archive(str(path)).close()
    assert files_with(SECRET, tmp_path) == []


def test_only_a_result_of_ours_is_deleted_as_one(tmp_path: Path) -> None:
    (tmp_path / "thesis.doc").write_text("mine")
    with pytest.raises(OutputError, match="isn't part of a sensorswim result"):
        result_files(tmp_path)
    with pytest.raises(OutputError, match="no such folder"):
        result_files(tmp_path / "none")


def test_files_that_session_toml_does_not_name_stay(tmp_path: Path) -> None:
    (tmp_path / "session.toml").write_text(TOML)
    (tmp_path / "log.csv").write_text("x")
    (tmp_path / "thesis.doc").write_text("mine")
    assert {p.name for p in session_files(tmp_path)} == {"session.toml", "log.csv"}
    assert session_files(tmp_path / "none") == []


def test_an_export_hides_the_name_everywhere(store: Store, tmp_path: Path) -> None:
    filled(store)
    swimmer = find_swimmer(store, f"{SECRET} Ö")
    out = tmp_path / "export"
    assert take_out(store, swimmer, out) == 1
    assert files_with(SECRET, out) == ["2026-03-21-1/session/log.csv"]
    told = (out / "2026-03-21-1" / "session" / "session.toml").read_text()
    assert f'swimmer = "{swimmer.pseudonym}"' in told
    assert "check set" in told
    assert json.loads((out / "swimmer.json").read_text())["swimmer"] == swimmer.pseudonym


def test_an_export_for_the_swimmer_is_whole(store: Store, tmp_path: Path) -> None:
    filled(store)
    out = tmp_path / "export"
    take_out(store, find_swimmer(store, f"{SECRET} Ö"), out, names=True)
    told = json.loads((out / "swimmer.json").read_text())
    assert told["documents"][0]["content"] == f"{SECRET} likes short sets"
    result = out / "2026-03-21-1" / "result"
    assert {"report.html", "summary.json", "kicks.csv"} <= {p.name for p in result.iterdir()}
    assert len(pd.read_csv(out / "figures.csv")) > 20


def test_an_export_never_writes_over_something(store: Store, tmp_path: Path) -> None:
    filled(store)
    (tmp_path / "x").write_text("mine")
    with pytest.raises(OutputError, match="is there already"):
        take_out(store, find_swimmer(store, "Noor"), tmp_path)


def test_a_file_that_can_not_be_removed_is_one_line_and_erasing_goes_on_later(
    tmp_path: Path,
) -> None:
    store = open_store(str(tmp_path / "a.sqlite"))
    filled(store)
    stuck = tmp_path / "stuck"
    stuck.mkdir()
    with pytest.raises(ArchiveError, match="goes on erasing"):
        erase(store, "swimmer", find_swimmer(store, "Noor").id, files=[stuck])
    shutil.rmtree(stuck)
    store.close()
    again = open_archive(str(tmp_path / "a.sqlite"))
    assert [s.name for s in swimmers(again)] == [f"{SECRET} Ö"]
    again.close()
