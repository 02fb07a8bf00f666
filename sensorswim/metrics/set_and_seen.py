"""Where the sensors show something else than what a block had set."""

from __future__ import annotations

from typing import Any, Final

import pandas as pd

from sensorswim.model import Quality, Severity
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
_SEEN: Final = {"kick": "a kick without arm strokes", "other": "no stroke that they can name"}


def say_disagreements(lengths: pd.DataFrame, quality: Quality, *, wrists: int) -> None:
    """Note each length in which the sensors show something else than its block had set.

    Parameters
    ----------
    lengths : DataFrame
        The table `lengths` with its column ``set_as``.
    quality : Quality
        Gets one row `block_disagrees` for each such length.
    wrists : int
        Wrists with a sensor; without one `other` may be any stroke, so it contradicts nothing.
    """
    columns = ("length_no", "start_s", "end_s", "set_as", "activity", "kicks_per_cycle")
    for row in rows_of(lengths, *columns):
        set_as = "" if pd.isna(row["set_as"]) else str(row["set_as"])
        seen = _seen_instead(set_as, row, wrists)
        if seen:
            number = int(row["length_no"])
            quality.add(
                "block_disagrees",
                Severity.NOTE,
                f"Length {number} was set as {set_as}, but the sensors show {seen}; what they "
                "show is what counts here.",
                length_no=number,
                start_s=float(row["start_s"]),
                end_s=float(row["end_s"]),
            )


def _seen_instead(set_as: str, row: dict[str, Any], wrists: int) -> str:
    """Return in words what was seen where it isn't what was set, else an empty text."""
    activity = str(row["activity"])
    unnamed = activity == "other" and not wrists
    if activity in _OTHERWISE.get(set_as, ()) and not unnamed:
        return _SEEN.get(activity, activity.replace("_", " "))
    kicks = row["kicks_per_cycle"]
    if set_as == "pull" and not pd.isna(kicks) and kicks >= _LEAST_KICKED:
        return f"{kicks:.0f} kicks in an arm cycle"
    return ""
