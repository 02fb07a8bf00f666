"""A plan of some weeks for a swimmer, and the diary that is kept beside it."""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import date
from typing import Final

PAIN_PLACES: Final = ("shoulder", "elbow", "wrist", "neck", "back", "hip", "knee", "ankle", "other")
ARM_PLACES: Final = ("shoulder", "elbow", "wrist", "neck")


@dataclass(frozen=True, kw_only=True)
class CheckSet:
    """A set that is swum the same at every visit, so that visits compare.

    Parameters
    ----------
    label : str
        The label that its block carries in session.toml.
    repeats : int
    distance_m : float
    rest_s : float
    pace : str
        In the swimmer's words; the same each time.
    """

    label: str = "check set"
    repeats: int = 6
    distance_m: float = 50.0
    rest_s: float = 20.0
    pace: str = "easy and even, the same each time"

    @property
    def words(self) -> str:
        """For people: '6 x 50 m, rest 20 s, ...'."""
        return (
            f"{self.repeats} x {self.distance_m:g} m, {self.rest_s:g} s rest, {self.pace}, "
            "no aids, breathing as you like"
        )


@dataclass(frozen=True, kw_only=True)
class PlanOptions:
    """What a coach decides about a plan.

    Parameters
    ----------
    weeks : int
        Four to six.
    per_week : int
        Visits to the pool a week.
    kit : tuple of str or None
        Aids that there are; None = any.
    distance_m : float
        Of one length of the pool.
    check_set : CheckSet
    """

    weeks: int = 5
    per_week: int = 2
    kit: tuple[str, ...] | None = None
    distance_m: float = 25.0
    check_set: CheckSet = CheckSet()


@dataclass(frozen=True, kw_only=True)
class PlanAim:
    """One aim: the finding it comes from, its figure today and where it should be.

    Parameters
    ----------
    finding_id, title, text : str
        What stood out, and what to change.
    measure, unit : str
        The figure.
    now, wanted : float
        Its value at the visit and the nearer end of the band.
    digits : int
    """

    finding_id: str
    title: str
    text: str
    measure: str
    unit: str
    now: float
    wanted: float
    digits: int = 1


@dataclass(frozen=True, kw_only=True)
class PlanSet:
    """Lengths to swim: `repeats` times the pattern.

    Parameters
    ----------
    id : str
        For the diary, like ``w2-b``.
    aim_id : str
        The finding it works on.
    drill : str
        Drill id.
    pattern : tuple of str
        drill, swim or kick; as a block's ``lengths``.
    repeats : int
    distance_m : float
        Of one length.
    rest_s : float
        After each length.
    aids : tuple of str
        For the drill lengths.
    target : str
        Where the swum lengths should be by then.
    sensors : str
        What the sensors should show in the drill lengths.
    stopped : str
        Why it is suspended, "" where it isn't.
    """

    id: str
    aim_id: str
    drill: str
    pattern: tuple[str, ...]
    repeats: int
    distance_m: float
    rest_s: float
    target: str
    sensors: str
    aids: tuple[str, ...] = ()
    stopped: str = ""

    @property
    def metres(self) -> float:
        """The whole way of the set."""
        return self.repeats * len(self.pattern) * self.distance_m


@dataclass(frozen=True, kw_only=True)
class PlanWeek:
    """One week: its thought, its sets, each to be swum at every visit of the week."""

    number: int
    thought: str
    sets: tuple[PlanSet, ...]


@dataclass(frozen=True, kw_only=True)
class Plan:
    """The whole plan.

    Parameters
    ----------
    swimmer : str
    made_on, next_check : date
    aims : tuple of PlanAim
        At most two.
    weeks : tuple of PlanWeek
    per_week : int
    check_set : CheckSet
    should_change : tuple of str
        One sentence an aim, for the next check.
    see_somebody : str
        Where a diary stops sets: who is to be seen, and why; else "".
    """

    swimmer: str
    made_on: date
    next_check: date
    aims: tuple[PlanAim, ...]
    weeks: tuple[PlanWeek, ...]
    per_week: int
    check_set: CheckSet
    should_change: tuple[str, ...] = ()
    see_somebody: str = ""


@dataclass(frozen=True, kw_only=True)
class DiaryEntry:
    """One visit to the pool, as the swimmer wrote it down.

    Parameters
    ----------
    day : date
    sets_done : tuple of str
        Ids of sets.
    felt : str
    pain_before, pain_after : int
        0 = none to 10.
    pain_where : str
        One of `PAIN_PLACES`, "" where there is none.
    dizzy : bool
    cleared_by : str
        A qualified person who allowed to go on: ends what was stopped before.
    """

    day: date
    sets_done: tuple[str, ...] = ()
    felt: str = ""
    pain_before: int = 0
    pain_after: int = 0
    pain_where: str = ""
    dizzy: bool = False
    cleared_by: str = ""

    @property
    def pain(self) -> int:
        """The worse of before and after."""
        return max(self.pain_before, self.pain_after)


@dataclass(frozen=True, kw_only=True)
class Diary:
    """All entries, in the order of their days."""

    entries: tuple[DiaryEntry, ...] = field(default=())
