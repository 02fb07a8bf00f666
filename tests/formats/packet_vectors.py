"""The example packets of firmware_notes/packets.md, as they stand in the document."""

from __future__ import annotations

import re
from dataclasses import dataclass, field
from pathlib import Path

NOTES = Path(__file__).resolve().parents[2] / "firmware_notes"


@dataclass(frozen=True)
class Vector:
    name: str
    kind: str
    data: bytes
    refused: str | None = None
    fields: dict[str, str] = field(default_factory=dict)


def vectors() -> list[Vector]:
    """Return every block marked ``vector`` of packets.md."""
    text = (NOTES / "packets.md").read_text("utf-8")
    return [_vector(block) for block in re.findall(r"```vector\n(.*?)```", text, re.DOTALL)]


def _vector(block: str) -> Vector:
    joined = re.sub(r"\n +", " ", block.strip())
    rows = dict(line.split(": ", 1) for line in joined.splitlines())
    data = bytes.fromhex(rows.pop("bytes").replace("-", ""))
    return Vector(rows.pop("name"), rows.pop("kind"), data, rows.pop("refused", None), rows)
