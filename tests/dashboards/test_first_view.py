"""The review is seen before Dash is read, and nothing moves when Dash takes it over."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any, Final

import pytest
from playwright.sync_api import Browser, Page, Route

from sensorswim.figures.style import DARK_OF, PAPER
from tests.dashboards.conftest import Filmed, Served, copied
from tests.dashboards.served import needs_chromium, watched

pytestmark = needs_chromium
EARLY, DASH = "#seen-first", "#react-entry-point"
SCRIPTS: Final = "**/_dash-component-suites/**"
PLACES: Final = """() => Object.fromEntries([...document.querySelectorAll(
  '.nav-link, h1, #strip, #show-all, [data-step], #readout, #axis-box > *, #axis-words')]
  .map((one) => {
    const {x, y, width, height} = one.getBoundingClientRect();
    const where = [x, y + scrollY, width, height].map((value) => Math.round(value));
    return [one.id || one.dataset.step || one.textContent, where];
  }))"""
TURN: Final = "document.querySelector('#axis > div').layout.uirevision"
COUNT: Final = """for (const id of ['strip', 'axis']) {
  const gd = document.querySelector(`#${id} > div`);
  gd.drawnAgain = 0;
  gd.on('plotly_afterplot', () => { gd.drawnAgain += 1; });
}"""
SHIFTS: Final = """
  window.shifted = [];
  new PerformanceObserver((list) => window.shifted.push(...list.getEntries()
    .map(({value, sources}) => [value, sources.map(({node}) => node?.id || node?.nodeName)])))
    .observe({type: 'layout-shift', buffered: true});
"""


class Gate:
    """Holds back the scripts of Dash until it is opened."""

    def __init__(self, page: Page) -> None:
        self._held: list[Route] = []
        self._is_open = False
        page.route(SCRIPTS, self._pass)

    def _pass(self, route: Route) -> None:
        if self._is_open:
            route.continue_()
        else:
            self._held.append(route)

    def open(self) -> None:
        """Let the scripts through."""
        self._is_open = True
        for route in self._held:
            route.continue_()


@pytest.fixture(scope="module")
def analysed(
    browser: Browser, filmed: Filmed, tmp_path_factory: pytest.TempPathFactory
) -> Iterator[Served]:
    """Serve the session without its clip, once its result is there."""
    with copied(filmed, tmp_path_factory.mktemp("analysed")) as session:
        toml = session.folder / "session.toml"
        toml.write_text(toml.read_text().split("[[video]]")[0])
        with watched(browser, session.base) as seen:
            seen.page.goto(session.address)
            await_plots(seen.page, DASH)
        yield session


def await_plots(page: Page, within: str) -> None:
    for plot in ("strip", "axis"):
        page.wait_for_selector(f"{within} #{plot} .xtitle", timeout=30_000)


@pytest.mark.parametrize("width", [1440, 1024, 390])
def test_plots_are_seen_before_dash_and_stay_where_they_are(
    browser: Browser, analysed: Served, width: int
) -> None:
    with watched(browser, analysed.base, width=width) as seen:
        page = seen.page
        page.add_init_script(SHIFTS)
        gate = Gate(page)
        page.goto(analysed.address, wait_until="commit")
        await_plots(page, EARLY)
        page.evaluate(COUNT)
        before: dict[str, Any] = page.evaluate(PLACES)
        assert page.evaluate("window.DashRenderer") is None
        gate.open()
        await_plots(page, DASH)
        assert page.locator("#seen-first").count() == 0
        assert page.evaluate(PLACES) == before
        assert len(before) >= 20
        page.wait_for_selector(".picture .main-svg, .picture .nothing", timeout=30_000)
        told = "id => document.querySelector(`#${id} > div`).drawnAgain"
        assert [page.evaluate(told, name) for name in ("strip", "axis")] == [0, 0]
        assert page.evaluate("window.shifted") == []


def test_the_plot_leaves_the_clip_its_place(browser: Browser, kept: Served) -> None:
    with watched(browser, kept.base) as seen:
        page = seen.page
        page.goto(kept.address)
        await_plots(page, DASH)
        gate = Gate(page)
        page.goto(kept.address, wait_until="commit")
        await_plots(page, EARLY)
        before = page.evaluate(PLACES)["axis"]
        gate.open()
        page.wait_for_selector("#clip-video")
        assert page.evaluate(PLACES)["axis"] == before


def test_it_is_seen_in_the_look_of_the_page_and_answers_once_dash_is_there(
    browser: Browser, analysed: Served
) -> None:
    with watched(browser, analysed.base, scheme="dark") as seen:
        page = seen.page
        gate = Gate(page)
        page.goto(analysed.address, wait_until="commit")
        await_plots(page, EARLY)
        paper = "document.querySelector('#axis > div')._fullLayout.paper_bgcolor"
        assert page.evaluate(paper) == DARK_OF[PAPER]
        assert page.evaluate("document.querySelector('#seen-first').inert") is True
        gate.open()
        await_plots(page, DASH)
        assert page.evaluate(paper) == DARK_OF[PAPER]
        page.locator("[data-step=stroke-on]").click()
        page.wait_for_function("() => window.sensorswimReview.state.t !== null")


def test_a_look_that_was_chosen_is_kept_from_the_start(browser: Browser, analysed: Served) -> None:
    with watched(browser, analysed.base) as seen:
        page = seen.page
        page.goto(analysed.address)
        await_plots(page, DASH)
        page.get_by_role("button", name="Light or dark look").click()
        gate = Gate(page)
        page.goto(analysed.address, wait_until="commit")
        await_plots(page, EARLY)
        paper = "document.querySelector('#strip > div')._fullLayout.paper_bgcolor"
        assert page.evaluate(paper) == DARK_OF[PAPER]
        gate.open()
        await_plots(page, DASH)


def test_a_click_on_the_strip_chooses_its_length(browser: Browser, analysed: Served) -> None:
    with watched(browser, analysed.base) as seen:
        page = seen.page
        page.goto(analysed.address)
        await_plots(page, DASH)
        page.evaluate("window.dash_clientside.set_props('length', {value: null})")
        page.wait_for_function(f"() => {TURN}.startsWith('None ')")
        bar = page.locator("#strip .bars").nth(1).locator("path").first.bounding_box()
        assert bar is not None
        page.mouse.click(bar["x"] + bar["width"] / 2, bar["y"] + bar["height"] / 2)
        page.wait_for_function(f"() => {TURN}.startsWith('1 ')")
        assert page.locator("#length").input_value().startswith("1:")
