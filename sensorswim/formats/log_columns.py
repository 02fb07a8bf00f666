"""What the columns of a log mean: quantity, axis and unit, read from the column's name."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Final

from sensorswim.errors import LogError
from sensorswim.units import TO_KPA, TO_M_S2, TO_RAD_S, TO_S, TO_UT

UNITS: Final[dict[str, Mapping[str, float]]] = {
    "time": TO_S,
    "accel": TO_M_S2,
    "gyro": TO_RAD_S,
    "magn": TO_UT,
    "pressure": TO_KPA,
}
"""Unit suffixes of each quantity and their factors to the unit used inside."""

ROLES: Final[dict[str, tuple[str, ...]]] = {
    "time": ("time",),
    "accel": ("accel_x", "accel_y", "accel_z"),
    "gyro": ("gyro_x", "gyro_y", "gyro_z"),
    "magn": ("magn_x", "magn_y", "magn_z"),
    "pressure": ("pressure",),
}
"""The columns of each quantity, without their unit."""

_NAME: Final = re.compile(r"(time|pressure|(?:accel|gyro|magn)_[xyz])_([a-z0-9_]+)")


@dataclass(frozen=True, kw_only=True)
class Column:
    """One column of a log that is read.

    Parameters
    ----------
    role : str
        Quantity and axis, e.g. ``accel_x``.
    index : int
        Its place in the file, from 0.
    name : str
        Its name in the file.
    unit : str
        Unit suffix, e.g. ``m_s2``.
    factor : float
        From the file's unit to the unit used inside.
    """

    role: str
    index: int
    name: str
    unit: str
    factor: float


def parse_name(name: str) -> tuple[str, str, float] | None:
    """Return (role, unit, factor) of a contract column name, None for any other name."""
    match = _NAME.fullmatch(name.strip().lower())
    if match is None:
        return None
    role, unit = match.groups()
    factor = UNITS[role.split("_", 1)[0]].get(unit)
    return None if factor is None else (role, unit, factor)


def find_columns(
    header: Sequence[str], quantities: Iterable[str], column_map: Mapping[str, str], where: str
) -> dict[str, Column]:
    """Return the columns of the wanted quantities, by role.

    Parameters
    ----------
    header : sequence of str
        The file's column names in order.
    quantities : iterable of str
        Keys of `ROLES` that may be read; magn and pressure are optional, the others needed.
    column_map : mapping
        Contract name with its unit -> name in the file; names it leaves out are looked up
        by themselves.
    where : str
        The file, for error lines.

    Raises
    ------
    LogError
        A needed column is missing, there twice, or has no unit in its name.
    """
    wanted = list(quantities)
    roles = {role for quantity in wanted for role in ROLES[quantity]}
    found: dict[str, Column] = {}
    for column in _named_columns(header, column_map, where):
        if column.role not in roles:
            continue
        if column.role in found:
            twice = f"{found[column.role].name} and {column.name}"
            raise LogError(
                f"two columns for {column.role} ({twice})", where=where, mend="keep one of them"
            )
        found[column.role] = column
    for quantity in wanted:
        _check_complete(quantity, header, found, where)
    return found


def _named_columns(
    header: Sequence[str], column_map: Mapping[str, str], where: str
) -> Iterable[Column]:
    plain = [name.strip() for name in header]
    mapped_roles = set()
    for contract_name, file_name in column_map.items():
        parsed = parse_name(contract_name)
        if parsed is None:
            raise LogError(f"the column map has an unknown name {contract_name!r}", where=where)
        if plain.count(file_name.strip()) != 1:
            count = plain.count(file_name.strip())
            what = "isn't in the file" if count == 0 else f"is there {count} times"
            raise LogError(
                f"column {file_name!r} {what}",
                where=where,
                mend=f"its columns are {_listed(plain)}: correct [sensor.columns] in session.toml",
            )
        role, unit, factor = parsed
        mapped_roles.add(role)
        index = plain.index(file_name.strip())
        yield Column(role=role, index=index, name=plain[index], unit=unit, factor=factor)
    for index, name in enumerate(plain):
        parsed = parse_name(name)
        if parsed is not None and parsed[0] not in mapped_roles:
            role, unit, factor = parsed
            yield Column(role=role, index=index, name=name, unit=unit, factor=factor)


def _check_complete(
    quantity: str, header: Sequence[str], found: dict[str, Column], where: str
) -> None:
    missing = [role for role in ROLES[quantity] if role not in found]
    if not missing:
        return
    if quantity in ("magn", "pressure"):
        for role in ROLES[quantity]:
            found.pop(role, None)
        return
    role = missing[0]
    units = ", ".join(f"{role}_{unit}" for unit in UNITS[quantity])
    close = [name.strip() for name in header if name.strip().lower().startswith(role)]
    what = f"column {close[0]!r} has no unit that is known" if close else f"no column for {role}"
    raise LogError(
        f"{what}; its columns are {_listed(header)}",
        where=where,
        mend=f"name it one of {units}, or give [sensor.columns] in session.toml",
    )


def _listed(header: Sequence[str]) -> str:
    text = ", ".join(name.strip() for name in header)
    text = "".join(c if c.isprintable() else "?" for c in text[:200])
    return text if len(text) < 160 else f"{text[:157]}..."
