"""Where the sensors show something else than what a block had set."""

from __future__ import annotations

from collections.abc import Collection
from typing import Any, Final

import pandas as pd

from sensorswim.model import Limb, Quality, Session, Severity
from sensorswim.model.tables import rows_of

_ANOTHER_STROKE: Final = ("backstroke", "breaststroke", "butterfly")
_NO_DRILL: Final = frozenset(_ANOTHER_STROKE)
"""A drill may be kicked, and one arm alone is a drill, so only another stroke is none."""
_NO_SWIM: Final = frozenset({"kick", "other"})
_NO_KICK: Final = frozenset({"front_crawl", "other", *_ANOTHER_STROKE})
_OTHERWISE: Final = {"drill": _NO_DRILL, "swim": _NO_SWIM, "pull": _NO_SWIM, "kick": _NO_KICK}
_LEAST_KICKED: Final = 1.5
"""Kicks in an arm cycle that are a kick, not legs that sway with a buoy between them: the sparsest
kick has two (common practice, no source)."""
_HELD: Final = frozenset({"buoy", "band"})
"""Aids that hold the legs."""
_SEEN: Final = {"kick": "a kick without arm strokes", "other": "none of the four strokes"}


def say_disagreements(
    session: Session, lengths: pd.DataFrame, quality: Quality, *, worn: Collection[Limb]
) -> None:
    """Note each length in which the sensors show something else than its block had set.

    Parameters
    ----------
    session : Session
        Its blocks tell what was set.
    lengths : DataFrame
        The table `lengths` with its column ``set_as``.
    quality : Quality
        Gets one row `block_disagrees` for each such length.
    worn : collection of Limb
        Without a wrist `other` may be any stroke, so it contradicts nothing; with arms alone a
        kicked length isn't seen, so which length of such a block is which can't be told.
    """
    legs_seen = not set(worn) <= {Limb.WRIST, Limb.UPPER_ARM, Limb.HEAD}
    columns = ("length_no", "start_s", "end_s", "block_no", "set_as", "activity", "aids")
    for row in rows_of(lengths, *columns, "kicks_per_cycle"):
        if pd.isna(row["set_as"]):
            continue
        block = session.blocks[int(row["block_no"]) - 1]
        counted = legs_seen or "kick" not in block.lengths
        seen = _seen_instead(row, Limb.WRIST in worn) if counted else ""
        if seen:
            number = int(row["length_no"])
            quality.add(
                "block_disagrees",
                Severity.NOTE,
                f"Length {number} was set as {row['set_as']}, but {seen}.",
                length_no=number,
                start_s=float(row["start_s"]),
                end_s=float(row["end_s"]),
            )


def _seen_instead(row: dict[str, Any], wrists: bool) -> str:
    """Return in words what was seen where it isn't what was set, else an empty text."""
    set_as, activity = str(row["set_as"]), str(row["activity"])
    unnamed = activity == "other" and not wrists
    if activity in _OTHERWISE.get(set_as, ()) and not unnamed:
        shown = _SEEN.get(activity, activity.replace("_", " "))
        return f"the sensors show {shown}; what they show is what counts here"
    aids = "" if pd.isna(row["aids"]) else str(row["aids"])
    kicks = row["kicks_per_cycle"]
    if set_as == "pull" and _HELD & set(aids.split()) and not pd.isna(kicks):
        return f"the legs kicked {kicks:.1f} times an arm cycle" if kicks >= _LEAST_KICKED else ""
    return ""
