"""The command line: arguments only. Heavy imports wait until a command needs them."""

from __future__ import annotations

import contextlib
import importlib
import os
import signal
import sys
import tempfile
import traceback
from pathlib import Path
from types import FrameType
from typing import Any

import typer

from sensorswim import __version__
from sensorswim.cli.app import app
from sensorswim.errors import SensorswimError

USER_ERROR, DEFECT, INTERRUPTED = 2, 1, 130
_UsageError: type[Any] = typer.BadParameter.__bases__[0]

for _commands in (
    "session_commands",
    "dashboard_commands",
    "live_commands",
    "archive_commands",
    "advice_commands",
    "season_commands",
    "compare_commands",
    "bids_commands",
):
    importlib.import_module(f"sensorswim.cli.{_commands}")


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
