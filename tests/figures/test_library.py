"""The plotting library that pages load is of the version that the Python package writes for."""

from __future__ import annotations

import re

from plotly.offline import get_plotlyjs_version
from starlette.testclient import TestClient

from sensorswim.dashboards.components import frame, new_app
from sensorswim.figures import LIBRARY_FOLDER, LIBRARY_NAME, plotting_library
from tests.figures.test_pictures import PICTURES, TABLES


def test_the_library_is_of_the_major_version_that_figures_are_written_for() -> None:
    own = re.search(r"plotly\.js \(cartesian - minified\) v(\d+)\.", plotting_library()[:200])
    assert own is not None
    assert own[1] == get_plotlyjs_version().split(".")[0]
    assert "MIT License" in (LIBRARY_FOLDER / "LICENSE").read_text(encoding="utf-8")


def test_pictures_use_only_the_traces_that_the_library_has() -> None:
    used = {trace.type for draw in PICTURES.values() for trace in draw(TABLES).data}
    assert used <= {"scatter", "bar", "box", "heatmap", "histogram", "violin"}


def test_pages_with_plots_load_it_and_others_do_not() -> None:
    for plots in (True, False):
        app = new_app("Trial", plots=plots)
        app.layout = frame(app, main=[])
        client = TestClient(app.server, base_url="http://127.0.0.1:8765")
        assert (f"/static/plots/{LIBRARY_NAME}" in client.get("/").text) is plots
        if plots:
            library = client.get(f"/static/plots/{LIBRARY_NAME}")
            assert library.text == plotting_library()
