"""What a block had set against what the sensors show."""

from __future__ import annotations

from dataclasses import replace

import pytest

from sensorswim.metrics.set_and_seen import say_disagreements
from sensorswim.model import Limb, Quality
from sensorswim.model.quality import QualityRow
from sensorswim.model.session import Block
from sensorswim.model.tables import frame
from tests.invented import invented_session


def noted(
    set_as: str | None,
    activity: str,
    *,
    kicks: float | None = None,
    aids: tuple[str, ...] = (),
    lengths: tuple[str, ...] = (),
    worn: tuple[Limb, ...] = (Limb.WRIST, Limb.ANKLE),
) -> list[QualityRow]:
    row = {
        "length_no": 3,
        "start_s": 50.0,
        "end_s": 71.0,
        "block_no": 1,
        "set_as": set_as,
        "activity": activity,
        "aids": " ".join(aids) or None,
        "kicks_per_cycle": kicks,
    }
    block = Block(start_s=0.0, end_s=90.0, lengths=lengths or (set_as or "swim",), aids=aids)
    quality = Quality()
    session = replace(invented_session(), blocks=(block,))
    say_disagreements(session, frame("lengths", [row]), quality, worn=worn)
    return list(quality)


@pytest.mark.parametrize(
    ("set_as", "activity", "kicks", "words"),
    [
        ("kick", "front_crawl", 6.0, "set as kick, but the sensors show front crawl"),
        ("kick", "other", None, "set as kick, but the sensors show none of the four strokes"),
        ("drill", "backstroke", None, "set as drill, but the sensors show backstroke"),
        ("swim", "kick", None, "set as swim, but the sensors show a kick without arm strokes"),
        ("swim", "other", None, "set as swim, but the sensors show none of the four"),
        ("pull", "kick", None, "set as pull, but the sensors show a kick"),
        ("pull", "front_crawl", 1.6, "set as pull, but the legs kicked 1.6 times an arm cycle."),
    ],
)
def test_what_was_set_otherwise_is_said_of_its_length(set_as, activity, kicks, words):
    (row,) = noted(set_as, activity, kicks=kicks, aids=("buoy",))
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
    assert not noted(set_as, activity, kicks=kicks, aids=("buoy",))


def test_who_pulls_without_anything_between_the_legs_may_kick():
    assert not noted("pull", "front_crawl", kicks=4.0, aids=("paddles",))


def test_without_a_wrist_what_has_no_name_contradicts_nothing():
    assert not noted("swim", "other", worn=(Limb.ANKLE,))
    assert noted("kick", "front_crawl", worn=(Limb.ANKLE,))


def test_where_a_kicked_length_is_not_seen_nobody_knows_which_length_is_which():
    arms = (Limb.WRIST, Limb.UPPER_ARM)
    assert not noted("kick", "front_crawl", lengths=("kick", "swim"), worn=arms)
    assert noted("drill", "backstroke", lengths=("drill", "swim"), worn=arms)


def test_nothing_swum_is_nothing_to_disagree_with():
    quality = Quality()
    say_disagreements(invented_session(), frame("lengths", []), quality, worn=(Limb.WRIST,))
    assert not len(quality)
