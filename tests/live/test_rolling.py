"""Rolling analysis: the recorded packets in the order in which they really came."""

from __future__ import annotations

from dataclasses import dataclass, field, replace

import pandas as pd
import pytest

from sensorswim.analyse import analyse
from sensorswim.formats.radio_packets import TICK_HZ, decode_samples
from sensorswim.live.buffer import LiveBuffer
from sensorswim.live.build import Built
from sensorswim.live.card import Aim, card
from sensorswim.live.emulated.worn import Water
from sensorswim.live.folding import SAME_EVENT_S, TIMES
from sensorswim.live.rolling import AHEAD_S, RollingAnalysis, RollingState
from sensorswim.model import Placement
from sensorswim.model.analysis import Analysis
from tests.live.chain import Chain
from tests.live.growing import Growing

STEP_S = 0.5
LEAD_S = 0.5
"""About how long after the emulation's beginning the sensors were started."""


@dataclass
class Replay:
    """What the rolling analysis said after each step, when, and of which kind each run was."""

    states: list[RollingState] = field(default_factory=list)
    whole: list[bool] = field(default_factory=list)
    at_s: list[float] = field(default_factory=list)
    late_packets: int = 0


def heard_s(water: Water, buffer: LiveBuffer, data: bytes) -> float:
    """Return when a packet can arrive: once the water has let through for a fifth of a second.

    Worked out from the emulated water, so that the order doesn't hang on how busy the machine is.
    """
    packet = decode_samples(data)
    ticks = packet.first_ticks + packet.span_ticks + buffer.scale.offset_ticks
    moment_s = ticks / TICK_HZ + LEAD_S
    while not all(water.lets_through(moment_s + d) for d in (0.0, 0.1, 0.2)):
        moment_s += 0.05
    return moment_s + 0.2


def brought_up(rolling: RollingAnalysis) -> RollingState:
    """Commit what has settled and do a quick run where one is due."""
    rolling.commit()
    if rolling.slack_s < 0.0:
        job = rolling.quick_job()
        rolling.take(job, job.run())
    return rolling.state


@pytest.fixture(scope="module")
def final(recorded: tuple[Chain, Built]) -> Analysis:
    return analyse(recorded[0].folder)


@pytest.fixture(scope="module")
def replay(recorded: tuple[Chain, Built]) -> Replay:
    growing = Growing(recorded[0].folder)
    rolling, buffers = growing.rolling, growing.buffers
    arrivals = sorted(
        (heard_s(item.water, buffers[item.device.serial], data), item.device.serial, data)
        for item in recorded[0].worn
        for data in item.device.log
    )
    told, due_s = Replay(), arrivals[0][0] + STEP_S
    for arrived_s, serial, payload in arrivals:
        while arrived_s > due_s:
            told.whole.append(rolling.whole_is_due and rolling.has_rested)
            told.states.append(rolling.run_whole() if told.whole[-1] else brought_up(rolling))
            told.at_s.append(due_s)
            due_s += STEP_S
        moment_s = growing.give(serial, decode_samples(payload))
        told.late_packets += moment_s < buffers[serial].newest_s - 1.0
    told.states.append(rolling.run_whole())
    told.whole.append(True)
    told.at_s.append(due_s)
    return told


def test_the_last_word_is_that_of_the_finished_session(replay: Replay, final: Analysis) -> None:
    assert replay.late_packets > 100
    for name in TIMES:
        live = replay.states[-1].tables[name].reset_index(drop=True)
        pd.testing.assert_frame_equal(live, final.tables[name], check_dtype=False, rtol=1e-6)


def test_quick_runs_leave_committed_events_as_they_are(replay: Replay) -> None:
    compared = 0
    for before, after, whole in zip(
        replay.states[:-1], replay.states[1:], replay.whole[1:], strict=True
    ):
        if whole:
            continue
        for name in TIMES:
            rows = before.tables[name]
            pd.testing.assert_frame_equal(after.tables[name].iloc[: len(rows)], rows)
            compared += len(rows)
    assert compared > 100


