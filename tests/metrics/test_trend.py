"""Like is compared with like, and the words say what was measured and what was assumed."""

from __future__ import annotations

import math

import pandas as pd
import pytest

from sensorswim.findings.bands import band_of
from sensorswim.formats.rules_toml import read_rules
from sensorswim.metrics.change import Verdict
from sensorswim.metrics.season import FIGURES, condition, figure_rows, season_lengths
from sensorswim.metrics.trend import conditions, in_words, notes, trends_of
from tests.plausible import plausible_tables

CHECK = "check set · front crawl · 25 m pool"
EASY = "4 x 25 easy · front crawl · 25 m pool"


def rows_of(name: str, means: list[float], *, where: str = CHECK, source: str = "") -> pd.DataFrame:
    return pd.DataFrame(
        {
            "session_id": range(len(means)),
            "key": [f"k{i}" for i in range(len(means))],
            "day": [30.0 * i for i in range(len(means))],
            "condition": where,
            "name": name,
            "source": source,
            "n": 6,
            "mean": means,
            "sd": 0.01,
        }
    )


def test_the_check_set_comes_first_then_what_was_swum_most_often() -> None:
    once = "once · front crawl · 25 m pool"
    visits = pd.concat(
        [rows_of("speed_m_s", [1.0, 1.0, 1.0], where=EASY), rows_of("speed_m_s", [1.0], where=once)]
    )
    assert conditions(visits) == [EASY, once]
    assert conditions(pd.concat([visits, rows_of("speed_m_s", [1.0, 1.0])]))[0] == CHECK


def test_lengths_differ_by_stroke_aids_drill_breathing_and_pool() -> None:
    plain = {"block_label": "Check set 6 x 50", "activity": "front_crawl", "finished": True}
    others = [
        {"activity": "backstroke"},
        {"aids": "fins"},
        {"drill": "single-arm"},
        {"breathing": "every 3"},
        {"finished": False},
        {"block_label": "8 x 25"},
    ]
    names = {condition(plain | other, 25.0) for other in others} | {condition(plain, 50.0)}
    assert condition(plain, 25.0) == CHECK
    assert len(names | {CHECK}) == len(others) + 2


def test_a_figure_from_another_sensor_is_left_out_and_said() -> None:
    ankles = rows_of("roll_onto_left_deg", [30.0], source="ankles")
    back = rows_of("roll_onto_left_deg", [55.0, 56.0], source="upper_back").assign(day=[30, 60])
    series = trends_of(pd.concat([ankles, back]), CHECK)["roll_onto_left_deg"]
    assert [v.mean for v in series.visits] == [55.0, 56.0]
    left_out = next(line for line in notes(series, {}) if "another sensor" in line)
    assert left_out.endswith(": 1 visit.")


def test_one_visit_makes_no_trend() -> None:
    assert trends_of(rows_of("speed_m_s", [1.0]), CHECK) == {}


def test_a_faster_set_is_said_beside_what_follows_speed() -> None:
    visits = pd.concat(
        [rows_of("speed_m_s", [1.0, 1.4]), rows_of("stroke_rate_cycles_min", [30.0, 38.0])]
    )
    found = trends_of(visits, CHECK)
    told = notes(found["stroke_rate_cycles_min"], found)
    assert any("swum faster" in line for line in told)
    assert not any("swum" in line for line in notes(found["speed_m_s"], found))


def test_a_guessed_spread_is_said() -> None:
    series = trends_of(rows_of("speed_m_s", [1.0, 1.4]), CHECK)["speed_m_s"]
    assert any("cautious guess (0.03 m/s)" in line for line in notes(series, {}))


def test_words_give_verdict_change_and_what_would_count() -> None:
    series = trends_of(rows_of("stroke_rate_cycles_min", [30.0, 29.0]), CHECK)
    change = series["stroke_rate_cycles_min"].since_first
    assert change.verdict is Verdict.NOT_CLEAR
    words = in_words(change, FIGURES["stroke_rate_cycles_min"])
    assert words.startswith(
        "no clear change: −1.0 cycles a minute; changes from 2.8 cycles a minute"
    )


def test_only_the_figures_asked_for_are_judged() -> None:
    visits = pd.concat([rows_of("speed_m_s", [1.0, 1.4]), rows_of("kicks_per_cycle", [4.0, 4.0])])
    alone = trends_of(visits, CHECK, names=["speed_m_s"])
    assert list(alone) == ["speed_m_s"]
    assert alone["speed_m_s"].since_first.alpha == 0.05
    assert trends_of(visits, CHECK)["speed_m_s"].since_first.alpha == 0.025


