"""A page as PDF, printed by the browser that the system has."""

from __future__ import annotations

import os
import shutil
import subprocess
import tempfile
from pathlib import Path
from typing import Final

from sensorswim.errors import OutputError

BROWSERS: Final = ("chromium", "chromium-browser", "google-chrome", "google-chrome-stable")
INSTALL: Final = "install Chromium (apt-get install chromium) or print the page yourself"
_PATIENCE_S: Final = 120.0
_DRAWING_MS: Final = 15_000


def browser() -> str | None:
    """Return the browser that can print, None where the system has none."""
    return next((path for name in BROWSERS if (path := shutil.which(name))), None)


def print_pdf(page: Path, pdf: Path) -> Path:
    """Print a page of our own as PDF, swapped in whole, and return its path.

    Raises
    ------
    OutputError
        There is no browser, or it did not print.
    """
    program = browser()
    if program is None:
        raise OutputError("there is no browser that can print", where=pdf.name, mend=INSTALL)
    with tempfile.TemporaryDirectory(prefix="sensorswim-print-") as place:
        made = Path(place) / "page.pdf"
        command = [
            program,
            "--headless=new",
            "--disable-gpu",
            f"--user-data-dir={place}/profile",
            f"--virtual-time-budget={_DRAWING_MS}",
            "--no-pdf-header-footer",
            f"--print-to-pdf={made}",
            page.resolve().as_uri(),
        ]
        if hasattr(os, "geteuid") and os.geteuid() == 0:
            command.insert(1, "--no-sandbox")
        try:
            subprocess.run(command, capture_output=True, timeout=_PATIENCE_S, check=True)
        except (OSError, subprocess.SubprocessError) as failure:
            raise OutputError(
                "the browser did not print", where=pdf.name, mend=INSTALL
            ) from failure
        if not made.is_file():
            raise OutputError("the browser did not print", where=pdf.name, mend=INSTALL)
        part = pdf.with_name(f"{pdf.name}.part")
        shutil.copyfile(made, part)
        return part.replace(pdf)
