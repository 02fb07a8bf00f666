"""What all dashboards share: the app, the page's frame, the look, the server and its guard.

::

    app = new_app("Review", pages=(Page(path="/", name="Sessions"),), static=Path("static"))
    app.layout = frame(app, main=html.Div("..."))
    serve(app, port=8765, opened=True)
"""

from sensorswim.dashboards.components.app import Page, new_app
from sensorswim.dashboards.components.frame import frame, no_picture, picture, shown
from sensorswim.dashboards.components.guard import Guard
from sensorswim.dashboards.components.server import LOOPBACK, free_port, serve

__all__ = [
    "LOOPBACK",
    "Guard",
    "Page",
    "frame",
    "free_port",
    "new_app",
    "no_picture",
    "picture",
    "serve",
    "shown",
]
