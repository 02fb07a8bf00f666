"""Motion-BIDS: valid by the standard's own validator, and the same session on the way back."""

from __future__ import annotations

import json
import os
import shutil
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from sensorswim.cli import main
from sensorswim.errors import InputError, OutputError
from sensorswim.formats.logs import read_stream
from sensorswim.formats.motion_bids import export_bids
from sensorswim.formats.motion_bids_in import import_bids
from sensorswim.formats.session_toml import read_session
from sensorswim.model import Placement, Quality
from tests.formats.small_session import build_small_session

VALIDATOR = Path(sys.executable).with_name("bids-validator-deno")


@pytest.fixture
def session(tmp_path: Path) -> Path:
    return build_small_session(tmp_path / "session")


@pytest.fixture
def dataset(session: Path, tmp_path: Path) -> Path:
    return export_bids(session, tmp_path / "bids")


def stem(dataset: Path, place: str = "leftwrist") -> Path:
    return dataset / "sub-01" / "motion" / f"sub-01_task-swim_tracksys-{place}"


def validated(dataset: Path) -> dict[str, object]:
    if not VALIDATOR.is_file():
        assert os.environ.get("CI") != "true", "pip install bids-validator-deno"
        pytest.skip("no validator: pip install bids-validator-deno")
    line = [str(VALIDATOR), str(dataset), "--json", "--max-rows", "-1"]
    done = subprocess.run(line, capture_output=True, text=True, check=False)
    return json.loads(done.stdout)


def errors_in(told: dict[str, object]) -> list[object]:
    issues = told["issues"]
    assert isinstance(issues, dict)
    return [one for one in issues["issues"] if one["severity"] == "error"]


def test_the_validator_finds_no_error(dataset: Path) -> None:
    assert errors_in(validated(dataset)) == []


def test_the_validator_would_find_one(dataset: Path) -> None:
    (dataset / "dataset_description.json").write_text("{}")
    assert errors_in(validated(dataset)) != []


def test_a_session_comes_back_as_it_went(session: Path, dataset: Path, tmp_path: Path) -> None:
    back = import_bids(dataset, tmp_path / "back")
    before, after = (read_session(folder, Quality()) for folder in (session, back))
    assert after.started_at == before.started_at
    assert after.pool_length_m == before.pool_length_m
    (one,), (other,) = before.blocks, after.blocks
    assert (other.label, other.lengths, other.drill, other.aids) == (
        one.label,
        one.lengths,
        one.drill,
        one.aids,
    )
    assert other.start_s == pytest.approx(one.start_s, abs=1e-6)
    for mine, theirs in zip(before.sensors, after.sensors, strict=True):
        assert mine.placement == theirs.placement
        a, b = (read_stream(s, Quality()) for s in (mine, theirs))
        np.testing.assert_allclose(a.accel.time_s, b.accel.time_s, atol=1e-6)
        np.testing.assert_allclose(a.accel.values, b.accel.values, rtol=1e-7, atol=1e-7)
        np.testing.assert_allclose(a.gyro.values, b.gyro.values, rtol=1e-7, atol=1e-7)


def test_no_name_and_no_id_goes_out(session: Path, tmp_path: Path) -> None:
    toml = session / "session.toml"
    toml.write_text(toml.read_text().replace('"Invented"', '"Zzyxqua"'))
    out = export_bids(session, tmp_path / "bids")
    assert not [p for p in out.rglob("*") if p.is_file() and b"Zzyxqua" in p.read_bytes()]


def test_every_motion_file_has_as_many_columns_as_channels_and_no_heading(dataset: Path) -> None:
    for motion in (dataset / "sub-01" / "motion").glob("*_motion.tsv"):
        table = pd.read_csv(motion, sep="\t", header=None)
        channels = pd.read_csv(str(motion).replace("_motion.tsv", "_channels.tsv"), sep="\t")
        assert table.shape[1] == len(channels) == 7
        assert table.dtypes.eq(float).all()
        assert channels["name"].is_unique


def test_points_of_another_laboratory_are_placed_by_hand(dataset: Path, tmp_path: Path) -> None:
    for file in (dataset / "sub-01" / "motion").glob("*_channels.tsv"):
        text = file.read_text().replace("left_wrist", "lw").replace("m/s^2", "g")
        file.write_text(text)
    with pytest.raises(InputError, match="'lw' is no place"):
        import_bids(dataset, tmp_path / "back")
    back = import_bids(dataset, tmp_path / "there", places={"lw": Placement.LEFT_WRIST})
    columns = pd.read_parquet(back / "left_wrist.parquet")
    assert columns["accel_x_m_s2"].abs().max() > 50.0


def edit(path: Path, change: Callable[[str], str]) -> None:
    path.write_text(change(path.read_text()))


@pytest.mark.parametrize(
    ("suffix", "change", "line"),
    [
        ("_motion.tsv", lambda t: "a\tb\tc\td\te\tf\tg\n" + t, "no number"),
        ("_channels.tsv", lambda t: t.rsplit("\n", 2)[0] + "\n", "7 columns, its channels.tsv 6"),
        ("_channels.tsv", lambda t: t.replace("gyro_y", "gyro_x"), "names a channel twice"),
        ("_channels.tsv", lambda t: t.replace("rad/s", "turns"), "unit 'turns' is not known"),
        ("_channels.tsv", lambda t: t.replace("component", "axis"), "lacks the column component"),
        ("_motion.tsv", lambda t: t + t.splitlines()[0] + "\n", "latency doesn't run forwards"),
        ("_motion.json", lambda _t: "{", "is missing or no JSON"),
        ("_motion.json", lambda t: t.replace("PoolLength_m", "x"), "give --pool-length"),
    ],
)
def test_what_the_validator_lets_pass_is_found_here(
    dataset: Path, tmp_path: Path, suffix: str, change: Callable[[str], str], line: str
) -> None:
    path = stem(dataset).with_name(stem(dataset).name + suffix)
    edit(path, change)
    with pytest.raises(InputError, match=line):
        import_bids(dataset, tmp_path / "back")


def test_nothing_is_written_over(session: Path, dataset: Path, tmp_path: Path) -> None:
    with pytest.raises(OutputError, match="is there already"):
        export_bids(session, dataset)
    with pytest.raises(OutputError, match="is there already"):
        import_bids(dataset, session)
    with pytest.raises(InputError, match="no BIDS dataset"):
        import_bids(session, tmp_path / "new")
    shutil.rmtree(dataset / "sub-01")
    with pytest.raises(InputError, match="holds no motion"):
        import_bids(dataset, tmp_path / "new")


def test_the_command_line_goes_there_and_back(session: Path, tmp_path: Path) -> None:
    out, back = str(tmp_path / "bids"), str(tmp_path / "back")
    assert main(["bids", "export", str(session), "--out", out, "--subject", "07"]) == 0
    assert main(["bids", "import", out, "--out", back]) == 0
    assert (tmp_path / "back" / "session.toml").is_file()
    assert main(["bids", "export", str(session), "--out", back, "--subject", "x y"]) == 2
    assert main(["bids", "import", out, "--out", back, "--place", "a=nose"]) == 2
