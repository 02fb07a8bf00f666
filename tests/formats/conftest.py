from __future__ import annotations

from pathlib import Path

import pytest

from sensorswim.formats import settings_toml


@pytest.fixture(autouse=True)
def user_folder(tmp_path_factory: pytest.TempPathFactory, monkeypatch: pytest.MonkeyPatch) -> Path:
    """Keep the settings of whoever runs the tests out of them."""
    folder = tmp_path_factory.mktemp("user")
    monkeypatch.setattr(settings_toml, "user_config_path", lambda *_a, **_k: folder)
    return folder
