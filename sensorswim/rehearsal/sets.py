"""Sets of something else than plain crawl, as a session mixes them in between its lengths."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from typing import Any, Final

import numpy as np

from sensorswim.rehearsal.settings import BlockStart, Length, Plan, Rest, Segment, Swimmer

_SLOWEST_M_S: Final = 0.5


@dataclass(frozen=True, kw_only=True)
class Kind:
    """What a set is swum as, how its block calls it and how the swimmer moves there.

    Parameters
    ----------
    label : str
        In the block's name, after number and distance.
    activities : tuple of str
        Of `Length`, one after the other.
    set_as : str
        What a block calls these lengths; without a block they are set as nothing.
    keys : dict
        Further keys of the block.
    pace : float
        Speed as a share of the swimmer's crawl, before a slower rate makes it slower still.
    fastest_cycles_min : float
        Nobody moves the arms faster here; butterfly and breaststroke turn somewhat quicker than
        this setting. Common practice, no source.
    fewest : int
        Lengths at least; three at most.
    """

    label: str
    activities: tuple[str, ...]
    set_as: str = "swim"
    keys: dict[str, Any] = field(default_factory=dict)
    pace: float = 1.0
    fastest_cycles_min: float = 62.0
    fewest: int = 1


KINDS: Final[dict[str, Kind]] = {
    "backstroke": Kind(
        label="backstroke", activities=("backstroke",), pace=0.9, fastest_cycles_min=48.0
    ),
    "breaststroke": Kind(
        label="breaststroke", activities=("breaststroke",), pace=0.75, fastest_cycles_min=42.0
    ),
    "butterfly": Kind(
        label="butterfly", activities=("butterfly",), pace=0.95, fastest_cycles_min=42.0
    ),
    "medley": Kind(
        label="medley without crawl",
        activities=("butterfly", "backstroke", "breaststroke"),
        pace=0.85,
        fastest_cycles_min=42.0,
        fewest=3,
    ),
    "single_arm": Kind(
        label="single-arm",
        activities=("single_arm",),
        set_as="drill",
        keys={"drill": "single-arm"},
        pace=0.85,
        fastest_cycles_min=44.0,
    ),
    "catch_up": Kind(
        label="catch-up",
        activities=("catch_up",),
        set_as="drill",
        keys={"drill": "catch-up"},
        pace=0.9,
        fastest_cycles_min=38.0,
    ),
    "kick": Kind(
        label="kick with board",
        activities=("kick",),
        set_as="kick",
        keys={"aids": ["board"]},
        pace=0.6,
    ),
    "pull": Kind(
        label="pull with buoy",
        activities=("front_crawl",),
        set_as="pull",
        keys={"aids": ["buoy"]},
        pace=0.95,
    ),
}
"""What a set can be, by name; drills by their ids in the drill library."""


def _changes(kind: Kind, swimmer: Swimmer, rng: np.random.Generator) -> dict[str, Any]:
    """Return the settings that differ: slower, and with board or buoy the legs' own way."""
    rate = min(swimmer.stroke_rate_cycles_min, kind.fastest_cycles_min)
    pace = kind.pace * rate / swimmer.stroke_rate_cycles_min
    changes: dict[str, Any] = {
        "stroke_rate_cycles_min": rate,
        "speed_m_s": max(_SLOWEST_M_S, pace * swimmer.speed_m_s),
    }
    aids = kind.keys.get("aids", [])
    if "board" in aids:
        changes |= {"dolphin_kicks": 0, "glide_s": rng.uniform(0.5, 0.9)}
    if "buoy" in aids:
        changes |= {
            "kick": "none",
            "dolphin_kicks": 0,
            "body_pitch_deg": rng.uniform(0.5, 2.5),
            "leg_split_deg": rng.uniform(0.0, 1.5),
            "shank_roll_share": rng.uniform(0.8, 1.0),
        }
    return changes


def draw_set(kind: Kind, swimmer: Swimmer, rng: np.random.Generator) -> list[Segment]:
    """Return 1 to 3 lengths of one kind with rests between; a drill may alternate with swim."""
    count = int(rng.integers(kind.fewest, 4))
    changes = _changes(kind, swimmer, rng)
    alternating = kind.set_as == "drill" and count > 1 and rng.random() < 0.4
    going_on = str(rng.choice(["open", "open", "flip"]))
    segments: list[Segment] = []
    for i in range(count):
        stop = i == count - 1 or rng.random() < 0.4
        turn = "stop" if stop else going_on
        if alternating and i % 2:
            segments.append(Length(turn=turn))
        else:
            activity = kind.activities[i % len(kind.activities)]
            segments.append(
                Length(activity=activity, turn=turn, changes=changes, set_as=kind.set_as)
            )
        if stop and i < count - 1:
            segments.append(Rest(duration_s=rng.uniform(5, 15)))
    return segments


def _block(kind: str, keys: dict[str, Any], lengths: int, pool_m: float) -> BlockStart:
    return BlockStart(label=f"{lengths} x {pool_m:g} {kind}", keys=keys)


def _count(segments: tuple[Segment, ...] | list[Segment]) -> int:
    return sum(isinstance(segment, Length) for segment in segments)


def mixed(plan: Plan, swimmer: Swimmer, rng: np.random.Generator) -> Plan:
    """Return the plan with a set of something else before, between or after its lengths.

    Mostly blocks tell of it; else nobody told what was set.
    """
    kind = KINDS[str(rng.choice(list(KINDS)))]
    own = draw_set(kind, swimmer, rng)
    first = next(i for i, s in enumerate(plan.segments) if isinstance(s, Length))
    after_rest = [i + 1 for i, s in enumerate(plan.segments) if isinstance(s, Rest)]
    place = int(rng.choice([first, *after_rest]))
    before, after = plan.segments[:place], plan.segments[place:]
    pause = Rest(duration_s=rng.uniform(6, 15))
    told, from_the_start = rng.random() < 0.7, rng.random() < 0.5
    if not told:
        own = [replace(s, set_as="swim") if isinstance(s, Length) else s for s in own]
        return replace(plan, segments=(*before, *own, pause, *after))
    pool_m = plan.pool_length_m
    if from_the_start and place > first:
        crawl = _block("front crawl", {}, _count(before), pool_m)
        before = (*before[:first], crawl, *before[first:])
    if _count(after):
        after = (_block("front crawl", {}, _count(after), pool_m), *after)
    own = [_block(kind.label, kind.keys, _count(own), pool_m), *own]
    return replace(plan, segments=(*before, *own, pause, *after))


def walked(plan: Plan, rng: np.random.Generator) -> Plan:
    """Return the plan with walking in some of its rests."""
    return replace(
        plan,
        segments=tuple(
            replace(s, walking=bool(rng.random() < 0.5)) if isinstance(s, Rest) else s
            for s in plan.segments
        ),
    )
