"""The whole analysis in memory: kits, gaps, straps, clocks and logs without swimming."""

from __future__ import annotations

import sys
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import pytest

from sensorswim.analyse import analyse_streams
from sensorswim.model import Limb, Placement, Quality, Samples, Session, Settings, Stream
from sensorswim.model.analysis import Analysis
from sensorswim.model.session import SensorFile
from sensorswim.model.tables import SCHEMAS, frame, to_arrow
from sensorswim.rehearsal import Kit, Knocks, Length, Plan, Rehearsal, Rest, Stand, rehearse
from sensorswim.rehearsal.draw import KITS

Logs = dict[Placement, Stream]
PLAN = Plan(
    segments=(Stand(), Knocks(), Length(turn="flip"), Length(turn="stop"), Knocks()),
)
WRISTS = (Placement.LEFT_WRIST, Placement.RIGHT_WRIST)
ANKLES = (Placement.LEFT_ANKLE, Placement.RIGHT_ANKLE)


def analysed(logs: Logs) -> Analysis:
    session = Session(
        folder=Path("invented"),
        started_at=datetime(2026, 3, 14, 6, 30, tzinfo=UTC),
        swimmer="Invented",
        pool_length_m=25.0,
        height_m=1.75,
        sensors=tuple(SensorFile(placement=p, file=Path(f"{p}.csv")) for p in logs),
    )
    return analyse_streams(session, logs, Settings(), Quality(), streams=True)


def only(rehearsal: Rehearsal, *placements: Placement) -> Logs:
    return {p: rehearsal.streams[p] for p in placements}


def edited(
    stream: Stream, *, hole: tuple[float, float] | None = None, later_s: float = 0.0
) -> Stream:
    """Return the log with the rows between two device times left out, or all times later."""

    def edit(samples: Samples) -> Samples:
        time_s = samples.time_s
        kept = np.ones(len(time_s), dtype=bool)
        if hole is not None:
            kept = (time_s < hole[0]) | (time_s > hole[1])
        return Samples(time_s=time_s[kept] + later_s, values=samples.values[kept])  # noqa: PD011

    return replace(stream, accel=edit(stream.accel), gyro=edit(stream.gyro))


@pytest.fixture(scope="module")
def swim() -> Rehearsal:
    return rehearse(PLAN, seed=4)


@pytest.fixture(scope="module")
def core(swim: Rehearsal) -> Analysis:
    return analysed(swim.streams)


@pytest.fixture(scope="module")
def one_wrist(swim: Rehearsal) -> Analysis:
    return analysed(only(swim, Placement.LEFT_WRIST))


@pytest.fixture(scope="module")
def ankles(swim: Rehearsal) -> Analysis:
    return analysed(only(swim, *ANKLES))


@pytest.fixture(scope="module")
def nothing_swum() -> Analysis:
    plan = Plan(segments=(Stand(duration_s=8.0), Rest(duration_s=12.0, walking=True), Stand()))
    return analysed(rehearse(plan, seed=2).streams)


def test_wrists_and_ankles_give_the_figures_of_the_truth(swim: Rehearsal, core: Analysis) -> None:
    found, true = core.lengths, swim.truth["lengths"]
    assert list(found["activity"]) == ["front_crawl", "front_crawl"]
    assert list(found["kick_beat"]) == [6, 6]
    assert np.abs(found["start_s"] - true["start_s"]).max() < 0.3
    assert np.abs(found["end_s"] - true["end_s"]).max() < 0.3
    for name, error in (("stroke_rate_cycles_min", 1.0), ("index_of_coordination_pct", 3.0)):
        assert np.abs(found[name] - true[name]).max() < error
    assert abs(len(core.arm_strokes) - len(swim.truth["arm_strokes"])) <= 2
    assert abs(len(core.kicks) - len(swim.truth["kicks"])) <= 6


def test_ankles_that_stop_before_the_wall_leave_its_time_to_the_wrists() -> None:
    length = Length(turn="stop")
    begin = (Stand(duration_s=8.0), Knocks(), length, Rest(duration_s=10.0))
    plan = Plan(segments=(*begin, length, Rest(duration_s=6.0), Knocks()))
    swim = rehearse(plan, kit=Kit(rate_hz=104.0), seed=4)
    true_s = float(swim.truth["lengths"]["end_s"].iloc[-1])
    logs = dict(swim.streams)
    after_s = float(logs[Placement.LEFT_WRIST].accel.time_s[-1]) - true_s
    for place in ANKLES:
        stops_s = float(logs[place].accel.time_s[-1]) - after_s - 1.0
        logs[place] = edited(logs[place], hole=(stops_s, float("inf")))
    found = analysed(logs).lengths
    assert len(found) == 2
    assert found["end_s"].iloc[-1] == pytest.approx(true_s, abs=0.5)


