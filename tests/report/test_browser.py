"""The page in a real browser: offline, without errors, at every width, and on paper."""

from __future__ import annotations

import os
import re
import shutil
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import pytest
from playwright.sync_api import Browser, Page, sync_playwright

from sensorswim.analyse import with_findings
from sensorswim.formats.rules_toml import read_rules
from sensorswim.report import report_html
from tests.findings.made import calm, changed
from tests.plausible import plausible_analysis

INSTALL = "no chromium: apt-get install -y chromium"


CHROMIUM = shutil.which("chromium")
pytestmark = pytest.mark.skipif(CHROMIUM is None and os.environ.get("CI") != "true", reason=INSTALL)


@pytest.fixture(scope="module")
def browser() -> Iterator[Browser]:
    assert CHROMIUM is not None, INSTALL
    with sync_playwright() as play:
        chromium = play.chromium.launch(executable_path=CHROMIUM, args=["--no-sandbox"])
        yield chromium
        chromium.close()


@pytest.fixture(scope="module")
def place(tmp_path_factory: pytest.TempPathFactory) -> str:
    path: Path = tmp_path_factory.mktemp("page") / "report.html"
    path.write_text(report_html(plausible_analysis()), encoding="utf-8")
    return path.as_uri()


@pytest.fixture(scope="module")
def advised(tmp_path_factory: pytest.TempPathFactory) -> str:
    """A page with an aim, and with what could not be looked for, folded away."""
    path: Path = tmp_path_factory.mktemp("advised") / "report.html"
    long = changed(calm(), "breaths", lambda t: t.assign(excess_s=0.44))
    wrists = tuple(s for s in long.session.sensors if s.placement.limb == "wrist")
    worn = replace(long, session=replace(long.session, sensors=wrists))
    path.write_text(report_html(with_findings(worn, read_rules())), encoding="utf-8")
    return path.as_uri()


def opened(browser: Browser, place: str, width: int, theme: str) -> tuple[Page, list[str]]:
    """Open the page and return it with everything that went wrong or left the file."""
    page = browser.new_page(viewport={"width": width, "height": 900}, color_scheme=theme)  # type: ignore[arg-type]
    wrong: list[str] = []
    page.on("console", lambda message: wrong.append(message.text))
    page.on("pageerror", lambda error: wrong.append(str(error)))
    page.on(
        "request",
        lambda request: (
            None
            if request.url == place or request.url.startswith(("data:", "blob:"))
            else wrong.append(request.url)
        ),
    )
    page.goto(place)
    page.wait_for_selector("html[data-drawn=yes]", state="attached")
    return page, wrong


@pytest.mark.parametrize(
    ("width", "theme"), [(390, "dark"), (390, "light"), (1024, "light"), (1440, "dark")]
)
def test_page_opens_offline_and_fits_the_screen(
    browser: Browser, place: str, width: int, theme: str
) -> None:
    page, wrong = opened(browser, place, width, theme)
    assert wrong == []
    assert page.evaluate("document.documentElement.scrollWidth") <= width
    assert page.locator(".plot .main-svg").count() > 0
    drawn = page.evaluate(
        "[...document.querySelectorAll('.plot')].map(p => p.querySelectorAll('.main-svg').length)"
    )
    assert len(drawn) == 12
    assert all(drawn)
    page.close()


def test_pictures_follow_the_light_and_the_dark_look(browser: Browser, place: str) -> None:
    paper = "getComputedStyle(document.querySelector('.plot .main-svg')).backgroundColor"
    page, _ = opened(browser, place, 1024, "light")
    light = page.evaluate(paper)
    page.emulate_media(color_scheme="dark")
    for _ in range(50):
        if page.evaluate(paper) != light:
            break
        page.wait_for_timeout(100)
    assert page.evaluate(paper) != light
    assert page.evaluate(paper) == page.evaluate("getComputedStyle(document.body).backgroundColor")
    page.close()


def test_no_button_sends_a_chart_away(browser: Browser, place: str) -> None:
    page, _ = opened(browser, place, 1024, "light")
    titles = page.evaluate(
        "[...document.querySelectorAll('.modebar-btn')].map(b => b.dataset.title || b.title)"
    )
    assert titles
    assert not [title for title in titles if re.search("cloud|share|edit", title, re.IGNORECASE)]
    page.close()


def test_plotly_s_buttons_lie_over_no_legend_where_nothing_hovers(
    browser: Browser, place: str
) -> None:
    shown = "[...document.querySelectorAll('.modebar')].filter(bar => bar.offsetWidth).length"
    page, _ = opened(browser, place, 820, "light")
    assert page.evaluate(shown) > 0
    page.close()
    page = browser.new_page(viewport={"width": 820, "height": 900}, has_touch=True)
    page.goto(place)
    page.wait_for_selector("html[data-drawn=yes]", state="attached")
    assert page.evaluate(shown) == 0
    page.close()


