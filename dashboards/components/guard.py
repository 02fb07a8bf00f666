"""What stands before every request: who may ask, and what the page may load."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Final
from urllib.parse import urlsplit

from starlette.datastructures import Headers, MutableHeaders
from starlette.responses import PlainTextResponse
from starlette.types import ASGIApp, Message, Receive, Scope, Send
from starlette.websockets import WebSocketClose

_OWN_NAMES: Final = frozenset({"127.0.0.1", "localhost", "::1"})
_POLICY: Final = (
    "default-src 'none'; script-src 'self' {hashes}; style-src 'self' 'unsafe-inline'; "
    "img-src 'self' data: blob:; font-src 'self' data:; connect-src 'self'; "
    "worker-src 'self' blob:; media-src 'self' blob:; base-uri 'none'; form-action 'self'; "
    "frame-ancestors 'none'"
)


class Guard:
    """Lets in requests for this machine's own names only, and tells the browser to stay here.

    A page of another site can't reach the server through a name that it points here (the Host
    is checked), can't send it anything (the Origin is checked where something is changed or a
    socket is opened), and the page itself can load nothing from elsewhere (content policy).

    Parameters
    ----------
    app : ASGI app
    script_hashes : callable
        Returns the hashes of the page's inline scripts; asked at the first request.
    hosts : sequence of str
        Host names allowed besides the loopback ones.
    """

    def __init__(
        self, app: ASGIApp, *, script_hashes: Callable[[], list[str]], hosts: Sequence[str] = ()
    ) -> None:
        self._app, self._script_hashes = app, script_hashes
        self._hosts = _OWN_NAMES | set(hosts)
        self._policy = ""

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Pass a welcome request on and put the headers on its answer; refuse others."""
        if scope["type"] not in ("http", "websocket"):
            await self._app(scope, receive, send)
            return
        if not self._welcome(scope):
            await self._refuse(scope, receive, send)
            return

        async def guarded(message: Message) -> None:
            if message["type"] == "http.response.start":
                self._add_headers(MutableHeaders(scope=message))
            await send(message)

        await self._app(scope, receive, guarded)

    def _welcome(self, scope: Scope) -> bool:
        headers = Headers(scope=scope)
        host = headers.get("host", "")
        if urlsplit(f"//{host}").hostname not in self._hosts:
            return False
        only_reads = scope["type"] == "http" and scope["method"] in ("GET", "HEAD")
        origin = headers.get("origin")
        if origin is None:
            return scope["type"] == "http"
        return only_reads or urlsplit(origin).netloc == host

    async def _refuse(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] == "websocket":
            await WebSocketClose(code=1008)(scope, receive, send)
        else:
            answer = PlainTextResponse("This address is not served here.\n", status_code=403)
            await answer(scope, receive, send)

    def _add_headers(self, headers: MutableHeaders) -> None:
        if not self._policy:
            hashes = " ".join(self._script_hashes())
            self._policy = _POLICY.format(hashes=hashes)
        headers["Content-Security-Policy"] = self._policy
        headers["X-Content-Type-Options"] = "nosniff"
        headers["Referrer-Policy"] = "no-referrer"
        headers["Cross-Origin-Resource-Policy"] = "same-origin"
