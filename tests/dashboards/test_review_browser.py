"""The review in a real browser: plots and video as one, measuring, and nothing lost or leaked."""

from __future__ import annotations

import math
import re
from collections.abc import Iterator
from importlib.resources import files
from typing import Literal

import numpy as np
import pytest
from playwright.sync_api import Browser, Page, expect

from sensorswim.figures.style import DARK_OF, PAPER
from sensorswim.formats.session_toml import read_marks, read_session
from sensorswim.model import Quality
from sensorswim.model.session import video_time
from sensorswim.rehearsal.film import HEIGHT_PX, WIDTH_PX, Camera
from tests.dashboards.conftest import MARKUP, Filmed, Served
from tests.dashboards.served import Watched, needs_chromium, watched

pytestmark = [needs_chromium, pytest.mark.long]
FRAME_S = 1 / 25
AXE = files("axe_playwright_python").joinpath("axe.min.js").read_text(encoding="utf-8")


@pytest.fixture(scope="module")
def shared(browser: Browser, kept: Served) -> Iterator[Watched]:
    """One page for all tests that change nothing in the session's files."""
    with watched(browser, kept.base) as seen:
        open_review(seen.page, kept.address)
        await_video(seen.page)
        yield seen


def open_review(page: Page, address: str) -> None:
    page.goto(address)
    page.wait_for_selector("#axis .xtitle", timeout=30_000)
    page.wait_for_selector("#picture-kicks .main-svg, .picture .nothing", timeout=30_000)


def await_video(page: Page) -> None:
    page.wait_for_function("() => document.getElementById('clip-video')?.readyState >= 2")


def moment(page: Page) -> float:
    return float(page.evaluate("window.sensorswimReview.state.t"))


def await_moment(page: Page, at_s: float, within_s: float = 0.002) -> None:
    """Wait until the page stands at a moment; it never comes there if it is wrong."""
    page.wait_for_function(
        "([t, d]) => { const now = window.sensorswimReview.state.t;"
        " return now !== null && Math.abs(now - t) <= d; }",
        arg=[at_s, within_s],
        timeout=30_000,
    )


def await_alike(page: Page, starts_at_s: float) -> None:
    """Wait until video and moment are within one frame."""
    page.wait_for_function(
        """([start, frame]) => {
          const video = document.getElementById('clip-video');
          const t = window.sensorswimReview.state.t;
          return !video.seeking && Math.abs(video.currentTime + start - t) <= frame;
        }""",
        arg=[starts_at_s, FRAME_S],
        timeout=30_000,
    )


def player(page: Page) -> float:
    page.wait_for_function("() => !document.getElementById('clip-video').seeking")
    return float(page.evaluate("document.getElementById('clip-video').currentTime"))


def click_plot(page: Page, share: float) -> None:
    """Click into the plot at a share of its width."""
    page.locator("#axis").scroll_into_view_if_needed()
    box = page.locator("#axis .nsewdrag").first.bounding_box()
    assert box is not None
    page.mouse.click(box["x"] + share * box["width"], box["y"] + 0.9 * box["height"])


def test_scrubbing_either_moves_the_other_within_a_frame(shared: Watched, filmed: Filmed) -> None:
    page = shared.page
    for share in (0.2, 0.38, 0.55):
        before = moment(page) if page.evaluate("window.sensorswimReview.state.t") else None
        click_plot(page, share)
        page.wait_for_function("t => window.sensorswimReview.state.t !== t", arg=before)
        await_alike(page, filmed.starts_at_s)
    for video_s in (9.98, 14.5, 18.21):
        page.evaluate(f"document.getElementById('clip-video').currentTime = {video_s}")
        await_moment(page, filmed.starts_at_s + video_s, FRAME_S)
        cursor, axis = page.evaluate(
            """(() => {
              const gd = document.querySelector('#axis .js-plotly-plot');
              const a = gd._fullLayout.xaxis;
              const x = document.getElementById('axis-cursor').getBoundingClientRect();
              return [a.p2d(x.left + 1 - gd.getBoundingClientRect().left - a._offset),
                a.range];
            })()"""
        )
        assert axis[0] <= cursor <= axis[1]
        assert abs(cursor - filmed.starts_at_s - video_s) <= FRAME_S


