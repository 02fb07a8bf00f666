"""Sessions go in once, keep their older figures, and come out again; on both databases."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import pandas as pd
import pytest
import sqlalchemy as sa
from alembic.autogenerate import compare_metadata
from alembic.runtime.migration import MigrationContext

from sensorswim.archive import Added, Who, find_session, find_swimmer, put, sessions
from sensorswim.archive.check import problems
from sensorswim.archive.documents import keep_text
from sensorswim.archive.pack import RawFile
from sensorswim.archive.read import (
    documents_of,
    felt_of,
    raw_files,
    result_summary,
    result_tables,
    swimmers,
    versions_of,
    visits_of,
)
from sensorswim.archive.schema import METADATA, RESULT_TABLE
from sensorswim.archive.store import Store, back_up, layouts, open_store
from sensorswim.errors import ArchiveError, InputError
from tests.archive.made import made
from tests.plausible import plausible_tables

LOG = RawFile(name="left_wrist.csv", sha256="a" * 64, size=3, content=None)


def test_what_went_in_comes_out(store: Store) -> None:
    assert put(store, made(1)) is Added.NEW
    row = sessions(store).iloc[0]
    found = result_tables(store, int(row["analysis_id"]))
    for name, table in plausible_tables().items():
        pd.testing.assert_frame_equal(found[name], table)
    assert result_summary(store, int(row["analysis_id"]))["version"] == "0.1.0"
    assert list(problems(store)) == []


def test_adding_twice_changes_nothing(store: Store) -> None:
    put(store, made(1))
    before = sessions(store)
    assert put(store, made(1)) is Added.KNOWN
    pd.testing.assert_frame_equal(sessions(store), before)


def test_a_new_version_keeps_the_old_figures(store: Store) -> None:
    put(store, made(1))
    assert put(store, made(1, shift=2.0, version="0.2.0")) is Added.AGAIN
    row = find_session(store, "Mira-1")
    versions = versions_of(store, row["id"])
    assert versions["version"].tolist() == ["0.1.0", "0.2.0"]
    assert versions["is_current"].tolist() == [0, 1]
    old, new = (
        result_tables(store, int(i), "lengths")["lengths"]["stroke_rate_cycles_min"].mean()
        for i in versions["id"]
    )
    assert new - old == pytest.approx(2.0)


def test_going_back_to_an_older_analysis_makes_it_the_current_one(store: Store) -> None:
    for version in ("0.1.0", "0.2.0", "0.1.0"):
        put(store, made(1, version=version))
    versions = versions_of(store, find_session(store, "Mira-1")["id"])
    assert versions["is_current"].tolist() == [1, 0]


def test_other_logs_under_the_same_session_are_refused(store: Store) -> None:
    put(store, made(1, files=(LOG,)))
    other = RawFile(name=LOG.name, sha256="b" * 64, size=3, content=None)
    with pytest.raises(ArchiveError, match=r"left_wrist\.csv: differs"):
        put(store, made(1, files=(other,)))
    assert len(sessions(store)) == 1


def test_logs_can_be_kept_later_and_stay_kept(store: Store) -> None:
    kept = RawFile(name=LOG.name, sha256=LOG.sha256, size=3, content=b"abc")
    for files, expected in (((LOG,), False), ((kept,), True), ((LOG,), True)):
        put(store, made(1, files=files))
        found = raw_files(store, find_session(store, "Mira-1")["id"])
        assert bool(found["kept"].iloc[0]) is expected


def test_visits_come_in_order_with_their_figures(store: Store) -> None:
    for number, shift in ((2, 1.0), (1, 0.0), (3, 2.0)):
        put(store, made(number, shift=shift))
    put(store, made(1, swimmer="Noor", shift=9.0))
    swimmer = find_swimmer(store, "mira")
    visits = visits_of(store, swimmer, name="stroke_rate_cycles_min")
    steady = visits[visits["condition"].str.startswith("4 x 25 steady · front crawl")]
    assert steady["n"].tolist() == [3, 3, 3]
    assert steady["mean"].diff().dropna().round(9).tolist() == [1.0, 1.0]


def test_what_was_felt_is_kept_beside_what_was_measured(store: Store) -> None:
    put(store, made(1))
    felt = felt_of(store, find_swimmer(store, "Mira"))
    beat = felt[felt["name"] == "kick_beat"].iloc[0]
    assert (beat["felt"], beat["measured"]) == (4.0, 6.0)


def test_a_coach_sees_the_squad_and_a_swimmer_only_themselves(store: Store) -> None:
    put(store, made(1, swimmer="Mira", squad="blue"))
    put(store, made(1, swimmer="Noor", squad="blue"))
    put(store, made(1, swimmer="Tove", squad="red"))
    coach, swimmer = Who(squad="blue"), Who(swimmer_key="name:noor")
    assert [s.name for s in swimmers(store, coach)] == ["Mira", "Noor"]
    assert sessions(store, who=swimmer)["swimmer"].tolist() == ["Noor"]
    with pytest.raises(ArchiveError, match="no swimmer 'Mira'"):
        find_swimmer(store, "Mira", swimmer)
    with pytest.raises(ArchiveError, match="no session begins"):
        find_session(store, "Tove-1", coach)


def test_two_swimmers_of_one_name_are_told_apart_by_their_pseudonyms(store: Store) -> None:
    put(store, made(1, swimmer_id="one"))
    put(store, made(2, swimmer_id="two"))
    with pytest.raises(ArchiveError, match="2 swimmers are named"):
        find_swimmer(store, "Mira")
    names = {s.pseudonym for s in swimmers(store)}
    assert len(names) == 2
    assert find_swimmer(store, min(names)).pseudonym == min(names)


def test_the_same_note_is_kept_once(store: Store) -> None:
    put(store, made(1))
    swimmer = find_swimmer(store, "Mira")
    for _ in range(2):
        keep_text(store, swimmer, "hips low after 200 m", kind="note")
    assert documents_of(store, swimmer)["content"].tolist() == ["hips low after 200 m"]
    with pytest.raises(InputError, match="zero byte"):
        keep_text(store, swimmer, "a\0b", kind="note")


def test_the_check_finds_what_was_damaged(store: Store) -> None:
    kept = RawFile(name="log.csv", sha256="0" * 64, size=1, content=b"not gzip")
    put(store, made(1, files=(kept,)))
    with store.write() as connection:
        here = RESULT_TABLE.c.name == "kicks"
        connection.execute(RESULT_TABLE.update().where(here).values(content=b"damaged"))
        connection.execute(RESULT_TABLE.delete().where(RESULT_TABLE.c.name == "rolls"))
    told = "\n".join(problems(store))
    assert "the table kicks can't be read" in told
    assert "without rolls" in told
    assert "the kept log.csv doesn't fit" in told


def test_the_steps_lead_to_the_tables_that_the_code_uses(store: Store) -> None:
    with store.read() as connection:
        context = MigrationContext.configure(connection, opts={"compare_type": True})
        assert compare_metadata(context, METADATA) == []


def test_an_older_layout_is_brought_up_to_date_with_its_rows(place: str) -> None:
    old = open_store(place, revision="0001")
    with old.write() as connection:
        connection.execute(
            sa.text(
                "INSERT INTO swimmer (key, name, pseudonym, squad) VALUES ('k', 'Mira', 'p', '')"
            )
        )
    old.close()
    new = open_store(place)
    assert [s.name for s in swimmers(new)] == ["Mira"]
    if new.path is not None:
        copy = new.path.with_name("archive-before-0002.sqlite")
        assert [s.name for s in swimmers(open_store(str(copy), revision="0001"))] == ["Mira"]
    new.close()


def test_a_newer_layout_is_refused(place: str) -> None:
    store = open_store(place)
    with store.write() as connection:
        connection.execute(sa.text("UPDATE alembic_version SET version_num = '9999'"))
    store.close()
    with pytest.raises(ArchiveError, match="9999 is newer"):
        open_store(place)


def test_a_copy_holds_rows_that_are_still_in_the_log(tmp_path: Path) -> None:
    store = open_store(str(tmp_path / "a.sqlite"))
    put(store, made(1))
    copy = back_up(tmp_path / "a.sqlite", "before-x")
    assert len(sessions(open_store(str(copy)))) == 1
    store.close()


@pytest.mark.parametrize(
    ("url", "line"),
    [
        ("mysql://x", "is no PostgreSQL URL"),
        ("postgresql://nobody@127.0.0.1:1/none", "can't be used"),
        ("/proc/none/a.sqlite", "can't be made"),
        ("/tmp", "is a folder"),
    ],
)
def test_a_place_that_can_not_be_used_is_one_line(url: str, line: str) -> None:
    with pytest.raises(ArchiveError, match=line) as told:
        open_store(url)
    assert "\n" not in str(told.value)


def test_a_file_that_is_no_archive_is_one_line(tmp_path: Path) -> None:
    path = tmp_path / "notes.sqlite"
    path.write_text("these are notes " * 100)
    with pytest.raises(ArchiveError, match="not a database"):
        open_store(str(path))


def test_two_processes_that_add_at_once_lose_nothing(place: str) -> None:
    line = [sys.executable, "-m", "tests.archive.adder", place]
    assert subprocess.run(line, check=False).returncode == 0
    store = open_store(place)
    assert sessions(store)["key"].nunique() == len(sessions(store)) == 8
    assert len(swimmers(store)) == 1
    assert list(problems(store)) == []
    store.close()


def test_layouts_are_in_order() -> None:
    assert layouts() == sorted(layouts())
