from __future__ import annotations

import gzip
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from sensorswim.errors import LogError
from sensorswim.formats.log_columns import parse_name
from sensorswim.formats.logs import in_order, read_stream
from sensorswim.model import Placement, Quality, SensorFile, Severity, Stream
from tests.formats.small_session import wrist_log

G_M_S2 = 9.80665  # 3rd CGPM (1901)
ACCEL = ["accel_x_m_s2", "accel_y_m_s2", "accel_z_m_s2"]
GYRO = ["gyro_x_deg_s", "gyro_y_deg_s", "gyro_z_deg_s"]


def stream_of(path: Path, quality: Quality | None = None, **more: object) -> Stream:
    sensor = SensorFile(placement=Placement.LEFT_WRIST, file=path, **more)  # type: ignore[arg-type]
    return read_stream(sensor, Quality() if quality is None else quality)


def written(log: pd.DataFrame, path: Path) -> Path:
    if path.suffix == ".parquet":
        log.to_parquet(path)
    else:
        log.to_csv(path, index=False)
    return path


@pytest.fixture
def log() -> pd.DataFrame:
    return wrist_log(1)


@pytest.mark.parametrize("name", ["a.csv", "a.csv.gz", "a.parquet", "A.CSV"])
def test_every_kind_of_file_gives_the_same_si_values(
    name: str, log: pd.DataFrame, tmp_path: Path
) -> None:
    stream = stream_of(written(log, tmp_path / name))
    np.testing.assert_array_equal(stream.accel.time_s, log["time_s"])
    np.testing.assert_allclose(stream.accel.values, log[ACCEL], rtol=1e-14)
    np.testing.assert_allclose(stream.gyro.values, np.deg2rad(log[GYRO]), rtol=1e-14)
    assert stream.gyro.time_s is stream.accel.time_s


def test_units_are_read_from_the_names(log: pd.DataFrame, tmp_path: Path) -> None:
    other = pd.DataFrame({"time_us": log["time_s"] * 1e6})
    for axis, unit, per_m_s2 in (
        ("x", "g", 1 / G_M_S2),
        ("y", "mg", 1e3 / G_M_S2),
        ("z", "m_s2", 1),
    ):
        other[f"accel_{axis}_{unit}"] = log[f"accel_{axis}_m_s2"] * per_m_s2
        other[f"gyro_{axis}_rad_s"] = np.deg2rad(log[f"gyro_{axis}_deg_s"])
    stream = stream_of(written(other, tmp_path / "a.parquet"))
    np.testing.assert_allclose(stream.accel.time_s, log["time_s"], atol=1e-9)
    np.testing.assert_allclose(stream.accel.values, log[ACCEL], atol=1e-9)
    np.testing.assert_allclose(stream.gyro.values, np.deg2rad(log[GYRO]), atol=1e-12)


def test_a_column_map_reads_a_foreign_log(log: pd.DataFrame, tmp_path: Path) -> None:
    foreign = pd.DataFrame({"note": ["a, b"] * len(log), "T [ms]": log["time_s"] * 1000})
    column_map = {"time_ms": "T [ms]"}
    for axis in "xyz":
        foreign[f"Acc {axis}"] = log[f"accel_{axis}_m_s2"] / G_M_S2
        foreign[f"Rot {axis} °/s"] = log[f"gyro_{axis}_deg_s"]
        column_map |= {f"accel_{axis}_g": f"Acc {axis}", f"gyro_{axis}_deg_s": f"Rot {axis} °/s"}
    path = tmp_path / "a.csv"
    foreign.to_csv(path, index=False, sep=";", encoding="latin-1")
    stream = stream_of(path, columns=column_map)
    np.testing.assert_allclose(stream.accel.values, log[ACCEL], atol=1e-9)
    np.testing.assert_allclose(stream.gyro.values, np.deg2rad(log[GYRO]), atol=1e-9)