def test_events_come_while_the_swimmer_is_still_swimming(replay: Replay, final: Analysis) -> None:
    end_s = float(final.lengths["end_s"].iloc[0])
    shown = [
        len(state.tables["arm_strokes"])
        for state, at_s in zip(replay.states, replay.at_s, strict=True)
        if at_s < end_s
    ]
    assert max(shown) >= 8


def test_live_figures_are_near_those_of_the_end(replay: Replay, final: Analysis) -> None:
    bounds = {
        "start_s": 0.3, "end_s": 0.3, "stroke_rate_cycles_min": 1.0, "kicks_per_cycle": 0.5,
        "roll_onto_left_deg": 6.0, "roll_onto_right_deg": 6.0, "clean_speed_m_s": 0.15,
    }  # fmt: skip
    for number, true in final.lengths.set_index("length_no").iterrows():
        seen = [s.tables["lengths"].set_index("length_no") for s in replay.states]
        first = next(rows.loc[number] for rows in seen if number in rows.index)
        for column, bound in bounds.items():
            assert abs(first[column] - true[column]) < bound, (number, column)


def test_few_events_are_taken_back(replay: Replay, final: Analysis) -> None:
    events = sum(len(final.tables[name]) for name in TIMES)
    assert replay.states[-1].corrected < 0.1 * events


def test_no_event_is_told_twice(replay: Replay) -> None:
    for state in replay.states:
        for name, column in (("kicks", "downbeat_s"), ("arm_strokes", "entry_s")):
            rows = state.tables[name]
            for side in ("left", "right"):
                times = rows.loc[rows["side"] == side, column].dropna().sort_values()
                assert not (times.diff() < SAME_EVENT_S).any()


def test_a_card_shows_the_newest_figures_and_what_became_of_the_aims(final: Analysis) -> None:
    aims = (
        Aim(column="kicks_per_cycle", at_least=4.0),
        Aim(column="stroke_rate_cycles_min", at_most=10.0),
        Aim(column="side_hold_excess_s", at_most=0.1),
    )
    shown = card(final.tables, aims)
    last = final.lengths.iloc[-1]
    assert shown["lengths"]["count"] == 2
    assert shown["lengths"]["last"]["kicks_per_cycle"] == pytest.approx(
        last["kicks_per_cycle"], abs=1e-3
    )
    words = [aim["word"] for aim in shown["lengths"]["aims"]]
    assert words[:2] == ["there", "above"]
    assert words[2] == ("unknown" if pd.isna(last["side_hold_excess_s"]) else words[2])
    assert shown["stroke_rate"]["cycles_min"] == pytest.approx(31.0, abs=2.0)
    assert all(5 <= len(c["left"]) + len(c["right"]) <= 7 for c in shown["kicks"]["cycles"])


def test_a_card_of_nothing_is_empty_and_not_zero() -> None:
    shown = card(RollingState().tables, (Aim(column="kicks_per_cycle", at_least=4.0),))
    assert shown["stroke_rate"] == {"cycles_min": None, "at_s": None}
    assert shown["kicks"]["a_cycle"] is None
    assert shown["lengths"]["last"] is None
    assert [aim["word"] for aim in shown["lengths"]["aims"]] == ["unknown"]


def half_way(recorded: tuple[Chain, Built]) -> tuple[Growing, float]:
    """Return the data up to the middle of the first length, looked at once, and their end."""
    growing, until_s = Growing(recorded[0].folder), 28.0
    growing.give_until(until_s)
    job = growing.rolling.quick_job()
    found = job.run()
    assert found is not None
    assert "kicks" in found.tables
    growing.rolling.take(job, found)
    return growing, until_s


def test_what_a_run_found_is_committed_as_it_settles(recorded: tuple[Chain, Built]) -> None:
    growing, until_s = half_way(recorded)
    rolling = growing.rolling
    shown = len(rolling.state.tables["kicks"])
    assert shown > 0
    assert rolling.slack_s > 0.0
    assert not rolling.commit()
    growing.give_until(until_s + 0.7 * AHEAD_S)
    assert rolling.slack_s > 0.0
    assert rolling.commit()
    assert len(rolling.state.tables["kicks"]) > shown
    growing.give_until(until_s + 1.5 * AHEAD_S)
    assert rolling.slack_s < 0.0


