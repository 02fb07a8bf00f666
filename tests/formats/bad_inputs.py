"""Sessions that are broken in one way each, and what must be said about them.

Every case takes the folder of `small_session.build_small_session` and breaks it. ``error`` cases
must end as one line that holds all the words (exit 2, nothing written); ``quality`` cases must
be read, with the code among the quality rows (exit 0); ``ok`` cases must be read without one.
"""

from __future__ import annotations

import gzip
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Literal

import numpy as np
import pandas as pd
import pyarrow as pa
import pyarrow.parquet as pq

LEFT = "left_wrist.csv"
GYRO = ["gyro_x_deg_s", "gyro_y_deg_s", "gyro_z_deg_s"]
ACCEL = ["accel_x_m_s2", "accel_y_m_s2", "accel_z_m_s2"]


@dataclass(frozen=True, kw_only=True)
class BadInput:
    """One way to break a session.

    `expected` holds the words of the error line, or the quality code as its only entry.
    """

    name: str
    break_folder: Callable[[Path], None]
    kind: Literal["error", "quality", "ok"]
    expected: tuple[str, ...]


CASES: list[BadInput] = []


def _case(name: str, kind: Literal["error", "quality", "ok"], *expected: str):
    def keep(breaker: Callable[[Path], None]) -> Callable[[Path], None]:
        CASES.append(BadInput(name=name, break_folder=breaker, kind=kind, expected=expected))
        return breaker

    return keep


def _toml(name: str, kind: Literal["error", "quality", "ok"], old: str, new: str, *expected: str):
    """Add a case that replaces `old` in session.toml by `new`."""

    def breaker(folder: Path) -> None:
        path = folder / "session.toml"
        text = path.read_text(encoding="utf-8")
        assert old in text
        path.write_text(text.replace(old, new, 1), encoding="utf-8")

    _case(name, kind, *expected)(breaker)


def _log(name: str, kind: Literal["error", "quality", "ok"], *expected: str):
    """Add a case that edits the left wrist's log as a DataFrame (returned, or in place)."""

    def keep(edit: Callable[[pd.DataFrame], pd.DataFrame | None]) -> None:
        def breaker(folder: Path) -> None:
            log = pd.read_csv(folder / LEFT)
            edited = edit(log)
            (log if edited is None else edited).to_csv(folder / LEFT, index=False)

        _case(name, kind, *expected)(breaker)

    return keep


def _lines(name: str, kind: Literal["error", "quality", "ok"], *expected: str):
    """Add a case that edits the lines of the left wrist's log."""

    def keep(edit: Callable[[list[str]], list[str]]) -> None:
        def breaker(folder: Path) -> None:
            lines = (folder / LEFT).read_text(encoding="utf-8").splitlines()
            (folder / LEFT).write_text("\n".join(edit(lines)) + "\n", encoding="utf-8")

        _case(name, kind, *expected)(breaker)

    return keep


def _rename(folder: Path, new_name: str) -> Path:
    path = folder / "session.toml"
    path.write_text(path.read_text().replace(f'"{LEFT}"', f'"{new_name}"'), encoding="utf-8")
    return folder / new_name


# session.toml

