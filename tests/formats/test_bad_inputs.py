from __future__ import annotations

import tracemalloc
from pathlib import Path

import pytest

from sensorswim.errors import InputError
from sensorswim.formats.logs import read_stream
from sensorswim.formats.session_toml import read_session
from sensorswim.formats.settings_toml import read_settings
from sensorswim.model import Quality
from tests.formats.bad_inputs import CASES, BadInput
from tests.formats.small_session import build_small_session


def read_all(folder: Path) -> Quality:
    quality = Quality()
    read_settings(folder)
    for sensor in read_session(folder, quality).sensors:
        read_stream(sensor, quality)
    return quality


def test_the_unbroken_session_is_read_without_a_word(tmp_path: Path) -> None:
    assert len(read_all(build_small_session(tmp_path / "s"))) == 0


def test_there_are_enough_cases_and_no_name_is_there_twice() -> None:
    names = [case.name for case in CASES]
    assert len(set(names)) == len(names) >= 100


@pytest.mark.parametrize("case", CASES, ids=lambda case: case.name)
def test_broken_input_is_named_in_one_line_or_told_in_quality(
    case: BadInput, tmp_path: Path
) -> None:
    folder = build_small_session(tmp_path / "s")
    case.break_folder(folder)
    if case.kind == "error":
        with pytest.raises(InputError) as caught:
            read_all(folder)
        line = str(caught.value)
        assert line.isprintable()
        assert len(line) < 700
        for word in case.expected:
            assert word in line
    else:
        assert read_all(folder).codes() == set(case.expected)


@pytest.mark.parametrize("name", ["header_endless", "line_endless", "gzip_bomb", "parquet_huge"])
def test_a_hostile_log_costs_little_memory(name: str, tmp_path: Path) -> None:
    folder = build_small_session(tmp_path / "s")
    next(case for case in CASES if case.name == name).break_folder(folder)
    tracemalloc.start()
    try:
        with pytest.raises(InputError):
            read_all(folder)
        assert tracemalloc.get_traced_memory()[1] < 60_000_000
    finally:
        tracemalloc.stop()
