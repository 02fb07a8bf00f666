"""What the director writes down while it lays the knots: who does what when.

The score only says where to look; every moment of the truth tables is then found on the
simulated geometry (`truth`).
"""

from __future__ import annotations

from dataclasses import dataclass, field

from sensorswim.model import Side


@dataclass(kw_only=True)
class LengthScore:
    """One length as it was laid out."""

    length_no: int
    activity: str
    set_as: str
    start_s: float
    swim_from_s: float = 0.0
    end_s: float = 0.0
    strokes: list[tuple[Side, float, float]] = field(default_factory=list)
    """Side, aimed mid-pull and the length of its cycle."""
    reaches: list[tuple[Side, float]] = field(default_factory=list)
    """Side and aimed entry of a reach to the wall."""
    kicks: list[tuple[Side, float]] = field(default_factory=list)
    breaths: list[tuple[Side, float]] = field(default_factory=list)


@dataclass(kw_only=True)
class Score:
    """Everything that was laid out, in session time."""

    lengths: list[LengthScore] = field(default_factory=list)
    knocks: list[tuple[float, float]] = field(default_factory=list)
    """Moment and strength in m/s^2."""
    contacts: list[tuple[float, str, float]] = field(default_factory=list)
    """Moment, ``feet`` or ``left_hand`` / ``right_hand``, and strength in m/s^2."""
    kick_sizes: dict[Side, list[tuple[float, float, float]]] = field(
        default_factory=lambda: {side: [] for side in Side}
    )
    """Downbeat, knee bend and thigh swing in degrees, in order of time."""
    blocks: list[tuple[str, dict[str, object], int]] = field(default_factory=list)
    """Label, further keys and the number of the first length."""
    end_s: float = 0.0
