"""Who may look from other machines: a pass phrase, a signed cookie that expires, few tries."""

from __future__ import annotations

import hashlib
import hmac
import html
import secrets
import time
from collections import deque
from dataclasses import dataclass, field
from typing import Final
from urllib.parse import parse_qs

from starlette.requests import Request
from starlette.responses import HTMLResponse, RedirectResponse, Response
from starlette.types import ASGIApp, Receive, Scope, Send
from starlette.websockets import WebSocketClose

from sensorswim.errors import SensorswimError

COOKIE: Final = "sensorswim_poolside"
LASTS_S: Final = 12 * 3600
TRIES: Final = 5
TRIES_WITHIN_S: Final = 60.0
LEAST_LETTERS: Final = 8
_BODY_BYTES: Final = 2000
_LOOPBACK: Final = ("127.0.0.1", "::1")
_POLICY: Final = (
    "default-src 'none'; style-src 'self' 'unsafe-inline'; base-uri 'none'; form-action 'self'; "
    "frame-ancestors 'none'"
)
_PAGE: Final = """<!doctype html><html lang="en"><head><meta charset="utf-8">
<meta name="viewport" content="width=device-width, initial-scale=1">
<meta name="color-scheme" content="light dark"><title>Poolside</title>
<link rel="stylesheet" href="/static/shared/shell.css"></head><body><main>
<h1>Poolside</h1><p role="alert">{problem}</p>
<form method="post" action="/enter"><label for="phrase">Pass phrase</label><br>
<input id="phrase" name="phrase" type="password" autocomplete="current-password" required
 style="font-size:1.25rem;padding:.6rem;max-width:100%"><br><br>
<button style="font-size:1.25rem;padding:.6rem 1.2rem">Enter</button></form></main></body></html>
"""


@dataclass(kw_only=True)
class Phrases:
    """What opens the door to other machines.

    Parameters
    ----------
    viewer : str
        Whoever knows it may look.
    coach : str
        Whoever knows it may also mark and set aims; empty: only this machine may.
    hosts : tuple of str
        Names and addresses under which other machines reach this one.

    Raises
    ------
    SensorswimError
        A phrase under eight letters, or the same one twice.
    """

    viewer: str
    coach: str = ""
    hosts: tuple[str, ...] = ()
    secret: bytes = field(default_factory=lambda: secrets.token_bytes(32))

    def __post_init__(self) -> None:
        given = [self.viewer, *([self.coach] if self.coach else [])]
        if any(len(phrase) < LEAST_LETTERS for phrase in given):
            raise SensorswimError(
                f"a pass phrase needs {LEAST_LETTERS} letters", mend="take three words"
            )
        if len(set(given)) < len(given):
            raise SensorswimError("both pass phrases are the same", mend="give the coach another")

    def role_of(self, phrase: str) -> str | None:
        """Return ``viewer`` or ``coach`` for a phrase, None for a wrong one."""
        roles = {"viewer": self.viewer, "coach": self.coach}
        for role, right in roles.items():
            if right and hmac.compare_digest(phrase.encode(), right.encode()):
                return role
        return None

    def ticket(self, role: str, now_s: float) -> str:
        """Return a signed cookie for a role that ends after twelve hours."""
        text = f"{role}.{round(now_s) + LASTS_S}"
        return f"{text}.{self._sign(text)}"

    def role_in(self, ticket: str, now_s: float) -> str | None:
        """Return the role of a cookie, None where it is forged, of another run, or over."""
        text, _, signature = ticket.rpartition(".")
        role, _, ends_s = text.partition(".")
        if not hmac.compare_digest(signature.encode(), self._sign(text).encode()):
            return None
        return role if now_s < int(ends_s) else None

    def _sign(self, text: str) -> str:
        return hmac.new(self.secret, text.encode(), hashlib.sha256).hexdigest()


def role_of(scope: Scope, phrases: Phrases) -> str | None:
    """Return who asks: ``coach`` on this machine itself, else what the cookie says."""
    client = scope.get("client")
    if client and client[0] in _LOOPBACK:
        return "coach"
    return phrases.role_in(Request(_as_http(scope)).cookies.get(COOKIE, ""), time.time())


def is_coach(scope: Scope, phrases: Phrases) -> bool:
    """Return whether whoever asks may mark and set aims."""
    return role_of(scope, phrases) == "coach"


class Door:
    """Asks other machines for the pass phrase before anything else.

    Parameters
    ----------
    app : ASGI app
    phrases : Phrases
    """

    def __init__(self, app: ASGIApp, *, phrases: Phrases) -> None:
        self._app, self._phrases = app, phrases
        self._tries: deque[float] = deque()

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Pass on who is known; show the form to others."""
        if scope["type"] not in ("http", "websocket") or role_of(scope, self._phrases):
            await self._app(scope, receive, send)
        elif scope["type"] == "websocket":
            await WebSocketClose(code=1008)(scope, receive, send)
        elif scope["path"] == "/static/shared/shell.css":
            await self._app(scope, receive, send)
        else:
            await (await self._answer(Request(scope, receive)))(scope, receive, send)

    async def _answer(self, request: Request) -> Response:
        if request.method != "POST" or request.url.path != "/enter":
            return _form("", 401)
        now_s = time.time()
        while self._tries and now_s - self._tries[0] > TRIES_WITHIN_S:
            self._tries.popleft()
        if len(self._tries) >= TRIES:
            return _form("Too many tries. Wait a minute.", 429)
        role = self._phrases.role_of(await _phrase(request))
        if role is None:
            self._tries.append(now_s)
            return _form("That isn't the pass phrase.", 401)
        answer = RedirectResponse("/", status_code=303)
        answer.set_cookie(
            COOKIE,
            self._phrases.ticket(role, now_s),
            max_age=LASTS_S,
            httponly=True,
            samesite="strict",
        )
        return answer


async def _phrase(request: Request) -> str:
    body = b""
    async for part in request.stream():
        body += part
        if len(body) > _BODY_BYTES:
            return ""
    return parse_qs(body.decode("utf-8", errors="replace")).get("phrase", [""])[0]


def _form(problem: str, status: int) -> HTMLResponse:
    page = _PAGE.format(problem=html.escape(problem))
    return HTMLResponse(page, status_code=status, headers={"Content-Security-Policy": _POLICY})


def _as_http(scope: Scope) -> Scope:
    return {**scope, "type": "http"}