def test_two_files_keep_their_own_timestamps(log: pd.DataFrame, tmp_path: Path) -> None:
    accel = written(log[["time_s", *ACCEL]], tmp_path / "accel.csv")
    gyro_log = log[["time_s", *GYRO]].iloc[5::2].assign(time_s=lambda d: d["time_s"] + 0.003)
    gyro = written(gyro_log, tmp_path / "gyro.csv")
    sensor = SensorFile(placement=Placement.LEFT_ANKLE, accel_file=accel, gyro_file=gyro)
    stream = read_stream(sensor, Quality())
    assert len(stream.accel) == len(log)
    np.testing.assert_allclose(stream.gyro.time_s, gyro_log["time_s"])


def test_rows_that_alternate_between_sensors_are_no_damage(
    log: pd.DataFrame, tmp_path: Path
) -> None:
    log.loc[::2, GYRO] = np.nan
    log.loc[1::2, ACCEL] = np.nan
    quality = Quality()
    stream = stream_of(written(log, tmp_path / "a.csv"), quality)
    assert len(quality) == 0
    np.testing.assert_array_equal(stream.accel.time_s, log["time_s"][::2])
    np.testing.assert_array_equal(stream.gyro.time_s, log["time_s"][1::2])


def test_optional_channels_keep_their_own_rate(log: pd.DataFrame, tmp_path: Path) -> None:
    log["pressure_hpa"] = np.where(np.arange(len(log)) % 10 == 0, 1013.25, np.nan)
    for axis in "xyz":
        log[f"magn_{axis}_gauss"] = 0.25
    stream = stream_of(written(log, tmp_path / "a.csv"))
    assert stream.pressure is not None
    assert stream.magn is not None
    assert len(stream.pressure) == 300
    np.testing.assert_allclose(stream.pressure.values, 101.325)
    np.testing.assert_allclose(stream.magn.values, 25.0)
    assert len(stream.magn) == 3000


def test_an_incomplete_magnetometer_is_left_out(log: pd.DataFrame, tmp_path: Path) -> None:
    log["magn_x_ut"] = 20.0
    assert stream_of(written(log, tmp_path / "a.csv")).magn is None


def test_damaged_rows_are_counted_and_left_out(log: pd.DataFrame, tmp_path: Path) -> None:
    log.loc[[10, 20, 30], "gyro_x_deg_s"] = [np.nan, np.inf, -np.inf]
    quality = Quality()
    stream = stream_of(written(log, tmp_path / "a.csv"), quality)
    (row,) = quality
    assert (row.code, row.severity, row.placement) == (
        "damaged_rows",
        Severity.NOTE,
        "left_wrist",
    )
    assert "3 of 3000 rows" in row.text
    assert "line 12" in row.text
    assert len(stream.accel) == len(stream.gyro) == 2997


def test_a_gap_stays_a_gap(log: pd.DataFrame, tmp_path: Path) -> None:
    stream = stream_of(written(log.drop(index=range(1000, 1500)), tmp_path / "a.csv"))
    assert np.diff(stream.accel.time_s).max() == pytest.approx(5.01)


def test_a_declared_range_tells_saturation_at_its_time(log: pd.DataFrame, tmp_path: Path) -> None:
    log.loc[2000:2009, "accel_x_m_s2"] = 16.0 * G_M_S2
    quality = Quality()
    stream = stream_of(written(log, tmp_path / "a.csv"), quality, accel_range_g=16.0)
    (row,) = quality
    assert row.code == "saturated"
    assert "10 samples (0.33 %)" in row.text
    assert "between 20.0 and 20.1 s" in row.text
    assert stream.accel_range_m_s2 == pytest.approx(16.0 * G_M_S2)


def test_a_share_too_small_for_its_decimals_is_not_called_nothing(
    log: pd.DataFrame, tmp_path: Path
) -> None:
    long = pd.concat([log] * 8, ignore_index=True)
    long["time_s"] = 0.01 * np.arange(len(long))
    long.loc[2000:2001, "accel_x_m_s2"] = 16.0 * G_M_S2
    quality = Quality()
    stream_of(written(long, tmp_path / "a.csv"), quality, accel_range_g=16.0)
    assert any("2 samples (less than 0.01 %), between" in row.text for row in quality)


