"""Rules of thumb on a figure, and what stands out when they are held against a session."""

from __future__ import annotations

from dataclasses import asdict, dataclass, field, replace
from typing import Any, Final

POSSIBLE: Final = "possible"
"""How sure a finding is that has to be looked at first: it is never an aim."""
RULE_PLACES: Final = frozenset(
    {
        "value",
        "low",
        "high",
        "unit",
        "count",
        "of",
        "shows",
        "side",
        "other",
        "against",
        "where",
        "what",
        "felt",
        "measured",
        "more",
        "rose",
    }
)
"""What a rule's texts may hold in braces."""


@dataclass(frozen=True, kw_only=True)
class Rule:
    """One rule: which figure, its band, how it is worded and what it rests on.

    Parameters
    ----------
    id : str
        Stable name, lower-case with dashes.
    measure : str
        A figure of `sensorswim.findings.MEASURES`.
    title, says, aim, why, confused_with, view, needs, source : str
        Wording: what stands out, the measured sentence, what to change, why it matters, what looks
        alike, the camera view that shows it, what must be worn, and where the band comes from.
    unit, shows : str
        Unit of the figure; what it is counted over (breaths, strokes, cycles, lengths, rolls).
    low, high : float or None
        The band; one may be left out.
    step : float
        How far beyond the band is one step, for ranking.
    error : float
        One standard deviation of the measure itself, the same for all its counts.
    weight : float
        How much follows from it, for ranking; 1 is usual.
    least : int
        With fewer counts nothing is said.
    digits : int
        Decimals on paper.
    covered_by : tuple of str
        Ids of rules; where one of them is found, this one is left out.
    follows : tuple of str
        Ids of rules that often bring this one along; where one of them is found, it ranks lower.
    low_setting, high_setting : str
        Names of settings that take the band's place.
    tolerance : dict
        For felt against measured: by column of `lengths`, what counts as the same.
    by_source : dict
        By source of the figure (upper_back, ankles, wrist_model ...): other low, high, error or
        confused_with.
    use : bool
        False switches the rule off.
    """

    id: str
    measure: str
    title: str
    says: str
    aim: str
    why: str
    confused_with: str
    view: str
    needs: str
    source: str
    unit: str
    shows: str
    step: float
    error: float
    low: float | None = None
    high: float | None = None
    weight: float = 1.0
    least: int = 6
    digits: int = 1
    covered_by: tuple[str, ...] = ()
    follows: tuple[str, ...] = ()
    low_setting: str = ""
    high_setting: str = ""
    tolerance: dict[str, float] = field(default_factory=dict)
    by_source: dict[str, dict[str, float | str]] = field(default_factory=dict)
    use: bool = True

    def seen_by(self, source: str) -> Rule:
        """Return the rule with the band, error and look-alikes that hold for a source."""
        return replace(self, **self.by_source.get(source, {}))  # type: ignore[arg-type]


@dataclass(frozen=True, kw_only=True)
class Rules:
    """All rules of a session.

    Parameters
    ----------
    rules : tuple of Rule
    aims : int
        How many findings are aims at most: the first ones that are at least likely.
    least_certainty : float
        Findings less likely than this are not made.
    """

    rules: tuple[Rule, ...]
    aims: int = 2
    least_certainty: float = 0.8


@dataclass(frozen=True, kw_only=True)
class Moment:
    """A moment worth looking at, in session time and, where a video is placed, in its time."""

    session_s: float
    length_no: int
    value: float | None = None
    video: str | None = None
    video_s: float | None = None


@dataclass(frozen=True, kw_only=True)
class Finding:
    """One figure beyond its band, with everything a coach needs to judge it.

    Parameters
    ----------
    id, title, measure, unit, shows, aim, why, confused_with, view, reference
        As in the rule; `reference` is the rule's source.
    rank : int
        From 1.
    is_aim : bool
        One of the first findings that are at least likely, to be worked on; the rest waits.
    text : str
        What was measured, in one or two sentences.
    value, low, high : float
        The figure and its band; None where open.
    spread : float
        Standard deviation between the counts.
    certainty : float
        Probability that the figure lies beyond the band, 0..1, from its spread and the measure's
        own error.
    sure : str
        The same in words.
    side : str or None
        left or right.
    source : str
        The sensor that the figure rests on.
    count, of : int
        How many of how many counts lie beyond the band.
    steps : float
        How far beyond the band, in the rule's steps.
    digits : int
        Decimals on paper.
    moments : tuple of Moment
    """

    id: str
    rank: int
    is_aim: bool
    title: str
    text: str
    measure: str
    unit: str
    value: float
    low: float | None
    high: float | None
    spread: float
    certainty: float
    sure: str
    side: str | None
    source: str
    shows: str
    count: int
    of: int
    steps: float
    aim: str
    why: str
    confused_with: str
    view: str
    reference: str
    digits: int = 1
    moments: tuple[Moment, ...] = ()

    def as_dict(self) -> dict[str, Any]:
        """Return the finding as plain types, moments as a list of dict."""
        return asdict(self) | {"moments": [asdict(moment) for moment in self.moments]}

    @staticmethod
    def from_dict(data: dict[str, Any]) -> Finding:
        """Return the finding that `as_dict` wrote."""
        return Finding(**data | {"moments": tuple(Moment(**m) for m in data["moments"])})


@dataclass(frozen=True, kw_only=True)
class Unsupported:
    """A rule that these sensors can't answer, and what would."""

    id: str
    title: str
    needs: str
    view: str

    def as_dict(self) -> dict[str, str]:
        """Return it as plain types."""
        return asdict(self)


@dataclass(frozen=True, kw_only=True)
class Findings:
    """What stands out, ranked, and what could not be looked for."""

    found: tuple[Finding, ...] = ()
    unsupported: tuple[Unsupported, ...] = ()

    @property
    def aims(self) -> tuple[Finding, ...]:
        """The findings to work on first."""
        return tuple(finding for finding in self.found if finding.is_aim)
