"""What the recorder needs of a radio link, whoever provides it."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from enum import Enum
from typing import Final, Protocol

from sensorswim.formats.radio_control import (
    CONTROL_UUID,
    STATE_UUID,
    STREAM_UUID,
    TRANSFER_UUID,
)


class LinkLostError(Exception):
    """The link is gone or couldn't be made: nothing unusual at a pool, try again."""


class Channel(Enum):
    """The sensor's characteristics that notify."""

    STREAM = "stream"
    CONTROL = "control"
    STATE = "state"
    TRANSFER = "transfer"


UUIDS: Final = {
    Channel.STREAM: STREAM_UUID,
    Channel.CONTROL: CONTROL_UUID,
    Channel.STATE: STATE_UUID,
    Channel.TRANSFER: TRANSFER_UUID,
}

Notified = Callable[[Channel, bytes], None]


@dataclass(frozen=True, kw_only=True)
class Found:
    """A sensor that advertises: its name, where the radio finds it, how strong it is heard."""

    name: str
    address: str
    rssi_dbm: int | None = None
    adapter: str | None = None


class Link(Protocol):
    """A connection to one sensor, to be made and lost again and again."""

    @property
    def name(self) -> str:
        """The sensor's name, for people."""

    async def connect(self, notified: Notified, dropped: Callable[[], None]) -> None:
        """Connect and have all four characteristics notify.

        Raises
        ------
        LinkLostError
            The sensor can't be reached now.
        """

    async def write(self, data: bytes) -> None:
        """Write a command with response; `LinkLostError` where that fails."""

    async def read_state(self) -> bytes:
        """Read the state; `LinkLostError` where that fails."""

    async def close(self) -> None:
        """Let go of the connection, also after the sensor dropped it. Never raises."""