def test_which_lengths_begin_with_a_push_off_is_told_to_the_wrists(
    swim: Rehearsal, monkeypatch: pytest.MonkeyPatch
) -> None:
    module = sys.modules["sensorswim.analyse"]
    told: list[frozenset[int]] = []

    def follow(*args: Any) -> dict[Any, Any]:
        told.append(args[3])
        return {}

    monkeypatch.setattr(module, "follow_wrists", follow)
    analysed(only(swim, *WRISTS, *ANKLES))
    assert told == [frozenset({1, 2})]


def test_streams_hold_every_sensor_in_the_axes_of_its_limb() -> None:
    """Who stands hangs the upper arms some 6 degrees behind the vertical (as `upper_arm` says)."""
    plan = Plan(segments=(Stand(duration_s=10.0), Knocks(), Length(turn="stop"), Knocks()))
    turned = (Placement.LEFT_UPPER_ARM, Placement.RIGHT_ANKLE)
    kit = Kit(placements=KITS["full"], strap_deg=20.0, wrong_way_up=turned)
    swim = rehearse(plan, kit=kit, seed=5)
    answer = analysed(dict(swim.streams))
    streams, start_s = answer.streams, answer.lengths["start_s"].iloc[0]
    assert streams is not None
    stands = streams[(streams["time_s"] > start_s - 12.0) & (streams["time_s"] < start_s - 6.0)]
    for place in swim.streams:
        up = stands[f"{place}_accel_x_m_s2"].median() / 9.80665
        hangs = place.limb in (Limb.WRIST, Limb.ANKLE, Limb.UPPER_ARM)
        assert (-up if hangs else up) > np.cos(np.radians(15.0)), place


@pytest.mark.parametrize("ended", [WRISTS, WRISTS[1:]], ids=["both", "one"])
def test_wrists_whose_logs_end_early_make_no_kick_of_a_length(
    swim: Rehearsal, ended: tuple[Placement, ...]
) -> None:
    logs, end_s = dict(swim.streams), float(swim.truth["lengths"]["end_s"].iloc[-1])
    turn_s = float(swim.truth["lengths"]["start_s"].iloc[-1])
    for place in ended:
        clock = swim.truth_extra["clocks"][place]
        from_s, to_s = ((s - clock.offset_s) / (1.0 + clock.drift) for s in (turn_s, end_s + 99.0))
        logs[place] = edited(logs[place], hole=(from_s, to_s))
    assert analysed(logs).lengths["activity"].tolist() == ["front_crawl", "front_crawl"]


def test_one_wrist_leaves_what_it_cannot_see_empty(one_wrist: Analysis) -> None:
    lengths = one_wrist.lengths
    assert len(lengths) == 2
    assert lengths["stroke_rate_cycles_min"].notna().all()
    unseen = (
        "index_of_coordination_pct", "kicks", "kicks_per_cycle", "kick_beat", "roll_source",
        "roll_onto_left_deg", "roll_onto_right_deg", "breaths_left", "breaths_right",
        "side_hold_s", "side_hold_excess_s",
    )  # fmt: skip
    assert not lengths[list(unseen)].notna().to_numpy().any()
    assert set(one_wrist.arm_strokes["side"]) == {"left"}
    missing = {r.placement for r in one_wrist.quality if r.code == "sensor_not_worn"}
    assert missing == {"right_wrist", "left_ankle", "right_ankle"}


@pytest.mark.parametrize("worn", [WRISTS[:1], WRISTS[:1] + ANKLES[:1], ANKLES])
def test_that_kicks_are_those_of_one_leg_is_said(
    swim: Rehearsal, worn: tuple[Placement, ...]
) -> None:
    told = [
        r.placement for r in analysed(only(swim, *worn)).quality if r.code == "kicks_of_one_leg"
    ]
    assert told == (["left_ankle"] if ANKLES[0] in worn and ANKLES[1] not in worn else [])


def test_ankles_alone_give_kicks_and_no_arm_figures(swim: Rehearsal, ankles: Analysis) -> None:
    assert len(ankles.lengths) == 2
    assert abs(len(ankles.kicks) - len(swim.truth["kicks"])) <= 8
    assert ankles.arm_strokes.empty
    unseen = ["arm_strokes", "stroke_rate_cycles_min", "stroke_length_m", "kicks_per_cycle"]
    assert not ankles.lengths[unseen].notna().to_numpy().any()


