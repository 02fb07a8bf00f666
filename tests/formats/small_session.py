"""A small valid session folder: an invented scenario, two wrists, 30 s at 100 Hz.

Ten seconds of standing with hanging arms, then arms that turn with a sine of 0.8 Hz.
"""

from __future__ import annotations

from functools import cache
from pathlib import Path

import numpy as np
import pandas as pd

RATE_HZ = 100.0
DURATION_S = 30.0
COLUMNS = (
    "time_s",
    "accel_x_m_s2",
    "accel_y_m_s2",
    "accel_z_m_s2",
    "gyro_x_deg_s",
    "gyro_y_deg_s",
    "gyro_z_deg_s",
)
SESSION_TOML = """\
format = 1
started_at = 2026-03-14T06:30:00+00:00
swimmer = "Invented"
height_m = 1.72
pool_length_m = 25.0

[[sensor]]
placement = "left_wrist"
file = "left_wrist.csv"

[[sensor]]
placement = "right_wrist"
file = "right_wrist.csv"

[[block]]
start_s = 10.0
end_s = 28.0
label = "invented block"
lengths = ["drill", "swim"]
drill = "single-arm"
aids = ["fins"]
felt_kick_beat = 4
"""


def wrist_log(seed: int) -> pd.DataFrame:
    """Return a wrist's log in contract columns: standing, then turning about the x axis."""
    rng = np.random.default_rng(seed)
    count = int(DURATION_S * RATE_HZ)
    time_s = np.arange(count) / RATE_HZ
    moving = time_s > 10.0
    turn = np.where(moving, np.sin(2 * np.pi * 0.8 * (time_s - 10.0) + seed), 0.0)
    tilt = np.deg2rad(60.0) * turn
    gravity = np.stack([-np.cos(tilt), np.sin(tilt), 0.2 * np.sin(2 * tilt)], axis=1) * 9.80665
    accel = gravity + rng.normal(0.0, 0.05, (count, 3)) + 3.0 * turn[:, None] * [0.3, 0.2, 0.1]
    gyro = np.stack([0.2 * turn, 0.1 * turn, np.gradient(np.rad2deg(tilt), time_s)], axis=1)
    gyro = gyro + rng.normal(0.0, 0.5, (count, 3))
    data = np.column_stack([time_s, accel, gyro]).round(5)
    return pd.DataFrame(data, columns=list(COLUMNS))


def build_small_session(folder: Path) -> Path:
    """Write the session into `folder` (made if need be) and return it."""
    folder.mkdir(parents=True, exist_ok=True)
    (folder / "session.toml").write_text(SESSION_TOML, encoding="utf-8")
    for seed, placement in enumerate(("left_wrist", "right_wrist")):
        (folder / f"{placement}.csv").write_text(_csv(seed), encoding="utf-8")
    return folder


@cache
def _csv(seed: int) -> str:
    return wrist_log(seed).to_csv(index=False, lineterminator="\n")