def test_a_run_under_way_counts_as_having_looked_and_an_older_one_takes_nothing_back(
    recorded: tuple[Chain, Built],
) -> None:
    growing, until_s = half_way(recorded)
    rolling = growing.rolling
    growing.give_until(until_s + 1.5 * AHEAD_S)
    assert rolling.slack_s < 0.0
    older = rolling.quick_job()
    assert rolling.slack_s > 0.0
    growing.give_until(until_s + 3.0 * AHEAD_S)
    assert rolling.slack_s < 0.0
    newer = rolling.quick_job()
    assert rolling.take(newer, newer.run())
    told = rolling.state.tables
    assert not rolling.take(older, None)
    growing.give_until(until_s + 3.6 * AHEAD_S)
    assert rolling.commit()
    assert len(rolling.state.tables["kicks"]) > len(told["kicks"])


def test_while_only_the_wrists_tell_more_a_run_stops_after_the_arms(
    recorded: tuple[Chain, Built],
) -> None:
    growing, until_s = half_way(recorded)
    growing.give_until(until_s + 1.5 * AHEAD_S, Placement.LEFT_WRIST, Placement.RIGHT_WRIST)
    alone = growing.rolling.quick_job().run()
    assert alone is not None
    assert set(alone.tables) == {"lengths", "arm_strokes"}
    growing.give_until(until_s + 1.5 * AHEAD_S)
    both = growing.rolling.quick_job().run()
    assert both is not None
    assert "kicks" in both.tables


def test_what_a_whole_run_did_not_find_is_gone_for_good(recorded: tuple[Chain, Built]) -> None:
    growing = Growing(recorded[0].folder)
    growing.give_until(28.0)
    rolling, job = growing.rolling, growing.rolling.quick_job()
    found = job.run()
    assert found is not None
    end_s = job.settled_s["lengths"] - 0.5
    invented = found.tables["lengths"].assign(end_s=end_s, finished=True)
    tables = found.tables | {"lengths": invented}
    rolling.take(job, replace(found, tables=tables, bare=True))
    assert rolling.state.tables["lengths"].empty
    assert rolling.take(job, replace(found, tables=tables, bare=False))
    assert list(rolling.state.tables["lengths"]["end_s"]) == [end_s]
    rolling.run_whole()
    growing.give_until(28.0 + 0.5 * AHEAD_S)
    rolling.commit()
    assert rolling.state.tables["lengths"].empty


@pytest.mark.parametrize("ankles_to_s", [12.0, 30.0, 45.0])
def test_what_a_whole_run_could_not_see_yet_comes_with_the_late_data(
    recorded: tuple[Chain, Built],
    final: Analysis,
    ankles_to_s: float,
) -> None:
    growing = Growing(recorded[0].folder)
    growing.give_until(80.0, Placement.LEFT_WRIST, Placement.RIGHT_WRIST)
    growing.give_until(ankles_to_s)
    rolling = growing.rolling
    rolling.run_whole()
    growing.give_until(200.0)
    for _ in range(3):
        state = rolling.run_whole() if rolling.whole_is_due else brought_up(rolling)
    assert list(state.tables["lengths"]["activity"]) == list(final.lengths["activity"])


def test_where_nothing_comes_any_more_the_last_word_rests_on_everything(
    recorded: tuple[Chain, Built], monkeypatch: pytest.MonkeyPatch
) -> None:
    growing = Growing(recorded[0].folder)
    rolling = growing.rolling
    growing.give_until(84.0)
    rolling.run_whole()
    growing.give_until(200.0)
    assert not rolling.whole_is_due
    monkeypatch.setattr("sensorswim.live.rolling.SILENCE_S", 0.0)
    assert rolling.whole_is_due
    rolling.run_whole()
    assert not rolling.whole_is_due


