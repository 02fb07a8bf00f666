"""The handout's words, edited on the review page: kept, restored, and in the handout as text."""

from __future__ import annotations

from datetime import date

import pytest
from playwright.sync_api import Browser, Page, expect

from sensorswim.advice import HANDOUT_FILE
from sensorswim.formats.handout_toml import OWN_FOLDER, WORDS_FILE, read_words, write_consent
from sensorswim.model.handout import Agreement, Consent
from tests.dashboards.conftest import Served
from tests.dashboards.served import needs_chromium, watched

pytestmark = [needs_chromium, pytest.mark.long]
GREETING = "Well swum. <b id=planted>Rest</b> a day."


def open_words(page: Page, review: Served) -> None:
    page.goto(review.address)
    page.get_by_text("Edit the words").click(timeout=30_000)


def test_words_are_kept_as_they_are_written_and_reach_the_handout(
    browser: Browser, review: Served
) -> None:
    with watched(browser, review.base) as seen:
        page = seen.page
        open_words(page, review)
        page.get_by_label("Greeting", exact=True).fill(GREETING)
        expect(page.locator("#words-told")).to_contain_text("Kept")
        assert read_words(review.folder / OWN_FOLDER / WORDS_FILE).greeting == GREETING
        open_words(page, review)
        expect(page.get_by_label("Greeting", exact=True)).to_have_value(GREETING)
        page.get_by_role("button", name="Make the handout").click()
        expect(page.locator("#being-made")).to_be_visible()
        saved = page.get_by_role("link", name="Save the handout")
        with page.expect_download(timeout=60_000) as download:
            saved.click(timeout=60_000)
        text = download.value.path().read_text(encoding="utf-8")
        assert "&lt;b id=planted&gt;Rest" in text
        assert "<b id=planted>" not in text
        expect(page.get_by_role("link", name="Open the PDF")).to_be_visible()
        expect(page.locator("#being-made")).to_be_hidden()
        assert page.locator("#planted").count() == 0


def test_a_text_goes_back_to_its_first_words(browser: Browser, review: Served) -> None:
    with watched(browser, review.base) as seen:
        page = seen.page
        open_words(page, review)
        title = page.get_by_label("Title", exact=True)
        first = title.input_value()
        back = page.get_by_role("button", name="Back to the first words: Title")
        expect(back).to_be_hidden()
        title.fill("Another title")
        back.click()
        expect(title).to_have_value(first)
        expect(back).to_be_hidden()
        assert read_words(review.folder / OWN_FOLDER / WORDS_FILE).title == first


def test_only_the_handout_itself_is_given_out(browser: Browser, review: Served) -> None:
    key = review.address.rpartition("=")[2]
    with watched(browser, review.base) as seen:
        address = f"{review.base}/handout/{key}"
        for name in (HANDOUT_FILE, "plan.toml"):
            assert seen.page.request.get(f"{address}/{name}").status == 404
        outside = seen.page.request.get(f"{address}/..%2Fsession.toml").text()
        assert "pool_length_m" not in outside


def test_a_film_of_the_moment_needs_consent_and_shows_what_was_measured(
    browser: Browser, review: Served
) -> None:
    with watched(browser, review.base) as seen:
        page = seen.page
        page.goto(review.address)
        page.wait_for_selector("#axis .xtitle", timeout=30_000)
        film = page.get_by_role("button", name="Film of the moment on screen")
        film.click()
        expect(page.locator("#film-made")).to_contain_text("Choose a moment")
        page.locator("#axis .nsewdrag").first.click(position={"x": 60, "y": 60})
        film.click()
        expect(page.locator("#film-made")).to_contain_text("no video leaves without consent")
        day = date(2020, 1, 1)
        agreed = Agreement(
            name="Ida", sensing=True, filming=True, agreed_on=day, until=day.replace(year=2100)
        )
        write_consent(Consent(agreements=(agreed,)), review.folder)
        film.click()
        with page.expect_download(timeout=60_000) as download:
            page.get_by_role("link", name="Save the film").click(timeout=60_000)
        assert download.value.path().stat().st_size > 1000
