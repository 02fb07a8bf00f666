"""The dashboards: apps that live in the top-level folder of that name."""

from __future__ import annotations

from pathlib import Path

if not (Path(__file__).parent / "components").is_dir():
    __path__.append(str(Path(__file__).parents[2] / "dashboards"))
