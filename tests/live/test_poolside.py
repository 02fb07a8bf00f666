"""The poolside page in a browser, and who may look and change."""

from __future__ import annotations

import json
import re
import shutil
import socket
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest
import uvicorn
from playwright.sync_api import Browser, WebSocketRoute, expect
from starlette.testclient import TestClient
from starlette.websockets import WebSocketDisconnect

from sensorswim.dashboards.poolside import Phrases, poolside_app
from sensorswim.dashboards.poolside.app import carry_out
from sensorswim.dashboards.poolside.door import LASTS_S
from sensorswim.errors import SensorswimError
from sensorswim.formats.session_toml import read_marks
from sensorswim.live.build import Built
from sensorswim.live.card import Aim
from sensorswim.live.watch import LiveHub, LiveSwimmer
from sensorswim.model import Quality
from tests.dashboards.served import chromium, needs_chromium, served, watched
from tests.live.chain import Chain

pytestmark = pytest.mark.long

SIZES = [(1024, 768, "light"), (390, 844, "light"), (1440, 900, "dark")]
SLOW_MS = 30_000
RATE = re.compile(r"^(2[7-9]|3[0-4])\.\d$")
PHRASES = {"viewer": "three blue floats", "coach": "count the tiles", "hosts": ("pool.local",)}


@pytest.fixture(scope="module")
def browser() -> Iterator[Browser]:
    with chromium() as running:
        yield running


@pytest.fixture
def folder(recorded: tuple[Chain, Built], tmp_path: Path) -> Path:
    return Path(shutil.copytree(recorded[0].folder, tmp_path / "swim"))


def app_of(folder: Path, **more: object) -> object:
    return poolside_app(LiveHub([], root=folder), place=str(folder), **more)


@needs_chromium
@pytest.mark.parametrize(("width", "height", "scheme"), SIZES)
def test_a_card_fits_the_screen_and_shows_figures_with_strong_contrast(
    browser: Browser, folder: Path, width: int, height: int, scheme: str
) -> None:
    with (
        served(app_of(folder)) as base,
        watched(browser, base, width=width, height=height, scheme=scheme) as seen,
    ):
        page = seen.page
        page.goto(base)
        card = page.locator(".live-card")
        expect(card.locator(".live-figure b").first).to_have_text(RATE, timeout=SLOW_MS)
        expect(card.locator("h2")).to_have_text("I")
        expect(card.locator(".live-table")).to_contain_text("Length 2")
        expect(card.locator(".live-sensors li")).to_have_count(4)
        assert card.locator(".live-rhythm text").count() >= 20
        assert page.evaluate("document.documentElement.scrollWidth <= innerWidth")
        assert contrast(page.evaluate(COLOURS)) >= 7.0
        small = page.evaluate(
            "[...document.querySelectorAll('.live-buttons button')]"
            ".map(b => b.getBoundingClientRect().height)"
        )
        assert min(small) >= 48


@needs_chromium
def test_a_difference_has_its_sign_and_one_that_rounds_to_nothing_has_no_minus(
    browser: Browser, folder: Path
) -> None:
    breaths = [
        {"side": "left", "hold_s": 0.5, "excess_s": excess_s, "at_s": 20.0}
        for excess_s in (-0.004, -0.2, 0.12, None)
    ]

    def with_breaths(route: WebSocketRoute) -> None:
        def pass_on(text: str | bytes) -> None:
            message = json.loads(text)
            if message.get("figures"):
                message["figures"]["breaths"] = {"shown": breaths, "at_s": 20.0}
            route.send(json.dumps(message))

        route.connect_to_server().on_message(pass_on)

    with served(app_of(folder)) as base, watched(browser, base) as seen:
        seen.page.route_web_socket("**/ws/live", with_breaths)
        seen.page.goto(base)
        rows = seen.page.locator(".live-card li").filter(has_text="left 0.50")
        expect(rows).to_have_text(
            ["left 0.50 (+0.00)", "left 0.50 (−0.20)", "left 0.50 (+0.12)", "left 0.50"],
            timeout=SLOW_MS,
        )


