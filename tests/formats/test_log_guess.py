"""Logs of other loggers: columns, units and places guessed, and what can't be is asked."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from sensorswim.errors import LogError
from sensorswim.formats.log_guess import guess_limb, guess_log, guess_placement
from sensorswim.formats.logs import read_stream
from sensorswim.model import Limb, Placement, Quality, SensorFile
from sensorswim.rehearsal import Kit, Length, Plan, Stand, Swimmer, rehearse
from sensorswim.units import STANDARD_GRAVITY_M_S2


def write_log(path: Path, names: list[str], *, time: float, accel: float, gyro: float,
              before: str = "", sep: str = ",") -> Path:  # fmt: skip
    count = 2000
    t = np.arange(count) * 0.01
    values = {names[0]: t * time}
    for k, name in enumerate(names[1:4]):
        values[name] = accel * (STANDARD_GRAVITY_M_S2 * (k == 2) + 0.5 * np.sin(3 * t + k))
    for k, name in enumerate(names[4:7]):
        values[name] = gyro * 4.0 * np.sin(4 * t + k)
    text = pd.DataFrame(values).to_csv(index=False, sep=sep)
    path.write_text(before + text)
    return path


LOGGERS = {
    "told in brackets": (
        ["Timestamp (ms)", "Accelerometer X (g)", "Accelerometer Y (g)", "Accelerometer Z (g)",
         "Gyroscope X (deg/s)", "Gyroscope Y (deg/s)", "Gyroscope Z (deg/s)"],
        {"time": 1e3, "accel": 1 / STANDARD_GRAVITY_M_S2, "gyro": 57.29578}, "", ",", (),
    ),
    "short names without units": (
        ["t", "ax", "ay", "az", "gx", "gy", "gz"],
        {"time": 1.0, "accel": 1.0, "gyro": 1.0}, "", ";", ("time", "accel", "gyro"),
    ),
    "milli g, words before the header": (
        ["time_us", "AccX", "AccY", "AccZ", "GyrX [dps]", "GyrY [dps]", "GyrZ [dps]"],
        {"time": 1e6, "accel": 1000 / STANDARD_GRAVITY_M_S2, "gyro": 57.29578},
        "# logger 3\n# battery: 88 %\n", ",", ("accel",),
    ),
}  # fmt: skip


@pytest.mark.parametrize("kind", LOGGERS)
def test_a_foreign_log_is_read_in_si_by_the_columns_guessed(tmp_path: Path, kind: str) -> None:
    names, scale, before, sep, unsure = LOGGERS[kind]
    path = write_log(tmp_path / "a.csv", names, before=before, sep=sep, **scale)
    guess = guess_log(path)
    assert guess.missing == ()
    assert guess.unsure == unsure
    if before:
        path.write_text(path.read_text().removeprefix(before))
    sensor = SensorFile(placement=Placement.HEAD, file=path, columns=guess.columns)
    stream = read_stream(sensor, Quality())
    assert np.median(np.linalg.norm(stream.accel.values, axis=1)) == pytest.approx(9.81, rel=0.05)
    assert np.abs(stream.gyro.values).max() == pytest.approx(4.0, rel=0.01)
    assert stream.gyro.time_s[-1] - stream.gyro.time_s[0] == pytest.approx(19.99, rel=1e-3)


def test_a_log_of_the_contract_needs_no_map(tmp_path: Path) -> None:
    names = ["time_s", *(f"accel_{a}_m_s2" for a in "xyz"), *(f"gyro_{a}_deg_s" for a in "xyz")]
    path = write_log(tmp_path / "a.csv", names, time=1, accel=1, gyro=57.3)
    assert guess_log(path).columns == {}


def test_what_no_name_is_found_for_is_asked(tmp_path: Path) -> None:
    path = write_log(tmp_path / "a.csv", ["t", "ax", "ay", "az", "p", "q", "r"],
                     time=1, accel=1, gyro=1)  # fmt: skip
    assert guess_log(path).missing == ("gyro_x", "gyro_y", "gyro_z")


def test_what_is_no_table_is_told(tmp_path: Path) -> None:
    (tmp_path / "a.parquet").write_bytes(b"no table")
    with pytest.raises(LogError, match="can't be read as a table"):
        guess_log(tmp_path / "a.parquet")


@pytest.mark.parametrize(
    ("name", "place"),
    [
        ("left_wrist.csv", Placement.LEFT_WRIST), ("Wrist R.csv", Placement.RIGHT_WRIST),
        ("LW_2026.csv.gz", None), ("right-ankle-01.parquet", Placement.RIGHT_ANKLE),
        ("sacrum.csv", Placement.LOWER_BACK), ("head.csv", Placement.HEAD),
        ("upper back.csv", Placement.UPPER_BACK), ("upper_arm_left.csv", Placement.LEFT_UPPER_ARM),
        ("sensor_3.csv", None), ("wrist.csv", None),
    ],
)  # fmt: skip
def test_a_name_tells_the_place_or_nothing(name: str, place: Placement | None) -> None:
    assert guess_placement(name) == place


def test_the_movement_tells_wrist_ankle_and_back() -> None:
    worn = (*Kit().placements, Placement.LOWER_BACK)
    for seed, kick in ((1, "6"), (2, "2"), (3, "4")):
        plan = Plan(segments=(Stand(duration_s=3), Length(turn="stop")))
        swum = rehearse(plan, swimmer=Swimmer(kick=kick), kit=Kit(placements=worn), seed=seed)
        guessed = {place: guess_limb(stream) for place, stream in swum.streams.items()}
        assert guessed == {place: place.limb for place in worn}, kick
    assert Limb.LOWER_BACK in guessed.values()
