"""The application that every command joins, and the progress that all of them show."""

from __future__ import annotations

import contextlib
import sys
from collections.abc import Callable, Iterator
from typing import Annotated

import typer

from sensorswim import __version__

app = typer.Typer(
    name="sensorswim",
    help="Front-crawl technique measured with wrist and ankle inertial sensors.",
    epilog="Exit codes: 0 a result; 2 input that can't be used, said in one line; 1 a defect of "
    "the program, its trace in a file; 130 stopped by Ctrl-C.",
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


@contextlib.contextmanager
def show_progress(*, quiet: bool) -> Iterator[Callable[[str], None]]:
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
