"""Advice: a plan of weeks, a handout for the swimmer, and the rules and drills behind them."""

from __future__ import annotations

import re
import sys
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from sensorswim.cli.app import app, show_progress
from sensorswim.errors import SensorswimError

if TYPE_CHECKING:
    from sensorswim.model.analysis import Analysis
    from sensorswim.model.plan import CheckSet, PlanOptions

_AIDS = ("fins", "snorkel", "board", "buoy", "paddles", "band")
Swim = Annotated[Path, typer.Argument(help="A session folder, or the result of analyse.")]
Desk = Annotated[
    Path | None,
    typer.Option(
        "--out",
        help="The swimmer's folder: plan, diary, handout and its words; the folder handout in the "
        "session's by default.",
    ),
]
Weeks = Annotated[int, typer.Option("--weeks", min=4, max=6, help="How many weeks to plan.")]
PerWeek = Annotated[
    int, typer.Option("--per-week", min=1, max=7, help="Visits to the pool a week.")
]
Kit = Annotated[
    str, typer.Option("--kit", help="Aids that there are, with commas: fins,snorkel; none; any.")
]
CheckSetOption = Annotated[
    str, typer.Option("--check-set", help="The set to repeat at every visit, like 6x50.")
]
Again = Annotated[
    bool, typer.Option("--new", help="Plan anew, also where there is a plan; its check set stays.")
]
Quiet = Annotated[bool, typer.Option("--quiet", help="Print nothing but errors.")]


@app.command("plan")
def plan_command(
    swim: Swim,
    out: Desk = None,
    weeks: Weeks = 5,
    per_week: PerWeek = 2,
    kit: Kit = "any",
    check_set: CheckSetOption = "",
    new: Again = False,
    quiet: Quiet = False,
) -> None:
    """Plan four to six weeks from the two aims of a session; a diary beside it may stop sets."""
    from sensorswim.advice import plan_for, plan_text

    answer = _answer(swim, quiet=quiet)
    options = _options(answer, weeks, per_week, kit, check_set)
    desk = _desk(out, swim)
    plan = plan_for(answer, desk, options, new=new)
    if not quiet:
        typer.echo(plan_text(plan))
        typer.echo(f"Plan:    {desk / 'plan.toml'}\nDiary:   {desk / 'diary.toml'}")


@app.command("handout")
def handout_command(
    swim: Swim,
    out: Desk = None,
    weeks: Weeks = 5,
    per_week: PerWeek = 2,
    kit: Kit = "any",
    check_set: CheckSetOption = "",
    new: Again = False,
    pdf: Annotated[
        bool, typer.Option("--pdf/--no-pdf", help="Print it as PDF where there is Chromium.")
    ] = True,
    quiet: Quiet = False,
) -> None:
    """Write the swimmer's handout: aims, pictures, drills, plan, diary and cautions.

    The words are in handout.toml beside it: edit them and run the command again.
    """
    from sensorswim.advice import write_handout
    from sensorswim.report.print_pdf import INSTALL, browser, print_pdf

    answer = _answer(swim, quiet=quiet)
    options = _options(answer, weeks, per_week, kit, check_set)
    desk = _desk(out, swim)
    page = write_handout(answer, desk, options, new=new)
    printed = print_pdf(page, page.with_suffix(".pdf")) if pdf and browser() else None
    if quiet:
        return
    typer.echo(f"Handout: {page}")
    if printed is not None:
        typer.echo(f"PDF:     {printed}")
    elif pdf:
        typer.echo(f"No PDF: there is no Chromium; {INSTALL}.")
    typer.echo(f"Words:   {desk / 'handout.toml'} (edit them and run this again)")


@app.command("clip")
def clip_command(
    session: Annotated[Path, typer.Argument(help="A session folder with a clip.")],
    out: Annotated[Path, typer.Option("--out", help="The film to write, .webm.")],
    at: Annotated[
        float | None, typer.Option("--at", help="The moment, in s of session time.")
    ] = None,
    finding: Annotated[
        int, typer.Option("--finding", min=1, help="Else the best moment of this finding.")
    ] = 1,
    seconds: Annotated[float, typer.Option("--seconds", min=1.0, max=60.0)] = 6.0,
    quiet: Quiet = False,
) -> None:
    """Write a silent clip of a moment with what was measured below it, if filming was agreed to."""
    from sensorswim.advice import export_clip

    if out.suffix != ".webm":
        raise SensorswimError("is no .webm", where=str(out), mend="name the film NAME.webm")
    answer = _answer(session, quiet=quiet)
    place = export_clip(answer, _moment(answer, finding) if at is None else at, seconds, out)
    if not quiet:
        typer.echo(f"Clip:    {place}")


def _moment(answer: Analysis, finding: int) -> float:
    found = answer.findings[finding - 1 : finding]
    if not found or not found[0]["moments"]:
        raise SensorswimError(f"finding {finding} has no moment", mend="give --at")
    return float(found[0]["moments"][0]["session_s"])


@app.command("rules")
def rules_command(
    drills: Annotated[
        bool, typer.Option("--drills", help="The drill library instead of the rules.")
    ] = False,
) -> None:
    """Print the rules of the findings (or the drills) as TOML, to copy and change."""
    from sensorswim.formats.drills_toml import DRILLS_FILE
    from sensorswim.formats.rules_toml import PACKAGED, RULES_FILE

    sys.stdout.write((PACKAGED / (DRILLS_FILE if drills else RULES_FILE)).read_text("utf-8"))


def _answer(swim: Path, *, quiet: bool) -> Analysis:
    from sensorswim.advice import answer_of

    with show_progress(quiet=quiet) as told:
        return answer_of(swim, told)


def _desk(out: Path | None, swim: Path) -> Path:
    from sensorswim.formats.handout_toml import OWN_FOLDER

    out = swim / OWN_FOLDER if out is None else out
    if out.exists() and not out.is_dir():
        raise SensorswimError("is a file", where=str(out), mend="name a folder")
    out.mkdir(parents=True, exist_ok=True)
    return out


def _options(answer: Analysis, weeks: int, per_week: int, kit: str, check_set: str) -> PlanOptions:
    from sensorswim.model.plan import CheckSet, PlanOptions

    names = tuple(name.strip() for name in kit.split(",") if name.strip() not in ("", "none"))
    unknown = [name for name in names if name not in (*_AIDS, "any")]
    if unknown:
        raise SensorswimError(
            f"{unknown[0]!r} is no kit", where="--kit", mend=f"use {', '.join(_AIDS)}, none or any"
        )
    own = _check_set(check_set) if check_set else CheckSet()
    return PlanOptions(
        weeks=weeks,
        per_week=per_week,
        kit=None if "any" in names else names,
        distance_m=answer.session.pool_length_m,
        check_set=own,
    )


def _check_set(text: str) -> CheckSet:
    from sensorswim.model.plan import CheckSet

    found = re.fullmatch(r"\s*(\d{1,2})\s*[x×]\s*(\d{1,4}(?:\.\d+)?)\s*", text)
    if found is None or int(found[1]) < 1 or float(found[2]) <= 0:
        raise SensorswimError(
            f"{text!r} is no set", where="--check-set", mend="write repeats x metres, like 6x50"
        )
    return CheckSet(repeats=int(found[1]), distance_m=float(found[2]))
