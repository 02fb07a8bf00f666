"""A season: has a swimmer changed, and who of a squad needs a look."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated

import typer

from sensorswim.cli.app import app
from sensorswim.cli.archive_commands import Squad, opened, who_looks
from sensorswim.errors import ArchiveError, SensorswimError
from sensorswim.units import counted

if TYPE_CHECKING:
    from collections.abc import Collection

    import pandas as pd


@app.command("trends")
def trends_command(
    swimmer: Annotated[str, typer.Argument(help="Name or pseudonym.")],
    figure: Annotated[
        list[str] | None,
        typer.Option("--figure", help="Only this figure, by its name; may be repeated."),
    ] = None,
    every: Annotated[
        bool, typer.Option("--all", help="Every figure there is, not only the main ones.")
    ] = False,
    set_name: Annotated[
        str | None, typer.Option("--set", help="Sets whose name holds these words.")
    ] = None,
    squad: Squad = None,
) -> None:
    """Say in words what changed since the first visit and since the one before.

    Only like is compared with like: the check set, else blocks of the same name, stroke, aids
    and pool. The more figures are looked at, the larger a change has to be.
    """
    from sensorswim.archive import find_swimmer
    from sensorswim.archive.read import visits_of
    from sensorswim.archive.squad import worthwhile_changes
    from sensorswim.metrics.season import FIGURES, MAIN
    from sensorswim.metrics.trend import conditions

    unknown = sorted(set(figure or []) - set(FIGURES))
    if unknown:
        known = ", ".join(FIGURES)
        raise SensorswimError(f"there is no figure {unknown[0]!r}", mend=f"use one of {known}")
    with opened() as store:
        who = who_looks(squad)
        found = find_swimmer(store, swimmer, who)
        visits = visits_of(store, found)
        wanted = [c for c in conditions(visits) if (set_name or "").casefold() in c]
        if not wanted:
            raise ArchiveError(
                f"no set of {found.name or found.pseudonym} fits",
                where="archive",
                mend="leave --set out, or add sessions first",
            )
        worthwhile = worthwhile_changes(store, wanted[0], who)
    _say_trends(visits, wanted[0], figure or (FIGURES if every else MAIN), worthwhile)
    if len(wanted) > 1:
        typer.echo(f"Other sets: {'; '.join(wanted[1:6])} (--set WORDS chooses).")


def _say_trends(
    visits: pd.DataFrame, condition: str, names: Collection[str], worthwhile: dict[str, float]
) -> None:
    from sensorswim.metrics.trend import in_words, notes, trends_of

    found = trends_of(visits, condition, names=names, worthwhile=worthwhile)
    typer.echo(f"{condition}")
    if not found:
        typer.echo("One visit so far: a change needs two visits of the same set.")
    for series in found.values():
        typer.echo(f"\n{series.figure.words} ({len(series.visits)} visits)")
        typer.echo(f"  since the first visit:      {in_words(series.since_first, series.figure)}")
        if len(series.visits) > 2:
            line = in_words(series.since_last, series.figure)
            typer.echo(f"  since the visit before:     {line}")
        for line in notes(series, found):
            typer.echo(f"  note: {line}")
    if len(found) > 1:
        typer.echo(f"\n{len(found)} figures are judged together, so each has to change more.")


@app.command("squad")
def squad_command(squad: Squad = None) -> None:
    """Show who of a squad needs a look, and why."""
    from sensorswim.archive.squad import squad_view

    with opened() as store:
        looks = squad_view(store, who_looks(squad))
    if not looks:
        typer.echo("Nobody yet: sensorswim archive add SESSION --squad NAME puts sessions in.")
    for look in looks:
        name = look.swimmer.name or look.swimmer.pseudonym
        typer.echo(f"{name}: {counted(look.sessions, 'session')}, the last on {look.last[:10]}")
        for reason in look.reasons or ("nothing that stands out",):
            typer.echo(f"  {reason}")


@app.command("season")
def season_command(
    swimmer: Annotated[
        str | None, typer.Option("--swimmer", help="Show this swimmer's own sessions only.")
    ] = None,
    squad: Squad = None,
    port: Annotated[
        int | None, typer.Option("--port", min=1, max=65535, help="Port on this machine.")
    ] = None,
    browser: Annotated[
        bool, typer.Option("--browser/--no-browser", help="Open the page in the browser.")
    ] = True,
) -> None:
    """Look at trends and squads in the browser, on this machine only.

    A coach gives --squad, a swimmer --swimmer: the pages then know nobody else. That is a view
    and no lock: who can read the archive's file can read all of it.
    """
    from sensorswim.archive import Who, find_swimmer
    from sensorswim.dashboards.components import LOOPBACK, free_port, serve
    from sensorswim.dashboards.trends import trends_app

    with opened() as store:
        who = who_looks(squad)
        if swimmer is not None:
            who = Who(squad=squad, swimmer_key=find_swimmer(store, swimmer, who).key)
        chosen = free_port() if port is None else port
        typer.echo(f"Open http://{LOOPBACK}:{chosen}/ in a browser; Ctrl-C stops it.")
        serve(trends_app(store, who), port=chosen, opened=browser)
