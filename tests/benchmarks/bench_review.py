"""How soon the review of a two-hour session with five sensors is seen, and how a pan answers.

Run with ``python -m tests.benchmarks.bench_review``; needs Chromium. The sample's result is laid
end to end until it lasts two hours, with a second source of roll; first view: from the request to
the strip and the time axis on the screen, in a browser that has seen nothing; answers: until keys
and buttons do something; pan: from the plot's own event to the new data drawn.
"""

from __future__ import annotations

import shutil
import statistics
import tempfile
import time
from dataclasses import replace
from pathlib import Path
from typing import Final

import pandas as pd
from playwright.sync_api import Page

from sensorswim.analyse import measure
from sensorswim.dashboards.review import Shelf, key_of, review_app
from sensorswim.dashboards.review.results import Results
from sensorswim.export import write_result
from sensorswim.formats.session_toml import read_session
from sensorswim.model import Quality
from sensorswim.model.analysis import Analysis
from sensorswim.model.tables import frame
from tests.dashboards.served import chromium, served

SAMPLE: Final = Path(__file__).resolve().parents[2] / "sample_logs" / "mira"
LASTS_S: Final = 7200.0
VIEWS, PANS = 7, 10
_BACK: Final = '\n[[sensor]]\nplacement = "lower_back"\nfile = "lower_back.parquet"\n'
_PAN: Final = """(shift) => new Promise((done) => {
  const gd = document.querySelector('#axis .js-plotly-plot');
  const [a, b] = gd._fullLayout.xaxis.range;
  const before = gd.data[0].x;
  const begun = performance.now();
  const look = () => {
    if (gd.data[0].x === before) return;
    gd.removeListener('plotly_afterplot', look);
    done(performance.now() - begun);
  };
  gd.on('plotly_afterplot', look);
  Plotly.relayout(gd, {'xaxis.range': [a + shift, b + shift]});
})"""


def tiled(analysis: Analysis) -> Analysis:
    """Return the analysis laid end to end for two hours, with roll of the lower back as well."""
    once_s = float(analysis.lengths["end_s"].max()) + 20.0
    numbers = int(analysis.lengths["length_no"].max())
    tables = {}
    for name, table in analysis.tables.items():
        parts = []
        for turn in range(int(LASTS_S / once_s) + 1):
            part = table.copy()
            for column in part.columns:
                if column in ("start_s", "end_s", "time_s") or (
                    column.endswith("_s") and column not in ("hold_s", "excess_s", "speed_m_s")
                    and name not in ("hand_paths",) and part[column].dtype == "float64"
                    and "_m_s" not in column and "_deg_s" not in column
                ):  # fmt: skip
                    part[column] = part[column] + turn * once_s
            if "length_no" in part:
                part["length_no"] = part["length_no"] + turn * numbers
            parts.append(part)
        tables[name] = frame(name, pd.concat(parts, ignore_index=True))
    back = tables["roll"].assign(source="lower_back")
    tables["roll"] = frame("roll", pd.concat([tables["roll"], back], ignore_index=True))
    tables["lengths"]["roll_source"] = "lower_back"
    return replace(analysis, tables=tables)


def first_view(page: Page, address: str) -> tuple[float, float]:
    """Return the seconds until strip and time axis are drawn, and until the page answers."""
    begun = time.perf_counter()
    page.goto(address, wait_until="commit")
    page.wait_for_selector("#axis .xtitle", timeout=120_000)
    page.wait_for_selector("#strip .xtitle", timeout=120_000)
    drawn = time.perf_counter() - begun
    page.wait_for_function("() => window.sensorswimReview.state.moments", timeout=120_000)
    return drawn, time.perf_counter() - begun


def main() -> None:
    """Print the times."""
    with tempfile.TemporaryDirectory() as place:
        folder, cache = Path(place) / "long", Path(place) / "cache"
        shutil.copytree(SAMPLE, folder)
        shutil.copy(folder / "left_wrist.parquet", folder / "lower_back.parquet")
        toml = folder / "session.toml"
        long = tiled(measure(folder))
        toml.write_text(toml.read_text() + _BACK)
        session = read_session(folder, Quality())
        result = Results(cache).place_of(session)
        result.parent.mkdir(parents=True)
        write_result(replace(long, session=session), result)
        rows = {name: len(table) for name, table in long.tables.items()}
        print(f"rows: {rows}")
        shelf = Shelf(folders=(folder,), home=Path(place) / "home", cache=cache)
        with served(review_app(shelf)) as base, chromium() as browser:
            address = f"{base}/review?session={key_of(folder)}"
            views = []
            for _ in range(VIEWS):
                context = browser.new_context(viewport={"width": 1440, "height": 900})
                page = context.new_page()
                views.append(first_view(page, address))
                context.close()
            for word, took in zip(("first view", "answers"), zip(*views, strict=True), strict=True):
                print(f"{word}, s: median {statistics.median(took):.2f}, of",
                      " ".join(f"{one:.2f}" for one in took))  # fmt: skip
            page = browser.new_page(viewport={"width": 1440, "height": 900})
            first_view(page, address)
            page.wait_for_selector(".picture .main-svg", timeout=120_000)
            page.wait_for_timeout(3000)
            for word, shift in (("one length", 20.0), ("whole session", 600.0)):
                if word == "whole session":
                    page.get_by_role("button", name="Show the whole session").click()
                    page.wait_for_timeout(3000)
                pans = [float(page.evaluate(_PAN, shift)) for _ in range(PANS)]
                print(f"pan over {word}, ms: median {statistics.median(pans):.0f},",
                      f"longest {max(pans):.0f}")  # fmt: skip


if __name__ == "__main__":
    main()
