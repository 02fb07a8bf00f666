"""The season's pages: words beside pictures, who may see whom, any screen."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest
from playwright.sync_api import Browser, Page

from sensorswim.archive import KEEPER, Store, Who, put
from sensorswim.archive.store import open_store
from sensorswim.dashboards.trends import trends_app
from tests.archive.made import made
from tests.dashboards.served import needs_chromium, served, watched

pytestmark = needs_chromium


@pytest.fixture(scope="module")
def store(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Store]:
    opened = open_store(str(tmp_path_factory.mktemp("archive") / "a.sqlite"))
    for number in range(1, 5):
        put(opened, made(number, shift=3.0 * number, squad="blue"))
    put(opened, made(1, swimmer="Noor", squad="blue"))
    put(opened, made(1, swimmer="Tove", squad="red"))
    yield opened
    opened.close()


@pytest.fixture(scope="module")
def base(store: Store) -> Iterator[str]:
    with served(trends_app(store, Who(squad="blue"))) as address:
        yield address


def settled(page: Page, base: str, path: str = "/") -> None:
    page.goto(base + path)
    page.wait_for_selector("h1")


def test_a_trend_is_said_in_words_beside_its_pictures(browser: Browser, base: str) -> None:
    with watched(browser, base) as seen:
        page = seen.page
        settled(page, base)
        page.wait_for_selector("#over-visits .main-svg")
        told = page.inner_text("#trend")
        assert "clear change: +9.0 cycles a minute" in told
        assert "cautious guess" in told
        page.wait_for_selector("#visit-1 .main-svg")
        assert page.inner_text("main").count("Both pictures have the same scales") == 2
        rows = page.locator("tbody tr")
        assert (
            rows.filter(has_text="stroke rate").locator("td").first.inner_text() == "clear change"
        )
        assert page.inner_text("h1 + .invented") == "Invented swimmer, no real person"


def test_another_figure_can_be_chosen_by_keyboard(browser: Browser, base: str) -> None:
    with watched(browser, base) as seen:
        page = seen.page
        settled(page, base)
        page.wait_for_selector("#over-visits .main-svg")
        page.focus("#figure")
        page.keyboard.press("Control+A")
        page.keyboard.type("kicks a cycle")
        page.get_by_role("option", name="kicks a cycle").wait_for()
        page.keyboard.press("ArrowDown")
        page.keyboard.press("Enter")
        page.locator("#trend h2", has_text="Kicks").wait_for()
        assert "no clear change" in page.inner_text("#trend")


def test_a_coach_sees_only_the_squad(browser: Browser, base: str) -> None:
    with watched(browser, base) as seen:
        settled(seen.page, base, "/squad")
        names = seen.page.locator(".looks h2").all_inner_texts()
        assert sorted(names) == ["Mira", "Noor"]
        settled(seen.page, base, "/?swimmer=name:tove")
        assert "there is no swimmer" in seen.page.inner_text(".problem")


def test_one_visit_says_what_to_do(browser: Browser, base: str) -> None:
    with watched(browser, base) as seen:
        settled(seen.page, base, "/?swimmer=name:noor")
        seen.page.wait_for_selector("#trend .nothing")
        assert "needs two visits" in seen.page.inner_text("#trend")


def test_an_empty_archive_says_how_to_fill_it(browser: Browser, tmp_path: Path) -> None:
    empty = open_store(str(tmp_path / "a.sqlite"))
    with served(trends_app(empty, KEEPER)) as address, watched(browser, address) as seen:
        for path in ("/", "/squad"):
            settled(seen.page, address, path)
            seen.page.wait_for_selector(".nothing")
            assert "sensorswim archive add" in seen.page.inner_text("main")
    empty.close()


@pytest.mark.parametrize(("width", "height"), [(1440, 900), (1024, 768), (390, 844)])
@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_nothing_is_wider_than_the_screen(
    browser: Browser, base: str, width: int, height: int, scheme: str
) -> None:
    with watched(browser, base, width=width, height=height, scheme=scheme) as seen:
        page = seen.page
        settled(page, base)
        page.wait_for_selector("#visit-1 .main-svg")
        assert page.evaluate("document.documentElement.scrollWidth") <= width
