"""Where on the body a sensor is worn."""

from __future__ import annotations

from enum import StrEnum
from functools import cached_property


class Side(StrEnum):
    """Left or right, as the swimmer feels it."""

    LEFT = "left"
    RIGHT = "right"

    @property
    def other(self) -> Side:
        """The opposite side."""
        return Side.RIGHT if self is Side.LEFT else Side.LEFT

    @property
    def sign(self) -> int:
        """+1 for left (body y points left), -1 for right."""
        return 1 if self is Side.LEFT else -1


class Limb(StrEnum):
    """The body segment that carries the sensor."""

    WRIST = "wrist"
    ANKLE = "ankle"
    UPPER_ARM = "upper_arm"
    LOWER_BACK = "lower_back"
    UPPER_BACK = "upper_back"
    HEAD = "head"


class Placement(StrEnum):
    """The nine places of the file contract."""

    LEFT_WRIST = "left_wrist"
    RIGHT_WRIST = "right_wrist"
    LEFT_ANKLE = "left_ankle"
    RIGHT_ANKLE = "right_ankle"
    LOWER_BACK = "lower_back"
    UPPER_BACK = "upper_back"
    HEAD = "head"
    LEFT_UPPER_ARM = "left_upper_arm"
    RIGHT_UPPER_ARM = "right_upper_arm"

    @cached_property
    def side(self) -> Side | None:
        """The side of a paired placement, None on the trunk and head."""
        first = self.value.split("_", 1)[0]
        return Side(first) if first in ("left", "right") else None

    @cached_property
    def limb(self) -> Limb:
        """The segment without its side."""
        return Limb(self.value.removeprefix("left_").removeprefix("right_"))

    @cached_property
    def partner(self) -> Placement | None:
        """The same limb on the other side, None on the trunk and head."""
        return None if self.side is None else Placement(f"{self.side.other}_{self.limb}")

    @staticmethod
    def of(limb: Limb, side: Side) -> Placement:
        """Return the placement of a paired limb."""
        return Placement(f"{side}_{limb}")

    @property
    def label(self) -> str:
        """For people: 'left wrist'."""
        return self.value.replace("_", " ")
