from __future__ import annotations

from pathlib import Path

import pytest

from sensorswim.errors import SettingsError
from sensorswim.formats.settings_toml import read_settings
from sensorswim.model import Settings


def test_without_a_file_the_defaults_count(user_folder: Path, tmp_path: Path) -> None:
    assert read_settings(tmp_path) == Settings()


def test_the_session_comes_before_the_user(user_folder: Path, tmp_path: Path) -> None:
    (user_folder / "sensorswim.toml").write_text(
        "max_gap_bridged_s = 0.5\nelbow_band_low_deg = 90.0\n"
    )
    assert read_settings(tmp_path) == Settings(max_gap_bridged_s=0.5, elbow_band_low_deg=90.0)
    (tmp_path / "sensorswim.toml").write_text("format = 1\nmax_gap_bridged_s = 0.3\n")
    assert read_settings(tmp_path) == Settings(max_gap_bridged_s=0.3)


def test_every_setting_can_be_written(user_folder: Path, tmp_path: Path) -> None:
    lines = [f"{key} = {value!r}" for key, value in Settings().as_dict().items()]
    (tmp_path / "sensorswim.toml").write_text("\n".join(lines))
    assert read_settings(tmp_path) == Settings()


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("speed = 1", ("the key speed", "max_gap_bridged_s")),
        ("format = 2", ("format 2", "update")),
        ("max_gap_bridged_s = -1.0", ("max_gap_bridged_s",)),
        ("max_gap_bridged_s = inf", ("max_gap_bridged_s",)),
        ("max_gap_bridged_s = true", ("max_gap_bridged_s",)),
        ('orientation_filter = "best"', ("orientation_filter", "madgwick")),
        ("max_gap_bridged_s", ("TOML",)),
    ],
)
def test_a_wrong_setting_is_named(
    text: str, words: tuple[str, ...], user_folder: Path, tmp_path: Path
) -> None:
    (tmp_path / "sensorswim.toml").write_text(text)
    with pytest.raises(SettingsError) as caught:
        read_settings(tmp_path)
    for word in ("sensorswim.toml", *words):
        assert word in str(caught.value)
