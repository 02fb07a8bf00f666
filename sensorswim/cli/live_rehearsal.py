"""The live part of `rehearse`: emulated sensors in real time."""

from __future__ import annotations

import asyncio
from pathlib import Path

import typer

from sensorswim.cli.app import show_progress
from sensorswim.errors import OutputError
from sensorswim.live.clock import HostClock
from sensorswim.live.rehearse import LiveRehearsal, Rehearsed
from sensorswim.rehearsal.named import rehearse_named


def rehearse_live(out: Path, names: list[str], *, kit: str, seed: int, quiet: bool) -> None:
    """Swim invented sessions in real time, and say what of them arrived.

    Raises
    ------
    OutputError
        The folder is in use already.
    """
    if out.exists() and any(out.iterdir()):
        raise OutputError("isn't empty", where=str(out), mend="choose another folder")
    clock = HostClock()

    def tell(line: str) -> None:
        if not quiet:
            typer.echo(f"{clock.now_s():8.1f} s  {line}")

    with show_progress(quiet=quiet) as told:
        told("inventing the swim")
        swims = {
            out if len(names) == 1 else out / name: rehearse_named(name, kit=kit, seed=seed + n)
            for n, name in enumerate(names)
        }
        rehearsal = LiveRehearsal(swims, clock, tell=tell)
    tell(f"invented swimmers swim for {rehearsal.end_s:.0f} s; watch: dashboard --live {out}")
    for swimmer in asyncio.run(rehearsal.run()):
        _say(swimmer)


def _say(swimmer: Rehearsed) -> None:
    samples = sum(swimmer.built.samples.values())
    typer.echo(
        f"{swimmer.folder}: {swimmer.packets_kept} of {swimmer.packets_taken} packets of the "
        f"sensors kept byte for byte ({samples} samples); water cut {swimmer.links_lost} links."
    )
