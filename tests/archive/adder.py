"""Two processes that add five sessions each of one swimmer at once, two of them the same."""

from __future__ import annotations

import os
import sys

from sensorswim.archive import put
from sensorswim.archive.store import open_store
from tests.archive.made import made


def add(place: str, first: int) -> None:
    store = open_store(place)
    for number in range(first, first + 5):
        put(store, made(number))
    store.close()


def main(place: str) -> int:
    """Return 0 where both went well."""
    children = []
    for first in (0, 3):
        child = os.fork()
        if child == 0:
            add(place, first)
            os._exit(0)
        children.append(child)
    return max(os.waitstatus_to_exitcode(os.waitpid(child, 0)[1]) for child in children)


if __name__ == "__main__":
    sys.exit(main(sys.argv[1]))
