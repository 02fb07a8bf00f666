"""The archive: put sessions in, look, take out, erase, check."""

from __future__ import annotations

import contextlib
from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from sensorswim.cli.app import app, show_progress
from sensorswim.errors import ArchiveError, SensorswimError
from sensorswim.units import counted

if TYPE_CHECKING:
    from sensorswim.archive import Store, Who

archive_app = typer.Typer(
    name="archive",
    help="Keep the sessions of a swimmer or a squad. SENSORSWIM_ARCHIVE names another file, or "
    "a PostgreSQL URL.",
    no_args_is_help=True,
    rich_markup_mode=None,
)
app.add_typer(archive_app)

Sure = Annotated[bool, typer.Option("--yes", help="Really do it; it can't be undone.")]
Squad = Annotated[str | None, typer.Option("--squad", help="Only swimmers of this squad.")]


@contextlib.contextmanager
def opened() -> Iterator[Store]:
    """Open the archive for one command."""
    from sensorswim.archive import open_archive

    store = open_archive()
    try:
        yield store
    finally:
        store.close()


def who_looks(squad: str | None) -> Who:
    """Return the view of a coach on a squad, of the keeper where none is named."""
    from sensorswim.archive import Who

    return Who(squad=squad)


@archive_app.command("add")
def add_command(
    sessions: Annotated[list[Path], typer.Argument(help="Session folders.")],
    squad: Annotated[str, typer.Option("--squad", help="Squad of the swimmers.")] = "",
    keep_raw: Annotated[
        bool, typer.Option("--keep-raw", help="Keep the logs themselves, too, compressed.")
    ] = False,
    quiet: Annotated[bool, typer.Option("--quiet", help="Print nothing but errors.")] = False,
) -> None:
    """Analyse session folders and keep them. Adding one twice changes nothing."""
    from sensorswim.archive import add_session

    with opened() as store:
        for folder in sessions:
            with show_progress(quiet=quiet) as told:
                done = add_session(store, folder, squad=squad, keep_raw=keep_raw, progress=told)
            if not quiet:
                typer.echo(f"{folder}: {done}")


@archive_app.command("list")
def list_command(
    swimmer: Annotated[
        str | None, typer.Argument(help="Name or pseudonym; all if left out.")
    ] = None,
    squad: Squad = None,
) -> None:
    """List the sessions in the archive, oldest first."""
    from sensorswim.archive import find_swimmer
    from sensorswim.archive import sessions as sessions_of

    with opened() as store:
        who = who_looks(squad)
        chosen = find_swimmer(store, swimmer, who) if swimmer else None
        table = sessions_of(store, chosen, who)
    if table.empty:
        typer.echo("No sessions yet: sensorswim archive add SESSION puts one in.")
    for row in table.to_dict("records"):
        mark = "  (invented)" if row["invented"] else ""
        name = row["swimmer"] or row["pseudonym"]
        typer.echo(f"{row['started_at'][:16]}  {row['key'][:13]:13}  {name}{mark}")


@archive_app.command("show")
def show_command(
    session: Annotated[str, typer.Argument(help="First characters of the session's key.")],
) -> None:
    """Show one session: figures by condition, versions, files."""
    from sensorswim.archive.read import (
        find_session,
        find_swimmer,
        raw_files,
        versions_of,
        visits_of,
    )
    from sensorswim.metrics.season import FIGURES

    with opened() as store:
        row = find_session(store, session)
        swimmer = find_swimmer(store, row["pseudonym"])
        visits = visits_of(store, swimmer)
        versions = versions_of(store, row["id"])
        files = raw_files(store, row["id"])
    typer.echo(f"{row['swimmer']} ({row['pseudonym']}), {row['started_at']}, {row['key']}")
    typer.echo(f"Sensors: {row['kit'].replace('_', ' ')}; pool {row['pool_length_m']:g} m")
    own = visits[visits["analysis_id"] == row["analysis_id"]]
    for condition, figures in own.groupby("condition"):
        typer.echo(f"\n{condition}")
        for one in figures.to_dict("records"):
            known = FIGURES.get(one["name"])
            if known is not None:
                value = f"{one['mean']:.{known.digits}f} {known.unit}"
                typer.echo(f"  {known.words:48} {value}  ({one['n']} lengths)")
    typer.echo("\nAnalyses:")
    for one in versions.to_dict("records"):
        now = "  (current)" if one["is_current"] else ""
        typer.echo(f"  version {one['version']}, made {one['made_at']}{now}")
    typer.echo("Files:")
    for one in files.to_dict("records"):
        kept = "kept" if one["kept"] else "checksum only"
        typer.echo(f"  {one['name']:28} {one['sha256'][:12]}  {kept}")