@pytest.mark.parametrize("theme", ["light", "dark"])
def test_a_table_that_is_cut_shows_a_shadow_at_the_edge_that_scrolls(
    browser: Browser, place: str, theme: str
) -> None:
    page, _ = opened(browser, place, 390, theme)
    sheet = page.locator("#lengths .sheet")
    sheet.scroll_into_view_if_needed()
    assert sheet.evaluate("s => s.scrollWidth > s.clientWidth + 20")
    page.add_style_tag(content="#lengths caption { color: transparent; }")
    box = sheet.bounding_box()
    assert box is not None
    for left in (0.0, box["width"] - 12):
        edge = {"x": box["x"] + left, "y": box["y"] + 4, "width": 12, "height": 16}
        looks = []
        for way in (0, 9999):
            sheet.evaluate("(s, way) => { s.scrollLeft = way; }", way)
            looks.append(page.screenshot(clip=edge))  # type: ignore[arg-type]
        assert looks[0] != looks[1]
    page.close()


def test_no_legend_or_label_is_cut_off_on_a_phone(browser: Browser, place: str) -> None:
    page, _ = opened(browser, place, 390, "light")
    cut = page.evaluate(
        """[...document.querySelectorAll('.plot')].flatMap(plot => {
          const box = plot.getBoundingClientRect();
          return [...plot.querySelectorAll('.legendtext, .annotation-text, .xtitle, .ytitle')]
            .filter(t => { const r = t.getBoundingClientRect();
              return r.width && (r.left < box.left - 1 || r.right > box.right + 1
                || r.top < box.top - 1 || r.bottom > box.bottom + 1); })
            .map(t => t.textContent); })"""
    )
    assert cut == []
    page.close()


def test_keyboard_reaches_the_skip_link_first(browser: Browser, place: str) -> None:
    page, _ = opened(browser, place, 1024, "light")
    page.keyboard.press("Tab")
    assert page.evaluate("document.activeElement.getAttribute('href')") == "#main"
    page.close()


def test_page_prints_on_a4_with_its_pictures_narrow_enough(browser: Browser, place: str) -> None:
    page, wrong = opened(browser, place, 1440, "dark")
    printed = page.pdf(format="A4", prefer_css_page_size=True, print_background=True)
    assert printed.startswith(b"%PDF")
    boxes = {
        tuple(map(float, m)) for m in re.findall(rb"/MediaBox \[0 0 ([\d.]+) ([\d.]+)\]", printed)
    }
    assert len(boxes) == 1
    assert next(iter(boxes)) == pytest.approx((595.3, 841.9), abs=1.5)
    assert wrong == []
    page.evaluate("dispatchEvent(new Event('beforeprint'))")
    widths = page.evaluate(
        "[...document.querySelectorAll('.main-svg')].map(s => s.getBoundingClientRect().width)"
    )
    assert max(widths) <= 695
    page.evaluate("dispatchEvent(new Event('afterprint'))")
    page.close()


def test_paper_shows_what_is_folded_on_the_screen(browser: Browser, advised: str) -> None:
    page, _ = opened(browser, advised, 1024, "light")
    folded = "[...document.querySelectorAll('details')].map(d => d.open)"
    assert page.evaluate(folded) == [False]
    page.evaluate("dispatchEvent(new Event('beforeprint'))")
    assert page.evaluate(folded) == [True]
    page.evaluate("dispatchEvent(new Event('afterprint'))")
    assert page.evaluate(folded) == [False]
    page.close()


def test_paper_shows_the_names_of_the_blocks(browser: Browser, place: str) -> None:
    page, _ = opened(browser, place, 1024, "light")
    page.evaluate("dispatchEvent(new Event('beforeprint'))")
    names = page.evaluate(
        """[...document.querySelectorAll('#plot-swum .bartext')]
          .filter(word => word.getBoundingClientRect().width).map(word => word.textContent)"""
    )
    assert names == ["4 x 25alternating", "4 x 25steady"]
    page.close()


def test_on_paper_what_leads_over_stays_with_what_follows(browser: Browser, advised: str) -> None:
    page, _ = opened(browser, advised, 1024, "light")
    page.emulate_media(media="print")
    kept = page.evaluate(
        """['h2', 'h3', 'section > .reading', 'summary', '.aim dt'].map(where =>
          getComputedStyle(document.querySelector(where)).breakAfter)"""
    )
    assert kept == ["avoid"] * 4 + ["auto"]
    page.close()