@pytest.mark.parametrize("kit", ["core", "one_wrist", "ankles", "nothing_swum"])
def test_every_table_conforms_to_its_schema(kit: str, request: pytest.FixtureRequest) -> None:
    tables = request.getfixturevalue(kit).tables
    assert set(tables) == set(SCHEMAS)
    for name, table in tables.items():
        assert list(table.columns) == SCHEMAS[name].names
        pd.testing.assert_frame_equal(table, frame(name, table))
        to_arrow(name, table).validate(full=True)


@pytest.mark.parametrize("placement", [Placement.LEFT_WRIST, Placement.LEFT_ANKLE])
def test_no_event_rests_on_a_gap(swim: Rehearsal, core: Analysis, placement: Placement) -> None:
    table = "arm_strokes" if placement.limb is Limb.WRIST else "kicks"
    gap = float(core.lengths["start_s"].iloc[0]) + np.array([9.0, 13.0])
    clock = swim.truth_extra["clocks"][placement]
    first, last = (gap - clock.offset_s) / (1.0 + clock.drift)
    holed = edited(swim.streams[placement], hole=(first, last))
    answer = analysed(swim.streams | {placement: holed})
    assert _events_within(core.tables[table], gap)
    assert not _events_within(answer.tables[table], gap + np.array([0.1, -0.1]))
    assert "gap" in {r.code.split("_")[0] for r in answer.quality if r.placement == placement}


def _events_within(table: pd.DataFrame, span_s: np.ndarray) -> list[float]:
    left = table.loc[table["side"] == "left"]
    times = left[[name for name in left.columns if name.endswith("_s")]]
    moments = times.drop(columns=[n for n in times if n.endswith("_deg_s")]).to_numpy(float)
    return list(moments[(moments > span_s[0]) & (moments < span_s[1])])


@pytest.mark.parametrize(
    ("kit", "told"),
    [
        (Kit(wrong_way_up=(Placement.LEFT_WRIST, Placement.RIGHT_ANKLE)), "strap_wrong_way_up"),
        (Kit(swapped=("wrist",)), "left_right_swapped"),
        (Kit(swapped=("ankle",)), "left_right_swapped"),
    ],
    ids=["wrong_way_up", "swapped_wrists", "swapped_ankles"],
)
def test_a_kit_that_is_put_on_wrongly_gives_the_figures_of_one_put_on_rightly(
    kit: Kit, told: str
) -> None:
    swim = rehearse(PLAN, kit=kit, seed=4)
    answer, true = analysed(swim.streams), swim.truth["lengths"]
    assert told in answer.quality.codes()
    assert list(answer.lengths["activity"]) == ["front_crawl", "front_crawl"]
    for name, error in (
        ("stroke_rate_cycles_min", 1.0),
        ("index_of_coordination_pct", 4.0),
        ("roll_onto_left_deg", 6.0),
        ("roll_onto_right_deg", 6.0),
    ):
        assert np.abs(answer.lengths[name] - true[name]).max() < error, name
    for table, moment in (("arm_strokes", "entry_s"), ("kicks", "downbeat_s")):
        _sides_match(answer.tables[table], swim.truth[table], moment)


def _sides_match(found: pd.DataFrame, true: pd.DataFrame, moment: str) -> None:
    """Nine in ten events of each side are within 0.15 s of a true one of the same side."""
    for side in ("left", "right"):
        times, wanted = (
            t.loc[t["side"] == side, moment].dropna().to_numpy(float) for t in (found, true)
        )
        assert len(times) > 0.8 * len(wanted)
        apart = np.abs(times[:, None] - wanted[None, :]).min(axis=1)
        assert np.mean(apart < 0.15) >= 0.9, (moment, side)


def test_later_clocks_make_every_event_later_by_as_much(swim: Rehearsal, core: Analysis) -> None:
    later = analysed({p: edited(s, later_s=1000.0) for p, s in swim.streams.items()})
    for table in ("lengths", "arm_strokes", "kicks", "rolls", "breaths"):
        before, after = core.tables[table], later.tables[table]
        assert len(before) == len(after)
        for name in {"start_s", "end_s", "entry_s", "exit_s", "downbeat_s", "peak_s"} & set(
            before.columns
        ):
            moved = after[name] - before[name]
            assert list(after[name].isna()) == list(before[name].isna())
            assert np.allclose(moved.dropna(), 1000.0, atol=0.02), (table, name)


def test_standing_and_walking_are_no_swimming(nothing_swum: Analysis) -> None:
    assert nothing_swum.lengths.empty
    assert "no_lengths_found" in nothing_swum.quality.codes()
    assert nothing_swum.facts["distance_m"] == 0.0