def test_the_keyboard_steps_by_stroke_and_frame(shared: Watched, filmed: Filmed) -> None:
    page = shared.page
    strokes = page.evaluate("window.sensorswimReview.state.moments.strokes")
    page.evaluate("window.sensorswimReview.moveTo(0)")
    page.focus("#moment-desk")
    page.keyboard.press("ArrowRight")
    await_moment(page, strokes[0])
    page.keyboard.press("ArrowRight")
    await_moment(page, strokes[1])
    page.keyboard.press("ArrowLeft")
    await_moment(page, strokes[0])
    await_alike(page, filmed.starts_at_s)
    before = player(page)
    page.keyboard.press(".")
    page.wait_for_function(
        "t => document.getElementById('clip-video').currentTime > t + 0.004", arg=before
    )
    assert player(page) - before == pytest.approx(FRAME_S, abs=0.004)
    page.keyboard.press("c")
    expect(page.locator("[data-step=loop]")).to_have_attribute("aria-pressed", "true")


def projected(filmed: Filmed, video_s: float) -> tuple[list[np.ndarray], float]:
    """Return the right arm's joints on the frame shown then, as shares, and the angle in it."""
    shown_s = math.floor(video_s / FRAME_S + 1e-6) * FRAME_S
    joints = filmed.truth.truth_extra["skeleton"].at(filmed.starts_at_s + shown_s)
    camera = Camera()
    points = [
        camera.project(joints[f"right_{name}"], joints["pelvis"])
        for name in ("shoulder", "elbow", "wrist")
    ]
    a, b = points[0] - points[1], points[2] - points[1]
    cosine = float(a @ b / np.linalg.norm(a) / np.linalg.norm(b))
    return [p / (WIDTH_PX, HEIGHT_PX) for p in points], math.degrees(math.acos(cosine))


def test_an_elbow_picked_on_the_frame_is_right_and_reaches_the_tables(
    browser: Browser, review: Served, filmed: Filmed
) -> None:
    strokes = filmed.truth.truth["arm_strokes"]
    middle = float(strokes.loc[strokes["side"] == "right", "mid_pull_s"].dropna().iloc[2])
    with watched(browser, review.base) as seen:
        page = seen.page
        open_review(page, f"{review.address}&t={middle:.3f}")
        await_video(page)
        page.get_by_text("Measure on this frame").click()
        page.get_by_label("Angle: three points, the joint second").check()
        points, truth_deg = projected(filmed, player(page))
        page.locator("#clip-video").scroll_into_view_if_needed()
        box = page.locator("#clip-video").bounding_box()
        assert box is not None
        for x, y in points:
            page.mouse.click(
                box["x"] + round(x * box["width"]), box["y"] + round(y * box["height"])
            )
        expect(page.locator("#measure-told")).to_contain_text("degrees")
        measured = float(re.findall(r"[\d.]+", page.locator("#measure-told").inner_text())[0])
        assert abs(measured - truth_deg) < 5.0
        page.get_by_role("button", name="Save as a mark").click()
        expect(page.locator("#measure-told")).to_contain_text("Saved")
        page.reload()
        page.wait_for_selector("#axis .xtitle", timeout=30_000)
        await_moment(page, middle)
    mark = read_marks(review.folder, Quality())[0]
    assert (mark.kind, mark.unit, mark.view) == ("right_elbow_angle", "deg", "side")
    assert mark.value == pytest.approx(measured, abs=0.1)
    assert mark.session_s == pytest.approx(middle, abs=FRAME_S)


def test_knocks_in_the_sound_place_the_clip_within_a_frame(
    browser: Browser, review: Served, filmed: Filmed
) -> None:
    path = review.folder / "session.toml"
    path.write_text(re.sub(r"starts_at_s = .*\n", "", path.read_text()))
    with watched(browser, review.base) as seen:
        page = seen.page
        open_review(page, review.address)
        expect(page.locator("#clip-place")).to_contain_text("not known yet")
        page.get_by_text("Place in time", exact=True).click()
        page.get_by_role("button", name="Listen for the knocks").click()
        expect(page.locator("#clip-place")).to_contain_text("knocks heard", timeout=15_000)
    placed = video_time(read_session(review.folder, Quality()).videos[0])
    assert placed is not None
    assert abs(-placed[0] / placed[1] - filmed.starts_at_s) <= FRAME_S


