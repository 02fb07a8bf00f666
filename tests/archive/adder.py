"""A process that adds five sessions of one swimmer, for tests of two at once."""

from __future__ import annotations

import sys

from sensorswim.archive import put
from sensorswim.archive.store import open_store
from tests.archive.made import made


def main(place: str, first: int) -> None:
    store = open_store(place)
    for number in range(first, first + 5):
        put(store, made(number))
    store.close()


if __name__ == "__main__":
    main(sys.argv[1], int(sys.argv[2]))
