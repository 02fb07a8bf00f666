"""In which order the files are run."""

from __future__ import annotations

import pytest


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Begin with the files marked ``long``, so that no core waits for one of them at the end."""
    items.sort(key=lambda item: item.get_closest_marker("long") is None)