STARTED = "started_at = 2026-03-14T06:30:00+00:00"
_toml("format_newer", "error", "format = 1", "format = 2", "session.toml", "format 2", "update")
_toml("format_missing", "error", "format = 1\n", "", "session.toml", "format = 1")
_toml("format_text", "error", "format = 1", 'format = "1"', "format", "whole number")
_toml("no_offset", "error", STARTED, STARTED[:-6], "started_at", "offset")
_toml("start_quoted", "error", STARTED, 'started_at = "2026-03-14"', "started_at", "quotes")
_toml("start_missing", "error", STARTED + "\n", "", "started_at", "missing")
_toml("not_toml", "error", "swimmer = ", "swimmer == ", "session.toml", "TOML", "line 3")
_toml("key_twice", "error", 'swimmer = "Invented"', 'swimmer = "A"\nswimmer = "B"', "TOML")
_toml("pool_missing", "error", "pool_length_m = 25.0\n", "", "pool_length_m", "missing")
_toml("pool_yards", "error", "pool_length_m = 25.0", "pool_length_yd = 25", "22.86")
_toml("pool_zero", "error", "pool_length_m = 25.0", "pool_length_m = 0", "pool_length_m", "22.86")
_toml("pool_cm", "error", "pool_length_m = 25.0", "pool_length_m = 2500", "metres")
_toml("pool_text", "error", "pool_length_m = 25.0", 'pool_length_m = "25"', "pool_length_m")
_toml("pool_nan", "error", "pool_length_m = 25.0", "pool_length_m = nan", "pool_length_m")
_toml("pool_odd", "quality", "pool_length_m = 25.0", "pool_length_m = 27.3", "pool_length_unusual")
_toml("height_cm", "error", "height_m = 1.72", "height_m = 172", "height_m", "1.72")
_toml("height_bool", "error", "height_m = 1.72", "height_m = true", "height_m")
_toml("arm_cm", "error", "height_m = 1.72", "upper_arm_m = 30", "upper_arm_m", "0.3")
_toml("session_id", "error", "height_m", 'session_id = "abc"\nheight_m', "session_id", "UUID")
_toml("swimmer_lines", "error", '"Invented"', '"In\\nvented"', "swimmer", "line break")
_toml("swimmer_number", "error", '"Invented"', "7", "swimmer", "string")
_toml("swimmer_missing", "quality", 'swimmer = "Invented"\n', "", "swimmer_missing")
_toml("unknown_key", "quality", "height_m", 'mood = "good"\nheight_m', "unknown_key")
_toml("invented", "ok", "height_m", "invented = true\nheight_m")
_toml("sensor_key", "quality", f'file = "{LEFT}"', f'file = "{LEFT}"\nbrand = "x"', "unknown_key")
_toml("felt_unknown", "quality", "felt_kick_beat", "felt_joy", "unknown_key")
_toml("felt_text", "error", "felt_kick_beat = 4", 'felt_kick_beat = "4"', "felt_kick_beat")
_toml("placement", "error", '"left_wrist"', '"left_knee"', "[[sensor]] 1", "left_knee", "head")
_toml("placement_twice", "error", '"right_wrist"', '"left_wrist"', "[[sensor]] 2", "twice")
_toml("log_twice", "error", '"right_wrist.csv"', f'"{LEFT}"', "[[sensor]] 2", "already used")
_toml("log_missing", "error", f'"{LEFT}"', '"gone.csv"', "gone.csv", "not in the session folder")
_toml("log_absolute", "error", f'"{LEFT}"', '"/etc/hostname"', "outside")
_toml("log_above", "error", f'"{LEFT}"', '"../other.csv"', "outside")
_toml("log_suffix", "error", f'"{LEFT}"', '"session.toml"', ".parquet")
_toml("log_folder", "error", f'"{LEFT}"', '"."', "[[sensor]] 1 file")
_toml("log_empty_name", "error", f'"{LEFT}"', '""', "[[sensor]] 1 file", "empty")
_toml("no_log", "error", f'file = "{LEFT}"\n', "", "[[sensor]] 1", "accel_file")
_toml("two_ways", "error", f'file = "{LEFT}"', f'file = "{LEFT}"\naccel_file = "a.csv"', "keep one")
_toml("gyro_only", "error", f'file = "{LEFT}"', f'gyro_file = "{LEFT}"', "accel_file")
_toml(
    "range_negative", "error", f'file = "{LEFT}"', f'file = "{LEFT}"\naccel_range_g = -2', "range"
)
_toml("block_reversed", "error", "end_s = 28.0", "end_s = 8.0", "[[block]] 1", "not before")
_toml(
    "block_overlap",
    "error",
    "felt_kick_beat = 4\n",
    "[[block]]\nstart_s = 20\nend_s = 40\n",
    "block 1",
    "block 2",
    "overlap",
)
_toml("block_activity", "error", '"swim"]', '"sprint"]', "[[block]] 1", "lengths", "sprint")
_toml("block_no_lengths", "error", '["drill", "swim"]', "[]", "[[block]] 1", "lengths")
_toml("block_aid", "error", '"fins"', '"wetsuit"', "aids", "snorkel", "wetsuit")
_toml("block_no_end", "error", "end_s = 28.0\n", "", "[[block]] 1", "end_s", "missing")
_toml("block_epoch", "error", "end_s = 28.0", "end_s = 1.7e15", "end_s", "session time")
_toml("drill_unused", "quality", '"drill", "swim"', '"swim"', "drill_unused")
_toml("block_table", "error", "[[block]]", "[block]", "block", "list")
_toml("map_unknown", "error", f'file = "{LEFT}"', f'file = "{LEFT}"\ncolumns.speed = "v"', "speed")
_toml(
    "map_missing_column",
    "error",
    f'file = "{LEFT}"',
    f'file = "{LEFT}"\ncolumns.accel_x_g = "AccX"',
    LEFT,
    "AccX",
    "sensor.columns",
)
_toml(
    "video_missing",
    "quality",
    "[[block]]",
    '[[video]]\nfile = "v.webm"\nstarts_at_s = 1.5\n[[block]]',
    "video_missing",
)
_toml("video_outside", "error", "[[block]]", '[[video]]\nfile = "../v.webm"\n[[block]]', "outside")