def test_who_joins_late_knows_all_lengths_and_then_looks_back_less_far(
    recorded: tuple[Chain, Built], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("sensorswim.live.rolling.WHOLE_S", 40.0)
    growing = Growing(recorded[0].folder)
    growing.give_until(200.0)
    rolling = growing.rolling
    assert rolling.slack_s == float("inf")
    assert rolling.whole_is_due
    job = rolling.whole_job()
    assert job.start_s == pytest.approx(0.0, abs=0.1)
    rolling.fold(job, job.run())
    assert len(rolling.state.tables["lengths"]) == 2
    assert rolling.slack_s < 0.0
    later = rolling.whole_job()
    assert later.start_s > rolling.state.tables["lengths"]["end_s"].min()
    assert not later.fit
    rolling.fold(later, later.run())
    assert len(rolling.state.tables["lengths"]) == 2


def test_lengths_swum_while_nobody_looked_are_found(
    recorded: tuple[Chain, Built], final: Analysis, monkeypatch: pytest.MonkeyPatch
) -> None:
    growing = Growing(recorded[0].folder)
    rolling = growing.rolling
    growing.give_until(final.lengths["start_s"].iloc[0] + 5.0)
    rolling.run_whole()
    monkeypatch.setattr("sensorswim.live.rolling.WHOLE_S", 10.0)
    monkeypatch.setattr("sensorswim.live.rolling.QUICK_S", 30.0)
    growing.give_until(200.0)
    assert rolling.joins
    assert rolling.whole_is_due
    ends_s = rolling.run_whole().tables["lengths"]["end_s"]
    assert list(ends_s) == pytest.approx(list(final.lengths["end_s"]), abs=0.3)


def test_a_whole_run_that_finds_nothing_holds_up_no_quick_run_and_rests(
    recorded: tuple[Chain, Built],
) -> None:
    growing = Growing(recorded[0].folder)
    growing.give_until(200.0)
    growing.rolling.fold(growing.rolling.whole_job(), None)
    assert growing.rolling.slack_s < 0.0
    assert not growing.rolling.whole_is_due
    assert not growing.rolling.has_rested


def test_a_length_that_only_a_quick_run_found_calls_for_one_whole_run(
    recorded: tuple[Chain, Built], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("sensorswim.live.rolling.PATIENCE_S", 0.0)
    growing = Growing(recorded[0].folder)
    growing.give_until(12.0)
    growing.give_until(28.0, Placement.LEFT_WRIST, Placement.RIGHT_WRIST)
    rolling = growing.rolling
    job = rolling.quick_job()
    found = job.run()
    assert found is not None
    invented = found.tables["lengths"].assign(end_s=job.settled_s["lengths"] - 0.5, finished=True)
    rolling.take(job, replace(found, tables=found.tables | {"lengths": invented}, bare=False))
    assert rolling.whole_is_due
    rolling.run_whole()
    assert not rolling.whole_is_due


@pytest.mark.parametrize(("gone_s", "told"), [(180.0, False), (10.0, True)])
def test_a_sensor_that_is_gone_for_long_holds_up_nothing(
    recorded: tuple[Chain, Built], monkeypatch: pytest.MonkeyPatch, gone_s: float, *, told: bool
) -> None:
    monkeypatch.setattr("sensorswim.live.rolling.GONE_S", gone_s)
    growing = Growing(recorded[0].folder)
    growing.give_until(12.0)
    growing.give_until(33.0, Placement.LEFT_WRIST, Placement.RIGHT_WRIST)
    assert bool(len(brought_up(growing.rolling).tables["arm_cycles"])) is told


def test_a_whole_run_rests_after_the_last_as_it_cost(
    recorded: tuple[Chain, Built], monkeypatch: pytest.MonkeyPatch
) -> None:
    growing = Growing(recorded[0].folder)
    assert growing.rolling.has_rested
    growing.give_until(84.0)
    growing.rolling.run_whole()
    assert not growing.rolling.has_rested
    monkeypatch.setattr("sensorswim.live.rolling.REST", 0.0)
    assert growing.rolling.has_rested
