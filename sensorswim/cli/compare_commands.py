"""A session against somebody else's labels."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from sensorswim.cli.app import app, show_progress

if TYPE_CHECKING:
    import pandas as pd


@app.command("compare")
def compare_command(
    session: Annotated[Path, typer.Argument(help="Session folder, or the result of one.")],
    labels: Annotated[
        Path, typer.Argument(help="CSV with kind, side, time_s and, for angles, value.")
    ],
    out: Annotated[
        Path | None, typer.Option("--out", help="Write a page with pictures, such as a.html.")
    ] = None,
    tolerance: Annotated[
        float, typer.Option("--tolerance", min=0.01, max=2.0, help="Seconds that still match.")
    ] = 0.25,
    shift: Annotated[
        float, typer.Option("--shift", help="Seconds added to the labels' times.")
    ] = 0.0,
    quiet: Annotated[bool, typer.Option("--quiet", help="Print only the table.")] = False,
) -> None:
    """Compare with labels from video, motion capture or another system.

    Events: entry, catch, mid_pull, exit, kick, breath (side left or right), push_off, touch.
    Values: roll_deg, elbow_angle_deg, pull_depth_m. Gives matches, bias and limits of agreement
    (Bland & Altman 1986).
    """
    from sensorswim.formats.labels_csv import read_labels
    from sensorswim.metrics.compare import compare
    from sensorswim.report.comparison import HEADS, cells, comparison_html

    told = read_labels(labels)
    with show_progress(quiet=quiet) as step:
        tables = _tables(session, step)
    found = compare(tables, told, tolerance_s=tolerance, shift_s=shift)
    rows = [list(HEADS), *(cells(one) for one in found)]
    widths = [max(len(row[k]) for row in rows) for k in range(len(HEADS))]
    for row in rows:
        line = "  ".join(f"{cell:{width}}" for cell, width in zip(row, widths, strict=True))
        typer.echo(line.rstrip())
    if out is not None:
        notes = [f"Pairs up to {tolerance:g} s apart; labels moved by {shift:g} s."]
        page = comparison_html(found, f"{session.name} against {labels.name}", notes)
        _write(page, out)
        if not quiet:
            typer.echo(f"Page: {out}")


def _tables(session: Path, step: Callable[[str], None]) -> dict[str, pd.DataFrame]:
    from sensorswim.analyse import analyse
    from sensorswim.formats.tables_io import read_table
    from sensorswim.model.tables import SCHEMAS

    if (session / "summary.json").is_file():
        return {name: read_table(session / f"{name}.parquet") for name in SCHEMAS}
    return analyse(session, progress=step).tables


def _write(page: str, out: Path) -> None:
    from sensorswim.errors import OutputError

    try:
        out.write_text(page, encoding="utf-8", newline="\n")
    except OSError as failure:
        raise OutputError(f"can't be written ({failure.strerror})", where=str(out)) from failure
