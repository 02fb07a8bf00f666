"""The aligned signals as a table: what each column of streams.parquet means, and its unit."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Final

import pyarrow as pa

from sensorswim.model.placement import Limb, Placement
from sensorswim.model.tables import FORMAT

_ENDS: Final = {
    Limb.WRIST: "the fingers",
    Limb.ANKLE: "the toes",
    Limb.UPPER_ARM: "the elbow (as strapped where nobody stood still)",
}


def _field(name: str, kind: pa.DataType, unit: str, meaning: str) -> pa.Field:
    return pa.field(name, kind, metadata={"unit": unit, "meaning": meaning})


def _axes(limb: Limb) -> dict[str, str]:
    """Return where each axis of the limb points, however the strap sat."""
    along = _ENDS.get(limb, "the crown")
    return {
        "x": f"x, along the limb towards {along}" if limb in _ENDS else f"x, towards {along}",
        "y": "y, which completes the right-handed set",
        "z": "z, out of the skin",
    }


def _sensor_fields(place: Placement) -> Iterator[pa.Field]:
    for axis, where in _axes(place.limb).items():
        yield _field(
            f"{place}_accel_{axis}_m_s2", pa.float64(), "m/s^2",
            f"{place.label}: specific force along {where}; at rest +9.8 where that points up",
        )  # fmt: skip
        yield _field(
            f"{place}_gyro_{axis}_rad_s", pa.float64(), "rad/s",
            f"{place.label}: turn rate about {where}, right-hand rule",
        )  # fmt: skip
    yield _field(
        f"{place}_valid", pa.bool_(), "",
        f"{place.label}: false in gaps and outside its log, where the values are bridged or held",
    )  # fmt: skip


STREAMS: Final = pa.schema(
    [
        _field("time_s", pa.float64(), "s", "session time of the common grid"),
        *(field for place in Placement for field in _sensor_fields(place)),
    ],
    metadata={"format": str(FORMAT)},
)
"""Every column that ``streams.parquet`` may have; it holds those of the sensors worn."""
