"""Emulated sensors as a process of their own, which can die and come back like real ones."""

from __future__ import annotations

import asyncio
import multiprocessing
import signal
from multiprocessing.connection import Connection
from multiprocessing.process import BaseProcess
from pathlib import Path
from typing import Final

from sensorswim.live.clock import HostClock
from sensorswim.live.emulated.device import name_of
from sensorswim.live.emulated.pool import Pool
from sensorswim.live.emulated.worn import DRY, Worn, wear
from sensorswim.model import Placement
from sensorswim.rehearsal import Rehearsal

FIRST_SERIAL: Final = 0x5357_0000_0000_0C42
"""Serial numbers of emulated sensors begin here; no real one has them."""
SERIALS_EACH: Final = 16


def serials(rehearsal: Rehearsal, number: int) -> dict[int, Placement]:
    """Return the serial numbers on the swimmer of this number, from 0, and where they are worn."""
    return {
        FIRST_SERIAL + SERIALS_EACH * number + k: placement
        for k, placement in enumerate(rehearsal.streams)
    }


class SensorsApart:
    """Sensors on invented swimmers, in another process.

    They are reached by Bluetooth, on virtual adapters that talk HCI over TCP on this machine.

    Parameters
    ----------
    rehearsals : list of Rehearsal
        What each swimmer swims; kits at 52, 100, 104 or 208 Hz, all alike.
    flash : Path
        Folder in which the sensors keep their logs: what they took survives this process.
    dry : bool
        No water in between.
    """

    def __init__(self, rehearsals: list[Rehearsal], flash: Path, *, dry: bool = False) -> None:
        self._rehearsals, self._flash, self._dry = rehearsals, flash, dry
        self._process: BaseProcess | None = None
        self.port = 0
        """Where HCI is offered, the same one after they came back."""

    @property
    def names(self) -> dict[str, Placement]:
        """The sensors of all swimmers and where they are worn."""
        return {
            name_of(serial): placement
            for number, rehearsal in enumerate(self._rehearsals)
            for serial, placement in serials(rehearsal, number).items()
        }

    def start(self, clock: HostClock, *, begin: bool = True) -> None:
        """Switch the sensors on; return once they can be found.

        Parameters
        ----------
        clock : HostClock
            The sensors live by its time.
        begin : bool
            Set the clock to 0 when the sensors are ready; else they join late.
        """
        ours, theirs = multiprocessing.Pipe()
        given = (self._rehearsals, self._flash, clock, self.port, self._dry, theirs)
        spawn = multiprocessing.get_context("spawn")
        self._process = spawn.Process(target=_emulate, args=given, daemon=True)
        self._process.start()
        theirs.close()
        ours.recv()
        if begin:
            clock.begin()
        ours.send(clock)
        self.port = ours.recv()
        ours.close()

    def kill(self) -> None:
        """Take the power away."""
        if self._process is not None:
            self._process.kill()
            self._process.join()
            self._process = None


def _emulate(
    rehearsals: list[Rehearsal], flash: Path, clock: HostClock, port: int, dry: bool,
    parent: Connection,
) -> None:  # fmt: skip
    """Be the sensors until the parent kills this process or is gone."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    worn = [
        Worn(device=item.device, water=DRY if dry else item.water)
        for number, rehearsal in enumerate(rehearsals)
        for item in wear(
            rehearsal, clock.now_s, first_serial=FIRST_SERIAL + SERIALS_EACH * number, flash=flash
        )
    ]
    parent.send("ready")
    clock.follow(parent.recv())
    asyncio.run(_swim(worn, clock, port, parent))


async def _swim(worn: list[Worn], clock: HostClock, port: int, parent: Connection) -> None:
    pool = Pool(worn, clock)
    server = await pool.start(port)
    parent.send(server.sockets[0].getsockname()[1])
    living = asyncio.ensure_future(pool.live())
    starter = multiprocessing.parent_process()
    while starter is not None and starter.is_alive():
        done, _ = await asyncio.wait({living}, timeout=0.5)
        for ended in done:
            ended.result()