COLOURS = """(() => { const s = getComputedStyle(document.querySelector('.live-card'));
  return [s.color, s.backgroundColor].map(c => c.match(/[0-9.]+/g).slice(0, 3).map(Number)); })()"""


def contrast(colours: list[list[float]]) -> float:
    """Return the contrast of two sRGB colours by WCAG 2.2."""

    def luminance(colour: list[float]) -> float:
        parts = [c / 255 for c in colour]
        linear = [c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in parts]
        return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]

    low, high = sorted(luminance(c) for c in colours)
    return (high + 0.05) / (low + 0.05)


@needs_chromium
def test_a_tap_marks_the_moment_and_an_aim_is_told_in_word_and_shape(
    browser: Browser, folder: Path
) -> None:
    with served(app_of(folder)) as base, watched(browser, base) as seen:
        page = seen.page
        page.goto(base)
        expect(page.locator(".live-table")).to_contain_text("Length 2", timeout=SLOW_MS)
        page.get_by_role("button", name="Felt 4 kicks").click()
        expect(page.locator(".live-said")).to_contain_text("Marked: felt kick beat")
        page.get_by_text("Aim and note").click()
        page.get_by_role("button", name="Set the aim").click()
        expect(page.locator(".live-aim.there .word")).to_contain_text("there: 6.")
        page.locator(".live-form select").nth(1).select_option("at_most")
        page.get_by_role("button", name="Set the aim").click()
        expect(page.locator(".live-aim.above .shape")).to_have_text("▲")
    marks = read_marks(folder, Quality())
    assert [(m.kind, m.value) for m in marks] == [("felt_kick_beat", 4.0)]
    assert LiveSwimmer(folder).aims == (Aim(column="kicks_per_cycle", at_most=4.0),)


@contextmanager
def server_at(app: object, port: int) -> Iterator[None]:
    door = socket.socket()
    door.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
    door.bind(("127.0.0.1", port))
    config = uvicorn.Config(app.server, log_level="error", timeout_graceful_shutdown=1)
    server = uvicorn.Server(config)
    thread = threading.Thread(target=server.run, kwargs={"sockets": [door]}, daemon=True)
    thread.start()
    while not server.started:
        time.sleep(0.02)
    yield
    server.should_exit = True
    thread.join(10)
    door.close()


@needs_chromium
def test_a_page_that_lost_its_server_says_so_and_catches_up(browser: Browser, folder: Path) -> None:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        port = probe.getsockname()[1]
    page = browser.new_page()
    with server_at(app_of(folder), port):
        page.goto(f"http://127.0.0.1:{port}/")
        expect(page.locator("#link-state")).to_have_text("● Connected", timeout=SLOW_MS)
        expect(page.locator(".live-table")).to_contain_text("Length 2", timeout=SLOW_MS)
    expect(page.locator("#link-state")).to_contain_text("No connection for", timeout=SLOW_MS)
    expect(page.locator(".live-figure b").first).to_have_text(RATE)
    with server_at(app_of(folder), port):
        expect(page.locator("#link-state")).to_have_text("● Connected", timeout=SLOW_MS)
    page.close()


@needs_chromium
def test_with_nothing_recorded_the_page_says_what_to_do(browser: Browser, tmp_path: Path) -> None:
    with served(app_of(tmp_path / "later")) as base, watched(browser, base) as seen:
        seen.page.goto(base)
        expect(seen.page.locator("#live-nothing")).to_be_visible(timeout=SLOW_MS)
        expect(seen.page.locator("#live-nothing")).to_contain_text("--swimmer NAME")


@needs_chromium
def test_eight_swimmers_one_without_an_ankle_fit_a_tablet(
    browser: Browser, folder: Path, tmp_path: Path
) -> None:
    root = tmp_path / "squad"
    for number in range(8):
        shutil.copytree(folder, root / f"swimmer{number}")
    next((root / "swimmer3" / "radio").glob("*c45*.seg")).unlink()
    size = {"width": 1024, "height": 768}
    with served(app_of(root)) as base, watched(browser, base, **size) as seen:
        seen.page.goto(base)
        expect(seen.page.locator(".live-card")).to_have_count(8, timeout=SLOW_MS)
        expect(seen.page.locator(".live-sensors li")).to_have_count(31, timeout=SLOW_MS)
        assert seen.page.evaluate("document.documentElement.scrollWidth <= innerWidth")


