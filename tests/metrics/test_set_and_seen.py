"""What a block had set against what the sensors show."""

from __future__ import annotations

import pandas as pd
import pytest

from sensorswim.metrics.set_and_seen import say_disagreements
from sensorswim.model import Quality
from sensorswim.model.tables import frame


def noted(set_as: str | None, activity: str, *, kicks: float | None = None, wrists: int = 2):
    row = {
        "length_no": 3,
        "start_s": 50.0,
        "end_s": 71.0,
        "set_as": set_as,
        "activity": activity,
        "kicks_per_cycle": kicks,
    }
    quality = Quality()
    say_disagreements(frame("lengths", [row]), quality, wrists=wrists)
    return list(quality)


@pytest.mark.parametrize(
    ("set_as", "activity", "kicks", "words"),
    [
        ("kick", "front_crawl", 6.0, "set as kick, but the sensors show front crawl"),
        ("kick", "other", None, "set as kick, but the sensors show no stroke that they can name"),
        ("drill", "backstroke", None, "set as drill, but the sensors show backstroke"),
        ("swim", "kick", None, "set as swim, but the sensors show a kick without arm strokes"),
        ("swim", "other", None, "set as swim, but the sensors show no stroke"),
        ("pull", "kick", None, "set as pull, but the sensors show a kick"),
        ("pull", "front_crawl", 4.0, "set as pull, but the sensors show 4 kicks in an arm cycle"),
    ],
)
def test_what_was_set_otherwise_is_said_of_its_length(set_as, activity, kicks, words):
    (row,) = noted(set_as, activity, kicks=kicks)
    assert row.code == "block_disagrees"
    assert words in row.text
    assert (row.length_no, row.start_s, row.end_s) == (3, 50.0, 71.0)


@pytest.mark.parametrize(
    ("set_as", "activity", "kicks"),
    [
        (None, "front_crawl", 6.0),
        ("kick", "kick", None),
        ("drill", "drill", 6.0),
        ("drill", "kick", None),
        ("swim", "front_crawl", 6.0),
        ("swim", "butterfly", None),
        ("pull", "front_crawl", 0.4),
        ("pull", "front_crawl", None),
    ],
)
def test_what_fits_what_was_set_needs_no_word(set_as, activity, kicks):
    assert not noted(set_as, activity, kicks=kicks)


def test_without_a_wrist_what_has_no_name_contradicts_nothing():
    assert not noted("swim", "other", wrists=0)
    assert noted("kick", "front_crawl", wrists=0)


def test_nothing_swum_is_nothing_to_disagree_with():
    quality = Quality()
    say_disagreements(frame("lengths", pd.DataFrame()), quality, wrists=2)
    assert not len(quality)
