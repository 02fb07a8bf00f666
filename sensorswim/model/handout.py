"""What is sent home with the swimmer, and who agreed to sensing and filming."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

from sensorswim.model.findings import Finding


@dataclass(frozen=True, kw_only=True)
class AimWords:
    """One aim in a coach's words for the swimmer: what we saw, why it matters, what to try."""

    finding_id: str
    heading: str
    saw: str
    why: str
    try_this: str


@dataclass(frozen=True, kw_only=True)
class HandoutWords:
    """The texts of a handout that a coach may edit.

    Parameters
    ----------
    title, greeting, closing : str
    coach : str
        Who signs, "" for nobody.
    aims : tuple of AimWords
    """

    title: str
    greeting: str
    closing: str
    coach: str = ""
    aims: tuple[AimWords, ...] = ()

    def of(self, finding: Finding) -> AimWords:
        """Return the coach's words for a finding, its own where there are none."""
        return next((aim for aim in self.aims if aim.finding_id == finding.id), aim_words(finding))


def aim_words(finding: Finding) -> AimWords:
    """Return the words that a finding brings along."""
    return AimWords(
        finding_id=finding.id,
        heading=finding.title,
        saw=finding.text,
        why=finding.why,
        try_this=finding.aim,
    )


def first_words(swimmer: str, swum_on: date, aims: Sequence[Finding]) -> HandoutWords:
    """Return the words to start from, before a coach has edited any."""
    greeting = (
        "this is what your swim showed, what to work on first, and how. Two things at most: the "
        "rest can wait."
        if aims
        else "nothing in this swim lies clearly beyond what is usual. Keep swimming, and come back "
        "for the check set."
    )
    return HandoutWords(
        title=f"Your swim of {swum_on:%d %B %Y}",
        greeting=f"{swimmer or 'Dear swimmer'}, {greeting}",
        closing="Bring the diary to the next check. If anything hurts or feels wrong, stop and "
        "say so: no set is worth it.",
        aims=tuple(aim_words(finding) for finding in aims),
    )


@dataclass(frozen=True, kw_only=True)
class Agreement:
    """Who agreed to what, until when.

    Parameters
    ----------
    name : str
        Whom it is about.
    sensing, filming : bool
    agreed_on, until : date
        Both days count.
    minor : bool
    guardian : str
        Who agreed for a minor.
    """

    name: str
    sensing: bool
    filming: bool
    agreed_on: date
    until: date
    minor: bool = False
    guardian: str = ""

    def missing(self, what: str, day: date) -> str:
        """Return why ``sensing`` or ``filming`` isn't agreed to on a day, "" where it is."""
        if not getattr(self, what):
            return f"{self.name} has not agreed to {what}"
        if not self.agreed_on <= day <= self.until:
            return f"the agreement of {self.name} holds from {self.agreed_on} to {self.until}"
        if self.minor and not self.guardian.strip():
            return f"{self.name} is a minor and no guardian has agreed"
        return ""


@dataclass(frozen=True, kw_only=True)
class Consent:
    """All agreements of a session."""

    agreements: tuple[Agreement, ...] = ()

    def missing(self, what: str, day: date) -> str:
        """Return why ``sensing`` or ``filming`` isn't agreed to by all on a day, "" where it is.

        No agreement at all is none to anything.
        """
        if not self.agreements:
            return "nobody has agreed yet"
        return "; ".join(why for one in self.agreements if (why := one.missing(what, day)))