def client_of(folder: Path, phrases: Phrases) -> TestClient:
    app = app_of(folder, phrases=phrases)
    return TestClient(app.server, base_url="http://pool.local:8765", follow_redirects=False)


def enter(client: TestClient, phrase: str) -> int:
    return client.post("/enter", data={"phrase": phrase}).status_code


SOCKET = "ws://pool.local:8765/ws/live"
OWN = {"origin": "http://pool.local:8765"}


def test_other_machines_see_nothing_without_the_phrase(folder: Path) -> None:
    client = client_of(folder, Phrases(**PHRASES))
    for path in ("/", "/_dash-layout", "/static/own/poolside.js"):
        answer = client.get(path)
        assert answer.status_code == 401
        assert "Nothing is being recorded" not in answer.text
    with pytest.raises(WebSocketDisconnect), client.websocket_connect(SOCKET, headers=OWN):
        pass


def test_five_wrong_phrases_close_the_door_for_a_while(folder: Path) -> None:
    client = client_of(folder, Phrases(**PHRASES))
    assert [enter(client, f"guess number {n}") for n in range(6)] == [401] * 5 + [429]
    assert enter(client, PHRASES["viewer"]) == 429


def test_a_viewer_looks_and_the_coach_changes(folder: Path) -> None:
    for role, allowed in (("viewer", False), ("coach", True)):
        client = client_of(folder, Phrases(**PHRASES))
        assert enter(client, PHRASES[role]) == 303
        with client.websocket_connect(SOCKET, headers=OWN) as live:
            assert live.receive_json()["coach"] is allowed
            assert live.receive_json()["kind"] == "card"
            live.send_json({"do": "aims", "key": "swim", "aims": [{"column": "kicks_per_cycle"}]})
            said = next(m for m in iter(live.receive_json, None) if m["kind"] == "said")
            assert (said["text"] == "Aim kept.") is allowed
    assert len(LiveSwimmer(folder).aims) == 1


def test_another_sites_page_gets_no_figures(folder: Path) -> None:
    client = client_of(folder, Phrases(**PHRASES))
    assert enter(client, PHRASES["viewer"]) == 303
    foreign = {"origin": "http://evil.example"}
    with pytest.raises(WebSocketDisconnect), client.websocket_connect(SOCKET, headers=foreign):
        pass


def test_cookies_expire_and_cannot_be_forged() -> None:
    phrases, others = Phrases(**PHRASES), Phrases(**PHRASES)
    ticket = phrases.ticket("viewer", 1000.0)
    assert phrases.role_in(ticket, 1000.0) == "viewer"
    assert phrases.role_in(ticket, 1001.0 + LASTS_S) is None
    assert phrases.role_in(ticket.replace("viewer", "coach"), 1000.0) is None
    assert others.role_in(ticket, 1000.0) is None
    assert phrases.role_in("", 0.0) is None


@pytest.mark.parametrize("phrases", [{"viewer": "short"}, {"viewer": "a" * 9, "coach": "a" * 9}])
def test_weak_phrases_are_refused(phrases: dict[str, str]) -> None:
    with pytest.raises(SensorswimError):
        Phrases(**phrases)


def test_names_are_initials_unless_asked_for(folder: Path) -> None:
    for names, shown in ((False, "I"), (True, "Invented")):
        app = poolside_app(LiveHub([folder]), place="x", names=names)
        client, own = TestClient(app.server), {"origin": "http://127.0.0.1:8765"}
        with client.websocket_connect("ws://127.0.0.1:8765/ws/live", headers=own) as live:
            live.receive_json()
            cards = [live.receive_json() for _ in range(3)]
        assert cards[-1]["shown"] == shown
        assert all("name" not in card for card in cards)


@pytest.mark.parametrize(
    "message",
    [{"do": "mark", "mark": "shout"}, {"do": "aims", "aims": [{"column": "no_such"}]}, {"do": 1}],
)
def test_what_a_page_may_not_ask_for_is_refused(folder: Path, message: dict) -> None:
    with pytest.raises(SensorswimError):
        carry_out(LiveSwimmer(folder), message)
