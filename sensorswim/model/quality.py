"""What was degraded, doubtful or missing: rows that travel with every result."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import asdict, dataclass, field
from enum import StrEnum
from typing import Any


class Severity(StrEnum):
    """How much a quality row costs."""

    NOTE = "note"
    """Nothing lost; worth knowing."""
    DEGRADED = "degraded"
    """Figures are less sure, or some are empty."""
    LOST = "lost"
    """A sensor or a whole group of figures is missing."""


@dataclass(frozen=True, kw_only=True)
class QualityRow:
    """One matter of quality.

    Parameters
    ----------
    code : str
        Stable identifier in snake_case, e.g. ``clock_from_movement``.
    severity : Severity
    text : str
        One plain sentence for a coach.
    placement, length_no, start_s, end_s
        What it concerns; None where it concerns the whole session.
    """

    code: str
    severity: Severity
    text: str
    placement: str | None = None
    length_no: int | None = None
    start_s: float | None = None
    end_s: float | None = None

    def as_dict(self) -> dict[str, Any]:
        """Return the row with the contract's keys, in the contract's order."""
        row = asdict(self)
        order = ("code", "severity", "placement", "length_no", "start_s", "end_s", "text")
        return {key: (str(row[key]) if key == "severity" else row[key]) for key in order}


@dataclass
class Quality:
    """A list of quality rows that grows as an analysis goes."""

    rows: list[QualityRow] = field(default_factory=list)

    def add(
        self,
        code: str,
        severity: Severity,
        text: str,
        *,
        placement: str | None = None,
        length_no: int | None = None,
        start_s: float | None = None,
        end_s: float | None = None,
    ) -> None:
        """Append one row; see `QualityRow` for the meaning of the parameters."""
        self.rows.append(
            QualityRow(
                code=code,
                severity=severity,
                text=text,
                placement=None if placement is None else str(placement),
                length_no=length_no,
                start_s=start_s,
                end_s=end_s,
            )
        )

    def __iter__(self) -> Iterator[QualityRow]:
        return iter(self.rows)

    def __len__(self) -> int:
        return len(self.rows)

    def codes(self) -> set[str]:
        """Return the codes present."""
        return {row.code for row in self.rows}