def test_a_breath_is_marked_by_eye_and_taken_back(browser: Browser, review: Served) -> None:
    with watched(browser, review.base) as seen:
        page = seen.page
        open_review(page, f"{review.address}&t=15.0")
        page.get_by_text("Mark a breath").click()
        page.get_by_role("button", name="Exhale starts").click()
        expect(page.locator("#mark-told")).to_contain_text("Exhale starts: marked")
        page.evaluate(  # within one task: no hand is quicker
            """() => ["[data-step=frame-on]", "#mark-mouth_clear"]
                .forEach((name) => document.querySelector(name).click())"""
        )
        expect(page.locator("#mark-told")).to_contain_text("Mouth clear: marked")
        expect(page.locator("#breath-steps td").nth(1)).to_have_text("0.04")
        page.get_by_role("button", name="Take the last mark back").click()
        expect(page.locator("#mark-told")).to_contain_text("taken back")
    assert [mark.kind for mark in read_marks(review.folder, Quality())] == ["exhale_start"]


def test_names_with_markup_stay_text(shared: Watched) -> None:
    page = shared.page
    assert MARKUP in page.locator("h1").inner_text()
    assert page.locator("#planted").count() == 0
    assert page.locator("svg b, svg i").count() == 0
    assert "<b>set</b>" in page.locator("#strip").inner_text().replace("\n", " ")


def test_a_session_works_without_any_video(browser: Browser, review: Served) -> None:
    told = read_session(review.folder, Quality())
    (review.folder / "side.webm").unlink()
    text = (review.folder / "session.toml").read_text()
    (review.folder / "session.toml").write_text(text[: text.index("[[video]]")])
    assert told.videos
    with watched(browser, review.base) as seen:
        page = seen.page
        open_review(page, review.address)
        expect(page.locator("#video-panel")).to_contain_text("works without one")
        click_plot(page, 0.5)
        page.wait_for_function("() => window.sensorswimReview.state.t !== null")
        before = moment(page)
        page.get_by_role("button", name="Play or pause").click()
        page.wait_for_function("t => window.sensorswimReview.state.t > t + 0.2", arg=before)
        page.get_by_role("button", name="Play or pause").click()
        expect(page.locator("[data-step=play]")).to_have_attribute("aria-pressed", "false")


def test_dragging_the_plot_brings_what_lies_beside(shared: Watched) -> None:
    page = shared.page
    turn = page.evaluate("document.querySelector('#axis > div').layout.uirevision")
    page.get_by_role("button", name="Show the whole session").click()
    page.wait_for_function(
        "turn => document.querySelector('#axis > div').layout.uirevision !== turn", arg=turn
    )
    page.locator("#axis").scroll_into_view_if_needed()
    box = page.locator("#axis .nsewdrag").first.bounding_box()
    assert box is not None
    first = page.locator("#axis-words").inner_text()
    drawn = page.evaluate_handle("document.querySelector('#axis > div').data[0].x")
    page.mouse.move(box["x"] + 0.3 * box["width"], box["y"] + 10)
    page.mouse.down()
    page.mouse.move(box["x"] + 0.8 * box["width"], box["y"] + 10, steps=4)
    page.mouse.up()
    expect(page.locator("#axis-words")).not_to_have_text(first)
    there = page.locator("#axis-words").inner_text()
    assert page.evaluate("old => document.querySelector('#axis > div').data[0].x !== old", drawn)
    page.get_by_role("button", name="Light or dark look").click()
    page.wait_for_function(
        "dark => document.querySelector('#axis > div')._fullLayout.paper_bgcolor === dark",
        arg=DARK_OF[PAPER],
    )
    assert page.locator("#axis-words").inner_text() == there
    page.get_by_role("button", name="Light or dark look").click()
    page.wait_for_function(
        "dark => document.querySelector('#axis > div')._fullLayout.paper_bgcolor !== dark",
        arg=DARK_OF[PAPER],
    )
    assert page.locator("#axis-words").inner_text() == there


