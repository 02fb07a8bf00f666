"""What was swum, in a few plain sentences: the head of the report and of the command's answer."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable
from typing import Final

import numpy as np
import pandas as pd

from sensorswim.figures.style import ACTIVITY_WORDS, SOURCE_WORDS, number
from sensorswim.metrics.own_rolls import reference_sides, reference_words
from sensorswim.model.analysis import Analysis
from sensorswim.model.placement import Limb

_NEAR_BEAT: Final = 0.5
"""A mean of so many kicks a cycle from the beat is told beside it (our choice, no source)."""
_APART: Final = 1.0
_GROUP: Final = 0.25
_FEW: Final = 2
"""Lengths are two groups if more than `_APART` kicks a cycle lie between, and more than within
either; the smaller one holds this share of them and so many (our choice, no source)."""


def headline(analysis: Analysis) -> list[tuple[str, str]]:
    """Return pairs of a subject and a plain sentence, in the report's order."""
    lengths = analysis.lengths
    if lengths.empty:
        return [("Swum", "No length was found in this session.")]
    own = _crawl(lengths)
    return [
        ("Swum", _swum(lengths)),
        ("Stroke", _stroke(own, sides_worn(analysis, Limb.WRIST))),
        ("Kicks", _kicks(own, analysis)),
        ("Roll", _roll(own)),
        ("Breaths", _breaths(analysis)),
        ("Arms", _arms(own)),
    ]


def worn(analysis: Analysis) -> set[Limb]:
    """Return the limbs that carried a sensor."""
    return {sensor.placement.limb for sensor in analysis.session.sensors}


def sides_worn(analysis: Analysis, limb: Limb) -> list[str]:
    """Return the sides on which a limb carried a sensor."""
    worn_ = (sensor.placement for sensor in analysis.session.sensors)
    return [str(one.side) for one in worn_ if one.limb is limb]


def clock(seconds: float) -> str:
    """Return a duration for people: 1:04 or 48 s."""
    whole = round(seconds)
    return f"{whole} s" if whole < 60 else f"{whole // 60}:{whole % 60:02d} min"


def enumerate_words(words: Iterable[str]) -> str:
    """Return "a", "a and b" or "a, b and c"."""
    parts = list(words)
    return parts[0] if len(parts) == 1 else f"{', '.join(parts[:-1])} and {parts[-1]}"


def _crawl(lengths: pd.DataFrame) -> pd.DataFrame:
    crawl = lengths[lengths["activity"].eq("front_crawl").fillna(value=False).astype(bool)]
    return crawl if len(crawl) else lengths


def _swum(lengths: pd.DataFrame) -> str:
    counts = lengths["activity"].fillna("other").value_counts(sort=False)
    kinds = enumerate_words(f"{n} {ACTIVITY_WORDS.get(str(k), str(k))}" for k, n in counts.items())
    took = (lengths["end_s"] - lengths["start_s"]).sum()
    distance = lengths["distance_m"].sum(min_count=1)
    metres = "" if pd.isna(distance) else f", {distance:.0f} m"
    lengths_word = "length" if len(lengths) == 1 else "lengths"
    return f"{len(lengths)} {lengths_word}{metres} in {clock(took)} of swimming: {kinds}."


def _spread(values: pd.Series[float], digits: int, unit: str) -> str | None:
    known = values.dropna().astype(float)
    if known.empty:
        return None
    low, high = number(known.min(), digits), number(known.max(), digits)
    across = f" (from {low} to {high})" if low != high else ""
    return f"{number(known.median(), digits)} {unit}{across}"


def _stroke(own: pd.DataFrame, wrists: list[str]) -> str:
    parts = [
        _spread(own["stroke_rate_cycles_min"], 1, "cycles a minute"),
        _spread(own["stroke_length_m"], 2, "m a cycle"),
        _spread(own["speed_m_s"], 2, "m/s over the whole length"),
    ]
    known = [part for part in parts if part]
    if not known:
        return "Not known: it needs a wrist sensor and arm strokes."
    alone = f" All from the {wrists[0]} arm alone." if len(wrists) == 1 else ""
    return f"{'; '.join(known)}.{alone}"


def _kicks(own: pd.DataFrame, analysis: Analysis) -> str:
    if Limb.ANKLE not in worn(analysis):
        return "Not known: no ankle sensor was worn."
    beats, a_cycle = own["kick_beat"].dropna().astype(int), own["kicks_per_cycle"].astype(float)
    if beats.empty and a_cycle.isna().all():
        return _downbeats(own, analysis)
    parts = [
        f"{n} of {len(beats)} lengths {_beat(beat, a_cycle.loc[beats.index[beats == beat]])}"
        for beat, n in Counter(beats).most_common()
    ]
    return f"{'; '.join([*parts, *_kicks_a_cycle(a_cycle)])}."


