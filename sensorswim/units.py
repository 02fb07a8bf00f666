"""The only unit conversions of the project: SI inside, converted once at the edge.

And how a count is written with its word.
"""

from __future__ import annotations

import math
from typing import Final

STANDARD_GRAVITY_M_S2: Final = 9.80665
"""Standard acceleration of gravity, 3rd CGPM (1901)."""

YARD_M: Final = 0.9144
"""International yard, exact (1959 agreement)."""

TO_M_S2: Final = {"m_s2": 1.0, "g": STANDARD_GRAVITY_M_S2, "mg": STANDARD_GRAVITY_M_S2 / 1000.0}
TO_RAD_S: Final = {
    "rad_s": 1.0,
    "deg_s": math.pi / 180.0,
    "mdeg_s": math.pi / 180_000.0,
    "mrad_s": 1e-3,
}
TO_S: Final = {"s": 1.0, "ms": 1e-3, "us": 1e-6, "ns": 1e-9}
TO_UT: Final = {"ut": 1.0, "mt": 1e3, "gauss": 100.0, "mgauss": 0.1}
TO_KPA: Final = {"kpa": 1.0, "pa": 1e-3, "hpa": 0.1, "mbar": 0.1, "bar": 100.0}
"""Factors from the unit in a column's name to the unit used inside."""


def counted(count: int, what: str) -> str:
    """Return a count with its word: "1 kick", "2 kicks"."""
    return f"{count} {what}" if count == 1 else f"{count} {what}s"
