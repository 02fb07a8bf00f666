"""What was felt, notes and plans, and erasures that a crash may interrupt."""

from __future__ import annotations

from typing import Any

import sqlalchemy as sa
from alembic import op

revision = "0002"
down_revision = "0001"

_REAL: sa.types.TypeEngine[float] = sa.Double().with_variant(sa.REAL(), "sqlite")


def _text(name: str) -> sa.Column[str]:
    return sa.Column(name, sa.Text, nullable=False)


def _owner(table: str, *, of: str, **more: Any) -> sa.Column[int]:
    target = sa.ForeignKey(f"{table}.id", name=f"fk_{of}_{table}_id", ondelete="CASCADE")
    return sa.Column(f"{table}_id", sa.Integer, target, nullable=False, **more)


def upgrade() -> None:
    """Add the three tables."""
    op.create_table(
        "felt",
        _owner("analysis", of="felt", primary_key=True),
        sa.Column("row_no", sa.Integer, primary_key=True),
        *(_text(name) for name in ("block_label", "activity", "name")),
        sa.Column("felt", _REAL, nullable=False),
        sa.Column("measured", _REAL, nullable=True),
        sa.Column("lengths", sa.Integer, nullable=False),
        sqlite_strict=True,
    )
    op.create_table(
        "document",
        sa.Column("id", sa.Integer, primary_key=True),
        _owner("swimmer", of="document"),
        *(_text(name) for name in ("kind", "name", "made_at", "content")),
        sqlite_strict=True,
    )
    op.create_index("ix_document_swimmer_id", "document", ["swimmer_id"])
    op.create_table(
        "erasure",
        sa.Column("id", sa.Integer, primary_key=True),
        _text("kind"),
        sa.Column("row_id", sa.Integer, nullable=False),
        _text("files"),
        sqlite_strict=True,
    )
