"""The server of a dashboard: on this machine only, unless told otherwise."""

from __future__ import annotations

import socket
import threading
import webbrowser
from typing import Final

import dash
import uvicorn

from sensorswim.errors import SensorswimError

LOOPBACK: Final = "127.0.0.1"
_FIRST_PORT, _LAST_PORT = 8765, 8795


def free_port(host: str = LOOPBACK) -> int:
    """Return the first free port of the usual ones.

    Raises
    ------
    SensorswimError
        All are taken.
    """
    for port in range(_FIRST_PORT, _LAST_PORT):
        with socket.socket() as probe:
            if probe.connect_ex((host, port)) != 0:
                return port
    raise SensorswimError(
        f"no free port between {_FIRST_PORT} and {_LAST_PORT - 1}",
        mend="close another dashboard or give --port",
    )


def serve(
    app: dash.Dash, *, port: int | None = None, host: str = LOOPBACK, opened: bool, path: str = "/"
) -> None:
    """Serve an app until it is stopped (Ctrl-C).

    Parameters
    ----------
    app : Dash
    port : int, optional
        Else the first free one from 8765.
    host : str
        The address to listen at.
    opened : bool
        Open the page in the user's browser.
    path : str
        The page to open.

    Raises
    ------
    SensorswimError
        The port is taken.
    """
    chosen = free_port(host) if port is None else port
    door = _listen(host, chosen)
    server = uvicorn.Server(
        uvicorn.Config(app.server, log_level="warning", timeout_graceful_shutdown=2)
    )
    if opened:
        address = f"http://{host}:{door.getsockname()[1]}{path}"
        threading.Timer(0.8, webbrowser.open, [address]).start()
    server.run(sockets=[door])


def _listen(host: str, port: int) -> socket.socket:
    door = socket.socket()
    door.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
    try:
        door.bind((host, port))
    except OSError as failure:
        door.close()
        raise SensorswimError(
            f"port {port} can't be used ({failure.strerror})", mend="give another --port"
        ) from failure
    return door
