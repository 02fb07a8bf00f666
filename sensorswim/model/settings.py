"""What a user may set; the resolved values and their hash go into every result."""

from __future__ import annotations

import hashlib
import json
from dataclasses import asdict, dataclass
from typing import Any


@dataclass(frozen=True, kw_only=True)
class Settings:
    """Everything that `sensorswim.toml` can change, with its defaults.

    Parameters
    ----------
    orientation_filter : str
        ``vqf`` (default), or one of the `ahrs` filters: ``madgwick``, ``mahony``, ``ekf``,
        ``complementary``.
    max_gap_bridged_s : float
        Longest hole in a log that is bridged by interpolation; longer ones are gaps.
    elbow_band_low_deg, elbow_band_high_deg : float
        Wanted elbow angle at mid-pull (common practice, no source).
    elbow_front_low_deg, elbow_front_high_deg : float
        The same in a picture from the front or the rear, where the bend shows nearly whole.
    elbow_side_low_deg, elbow_side_high_deg : float
        The same in a picture from the side, which sees the bent arm nearly edge on: what elbows of
        100 to 120 degrees show there in the synthetic swimmer's geometry, no other source. From
        below the bend hardly shows, so there is no band.
    """

    orientation_filter: str = "vqf"
    max_gap_bridged_s: float = 0.12
    elbow_band_low_deg: float = 100.0
    elbow_band_high_deg: float = 120.0
    elbow_front_low_deg: float = 100.0
    elbow_front_high_deg: float = 120.0
    elbow_side_low_deg: float = 155.0
    elbow_side_high_deg: float = 163.0

    def as_dict(self) -> dict[str, Any]:
        """Return the values as plain types."""
        return asdict(self)

    @property
    def hash(self) -> str:
        """SHA-256 of the values, for comparing results."""
        text = json.dumps(self.as_dict(), sort_keys=True, separators=(",", ":"))
        return hashlib.sha256(text.encode()).hexdigest()
