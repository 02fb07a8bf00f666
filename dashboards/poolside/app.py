"""The poolside app: a frame that the page's own script fills from a WebSocket."""

from __future__ import annotations

import asyncio
from pathlib import Path
from typing import Any, Final

import dash
from dash import html
from fastapi import WebSocket, WebSocketDisconnect

from sensorswim.dashboards.components import frame, new_app
from sensorswim.dashboards.poolside.door import Door, Phrases, is_coach
from sensorswim.errors import SensorswimError
from sensorswim.live.card import Aim, aim_columns
from sensorswim.live.watch import LiveHub, LiveSwimmer

_STATIC: Final = Path(__file__).parent / "static"
MARK_KINDS: Final = ("drill starts", "felt good", "felt_kick_beat", "note")
_LONGEST_NOTE: Final = 200


def poolside_app(
    hub: LiveHub, *, place: str, names: bool = False, phrases: Phrases | None = None
) -> dash.Dash:
    """Return the poolside page of a hub.

    Parameters
    ----------
    hub : LiveHub
        Runs as soon as the first page is open.
    place : str
        What is watched, for the page that has nothing to show yet.
    names : bool
        Show whole names; initials otherwise.
    phrases : Phrases, optional
        Let other machines in that know the phrase; this machine only otherwise.
    """
    hosts = phrases.hosts if phrases else ()
    app = new_app("Poolside", static=_STATIC, hosts=hosts, plots=False)
    if phrases:
        app.server.add_middleware(Door, phrases=phrases)
    app.layout = frame(app, main=_main(place))
    _Live(hub=hub, names=names, phrases=phrases).add_route(app)
    return app


def _main(place: str) -> list[Any]:
    return [
        html.H1("Poolside"),
        html.P(
            "Connecting…", id="link-state", className="link-state",
            role="status", **{"aria-live": "polite"},
        ),
        html.Div(id="live-cards", className="live-cards"),
        html.P(
            [
                f"Nothing is being recorded in {place} yet. Start ",
                html.Code(f"sensorswim record {place} --swimmer NAME"),
                " in another window, or try it without sensors: ",
                html.Code(f"sensorswim rehearse {place} --live"),
                ".",
            ],
            id="live-nothing",
            className="nothing",
            hidden=True,
        ),
    ]  # fmt: skip


class _Live:
    """The WebSocket: cards out; marks and aims in, from the coach only."""

    def __init__(self, *, hub: LiveHub, names: bool, phrases: Phrases | None) -> None:
        self.hub, self.names, self.phrases = hub, names, phrases
        self.running: asyncio.Task[None] | None = None

    def add_route(self, app: dash.Dash) -> None:
        @app.server.websocket("/ws/live")
        async def live(socket: WebSocket) -> None:
            self._start()
            await socket.accept()
            coach = self.phrases is None or is_coach(socket.scope, self.phrases)
            await socket.send_json(
                {
                    "kind": "hello",
                    "coach": coach,
                    "columns": aim_columns(),
                    "swimmers": len(self.hub.swimmers),
                }
            )
            queue = self.hub.subscribe()
            sending = asyncio.ensure_future(self._send(socket, queue))
            try:
                while True:
                    await self._told(socket, await socket.receive_json(), coach=coach)
            except (WebSocketDisconnect, ValueError, RuntimeError):
                pass
            finally:
                sending.cancel()
                self.hub.unsubscribe(queue)
                self._rest()

    def _start(self) -> None:
        """Begin to follow the recording; a defect of the analysis shows here at the latest."""
        if self.running is not None and self.running.done():
            self.running.result()
        if self.running is None:
            self.running = asyncio.get_running_loop().create_task(self.hub.run())

    def _rest(self) -> None:
        """Stop following while nobody looks; the next page catches up."""
        if self.running is not None and not self.hub.watched:
            self.running.cancel()
            self.running = None

    async def _send(self, socket: WebSocket, queue: asyncio.Queue[dict[str, Any]]) -> None:
        while True:
            message = dict(await queue.get())
            message["shown"] = message.pop("name") if self.names else message["initials"]
            message.pop("name", None)
            await socket.send_json(message)

    async def _told(self, socket: WebSocket, message: Any, *, coach: bool) -> None:
        """Carry out what a page asks for."""
        swimmer = self.hub.swimmers.get(message.get("key", "")) if coach else None
        if swimmer is None:
            await socket.send_json({"kind": "said", "text": "Only the coach can change this."})
            return
        try:
            text = await asyncio.to_thread(carry_out, swimmer, message)
        except (SensorswimError, OSError) as failure:
            text = f"Not kept: {failure}"
        await socket.send_json({"kind": "said", "key": message["key"], "text": text})
        self.hub.publish(swimmer)


def carry_out(swimmer: LiveSwimmer, message: dict[str, Any]) -> str:
    """Keep a mark or aims of the coach, and return what the page says about it.

    Raises
    ------
    SensorswimError
        What was asked for isn't known.
    """
    if message.get("do") == "mark" and message.get("mark") in MARK_KINDS:
        label = str(message.get("label") or "")[:_LONGEST_NOTE]
        moment_s = swimmer.mark(message["mark"], label=label, value=_number(message.get("value")))
        if moment_s is None:
            return "No sensor has started yet, so there is no moment to mark."
        return f"Marked: {message['mark'].replace('_', ' ')}, at {moment_s:.0f} s."
    if message.get("do") == "aims" and isinstance(message.get("aims"), list):
        swimmer.set_aims(tuple(_aim(row) for row in message["aims"][:6]))
        return "Aim kept." if swimmer.aims else "No aim."
    raise SensorswimError("the page asked for something that isn't known", mend="reload the page")


def _aim(row: dict[str, Any]) -> Aim:
    column = str(row.get("column"))
    if column not in aim_columns():
        raise SensorswimError(f"no aim can be about {column!r}", mend="choose one of the list")
    return Aim(
        column=column,
        at_least=_number(row.get("at_least")),
        at_most=_number(row.get("at_most")),
    )


def _number(value: Any) -> float | None:
    return float(value) if isinstance(value, int | float) and abs(value) < 1e6 else None