def _downbeats(own: pd.DataFrame, analysis: Analysis) -> str:
    """Return the kicks of a length and of a minute, where no arm cycles can be set beside them."""
    parts = [
        _spread(own["kicks"], 0, "downbeats in a length"),
        _spread(kicks_a_minute(own), 0, "in a minute of swimming"),
    ]
    told = ", ".join(part for part in parts if part)
    if not told:
        return "Not known: the kicks could not be set against arm cycles."
    legs = sides_worn(analysis, Limb.ANKLE)
    of = "both legs" if len(legs) == 2 else f"the {legs[0]} leg alone"
    return f"{told}, of {of}; there are no arm cycles to set them against."


def kicks_a_minute(lengths: pd.DataFrame) -> pd.Series[float]:
    """Return the kicks of each length in a minute of swimming, from its swim_start_s if known."""
    began_s = lengths["swim_start_s"].fillna(lengths["start_s"])
    return 60.0 * lengths["kicks"].astype(float) / (lengths["end_s"] - began_s)


def _beat(beat: int, kicks_per_cycle: pd.Series[float]) -> str:
    """Return the beat of some lengths in words, which their mean may be far from."""
    if beat == 0:
        return "without one steady beat"
    mean = float(kicks_per_cycle.mean())
    if abs(mean - beat) > _NEAR_BEAT:
        return f"with most cycles nearest to {beat} kicks, but {number(mean)} on average"
    return f"in a rhythm of {beat} kicks a cycle"


def _kicks_a_cycle(kicks_per_cycle: pd.Series[float]) -> list[str]:
    """Return how many kicks a cycle: of lengths in two groups the mean of each."""
    unit = "kicks a cycle of both arms"
    known = np.sort(kicks_per_cycle.dropna())
    if len(known) > 1:
        steps = np.diff(known)
        below = int(steps.argmax()) + 1
        groups = known[:below], known[below:]
        fewer = min(len(own) for own in groups)
        within = max(float(np.ptp(own)) for own in groups)
        if steps.max() > max(_APART, within) and fewer >= max(_FEW, _GROUP * len(known)):
            means = [f"{number(own.mean())} in {len(own)} lengths" for own in groups]
            return [f"{unit}: {' and '.join(means)}"]
    told = _spread(kicks_per_cycle, 1, unit)
    return [told] if told else []


def _roll(own: pd.DataFrame) -> str:
    left, right = own["roll_onto_left_deg"].median(), own["roll_onto_right_deg"].median()
    if pd.isna(left) and pd.isna(right):
        return "Not known: it needs a sensor on the back, or both ankles."
    sources = own["roll_source"].dropna()
    how = f" ({SOURCE_WORDS.get(str(sources.iloc[0]), '')})" if len(sources) else ""
    return (
        f"{number(right, 0)} degrees onto the right side, "
        f"{number(left, 0)} degrees onto the left{how}."
    )


def _breaths(analysis: Analysis) -> str:
    lengths, breaths = analysis.lengths, analysis.breaths
    told = lengths["breaths_left"].notna() | lengths["breaths_right"].notna()
    back_worn = bool(worn(analysis) & {Limb.LOWER_BACK, Limb.UPPER_BACK})
    if not told.any():
        if not back_worn and len(sides_worn(analysis, Limb.ANKLE)) < 2:
            return "Not known: it needs a sensor on the back, or both ankles."
        return "Not known: breaths could not be told apart from the other rolls."
    left, right = int(lengths["breaths_left"].sum()), int(lengths["breaths_right"].sum())
    if left + right == 0:
        return "No breath was found."
    text = f"{left} to the left, {right} to the right"
    hold = breaths["hold_s"].median()
    if pd.isna(hold):
        return f"{text}."
    excess = breaths["excess_s"].median()
    than = "" if pd.isna(excess) else f", {_longer(excess)} than in own rolls {_against(analysis)}"
    return f"{text}; {number(hold, 2)} s on the side each{than}."


def _against(analysis: Analysis) -> str:
    """Return which rolls without a breath the breaths were held against."""
    sides = reference_sides(analysis.rolls)
    swapped = [
        reference_words(side, reference)
        for side, reference in sides.items()
        if side != reference and analysis.breaths["side"].eq(side).any()
    ]
    return swapped[0] if swapped else "to the same side without a breath"


def _longer(excess_s: float) -> str:
    return f"{number(abs(excess_s), 2)} s {'longer' if excess_s >= 0 else 'shorter'}"


def _arms(own: pd.DataFrame) -> str:
    known = own["index_of_coordination_pct"].dropna()
    if known.empty:
        return "How the arms take over from each other is not known: it needs both wrists."
    value = float(known.median())
    if value < 0:
        what = "one arm starts its pull after the other has left the water"
    else:
        what = "one arm starts its pull before the other has left the water"
    return f"Index of coordination {number(value)} % of the cycle: {what}."