@_case("session_missing", "error", "session.toml")
def _(folder: Path) -> None:
    (folder / "session.toml").unlink()


@_case("session_empty", "error", "session.toml", "format")
def _(folder: Path) -> None:
    (folder / "session.toml").write_bytes(b"")


@_case("session_latin1", "error", "session.toml", "line 3", "UTF-8")
def _(folder: Path) -> None:
    text = (folder / "session.toml").read_text().replace("Invented", "Ingénieur")
    (folder / "session.toml").write_bytes(text.encode("latin-1"))


@_case("session_bom", "ok")
def _(folder: Path) -> None:
    raw = (folder / "session.toml").read_bytes()
    (folder / "session.toml").write_bytes(b"\xef\xbb\xbf" + raw.replace(b"\n", b"\r\n"))


@_case("session_nested", "error", "session.toml")
def _(folder: Path) -> None:
    deep = "[" * 5000 + "]" * 5000
    (folder / "session.toml").write_text(f"format = 1\nx = {deep}\n", encoding="utf-8")


@_case("log_link_outside", "error", "outside")
def _(folder: Path) -> None:
    outside = folder.parent / "outside.csv"
    (folder / LEFT).rename(outside)
    (folder / LEFT).symlink_to(outside)


@_case("log_link_loop", "error", LEFT)
def _(folder: Path) -> None:
    (folder / LEFT).unlink()
    (folder / LEFT).symlink_to(folder / LEFT)


@_case("marks_no_time", "error", "marks.toml", "[[mark]] 1", "session_s")
def _(folder: Path) -> None:
    (folder / "marks.toml").write_text('[[mark]]\nkind = "note"\n', encoding="utf-8")


@_case("marks_newer", "error", "marks.toml", "format 9")
def _(folder: Path) -> None:
    (folder / "marks.toml").write_text("format = 9\n", encoding="utf-8")


@_case("settings_unknown", "error", "sensorswim.toml", "fliter", "orientation_filter")
def _(folder: Path) -> None:
    (folder / "sensorswim.toml").write_text('fliter = "vqf"\n', encoding="utf-8")


@_case("settings_type", "error", "sensorswim.toml", "max_gap_bridged_s")
def _(folder: Path) -> None:
    (folder / "sensorswim.toml").write_text('max_gap_bridged_s = "5"\n', encoding="utf-8")


@_case("settings_band", "error", "sensorswim.toml", "elbow_band_low_deg")
def _(folder: Path) -> None:
    (folder / "sensorswim.toml").write_text("elbow_band_low_deg = 150.0\n", encoding="utf-8")


# columns and units


@_log("column_missing", "error", LEFT, "gyro_z")
def _(log: pd.DataFrame) -> pd.DataFrame:
    return log.drop(columns="gyro_z_deg_s")


@_log("time_missing", "error", LEFT, "time_s")
def _(log: pd.DataFrame) -> pd.DataFrame:
    return log.drop(columns="time_s")


@_log("column_without_unit", "error", "'accel_x'", "unit", "accel_x_g")
def _(log: pd.DataFrame) -> pd.DataFrame:
    return log.rename(columns={"accel_x_m_s2": "accel_x"})


@_log("column_twice", "error", "two columns for accel_x")
def _(log: pd.DataFrame) -> None:
    log["accel_x_g"] = log["accel_x_m_s2"] / 9.80665


@_log("g_called_m_s2", "error", LEFT, "gravity", "accel_x_g")
def _(log: pd.DataFrame) -> None:
    log[ACCEL] /= 9.80665


@_log("mg_called_m_s2", "error", "gravity", "accel_x_mg")
def _(log: pd.DataFrame) -> None:
    log[ACCEL] *= 1000 / 9.80665


@_log("m_s2_called_g", "error", "gravity", "accel_x_m_s2")
def _(log: pd.DataFrame) -> pd.DataFrame:
    return log.rename(columns={name: name.replace("m_s2", "g") for name in ACCEL})