def test_standing_still_is_not_frozen(log: pd.DataFrame, tmp_path: Path) -> None:
    log.loc[:900, ACCEL + GYRO] = [-G_M_S2, 0.0, 0.0, 0.0, 0.0, 0.0]
    quality = Quality()
    assert len(stream_of(written(log, tmp_path / "a.csv"), quality).accel) == 3000
    assert len(quality) == 0


def test_an_epoch_in_nanoseconds_is_read(log: pd.DataFrame, tmp_path: Path) -> None:
    log["time_ns"] = (log.pop("time_s") * 1e9).round().astype("int64") + 1_770_000_000_000_000_000
    stream = stream_of(written(log, tmp_path / "a.parquet"))
    assert np.median(np.diff(stream.accel.time_s)) == pytest.approx(0.01, abs=1e-6)


@given(st.integers(0, 2**32 - 1), st.integers(1, 40))
def test_order_keeps_a_strictly_increasing_time(seed: int, count: int) -> None:
    time_s = np.random.default_rng(seed).integers(0, 30, count).astype(float)
    kept = time_s[in_order(time_s)]
    assert len(kept) >= 1
    assert (np.diff(kept) > 0).all()


@given(st.dictionaries(st.integers(0, 99), st.floats(-1e6, 1e6), max_size=8))
def test_wrong_times_cost_no_more_than_themselves(wrong: dict[int, float]) -> None:
    time_s = np.arange(100) / 100.0
    for at, value in wrong.items():
        time_s[at] = value
    assert in_order(time_s).sum() >= 100 - len(wrong)


@given(
    st.sampled_from(["speed", "accel_x", "accel_w_g", "time", "time_h", "pressure_ut", "", "x_g"])
)
def test_other_names_mean_nothing(name: str) -> None:
    assert parse_name(name) is None


@settings(
    max_examples=60, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture]
)
@given(seed=st.integers(0, 2**32 - 1), count=st.integers(1, 30), packed=st.booleans())
def test_no_damage_to_the_bytes_ends_in_anything_but_a_stream_or_a_log_error(
    seed: int, count: int, packed: bool, tmp_path: Path
) -> None:
    rng = np.random.default_rng(seed)
    whole = wrist_log(1).iloc[:600].to_csv(index=False).encode()
    raw = bytearray(gzip.compress(whole, mtime=0) if packed else whole)
    for _ in range(count):
        at = int(rng.integers(0, len(raw)))
        if rng.random() < 0.5:
            raw[at] = int(rng.integers(0, 256))
        else:
            del raw[at : at + int(rng.integers(1, 200))]
    path = tmp_path / ("a.csv.gz" if packed else "a.csv")
    path.write_bytes(raw)
    try:
        stream = stream_of(path)
    except LogError as failure:
        assert str(failure).isprintable()
        return
    assert (np.diff(stream.accel.time_s) > 0).all()
    assert np.isfinite(stream.accel.values).all()
    assert np.isfinite(stream.gyro.values).all()


@settings(
    max_examples=40, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture]
)
@given(seed=st.integers(0, 2**32 - 1), count=st.integers(1, 10))
def test_no_damage_to_a_parquet_file_ends_in_anything_but_a_stream_or_a_log_error(
    seed: int, count: int, tmp_path: Path
) -> None:
    rng = np.random.default_rng(seed)
    path = tmp_path / "a.parquet"
    wrist_log(1).iloc[:600].to_parquet(path)
    raw = bytearray(path.read_bytes())
    for _ in range(count):
        raw[int(rng.integers(0, len(raw)))] = int(rng.integers(0, 256))
    path.write_bytes(raw)
    try:
        stream = stream_of(path)
    except LogError as failure:
        assert str(failure).isprintable()
        return
    assert (np.diff(stream.accel.time_s) > 0).all()
    assert np.isfinite(stream.accel.values).all()
