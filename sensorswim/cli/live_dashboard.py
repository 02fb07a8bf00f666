"""The live part of `dashboard`: the poolside page."""

from __future__ import annotations

import asyncio
import os
import socket
import threading
from pathlib import Path

import typer

from sensorswim.dashboards.components import LOOPBACK, free_port, serve
from sensorswim.dashboards.poolside import Phrases, poolside_app
from sensorswim.live.mqtt import Broker, Copier
from sensorswim.live.watch import LiveHub

ALL_ADDRESSES = "0.0.0.0"
VIEWER_VARIABLE, COACH_VARIABLE = "SENSORSWIM_VIEWER_PHRASE", "SENSORSWIM_COACH_PHRASE"


def watch_live(
    session: Path,
    *,
    port: int | None,
    browser: bool,
    lan: bool,
    names: bool,
    subscribe: str | None = None,
) -> None:
    """Serve the poolside page until Ctrl-C; to other machines only with a pass phrase."""
    phrases = _phrases() if lan else None
    if subscribe:
        _copy_from(subscribe, session)
    host = ALL_ADDRESSES if lan else LOOPBACK
    chosen = free_port() if port is None else port
    hub = LiveHub([], root=session)
    app = poolside_app(hub, place=str(session), names=names, phrases=phrases)
    for name in (LOOPBACK, *(phrases.hosts if phrases else ())):
        typer.echo(f"Open http://{name}:{chosen}/ in a browser; Ctrl-C stops it.")
    serve(app, port=chosen, host=host, opened=browser and not lan)


def _copy_from(url: str, root: Path) -> None:
    """Copy recordings of other machines into folders below `root`, in a thread of its own."""
    broker = Broker.of(url)

    def copy() -> None:
        asyncio.run(Copier(root, broker).run())

    threading.Thread(target=copy, daemon=True, name="copier").start()


def _phrases() -> Phrases:
    """Return the pass phrases: from the environment, else asked for."""
    viewer = os.environ.get(VIEWER_VARIABLE) or typer.prompt(
        "Pass phrase for looking (8 letters or more)", hide_input=True
    )
    coach = os.environ.get(COACH_VARIABLE, "")
    return Phrases(viewer=viewer, coach=coach, hosts=_own_names())


def _own_names() -> tuple[str, ...]:
    """Return the names and addresses by which other machines can reach this one."""
    name = socket.gethostname()
    names = [name.lower(), f"{name.lower()}.local"]
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as probe:
        try:
            probe.connect(("192.0.2.1", 9))
            names.insert(0, probe.getsockname()[0])
        except OSError:
            pass
    return tuple(names)
