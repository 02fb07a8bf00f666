"""Drills: what they are for, how they are done and what the sensors show meanwhile."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, kw_only=True)
class Drill:
    """One drill of the library.

    Parameters
    ----------
    id : str
        Stable name, as a block's ``drill`` gives it.
    name, aim, how, feel, sensors, cautions : str
        Name, what it is for, how to do it, what to feel, what the sensors should show while it is
        done, and what to be careful with.
    helps : tuple of str
        Ids of the findings it is for, the most fitting drills first in the library.
    kit : tuple of str
        What is needed: fins snorkel board buoy paddles band.
    loads : tuple of str
        What it loads beyond easy swimming: shoulder, legs, neck.
    pattern : str
        How the block calls its lengths: drill or kick.
    """

    id: str
    name: str
    aim: str
    how: str
    feel: str
    sensors: str
    cautions: str
    helps: tuple[str, ...]
    kit: tuple[str, ...] = ()
    loads: tuple[str, ...] = ()
    pattern: str = "drill"
