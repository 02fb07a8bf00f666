"""An app served in a thread, and a browser that notes everything that goes wrong."""

from __future__ import annotations

import contextlib
import os
import shutil
import socket
import threading
import time
from collections.abc import Iterator
from dataclasses import dataclass, field
from typing import Any

import dash
import pytest
import uvicorn
from playwright.sync_api import Browser, Page, sync_playwright

CHROMIUM = shutil.which("chromium")
INSTALL = "no chromium: apt-get install -y chromium"
needs_chromium = pytest.mark.skipif(
    CHROMIUM is None and os.environ.get("CI") != "true", reason=INSTALL
)


@contextlib.contextmanager
def served(app: dash.Dash) -> Iterator[str]:
    """Serve an app on a free port of this machine and yield its address."""
    door = socket.socket()
    door.bind(("127.0.0.1", 0))
    server = uvicorn.Server(
        uvicorn.Config(app.server, log_level="warning", timeout_graceful_shutdown=2)
    )
    thread = threading.Thread(target=server.run, kwargs={"sockets": [door]}, daemon=True)
    thread.start()
    while not server.started:
        time.sleep(0.02)
    yield f"http://127.0.0.1:{door.getsockname()[1]}"
    server.should_exit = True
    thread.join(10)
    assert not thread.is_alive()


@contextlib.contextmanager
def chromium() -> Iterator[Browser]:
    """Yield the system's Chromium."""
    assert CHROMIUM is not None, INSTALL
    with sync_playwright() as play:
        browser = play.chromium.launch(executable_path=CHROMIUM, args=["--no-sandbox"])
        yield browser
        browser.close()


@dataclass
class Watched:
    """A page, with what went wrong on it or left this machine."""

    page: Page
    wrong: list[str] = field(default_factory=list)


@contextlib.contextmanager
def watched(
    browser: Browser, base: str, *, width: int = 1440, height: int = 900, scheme: str = "light"
) -> Iterator[Watched]:
    """Yield a new page; at its end nothing may have gone wrong or been asked elsewhere."""
    options: dict[str, Any] = {"color_scheme": scheme, "reduced_motion": "reduce"}
    context = browser.new_context(viewport={"width": width, "height": height}, **options)
    context.set_default_timeout(90_000)
    seen = Watched(page=context.new_page())
    own = (base, base.replace("http:", "ws:"), "data:", "blob:")
    seen.page.on(
        "console",
        lambda m: seen.wrong.append(m.text) if m.type in ("error", "warning") else None,
    )
    seen.page.on("pageerror", lambda error: seen.wrong.append(str(error)))
    seen.page.on(
        "request",
        lambda r: None if r.url.startswith(own) else seen.wrong.append(f"asked for {r.url}"),
    )
    yield seen
    assert seen.wrong == []
    context.close()
