"""Swimmers, sessions, raw files, analyses, their tables and figures."""

from __future__ import annotations

from typing import Any

import sqlalchemy as sa
from alembic import op

revision = "0001"
down_revision = None

_REAL: sa.types.TypeEngine[float] = sa.Double().with_variant(sa.REAL(), "sqlite")


def _text(name: str, *, primary_key: bool = False) -> sa.Column[str]:
    return sa.Column(name, sa.Text, nullable=False, primary_key=primary_key)


def _id() -> sa.Column[int]:
    return sa.Column("id", sa.Integer, primary_key=True)


def _owner(table: str, *, of: str, primary_key: bool = False) -> sa.Column[int]:
    target = sa.ForeignKey(f"{table}.id", name=f"fk_{of}_{table}_id", ondelete="CASCADE")
    name = f"{table}_id"
    return sa.Column(name, sa.Integer, target, nullable=False, primary_key=primary_key)


def _create(name: str, *parts: Any) -> None:
    op.create_table(name, *parts, sqlite_strict=True)


def upgrade() -> None:
    """Create the first layout."""
    _create(
        "swimmer",
        _id(),
        *(_text(name) for name in ("key", "name", "pseudonym", "squad")),
        sa.UniqueConstraint("key", name="uq_swimmer_key"),
        sa.UniqueConstraint("pseudonym", name="uq_swimmer_pseudonym"),
    )
    op.create_index("ix_swimmer_squad", "swimmer", ["squad"])
    _create(
        "session",
        _id(),
        _text("key"),
        _owner("swimmer", of="session"),
        _text("started_at"),
        sa.Column("pool_length_m", _REAL, nullable=False),
        _text("kit"),
        _text("folder"),
        sa.Column("invented", sa.Integer, nullable=False),
        _text("added_at"),
        sa.UniqueConstraint("key", name="uq_session_key"),
    )
    op.create_index("ix_session_swimmer_id_started_at", "session", ["swimmer_id", "started_at"])
    _create(
        "raw_file",
        _owner("session", of="raw_file", primary_key=True),
        _text("name", primary_key=True),
        _text("sha256"),
        sa.Column("bytes", sa.Integer, nullable=False),
        sa.Column("content", sa.LargeBinary, nullable=True),
    )
    _analysis()


def _analysis() -> None:
    told = ("version", "settings_hash", "input_hash", "result_hash")
    _create(
        "analysis",
        _id(),
        _owner("session", of="analysis"),
        *(_text(name) for name in (*told, "made_at")),
        sa.Column("is_current", sa.Integer, nullable=False),
        _text("summary"),
        sa.UniqueConstraint("session_id", *told, name="uq_analysis_result"),
    )
    op.create_index("ix_analysis_session_id_is_current", "analysis", ["session_id", "is_current"])
    _create(
        "result_table",
        _owner("analysis", of="result_table", primary_key=True),
        _text("name", primary_key=True),
        sa.Column("content", sa.LargeBinary, nullable=False),
    )
    _create(
        "figure",
        _owner("analysis", of="figure", primary_key=True),
        _text("condition", primary_key=True),
        _text("name", primary_key=True),
        _text("source"),
        sa.Column("n", sa.Integer, nullable=False),
        sa.Column("mean", _REAL, nullable=False),
        sa.Column("sd", _REAL, nullable=True),
    )