@_log("accel_counts", "error", "gravity", "scale")
def _(log: pd.DataFrame) -> None:
    log[ACCEL] *= 208.0


@_log("accel_without_gravity", "error", "gravity")
def _(log: pd.DataFrame) -> None:
    log[ACCEL] -= log[ACCEL].rolling(20, min_periods=1).mean()


@_log("deg_called_rad", "error", "gyroscope", "deg_s")
def _(log: pd.DataFrame) -> pd.DataFrame:
    return log.rename(columns={name: name.replace("deg_s", "rad_s") for name in GYRO})


@_log("rad_called_deg", "quality", "gyro_unit_doubtful")
def _(log: pd.DataFrame) -> None:
    log[GYRO] *= np.pi / 1800.0


@_log("ms_called_s", "error", "time_s", "Hz", "time_ms")
def _(log: pd.DataFrame) -> None:
    log["time_s"] *= 1000


@_log("us_called_s", "error", "time_us")
def _(log: pd.DataFrame) -> None:
    log["time_s"] *= 1e6


@_log("s_called_ms", "error", "time_ms", "name the column time_s")
def _(log: pd.DataFrame) -> pd.DataFrame:
    return log.rename(columns={"time_s": "time_ms"})


@_log("too_slow", "error", "Hz")
def _(log: pd.DataFrame) -> pd.DataFrame:
    return log.iloc[::10]


@_log("below_25_hz", "quality", "rate_outside")
def _(log: pd.DataFrame) -> None:
    log["time_s"] *= 4.6


@_log("too_short", "error", "4.0 s")
def _(log: pd.DataFrame) -> pd.DataFrame:
    return log.iloc[:400]


@_log("one_row", "error", "only 1 rows")
def _(log: pd.DataFrame) -> pd.DataFrame:
    return log.iloc[:1]


@_log("no_rows", "error", "no rows")
def _(log: pd.DataFrame) -> pd.DataFrame:
    return log.iloc[:0]


@_log("all_nan", "error", "no usable accel")
def _(log: pd.DataFrame) -> None:
    log[ACCEL] = np.nan


@_log("some_nan", "quality", "damaged_rows")
def _(log: pd.DataFrame) -> None:
    log.loc[100:110, "gyro_x_deg_s"] = np.nan


@_log("some_inf", "quality", "damaged_rows")
def _(log: pd.DataFrame) -> None:
    log.loc[100:110, "accel_x_m_s2"] = np.inf


@_log("wild_spike", "quality", "damaged_rows")
def _(log: pd.DataFrame) -> None:
    log.loc[50, "accel_x_m_s2"] = 1e30


@_log("rows_repeated", "quality", "time_repeated")
def _(log: pd.DataFrame) -> pd.DataFrame:
    return pd.concat([log, log.iloc[500:700]]).sort_values("time_s")


@_log("time_repeats_much", "error", "share their time")
def _(log: pd.DataFrame) -> None:
    log["time_s"] = (log["time_s"] * 10).astype(int) / 10


@_log("time_steps_back", "quality", "time_backwards")
def _(log: pd.DataFrame) -> None:
    log.loc[500:520, "time_s"] -= 1.0


@_log("time_spike", "quality", "time_backwards")
def _(log: pd.DataFrame) -> None:
    log.loc[500, "time_s"] = 1e9


@_log("time_spikes_both_ways", "quality", "time_backwards")
def _(log: pd.DataFrame) -> None:
    log.loc[[100, 700, 1500], "time_s"] = [1e9, -5.0, 99.0]


@_log("last_time_far_ahead", "quality", "time_jump")
def _(log: pd.DataFrame) -> None:
    log.loc[len(log) - 1, "time_s"] = 1.7e9


@_log("clock_set_midway", "error", "jumps", "line 1502", "two sessions")
def _(log: pd.DataFrame) -> None:
    log.loc[1500:, "time_s"] += 1.7e9


@_log("clock_restarts", "error", "backwards", "line 1502")
def _(log: pd.DataFrame) -> None:
    log.loc[1500:, "time_s"] -= 15.0


@_log("time_reversed", "error", "backwards")
def _(log: pd.DataFrame) -> pd.DataFrame:
    return log.iloc[::-1]


@_log("time_constant", "error", LEFT)
def _(log: pd.DataFrame) -> None:
    log["time_s"] = 5.0


