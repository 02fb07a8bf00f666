"""The command line: arguments only. Heavy imports wait until a command needs them."""

from __future__ import annotations

import contextlib
import os
import signal
import sys
import tempfile
import traceback
from collections.abc import Callable, Iterator
from pathlib import Path
from types import FrameType
from typing import Annotated, Any

import typer

from sensorswim import __version__
from sensorswim.errors import SensorswimError

USER_ERROR, DEFECT, INTERRUPTED = 2, 1, 130
_UsageError: type[Any] = typer.BadParameter.__bases__[0]

app = typer.Typer(
    name="sensorswim",
    help="Front-crawl technique measured with wrist and ankle inertial sensors.",
    add_completion=False,
    pretty_exceptions_enable=False,
    rich_markup_mode=None,
)


@app.callback(invoke_without_command=True)
def _root(
    context: typer.Context,
    version: Annotated[bool, typer.Option("--version", help="Print the version.")] = False,
) -> None:
    if version:
        typer.echo(__version__)
    elif context.invoked_subcommand is None:
        typer.echo(context.get_help())


@app.command("analyse")
def analyse_command(
    session: Annotated[Path, typer.Argument(help="Folder with session.toml and the logs.")],
    out: Annotated[Path, typer.Option("--out", help="Folder for the result.")],
    csv: Annotated[bool, typer.Option("--csv", help="Write the tables as CSV, too.")] = False,
    streams: Annotated[
        bool, typer.Option("--streams", help="Write the aligned body-frame signals.")
    ] = False,
    quiet: Annotated[bool, typer.Option("--quiet", help="Print nothing but errors.")] = False,
) -> None:
    """Analyse a session folder and write the report, the cues and the tables."""
    from sensorswim.analyse import analyse
    from sensorswim.export import check_out, write_result
    from sensorswim.report import headline

    check_out(out)
    with _progress(quiet=quiet) as told:
        answer = analyse(session, streams=streams, progress=told)
        place = write_result(
            answer, out, csv=csv, progress=lambda _share, step: told(f"writing: {step}")
        )
    if quiet:
        return
    for subject, line in headline(answer):
        typer.echo(f"{subject + ':':9}{line}")
    if len(answer.quality):
        typer.echo(f"Notes on the data: {len(answer.quality)} (in the report).")
    typer.echo(f"Report:  {place / 'report.html'}")


@app.command("rehearse")
def rehearse_command(
    out: Annotated[Path, typer.Argument(help="Folder for the invented session.")],
    swimmer: Annotated[
        str, typer.Option("--swimmer", help="The sample, or an invented swimmer by name.")
    ] = "sample",
    seed: Annotated[int, typer.Option("--seed", min=0, help="Same seed, same session.")] = 2026,
    kit: Annotated[str, typer.Option("--kit", help="Sensors worn, by the kit's name.")] = "core",
    file_format: Annotated[
        str, typer.Option("--format", help="Of the logs: parquet, csv or csv.gz.")
    ] = "parquet",
    quiet: Annotated[bool, typer.Option("--quiet", help="Print nothing but errors.")] = False,
) -> None:
    """Write a session of an invented swimmer, with the truth about it in a subfolder."""
    from sensorswim.rehearsal.named import rehearse_named

    with _progress(quiet=quiet) as told:
        told("swimming")
        session = rehearse_named(swimmer, kit=kit, seed=seed)
        told("writing")
        place = session.write(out, file_format=file_format)
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


@contextlib.contextmanager
def _progress(*, quiet: bool) -> Iterator[Callable[[str], None]]:
    """Show the step and the time on stderr, and nothing where that isn't a terminal."""
    if quiet or not sys.stderr.isatty():
        yield lambda _step: None
        return
    from rich.console import Console
    from rich.progress import BarColumn, Progress, TextColumn, TimeElapsedColumn

    columns = (BarColumn(), TimeElapsedColumn(), TextColumn("{task.description}"))
    with Progress(*columns, console=Console(stderr=True), transient=True) as bar:
        task = bar.add_task("starting", total=None)
        yield lambda step: bar.update(task, description=step)


def main(arguments: list[str] | None = None) -> int:
    """Run the command line and return its exit code: 0, 1 (a defect), 2 (a user's matter)."""
    _stop_on_term()
    try:
        app(args=arguments, prog_name="sensorswim", standalone_mode=False)
    except SensorswimError as problem:
        return _say(str(problem), USER_ERROR)
    except _UsageError as problem:
        return _say(problem.format_message(), USER_ERROR)
    except (KeyboardInterrupt, typer.Abort):
        return _say("stopped; nothing was left half written", INTERRUPTED)
    except BrokenPipeError:
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return 0
    except Exception:  # noqa: BLE001 - the outermost rim: a defect, its trace goes into a file
        return _say(f"defect in sensorswim; please report the trace in {_keep_trace()}", DEFECT)
    return 0


def _say(line: str, code: int) -> int:
    sys.stderr.write(f"sensorswim: {' '.join(line.split())}\n")
    return code


def _keep_trace() -> Path:
    text = f"sensorswim {__version__}\n{traceback.format_exc()}"
    with tempfile.NamedTemporaryFile(
        "w", prefix="sensorswim-", suffix=".trace.txt", delete=False, encoding="utf-8"
    ) as file:
        file.write(text)
    return Path(file.name)


def _stop_on_term() -> None:
    """Let a polite kill clean up like Ctrl-C does."""

    def stop(_number: int, _frame: FrameType | None) -> None:
        raise KeyboardInterrupt

    with contextlib.suppress(ValueError):
        signal.signal(signal.SIGTERM, stop)
