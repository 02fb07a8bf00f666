"""Motion-BIDS, an open layout for motion data: out and in."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from sensorswim.cli.app import app
from sensorswim.errors import InputError

bids_app = typer.Typer(
    name="bids",
    help="Sessions as Motion-BIDS, an open layout for motion data, and back.",
    no_args_is_help=True,
    rich_markup_mode=None,
)
app.add_typer(bids_app)


@bids_app.command("export")
def export_command(
    session: Annotated[Path, typer.Argument(help="Session folder.")],
    out: Annotated[Path, typer.Option("--out", help="New folder for the dataset.")],
    subject: Annotated[str, typer.Option("--subject", help="Label; no name goes out.")] = "01",
) -> None:
    """Write a session as a Motion-BIDS dataset, without the swimmer's name."""
    from sensorswim.formats.motion_bids import export_bids

    typer.echo(f"Dataset: {export_bids(session, out, subject=subject)}")
    typer.echo("Block labels go as they were written; read them before passing it on.")


@bids_app.command("import")
def import_command(
    dataset: Annotated[Path, typer.Argument(help="Folder with dataset_description.json.")],
    out: Annotated[Path, typer.Option("--out", help="New session folder.")],
    subject: Annotated[str, typer.Option("--subject", help="Label, where there are several.")] = "",
    place: Annotated[
        list[str] | None, typer.Option("--place", help="POINT=PLACE, such as lw=left_wrist.")
    ] = None,
    pool_length: Annotated[
        float | None, typer.Option("--pool-length", min=1.0, help="In metres.")
    ] = None,
) -> None:
    """Make a session folder of a Motion-BIDS recording."""
    from sensorswim.formats.motion_bids_in import import_bids
    from sensorswim.model import Placement

    places = {}
    for one in place or []:
        point, _, name = one.partition("=")
        if name not in list(Placement):
            known = ", ".join(Placement)
            raise InputError(f"{one!r} names no place", mend=f"write POINT=PLACE, one of {known}")
        places[point] = Placement(name)
    made = import_bids(dataset, out, subject=subject, places=places, pool_length_m=pool_length)
    typer.echo(f"Session: {made}")
