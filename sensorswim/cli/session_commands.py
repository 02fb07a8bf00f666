"""One session: analyse it, invent one, and what the columns mean."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import Annotated, Final

import typer

from sensorswim.cli.app import app, show_progress
from sensorswim.errors import SensorswimError
from sensorswim.units import counted

_REHEARSED: Final = """\b
Swimmers:
  sample              the session of sample_logs/mira; likewise:
  sample-first-visit, sample-follow-up, sample-every-sensor
  steady, side-breather, straight-puller, leg-dragger, sprinter, glider,
  lopsided, unsteady  lengths, turns and rests drawn by the seed
  drawn               swimmer, session and logs drawn over the whole range

\b
Kits:
  core                both wrists, both ankles
  full                core, lower back, upper back, head, both upper arms
  trunk               core, lower back, upper back
  back_head           core, lower back, head
  wrists, left_wrist
"""
"""Told here again, as to ask the rehearsal takes numpy and scipy; a test compares the names."""


@app.command("analyse")
def analyse_command(
    session: Annotated[Path, typer.Argument(help="Folder with session.toml and the logs.")],
    out: Annotated[Path, typer.Option("--out", help="Folder for the result.")],
    csv: Annotated[bool, typer.Option("--csv", help="Write the tables as CSV, too.")] = False,
    streams: Annotated[
        bool, typer.Option("--streams", help="Write the aligned body-frame signals.")
    ] = False,
    as_json: Annotated[
        bool, typer.Option("--json", help="Print the summary as JSON, for programs.")
    ] = False,
    quiet: Annotated[bool, typer.Option("--quiet", help="Print nothing but errors.")] = False,
) -> None:
    """Analyse a session folder and write the report, the cues and the tables."""
    from sensorswim.analyse import analyse
    from sensorswim.export import check_out, write_result
    from sensorswim.report import headline

    check_out(out)
    with show_progress(quiet=quiet) as told:
        answer = analyse(session, streams=streams, progress=told)
        place = write_result(
            answer, out, csv=csv, progress=lambda _share, step: told(f"writing: {step}")
        )
    if as_json:
        sys.stdout.write((place / "summary.json").read_text(encoding="utf-8"))
    if quiet or as_json:
        return
    for subject, line in headline(answer):
        typer.echo(f"{subject + ':':9}{line}")
    aims = (finding["title"] for finding in answer.findings if finding["is_aim"])
    for number, title in enumerate(aims, start=1):
        typer.echo(f"{f'Aim {number}:':9}{title}")
    if len(answer.quality):
        typer.echo(f"Notes on the data: {len(answer.quality)} (in the report).")
    typer.echo(f"Report:  {place / 'report.html'}")


@app.command("rehearse", epilog=_REHEARSED)
def rehearse_command(
    out: Annotated[Path, typer.Argument(help="Folder for the invented session.")],
    swimmer: Annotated[
        str, typer.Option("--swimmer", help="Who swims: a name listed below.")
    ] = "sample",
    seed: Annotated[int, typer.Option("--seed", min=0, help="Same seed, same session.")] = 2026,
    kit: Annotated[str, typer.Option("--kit", help="Sensors worn, see below.")] = "core",
    file_format: Annotated[
        str, typer.Option("--format", help="Of the logs: parquet, csv or csv.gz.")
    ] = "parquet",
    video: Annotated[
        str, typer.Option("--video", help="Film the swimmer, too: side or front.")
    ] = "",
    live: Annotated[
        bool,
        typer.Option(
            "--live",
            help="Swim it now: emulated sensors with water between, recorded as real ones are. "
            "Several swimmers: names with commas.",
        ),
    ] = False,
    season: Annotated[
        int, typer.Option("--season", min=0, max=12, help="As many visits of one season instead.")
    ] = 0,
    quiet: Annotated[bool, typer.Option("--quiet", help="Print nothing but errors.")] = False,
) -> None:
    """Write a session of an invented swimmer, with the truth about it in a subfolder."""
    from sensorswim.rehearsal.named import rehearse_named

    if live:
        from sensorswim.cli.live_rehearsal import rehearse_live

        rehearse_live(out, swimmer.split(","), kit=kit, seed=seed, quiet=quiet)
        return
    if season:
        from sensorswim.rehearsal.season import write_season

        with show_progress(quiet=quiet) as told:
            places = write_season(out, season, seed=seed, progress=told)
        if not quiet:
            typer.echo(f"{counted(len(places), 'session')} in {out}")
        return
    with show_progress(quiet=quiet) as told:
        told("swimming")
        session = rehearse_named(swimmer, kit=kit, seed=seed)
        told("writing")
        place = session.write(out, file_format=file_format)
        if video:
            from sensorswim.rehearsal_film import film_rehearsal

            told("filming")
            film_rehearsal(session, place, view=video)
    if not quiet:
        typer.echo(f"{session.swimmer.name}: {len(session.truth['lengths'])} lengths in {place}")


@app.command("codebook")
def codebook_command(
    csv: Annotated[bool, typer.Option("--csv", help="As CSV.")] = False,
    markdown: Annotated[bool, typer.Option("--markdown", help="As a Markdown table.")] = False,
) -> None:
    """Print what each column of each table means, and its unit."""
    from sensorswim.codebook import FORMS

    if csv and markdown:
        raise SensorswimError("--csv and --markdown exclude each other", mend="choose one")
    form = "csv" if csv else "markdown" if markdown else "text"
    sys.stdout.write(FORMS[form]())
