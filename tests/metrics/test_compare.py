"""Labels of others find their counterpart, one to one, and the differences are those put in."""

from __future__ import annotations

import math
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from sensorswim import figures
from sensorswim.cli import main
from sensorswim.errors import InputError
from sensorswim.export import write_result
from sensorswim.formats.labels_csv import read_labels
from sensorswim.metrics.compare import compare, match
from tests.plausible import plausible_analysis, plausible_tables

TABLES = plausible_tables()


def labels_of(kind: str, side: str, times: np.ndarray, values: object = math.nan) -> pd.DataFrame:
    return pd.DataFrame({"kind": kind, "side": side, "time_s": times, "value": values})


def entries(side: str) -> np.ndarray:
    strokes = TABLES["arm_strokes"]
    return strokes.loc[strokes["side"] == side, "entry_s"].to_numpy(float)


def test_a_known_lateness_is_the_bias_and_its_scatter_the_limits() -> None:
    late = 0.03 + np.random.default_rng(4).normal(0, 0.01, len(entries("left")))
    (found,) = compare(TABLES, labels_of("entry", "left", entries("left") + late))
    assert (found.recall, found.precision) == (1.0, 1.0)
    assert found.agreement.bias == pytest.approx(-1000 * late.mean())
    width = 1000 * 1.96 * late.std(ddof=1)
    assert found.agreement.high - found.agreement.bias == pytest.approx(width)


def test_missing_and_extra_labels_are_counted() -> None:
    times = np.r_[entries("left")[::2], entries("left")[0] + 1.0]
    (found,) = compare(TABLES, labels_of("entry", "left", np.sort(times)))
    assert (found.labels, found.matched) == (len(times), len(times) - 1)
    assert found.precision < 0.55


def test_what_lies_outside_the_labelled_time_is_not_held_against_us() -> None:
    (found,) = compare(TABLES, labels_of("entry", "left", entries("left")[3:6]))
    assert (found.found, found.precision) == (3, 1.0)


def test_the_other_side_is_no_counterpart() -> None:
    (found,) = compare(TABLES, labels_of("entry", "right", entries("left")[:5]))
    assert found.matched == 0
    assert figures.is_blank(figures.draw_agreement(found))


def test_a_shift_moves_the_labels() -> None:
    moved = labels_of("entry", "left", entries("left") - 100.0)
    (found,) = compare(TABLES, moved, shift_s=100.0)
    assert found.agreement.bias == pytest.approx(0.0, abs=1e-6)


def test_roll_is_compared_at_the_labelled_times() -> None:
    roll = TABLES["roll"].iloc[300:900:40]
    told = labels_of("roll_deg", "", roll["time_s"].to_numpy(), roll["roll_deg"].to_numpy() - 2.0)
    (found,) = compare(TABLES, told)
    assert found.agreement.bias == pytest.approx(2.0)
    assert found.unit == "deg"


def test_an_elbow_belongs_to_the_nearest_stroke() -> None:
    middle = TABLES["arm_strokes"].query("side == 'left'")["mid_pull_s"].to_numpy(float)[:6]
    (found,) = compare(TABLES, labels_of("elbow_angle_deg", "left", middle + 0.2, 120.0))
    assert found.agreement.bias == pytest.approx(5.0)
    assert found.matched == 6
    text = figures.alt_of(figures.draw_agreement(found))
    assert text.startswith("6 pairs: ours lies 5.0 deg from the label")


@settings(max_examples=60, deadline=None)
@given(
    st.lists(st.floats(0, 20), max_size=12),
    st.lists(st.floats(0, 20), max_size=12),
)
def test_pairs_are_one_to_one_and_never_farther_apart_than_allowed(
    ours: list[float], labels: list[float]
) -> None:
    pairs = match(np.array(ours), np.array(labels), tolerance_s=0.25)
    assert len(set(pairs[:, 0])) == len(set(pairs[:, 1])) == len(pairs)
    assert all(abs(ours[a] - labels[b]) <= 0.25 for a, b in pairs)


@pytest.mark.parametrize(
    ("text", "line"),
    [
        ("side,time_s\n", "the column kind is missing"),
        ("kind,time_s\n", "holds no labels"),
        ("kind,side,time_s\nentry,left,1\nsplash,left,2\n", "line 3: kind is none"),
        ("kind,side,time_s\nentry,,1\n", "line 2: side is missing"),
        ("kind,side,time_s\nentry,left,soon\n", "line 2: time_s is no number"),
        ("kind,side,time_s\nentry,left,inf\n", "line 2: time_s is no number"),
        ("kind,side,time_s,value\nroll_deg,,1,\n", "line 2: value is no number"),
    ],
)
def test_a_wrong_label_is_one_line_that_names_its_place(
    text: str, line: str, tmp_path: Path
) -> None:
    path = tmp_path / "labels.csv"
    path.write_text(text)
    with pytest.raises(InputError, match=line):
        read_labels(path)


def test_the_command_prints_a_table_and_writes_a_page(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    write_result(plausible_analysis(), tmp_path / "result")
    labels = tmp_path / "labels.csv"
    pd.concat(
        [
            labels_of("entry", "left", entries("left") + 0.02),
            labels_of("touch", "", TABLES["lengths"]["end_s"].to_numpy(float)),
        ]
    ).to_csv(labels, index=False)
    page = tmp_path / "page.html"
    assert main(["compare", str(tmp_path / "result"), str(labels), "--out", str(page)]) == 0
    told = capsys.readouterr().out
    assert "entry, left" in told
    assert "−20.0\u00a0ms" in told
    assert "Touch" in page.read_text("utf-8")
    assert main(["compare", str(tmp_path / "result"), str(tmp_path / "none.csv")]) == 2
