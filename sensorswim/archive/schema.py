"""The archive's tables, the same on SQLite (strict) and PostgreSQL.

::

    swimmer ─┬─ session ─┬─ raw_file          name, checksum, and the bytes where kept
             │           └─ analysis ─┬─ result_table   one Parquet file a table
             │                        ├─ figure         n, mean, SD of a figure in a condition
             │                        └─ felt           felt against measured
             └─ document              notes, plans, diaries
    erasure                           what is still to be erased after a crash

Times are ISO 8601 text in UTC, JSON is text, truth is 0 or 1: what a strict SQLite table takes.
"""

from __future__ import annotations

from typing import Any, Final

import sqlalchemy as sa

METADATA: Final = sa.MetaData(
    naming_convention={
        "ix": "ix_%(table_name)s_%(column_0_N_name)s",
        "uq": "uq_%(table_name)s_%(column_0_N_name)s",
        "fk": "fk_%(table_name)s_%(column_0_name)s",
        "pk": "pk_%(table_name)s",
    }
)
REAL: Final[sa.types.TypeEngine[float]] = sa.Double().with_variant(sa.REAL(), "sqlite")


def _table(name: str, *parts: Any) -> sa.Table:
    return sa.Table(name, METADATA, *parts, sqlite_strict=True)


def _text(name: str, **more: Any) -> sa.Column[str]:
    return sa.Column(name, sa.Text, nullable=more.pop("nullable", False), **more)


def _owner(table: str, **more: Any) -> sa.Column[int]:
    target = sa.ForeignKey(f"{table}.id", ondelete="CASCADE")
    return sa.Column(f"{table}_id", sa.Integer, target, nullable=False, **more)


SWIMMER: Final = _table(
    "swimmer",
    sa.Column("id", sa.Integer, primary_key=True),
    _text("key", unique=True),
    _text("name"),
    _text("pseudonym", unique=True),
    _text("squad", index=True),
)
SESSION: Final = _table(
    "session",
    sa.Column("id", sa.Integer, primary_key=True),
    _text("key", unique=True),
    _owner("swimmer"),
    _text("started_at"),
    sa.Column("pool_length_m", REAL, nullable=False),
    _text("kit"),
    _text("folder"),
    sa.Column("invented", sa.Integer, nullable=False),
    _text("added_at"),
    sa.Index("ix_session_swimmer_id_started_at", "swimmer_id", "started_at"),
)
RAW_FILE: Final = _table(
    "raw_file",
    _owner("session", primary_key=True),
    _text("name", primary_key=True),
    _text("sha256"),
    sa.Column("bytes", sa.Integer, nullable=False),
    sa.Column("content", sa.LargeBinary, nullable=True),
)
ANALYSIS: Final = _table(
    "analysis",
    sa.Column("id", sa.Integer, primary_key=True),
    _owner("session"),
    _text("version"),
    _text("settings_hash"),
    _text("input_hash"),
    _text("result_hash"),
    _text("made_at"),
    sa.Column("is_current", sa.Integer, nullable=False),
    _text("summary"),
    sa.UniqueConstraint(
        "session_id",
        "version",
        "settings_hash",
        "input_hash",
        "result_hash",
        name="uq_analysis_result",
    ),
    sa.Index("ix_analysis_session_id_is_current", "session_id", "is_current"),
)
RESULT_TABLE: Final = _table(
    "result_table",
    _owner("analysis", primary_key=True),
    _text("name", primary_key=True),
    sa.Column("content", sa.LargeBinary, nullable=False),
)
FIGURE: Final = _table(
    "figure",
    _owner("analysis", primary_key=True),
    _text("condition", primary_key=True),
    _text("name", primary_key=True),
    _text("source"),
    sa.Column("n", sa.Integer, nullable=False),
    sa.Column("mean", REAL, nullable=False),
    sa.Column("sd", REAL, nullable=True),
)
FELT: Final = _table(
    "felt",
    _owner("analysis", primary_key=True),
    sa.Column("row_no", sa.Integer, primary_key=True),
    _text("block_label"),
    _text("activity"),
    _text("name"),
    sa.Column("felt", REAL, nullable=False),
    sa.Column("measured", REAL, nullable=True),
    sa.Column("lengths", sa.Integer, nullable=False),
)
DOCUMENT: Final = _table(
    "document",
    sa.Column("id", sa.Integer, primary_key=True),
    _owner("swimmer", index=True),
    _text("kind"),
    _text("name"),
    _text("made_at"),
    _text("content"),
)
ERASURE: Final = _table(
    "erasure",
    sa.Column("id", sa.Integer, primary_key=True),
    _text("kind"),
    sa.Column("row_id", sa.Integer, nullable=False),
    _text("files"),
)