@_log("axis_stuck", "quality", "channel_stuck")
def _(log: pd.DataFrame) -> None:
    log["gyro_y_deg_s"] = 0.0


@_log("gyro_dead", "error", "gyro", "same throughout")
def _(log: pd.DataFrame) -> None:
    log[GYRO] = 0.0


@_log("frozen", "quality", "frozen")
def _(log: pd.DataFrame) -> None:
    log.loc[1520:1800, ACCEL + GYRO] = log.loc[1520, ACCEL + GYRO].to_numpy()


@_log("clipped", "quality", "saturated")
def _(log: pd.DataFrame) -> None:
    log["gyro_z_deg_s"] = (log["gyro_z_deg_s"] * 3).clip(-500.0, 500.0)


_toml(
    "range_too_small",
    "quality",
    f'file = "{LEFT}"',
    f'file = "{LEFT}"\ngyro_range_deg_s = 125.0',
    "range_doubtful",
)


# text of the file


@_lines("header_missing", "error", LEFT, "line 1", "header")
def _(lines: list[str]) -> list[str]:
    return lines[1:]


@_lines("text_cells", "quality", "damaged_rows")
def _(lines: list[str]) -> list[str]:
    return [*lines[:200], lines[200].replace(lines[200].split(",")[1], "lost"), *lines[201:]]


@_lines("hex_cell", "quality", "damaged_rows")
def _(lines: list[str]) -> list[str]:
    return [*lines[:200], "0x10" + lines[200][lines[200].index(",") :], *lines[201:]]


@_lines("text_column", "error", "line 2", "accel_x_m_s2", "'high'")
def _(lines: list[str]) -> list[str]:
    cells = [line.split(",") for line in lines[1:]]
    return [lines[0], *(",".join([c[0], "high", *c[2:]]) for c in cells)]


@_lines("rows_overlong", "quality", "damaged_rows")
def _(lines: list[str]) -> list[str]:
    return [*lines[:300], lines[300] + ",1.0", lines[301] + ",1.0,2.0", *lines[302:]]


@_lines("first_row_overlong", "quality", "damaged_rows")
def _(lines: list[str]) -> list[str]:
    return [lines[0], lines[1] + ",1,2,3", *lines[2:]]


@_lines("all_rows_overlong", "error", "line 2", "more values")
def _(lines: list[str]) -> list[str]:
    return [lines[0], *(line + ",1.0" for line in lines[1:])]


