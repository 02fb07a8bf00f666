"""From loose logs to a session, in a real browser: guessed, asked, blocks set, feelings locked."""

from __future__ import annotations

import re
from collections.abc import Iterator
from pathlib import Path

import pandas as pd
import pytest
from playwright.sync_api import Browser, expect

from sensorswim.dashboards.review import Shelf, review_app
from sensorswim.formats.session_toml import read_session
from sensorswim.model import Placement, Quality
from tests.dashboards.conftest import Filmed
from tests.dashboards.served import needs_chromium, served, watched

pytestmark = needs_chromium

_ODD = {
    "time_s": "Timestamp (s)", "accel_x_m_s2": "AccX", "accel_y_m_s2": "AccY",
    "accel_z_m_s2": "AccZ", "gyro_x_deg_s": "GyrX [deg/s]", "gyro_y_deg_s": "GyrY [deg/s]",
    "gyro_z_deg_s": "GyrZ [deg/s]",
}  # fmt: skip


@pytest.fixture
def loose(filmed: Filmed, tmp_path: Path) -> Path:
    """Logs of another logger; the names of the ankles' say nothing."""
    folder = tmp_path / "loose"
    folder.mkdir()
    names = {"left_wrist": "wrist L.csv", "right_wrist": "wrist R.csv",
             "left_ankle": "log_7.csv", "right_ankle": "log_8.csv"}  # fmt: skip
    for place, name in names.items():
        table = pd.read_parquet(filmed.folder / f"{place}.parquet")
        table.rename(columns=_ODD).to_csv(folder / name, index=False, float_format="%.5f")
    return folder


@pytest.fixture
def base(tmp_path: Path) -> Iterator[str]:
    with served(review_app(Shelf(home=tmp_path / "home", cache=tmp_path / "cache"))) as address:
        yield address


def test_a_session_is_set_up_from_loose_logs_and_what_was_felt_is_locked(
    browser: Browser, base: str, loose: Path, tmp_path: Path
) -> None:
    with watched(browser, base) as seen:
        page = seen.page
        page.goto(f"{base}/setup")
        with page.expect_file_chooser() as chooser:
            page.get_by_role("button", name="Choose files").click()
        chooser.value.set_files(sorted(loose.iterdir()))
        expect(page.get_by_role("heading", name="Questions")).to_be_visible(timeout=30_000)
        expect(page.locator("body")).to_contain_text("guessed from its movement")
        page.get_by_role("button", name="Write the session").click()
        expect(page.locator("#setup-told")).to_contain_text("length of the pool isn't said")
        page.get_by_label("Swimmer").fill("Oda <b>(invented)</b>")
        page.get_by_label("Height, m").fill("1.70")
        page.locator("#setup-pool").click()
        page.get_by_role("option", name="25 m", exact=True).click()
        page.get_by_role("button", name="Write the session").click()
        expect(page.get_by_role("heading", name="Blocks of")).to_be_visible(timeout=25_000)
        page.get_by_label("Label").fill("first <i>set</i>")
        page.get_by_label("What each length was").fill("swimming")
        page.get_by_role("button", name="Save the blocks").click()
        expect(page.locator("#blocks-told")).to_contain_text("is no kind of length")
        page.get_by_label("What each length was").fill("swim")
        page.get_by_label("kicks in a cycle").first.fill("2")
        page.get_by_role("button", name="Save the blocks").click()
        expect(page.locator("#blocks-told")).to_contain_text("1 block is saved", timeout=25_000)
        page.get_by_role("link", name="Go on to the review").click()
        page.wait_for_selector("#axis .xtitle", timeout=25_000)
        page.go_back()
        expect(page.get_by_label("kicks in a cycle").first).to_be_disabled(timeout=30_000)
        expect(page.locator("body")).to_contain_text("figures of this session were shown already")
    folder = next((tmp_path / "home" / "sessions").iterdir())
    session = read_session(folder, Quality())
    assert re.fullmatch(r"\d{4}-\d\d-\d\d-oda-b-invented-b", folder.name)
    assert session.session_id
    assert [s.placement for s in session.sensors] == [
        Placement.LEFT_WRIST, Placement.RIGHT_WRIST, Placement.LEFT_ANKLE, Placement.RIGHT_ANKLE
    ]  # fmt: skip
    assert session.sensors[0].columns["accel_x_m_s2"] == "AccX"
    assert session.blocks[0].label == "first <i>set</i>"
    assert session.blocks[0].felt == {"kick_beat": 2.0}
