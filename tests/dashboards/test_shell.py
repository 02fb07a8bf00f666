"""What all dashboards share: who may ask, what may be loaded, how the frame looks."""

from __future__ import annotations

import importlib
import re
import socket

import pytest
from dash import html
from starlette.testclient import TestClient

from sensorswim.dashboards.components import LOOPBACK, Page, frame, new_app
from sensorswim.dashboards.components.server import serve
from sensorswim.errors import SensorswimError
from sensorswim.report.words import CAUTIONS


def small_app() -> TestClient:
    app = new_app("Trial", pages=[Page(path="/", name="Start")])
    app.layout = frame(app, main=html.H1("Hello"))

    @app.server.post("/change")
    async def change() -> dict[str, bool]:
        return {"changed": True}

    return TestClient(app.server, base_url="http://127.0.0.1:8765")


def test_own_names_are_served_and_strange_hosts_are_not() -> None:
    client = small_app()
    assert client.get("/").status_code == 200
    assert client.get("/", headers={"host": "localhost:8765"}).status_code == 200
    assert client.get("/", headers={"host": "evil.example"}).status_code == 403
    assert (
        client.get("/_dash-layout", headers={"host": "127.0.0.1.evil.example"}).status_code == 403
    )


def test_another_site_can_change_nothing() -> None:
    client = small_app()
    assert client.post("/change").json() == {"changed": True}
    own = {"origin": "http://127.0.0.1:8765"}
    assert client.post("/change", headers=own).status_code == 200
    for origin in ("http://evil.example", "null", "http://127.0.0.1:9999"):
        assert client.post("/change", headers={"origin": origin}).status_code == 403


def test_every_answer_keeps_the_page_from_loading_from_elsewhere() -> None:
    client = small_app()
    for path in ("/", "/_dash-layout", "/static/shared/shell.js"):
        policy = client.get(path).headers["content-security-policy"]
        assert "default-src 'none'" in policy
        assert "http" not in policy
        assert "unsafe-eval" not in policy
        assert "script-src 'self' 'sha256-" in policy


def test_the_page_names_its_language_and_asks_for_nothing_outside() -> None:
    page = small_app().get("/").text
    assert '<html lang="en">' in page
    assert 'src="http' not in page
    assert 'href="http' not in page


def test_the_frame_shows_every_caution() -> None:
    layout = small_app().get("/_dash-layout").text
    for line in CAUTIONS:
        assert line in layout


def test_a_taken_port_is_told_in_one_line() -> None:
    with socket.socket() as taken:
        taken.bind((LOOPBACK, 0))
        taken.listen()
        with pytest.raises(SensorswimError, match="give another --port"):
            serve(new_app("Trial"), port=taken.getsockname()[1], opened=False)


def test_the_dashboards_are_found_beside_the_package_or_in_the_top_folder() -> None:
    package = importlib.import_module("sensorswim.dashboards")
    assert importlib.import_module("sensorswim.dashboards.components").new_app is new_app
    assert any("dashboards" in place for place in package.__path__)


def test_a_page_reads_no_script_that_waits_and_none_that_is_unused() -> None:
    app = new_app("Trial", later=("dash_mantine_components",))
    app.layout = frame(app, main=html.H1("Hello"))
    page = TestClient(app.server, base_url="http://127.0.0.1:8765").get("/").text
    tags = re.findall(r"<script[^>]*\bsrc=[^>]*>", page)
    assert tags[0] == '<script src="/static/shared/early/start.js">'
    waiting = [tag for tag in tags if 'type="later"' in tag]
    assert len(waiting) == 1
    assert "/dash_mantine_components/" in waiting[0]
    assert any("/dash/dcc/" in tag for tag in tags)
    assert not any("dash_table" in tag or "polyfill" in tag for tag in tags)
    assert 'type="later"' not in small_app().get("/").text


def test_dash_waits_where_something_is_seen_before_it() -> None:
    app = new_app("Trial", later=("dash_ag_grid",), seen_first=True)
    app.layout = frame(app, main=html.H1("Hello"))
    page = TestClient(app.server, base_url="http://127.0.0.1:8765").get("/").text
    suites = re.findall(r"<script[^>]*/_dash-component-suites/[^>]*>", page)
    assert {re.findall(r'type="(\w+)"', tag)[0] for tag in suites} == {"dash", "later"}
    assert '<script id="_dash-renderer" type="dash">' in page
    assert '<script src="/static/shared/shell.js">' in page
    assert 'type="dash"' not in small_app().get("/").text
