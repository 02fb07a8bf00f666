"""On a phone, where a legend takes several rows, it stays clear of the titles and the plot."""

from __future__ import annotations

from collections.abc import Iterator

import pytest
from playwright.sync_api import Browser

from sensorswim.figures import plotting_library
from tests.dashboards.served import chromium, needs_chromium
from tests.figures.test_pictures import PICTURES, TABLES

pytestmark = needs_chromium
NEAREST_PX = 8
DRAW = """async (told) => {
  const {data, layout} = JSON.parse(told);
  const gd = Object.assign(document.createElement('div'), {style: `height: ${layout.height}px`});
  document.body.replaceChildren(gd);
  await Plotly.newPlot(gd, data, layout, {responsive: true});
  const legend = gd.querySelector('.legend');
  if (!legend) return null;
  const over = [...gd.querySelectorAll('.annotation, .plot')].map((e) => e.getBoundingClientRect());
  return Math.min(...over.map((box) => box.top)) - legend.getBoundingClientRect().bottom;
}"""


@pytest.fixture(scope="module")
def browser() -> Iterator[Browser]:
    with chromium() as opened:
        yield opened


@pytest.mark.parametrize("width", [390, 1024])
def test_no_legend_touches_a_title_or_a_plot(browser: Browser, width: int) -> None:
    page = browser.new_page(viewport={"width": width, "height": 900})
    page.set_content("<!DOCTYPE html><body style='margin: 12px'></body>")
    page.add_script_tag(content=plotting_library())
    gaps = {name: page.evaluate(DRAW, draw(TABLES).to_json()) for name, draw in PICTURES.items()}
    page.close()
    known = {name: gap for name, gap in gaps.items() if gap is not None}
    assert {"side_time", "hand_paths", "felt", "elbows"} <= set(known)
    assert {name: gap for name, gap in known.items() if gap < NEAREST_PX} == {}