def test_a_table_row_moves_the_moment(shared: Watched) -> None:
    page = shared.page
    page.locator("#sheet-box").scroll_into_view_if_needed()
    page.wait_for_selector("#grid .ag-row", timeout=30_000)
    page.locator("#grid .ag-row").first.locator(".ag-cell").nth(1).click()
    starts = [a for _, a, _ in page.evaluate("window.sensorswimReview.state.moments.lengths")]
    await_moment(page, starts[0])


def test_the_tables_library_is_fetched_when_the_reader_comes_near(
    browser: Browser, kept: Served
) -> None:
    with watched(browser, kept.base) as seen:
        asked: list[str] = []
        seen.page.on("request", lambda request: asked.append(request.url))
        seen.page.goto(kept.address)
        seen.page.wait_for_selector(".picture .main-svg")
        early = [url for url in asked if "dash_ag_grid" in url or "dash_table" in url]
        seen.page.locator("#sheet-box").scroll_into_view_if_needed()
        seen.page.wait_for_selector("#grid .ag-row")
        assert early == []
        assert len([url for url in asked if "dash_ag_grid.v" in url]) == 1
        assert not any("dash_table" in url for url in asked)
        assert seen.page.evaluate("Error.stackTraceLimit") == 10


def test_pictures_come_although_the_plot_is_drawn_late(browser: Browser, kept: Served) -> None:
    """The figure is told before plotly has drawn it: what waits for it must not miss it."""
    late = """
      let real;
      Object.defineProperty(window, 'Plotly', {configurable: true, get: () => real, set: (p) => {
        const slow = (draw) => async (...all) => {
          await new Promise((then) => setTimeout(then, 1500));
          return draw(...all);
        };
        p.newPlot = slow(p.newPlot); p.react = slow(p.react);
        real = p;
      }});
    """
    with watched(browser, kept.base) as seen:
        seen.page.add_init_script(late)
        starts_s = 15.0
        seen.page.goto(f"{kept.address}&t={starts_s}")
        seen.page.wait_for_selector(".picture", timeout=30_000)
        seen.page.wait_for_selector("#axis-cursor:not([hidden])", timeout=30_000, state="attached")
        await_moment(seen.page, starts_s)


@pytest.mark.parametrize(
    ("width", "height", "scheme"), [(1440, 900, "light"), (1024, 768, "dark"), (390, 844, "light")]
)
def test_no_serious_accessibility_fault_and_no_sideways_scroll(
    shared: Watched, width: int, height: int, scheme: Literal["light", "dark"]
) -> None:
    page = shared.page
    page.set_viewport_size({"width": width, "height": height})
    page.emulate_media(color_scheme=scheme, reduced_motion="reduce")
    page.evaluate("document.querySelectorAll('details').forEach(part => { part.open = true; })")
    page.wait_for_timeout(700)
    assert page.evaluate("document.documentElement.scrollWidth") <= width
    page.evaluate(AXE)
    answer = page.evaluate("axe.run(document, {resultTypes: ['violations']})")
    serious = [
        (fault["id"], [node["html"][:120] for node in fault["nodes"]])
        for fault in answer["violations"]
        if fault["impact"] in ("serious", "critical")
    ]
    assert serious == []


def test_sessions_are_listed_and_opened(browser: Browser, review: Served) -> None:
    with watched(browser, review.base) as seen:
        page = seen.page
        page.goto(review.base)
        page.get_by_role("link", name=re.compile("Ida")).click()
        page.wait_for_selector("#axis .xtitle", timeout=30_000)


def test_a_broken_session_tells_what_is_wrong(browser: Browser, review: Served) -> None:
    (review.folder / "session.toml").write_text("format = 1\nswimmer = '<img src=x>'\n")
    with watched(browser, review.base) as seen:
        seen.page.goto(review.address)
        expect(seen.page.locator(".problem")).to_contain_text("started_at")
        assert seen.page.locator("img").count() == 0
