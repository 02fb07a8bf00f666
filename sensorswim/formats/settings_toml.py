"""The settings: sensorswim.toml of the session, else of the user, else the defaults."""

from __future__ import annotations

from dataclasses import fields
from pathlib import Path
from typing import Annotated, Final, Literal

from platformdirs import user_config_path
from pydantic import BaseModel, ConfigDict, Field, ValidationError, model_validator

from sensorswim.errors import SettingsError
from sensorswim.formats.toml_text import check_format, raise_first, read_toml, shown
from sensorswim.model.settings import Settings

SETTINGS_FILE: Final = "sensorswim.toml"

Angle = Annotated[float, Field(gt=0.0, lt=180.0)]


class _Settings(BaseModel):
    """Ranges of the settings; names and defaults are those of `Settings`."""

    model_config = ConfigDict(strict=True, allow_inf_nan=False)

    orientation_filter: Literal["vqf", "madgwick", "mahony", "ekf", "complementary"] = "vqf"
    max_gap_bridged_s: float = Field(default=0.0, ge=0.0, le=2.0)
    elbow_band_low_deg: Angle = 90.0
    elbow_band_high_deg: Angle = 90.0
    elbow_front_low_deg: Angle = 90.0
    elbow_front_high_deg: Angle = 90.0
    elbow_side_low_deg: Angle = 90.0
    elbow_side_high_deg: Angle = 90.0

    @model_validator(mode="after")
    def _bands_in_order(self) -> _Settings:
        for band in ("elbow_band", "elbow_front", "elbow_side"):
            low, high = f"{band}_low_deg", f"{band}_high_deg"
            if getattr(self, low) > getattr(self, high):
                raise ValueError(f"{low} is above {high}; swap them or give both")
        return self


def settings_path(session_folder: Path) -> Path | None:
    """Return the settings file that counts for a session, None where the defaults do."""
    for folder in (session_folder, user_config_path("sensorswim", appauthor=False)):
        if (folder / SETTINGS_FILE).is_file():
            return folder / SETTINGS_FILE
    return None


def read_settings(session_folder: Path) -> Settings:
    """Return the settings that count for a session.

    The session's file counts alone: it doesn't add to the user's, so that a result can be
    repeated elsewhere from the folder.

    Raises
    ------
    SettingsError
        A file that isn't TOML, a newer format, an unknown key, a value out of its range.
    """
    path = settings_path(session_folder)
    if path is None:
        return Settings()
    data = read_toml(path, SettingsError)
    check_format(data, SETTINGS_FILE, SettingsError, need=False)
    data.pop("format", None)
    allowed = [field.name for field in fields(Settings)]
    for key in data:
        if key not in allowed:
            raise SettingsError(
                f"the key {shown(key)[1:-1]} is not known",
                where=SETTINGS_FILE,
                mend=f"allowed are {', '.join(allowed)}",
            )
    try:
        checked = _Settings.model_validate(Settings().as_dict() | data)
    except ValidationError as failure:
        raise_first(failure, SETTINGS_FILE, SettingsError)
    return Settings(**checked.model_dump())
