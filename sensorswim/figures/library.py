"""The plotting library that pages load: plotly.js with the traces that the pictures use.

The folder ``plotly_js`` holds plotly.js "cartesian" (what is drawn on x and y) as its makers
publish it, with its licence (MIT): a third of the bundle that comes with the Python package,
which carries maps and surfaces as well, so that a page reads it in a third of the time.
"""

from __future__ import annotations

from pathlib import Path
from typing import Final

LIBRARY_FOLDER: Final = Path(__file__).parent / "plotly_js"
LIBRARY_NAME: Final = "plotly-cartesian.min.js"


def plotting_library() -> str:
    """Return the source text of the library, for a page that holds it inside."""
    return (LIBRARY_FOLDER / LIBRARY_NAME).read_text(encoding="utf-8")