def test_figures_of_a_session_by_condition() -> None:
    found = season_lengths(plausible_tables(), pool_length_m=25.0)
    assert len(found) == 8
    assert found["pull_depth_left_m"].eq(0.55).all()
    assert found["told_pct"].eq(100.0).all()
    assert found["kick_share_of_beat_pct"].between(88.0, 100.0).all()
    rows = pd.DataFrame(figure_rows(found))
    steady = rows[rows["condition"].str.startswith("4 x 25 steady · front")].set_index("name")
    assert steady.loc["stroke_rate_cycles_min", "n"] == 3
    assert steady.loc["roll_onto_left_deg", "source"] == "ankles"
    assert steady.loc["elbow_angle_left_deg", "source"] == "wrist_model"


def test_time_beyond_a_fixed_roll_is_counted_over_all_half_cycles() -> None:
    """A sine of 46.5 deg about 5.5 deg passes 20 deg for (pi - 2 asin(14.5/46.5)) / 2 pi."""
    found = season_lengths(plausible_tables(), pool_length_m=25.0)
    share = (math.pi - 2 * math.asin(14.5 / 46.5)) / (2 * math.pi)
    cycles_swum, cycles_with_rolls = 10, 9
    expected = share * 2.0 * cycles_swum / cycles_with_rolls
    one_sample_a_cycle = 0.02 * cycles_swum / cycles_with_rolls
    assert found["fixed_left_s"].iloc[3] == pytest.approx(expected, abs=one_sample_a_cycle)


def test_without_a_wrist_time_beyond_a_fixed_roll_counts_from_the_first_roll_on() -> None:
    tables = plausible_tables()
    usual = season_lengths(tables, pool_length_m=25.0)["fixed_left_s"]
    tables["lengths"] = tables["lengths"].assign(swim_start_s=float("nan"))
    found = season_lengths(tables, pool_length_m=25.0)["fixed_left_s"]
    assert found.notna().all()
    assert (found > 0.8 * usual).all()
    assert (found < 1.2 * usual).all()


def test_visits_whose_breaths_were_held_against_other_rolls_are_not_compared() -> None:
    def of(tables: dict[str, pd.DataFrame]) -> set[str]:
        rows = figure_rows(season_lengths(tables, pool_length_m=25.0))
        return {row["source"] for row in rows if row["name"] == "side_hold_excess_s"}

    tables = plausible_tables()
    assert of(tables) == {"ankles"}
    rolls = tables["rolls"]
    every_left = rolls.assign(is_breath=rolls["is_breath"] | rolls["side"].eq("left"))
    assert of(tables | {"rolls": every_left}) == {"ankles, against rolls to the other side"}
    few = tables["breaths"]["length_no"].isin(tables["lengths"]["length_no"].iloc[-2:])
    told = tables["lengths"]["length_no"].isin(tables["lengths"]["length_no"].iloc[-2:])
    some = {
        "lengths": tables["lengths"].assign(
            side_hold_excess_s=tables["lengths"]["side_hold_excess_s"].where(told)
        ),
        "rolls": every_left,
        "breaths": tables["breaths"][few],
    }
    assert of(tables | some) == {"ankles, against rolls to the other side"}


def test_a_swimmer_without_told_breaths_stays_in_the_picture() -> None:
    tables = plausible_tables()
    tables["rolls"] = tables["rolls"].assign(is_breath=pd.NA).astype(tables["rolls"].dtypes)
    tables["breaths"] = tables["breaths"].iloc[:0]
    found = season_lengths(tables, pool_length_m=25.0)
    assert found["told_pct"].eq(0.0).all()
    assert found["hold_all_left_s"].notna().all()
    assert found["breath_fixed_s"].isna().all()


def test_a_session_in_which_nothing_was_found_has_no_figures() -> None:
    tables = {name: table.iloc[:0] for name, table in plausible_tables().items()}
    assert figure_rows(season_lengths(tables, pool_length_m=25.0)) == []


def test_the_wanted_band_depends_on_the_sensor() -> None:
    rules = read_rules()
    assert band_of("roll_onto_left_deg", "ankles", rules) == (11.0, 46.0)
    assert band_of("roll_onto_left_deg", "upper_back", rules) == (30.0, 58.0)
    assert band_of("speed_m_s", "", rules) == (None, None)
