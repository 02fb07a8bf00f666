"""Words of short blocks on a long session's time line: seen where they have room, never mixed."""

from __future__ import annotations

import itertools
from typing import Any

import pandas as pd
import pytest

from sensorswim.figures import draw_swum, plotting_library
from sensorswim.model.session import Block
from tests.dashboards.served import chromium, needs_chromium

pytestmark = needs_chromium
DRAW = """async (told) => {
  const {data, layout} = JSON.parse(told);
  const gd = Object.assign(document.createElement('div'), {style: `height: ${layout.height}px`});
  document.body.replaceChildren(gd);
  await Plotly.newPlot(gd, data, layout, {responsive: true});
  const shown = [...gd.querySelectorAll('.bartext')].map((word) => {
    const {left, right, top, bottom} = word.getBoundingClientRect();
    return {word: word.textContent, left, right, top, bottom};
  });
  return shown.filter(({left, right}) => right > left);
}"""
SHORT_S = ((30, 270, "8 x 25 drill and swim"), (300, 420, "4 x 25 easy"), (480, 500, "dive"))
LONG_S = (3600, 7200, "long & <easy>")


def drawn_words(width: int, blocks: tuple[tuple[float, float, str], ...]) -> list[dict[str, Any]]:
    lengths = pd.DataFrame(
        {
            "length_no": range(1, 201),
            "start_s": [36.0 * n for n in range(200)],
            "end_s": [36.0 * n + 20 for n in range(200)],
            "activity": ["front_crawl", "drill"] * 100,
        }
    )
    set_ = [Block(start_s=start, end_s=end, label=label) for start, end, label in blocks]
    told = draw_swum(lengths, set_).to_json()
    with chromium() as browser:
        page = browser.new_page(viewport={"width": width, "height": 900})
        page.set_content("<!DOCTYPE html><body style='margin: 12px'></body>")
        page.add_script_tag(content=plotting_library())
        return list(page.evaluate(DRAW, told))


@pytest.mark.parametrize("width", [390, 1440])
def test_labels_of_short_blocks_never_lie_over_each_other(width: int) -> None:
    shown = drawn_words(width, (*SHORT_S, LONG_S))
    assert "long &<easy>" in {one["word"] for one in shown}
    assert not {"dive", "4 x 25 easy"} <= {one["word"] for one in shown}
    for one, other in itertools.pairwise(sorted(shown, key=lambda word: float(word["left"]))):
        assert one["right"] <= other["left"]


def test_labels_with_room_are_all_seen() -> None:
    blocks = tuple((2400.0 * n, 2400.0 * n + 2000, f"set {n} of 8 x 50") for n in range(3))
    assert len(drawn_words(390, blocks)) == 3