@archive_app.command("remove")
def remove_command(
    session: Annotated[
        str | None, typer.Argument(help="First characters of the session's key.")
    ] = None,
    swimmer: Annotated[
        str | None, typer.Option("--swimmer", help="Erase this swimmer whole instead.")
    ] = None,
    folders: Annotated[
        bool, typer.Option("--folders", help="Also delete the session folders' logs and videos.")
    ] = False,
    result: Annotated[
        list[Path] | None, typer.Option("--result", help="Also delete this result folder.")
    ] = None,
    sure: Sure = False,
) -> None:
    """Erase a session, or a swimmer with everything there is."""
    from sensorswim.archive import erase, find_session, find_swimmer
    from sensorswim.archive import sessions as sessions_of
    from sensorswim.archive.erase import result_files, session_files

    if (session is None) == (swimmer is None):
        raise SensorswimError("name a session or --swimmer NAME", mend="one of the two")
    with opened() as store:
        if swimmer is not None:
            found = find_swimmer(store, swimmer)
            kind, row_id, what = "swimmer", found.id, f"{found.name}, all sessions"
            places = sessions_of(store, found)["folder"].tolist()
        else:
            row = find_session(store, str(session))
            kind, row_id, what = "session", row["id"], f"{row['swimmer']}, {row['started_at']}"
            places = [row["folder"]]
        files = [f for place in result or [] for f in result_files(place)]
        if folders:
            files += [f for place in places if place for f in session_files(Path(place))]
        if not sure:
            raise SensorswimError(
                f"would erase {what} and {len(files)} files", mend="add --yes to do it"
            )
        erase(store, kind, row_id, files=files)
    typer.echo(f"Erased: {what}, and {len(files)} files.")
    left = [place for place in places if folders and place and Path(place).is_dir()]
    for place in left:
        typer.echo(f"Left in {place}: files that session.toml doesn't name.")


@archive_app.command("export")
def export_command(
    swimmer: Annotated[str, typer.Argument(help="Name or pseudonym.")],
    out: Annotated[Path, typer.Option("--out", help="New folder for the export.")],
    names: Annotated[
        bool, typer.Option("--names", help="With name, ids, notes and plans, for the swimmer.")
    ] = False,
) -> None:
    """Write all that is kept of a swimmer as files, under the pseudonym unless told otherwise."""
    from sensorswim.archive import find_swimmer
    from sensorswim.archive.take_out import take_out

    with opened() as store:
        count = take_out(store, find_swimmer(store, swimmer), out, names=names)
    typer.echo(f"{counted(count, 'session')} in {out}")
    if not names:
        typer.echo("The name is taken out; read labels and notes yourself before passing it on.")


@archive_app.command("check")
def check_command() -> None:
    """Check that the archive is whole: owners, tables, checksums."""
    from sensorswim.archive.check import problems

    with opened() as store:
        found = list(problems(store))
    for line in found:
        typer.echo(line)
    if found:
        raise ArchiveError(f"{len(found)} problems", where="archive", mend="restore a copy")
    typer.echo("The archive is whole.")


@archive_app.command("note")
def note_command(
    swimmer: Annotated[str, typer.Argument(help="Name or pseudonym.")],
    text: Annotated[str, typer.Argument(help="The note.")] = "",
    file: Annotated[
        Path | None, typer.Option("--file", help="A text file, such as a plan.")
    ] = None,
    kind: Annotated[str, typer.Option("--kind", help="note, plan or diary.")] = "note",
) -> None:
    """Keep a note, a plan or a diary with a swimmer."""
    from sensorswim.archive import find_swimmer
    from sensorswim.archive.documents import keep_file, keep_text

    if bool(text) == (file is not None):
        raise SensorswimError("give a text or --file", mend="one of the two")
    with opened() as store:
        found = find_swimmer(store, swimmer)
        if file is not None:
            keep_file(store, found, file, kind=kind)
        else:
            keep_text(store, found, text, kind=kind)
    typer.echo(f"Kept with {found.name or found.pseudonym}.")


@app.command("reanalyse")
def reanalyse_command(
    everything: Annotated[
        bool, typer.Option("--all", help="Also sessions that this version has analysed.")
    ] = False,
    workers: Annotated[
        int, typer.Option("--workers", min=1, max=256, help="Processes on this machine.")
    ] = 2,
    scheduler: Annotated[
        str, typer.Option("--scheduler", help="Address of a dask scheduler, for many machines.")
    ] = "",
    squad: Squad = None,
    quiet: Annotated[bool, typer.Option("--quiet", help="Print nothing but errors.")] = False,
) -> None:
    """Analyse the archive's sessions with this version. Stopped, it goes on where it was.

    The old figures stay with the version that made them.
    """
    from sensorswim.archive.reanalyse import reanalyse, to_do

    failed = 0
    with opened() as store:
        jobs = to_do(store, who_looks(squad), everything=everything)
        with show_progress(quiet=quiet) as told:
            told(f"0 of {len(jobs)} sessions")
            done = reanalyse(store, jobs, workers=workers, scheduler=scheduler)
            for number, outcome in enumerate(done, start=1):
                told(f"{number} of {len(jobs)} sessions")
                if outcome.problem:
                    failed += 1
                    typer.echo(f"not analysed: {outcome.problem}", err=True)
    if not quiet:
        typer.echo(f"{len(jobs) - failed} of {len(jobs)} sessions analysed.")
    if failed:
        raise ArchiveError(f"{failed} sessions were not analysed", mend="see the lines above")