@_lines("row_short", "quality", "damaged_rows")
def _(lines: list[str]) -> list[str]:
    return [*lines[:-1], lines[-1][: len(lines[-1]) // 2].rsplit(",", 1)[0]]


@_lines("stray_quote", "ok")
def _(lines: list[str]) -> list[str]:
    return [*lines[:400], '"' + lines[400], *lines[401:]]


@_lines("trailing_commas", "ok")
def _(lines: list[str]) -> list[str]:
    return [lines[0], *(line + "," for line in lines[1:])]


@_lines("header_spaces_and_case", "ok")
def _(lines: list[str]) -> list[str]:
    return ["# a note", "", " , ".join(lines[0].title().split(",")), *lines[1:], "", ""]


@_lines("double_spaced", "ok")
def _(lines: list[str]) -> list[str]:
    return [part for line in lines for part in (line, "")]


@_lines("repeated_header", "quality", "damaged_rows")
def _(lines: list[str]) -> list[str]:
    return [*lines[:1500], lines[0], *lines[1500:]]


@_lines("sep_line", "ok")
def _(lines: list[str]) -> list[str]:
    return ["sep=,", *lines]


@_lines("title_line", "error", LEFT, "line 1", "no header")
def _(lines: list[str]) -> list[str]:
    return ["My logger", *lines]


@_lines("semicolons", "ok")
def _(lines: list[str]) -> list[str]:
    return [line.replace(",", ";").replace(".", ",") for line in lines]


@_lines("decimal_marks_mixed", "error", LEFT, "points and commas")
def _(lines: list[str]) -> list[str]:
    half = [line.replace(",", ";") for line in lines]
    return [*half[:20], *(line.replace(".", ",") for line in half[20:])]


@_lines("one_column", "error", LEFT, "line 1")
def _(lines: list[str]) -> list[str]:
    return [line.replace(",", "|") for line in lines]


@_lines("line_endless", "error", LEFT, "longer than")
def _(lines: list[str]) -> list[str]:
    return [*lines[:50], "1" * 500_000, *lines[50:]]


@_lines("header_endless", "error", LEFT, "longer than")
def _(lines: list[str]) -> list[str]:
    return ["a" * 5_000_000 + "," + lines[0], *lines[1:]]


@_lines("columns_endless", "error", LEFT, "columns")
def _(lines: list[str]) -> list[str]:
    return [lines[0] + ",a" * 600, *lines[1:]]


@_case("log_empty", "error", LEFT, "empty")
def _(folder: Path) -> None:
    (folder / LEFT).write_bytes(b"")


@_case("log_crlf_bom", "ok")
def _(folder: Path) -> None:
    raw = (folder / LEFT).read_bytes()
    (folder / LEFT).write_bytes(b"\xef\xbb\xbf" + raw.replace(b"\n", b"\r\n"))


@_case("log_cr_only", "ok")
def _(folder: Path) -> None:
    (folder / LEFT).write_bytes((folder / LEFT).read_bytes().replace(b"\n", b"\r"))


@_case("log_utf16", "error", LEFT, "UTF-16")
def _(folder: Path) -> None:
    (folder / LEFT).write_bytes((folder / LEFT).read_text().encode("utf-16"))


@_case("log_binary", "error", LEFT)
def _(folder: Path) -> None:
    (folder / LEFT).write_bytes(np.random.default_rng(1).bytes(100_000))


@_case("log_zeros_at_end", "quality", "damaged_rows")
def _(folder: Path) -> None:
    with (folder / LEFT).open("ab") as file:
        file.write(b"\0" * 10_000)


@_case("gzip_cut", "error", "left_wrist.csv.gz", "cut short")
def _(folder: Path) -> None:
    path = _rename(folder, "left_wrist.csv.gz")
    packed = gzip.compress((folder / LEFT).read_bytes())
    path.write_bytes(packed[: len(packed) // 2])


@_case("gzip_not", "error", "left_wrist.csv.gz", "gzip")
def _(folder: Path) -> None:
    _rename(folder, "left_wrist.csv.gz").write_bytes((folder / LEFT).read_bytes())


@_case("gzip_good", "ok")
def _(folder: Path) -> None:
    packed = gzip.compress((folder / LEFT).read_bytes())
    _rename(folder, "left_wrist.csv.gz").write_bytes(packed)


@_case("gzip_bomb", "error", "left_wrist.csv.gz", "times its size")
def _(folder: Path) -> None:
    header, row, *_rest = (folder / LEFT).read_bytes().split(b"\n")
    packed = gzip.compress(header + b"\n" + (row + b"\n") * 800_000)
    _rename(folder, "left_wrist.csv.gz").write_bytes(packed)


@_case("parquet_good", "ok")
def _(folder: Path) -> None:
    pd.read_csv(folder / LEFT).to_parquet(_rename(folder, "left_wrist.parquet"))


@_case("parquet_not", "error", "left_wrist.parquet", "Parquet")
def _(folder: Path) -> None:
    _rename(folder, "left_wrist.parquet").write_bytes((folder / LEFT).read_bytes())


@_case("parquet_cut", "error", "left_wrist.parquet", "Parquet")
def _(folder: Path) -> None:
    path = _rename(folder, "left_wrist.parquet")
    pd.read_csv(folder / LEFT).to_parquet(path)
    path.write_bytes(path.read_bytes()[:-200])


@_case("parquet_text", "error", "left_wrist.parquet", "gyro_x_deg_s", "numbers")
def _(folder: Path) -> None:
    log = pd.read_csv(folder / LEFT).astype({"gyro_x_deg_s": str})
    log.to_parquet(_rename(folder, "left_wrist.parquet"))


@_case("parquet_nulls", "quality", "damaged_rows")
def _(folder: Path) -> None:
    log = pd.read_csv(folder / LEFT)
    log.loc[10:20, "gyro_x_deg_s"] = None
    log.to_parquet(_rename(folder, "left_wrist.parquet"))


@_case("parquet_huge", "error", "left_wrist.parquet", "rows")
def _(folder: Path) -> None:
    path = _rename(folder, "left_wrist.parquet")
    names = pd.read_csv(folder / LEFT, nrows=1).columns
    count = 9_000_000
    constant = pa.array(np.zeros(1_000_000, dtype=np.int8))
    table = pa.table(dict.fromkeys(names, constant))
    with pq.ParquetWriter(path, table.schema) as writer:
        for _part in range(count // 1_000_000):
            writer.write_table(table)
