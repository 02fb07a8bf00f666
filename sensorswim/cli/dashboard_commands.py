"""The dashboards, opened in the user's browser."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from sensorswim.cli.app import app
from sensorswim.errors import SensorswimError


@app.command("dashboard")
def dashboard_command(
    session: Annotated[
        Path | None,
        typer.Argument(help="A session folder, or a folder that holds some; without it, a list."),
    ] = None,
    new: Annotated[bool, typer.Option("--new", help="Set up a new session from logs.")] = False,
    port: Annotated[
        int | None, typer.Option("--port", min=1, max=65535, help="Port on this machine.")
    ] = None,
    browser: Annotated[
        bool, typer.Option("--browser/--no-browser", help="Open the page in the browser.")
    ] = True,
    live: Annotated[
        bool,
        typer.Option("--live", help="The poolside page: swimmers who are being recorded now."),
    ] = False,
    lan: Annotated[
        bool,
        typer.Option(
            "--lan",
            help="With --live: let other machines look, who know the pass phrase that is asked "
            "for. It travels unencrypted: on the team's own network only.",
        ),
    ] = False,
    subscribe: Annotated[
        str | None,
        typer.Option(
            "--subscribe", help="With --live: fetch what 'record --publish' sends to this broker."
        ),
    ] = None,
    names: Annotated[
        bool, typer.Option("--names", help="With --live: whole names, not initials.")
    ] = False,
) -> None:
    """Review a session: plots and video side by side, in the browser, on this machine only."""
    if live:
        from sensorswim.cli.live_dashboard import watch_live

        watch_live(
            session or Path(), port=port, browser=browser, lan=lan, names=names, subscribe=subscribe
        )
        return
    if lan or names or subscribe:
        raise SensorswimError("--lan, --names, --subscribe go with --live", mend="add --live")
    from sensorswim.dashboards.components import LOOPBACK, free_port, serve
    from sensorswim.dashboards.review import Shelf, key_of, review_app

    if session is not None and not session.is_dir():
        raise SensorswimError("is no folder", where=str(session), mend="give a session folder")
    shelf = Shelf(folders=() if session is None else (session,))
    one = session is not None and (session / "session.toml").is_file()
    path = f"/review?session={key_of(session)}" if session is not None and one else "/"
    path = "/setup" if new else path
    chosen = free_port() if port is None else port
    typer.echo(f"Open http://{LOOPBACK}:{chosen}{path} in a browser; Ctrl-C stops it.")
    serve(review_app(shelf), port=chosen, opened=browser, path=path)


@app.command("pack")
def pack_command(
    session: Annotated[Path, typer.Argument(help="The session folder.")],
    out: Annotated[
        Path | None, typer.Option("--out", help="The file; else beside the folder.")
    ] = None,
    video: Annotated[bool, typer.Option("--video/--no-video", help="Put the clips in.")] = True,
) -> None:
    """Put a whole session into one file, for sending."""
    from sensorswim.formats.session_pack import pack_session
    from sensorswim.formats.session_toml import read_session
    from sensorswim.model import Quality

    place = pack_session(session, out, videos=video)
    typer.echo(f"Written: {place}, {place.stat().st_size / 1e6:.1f} MB")
    if video and read_session(session, Quality()).videos:
        typer.echo("Clips show people: send them only where filming and sending were agreed to.")


@app.command("open")
def open_command(
    packed: Annotated[Path, typer.Argument(help="A session packed into one file.")],
    out: Annotated[
        Path | None, typer.Option("--out", help="The new folder; else beside the file.")
    ] = None,
) -> None:
    """Unpack a session that was sent as one file."""
    from sensorswim.formats.session_pack import SUFFIX, open_session

    name = packed.name.removesuffix(SUFFIX).removesuffix(".zip")
    place = open_session(packed, out or packed.resolve().with_name(name or "session"))
    typer.echo(f"{place}: review it with sensorswim dashboard {place}")
