"""Guesses what a log of any logger holds: its columns, their units, and where it was worn.

Only guesses, for a page that shows them and lets people correct them. The thresholds on
magnitudes rest on what gravity and swimmers do (common practice, no source).
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Final

import numpy as np
import pandas as pd
import pyarrow as pa
import pyarrow.parquet as pq

from sensorswim.errors import LogError
from sensorswim.formats.log_columns import parse_name
from sensorswim.model.placement import Limb, Placement, Side
from sensorswim.model.streams import FloatArray, Stream

_ROWS: Final = 6000
_QUANTITIES: Final = (
    ("gyro", re.compile(r"gyr|angular|rot(ation)?[ _]?rate|^g[xyz]\b|^w[xyz]\b")),
    ("accel", re.compile(r"acc|^a[xyz]\b")),
    ("magn", re.compile(r"mag|^m[xyz]\b")),
    ("pressure", re.compile(r"press|baro")),
    ("time", re.compile(r"time|stamp|elapsed|epoch|^t\b|^sec|^ms\b")),
)
_UNITS: Final = (
    ("m_s2", re.compile(r"m\s*/\s*s\s*(\^|\*\*)?\s*[2²]|ms-2|mps2|m_s2|m/s/s")),
    ("rad_s", re.compile(r"rad")),
    ("deg_s", re.compile(r"deg|dps|°")),
    ("kpa", re.compile(r"kpa")),
    ("hpa", re.compile(r"hpa|mbar")),
    ("ut", re.compile(r"[uµμ]t\b|tesla")),
    ("mg", re.compile(r"\bmg\b|\(mg\)|_mg$")),
    ("us", re.compile(r"\b[uµμ]s\b|micro|_us$")),
    ("ms", re.compile(r"\bms\b|milli|_ms$")),
    ("g", re.compile(r"[\[( _]g[\]) ]?$|\bg\b")),
    ("s", re.compile(r"\bs\b|\bsec|_s$")),
)
_FITS: Final = {
    "time": ("s", "ms", "us"),
    "accel": ("m_s2", "mg", "g"),
    "gyro": ("rad_s", "deg_s"),
    "magn": ("ut",),
    "pressure": ("kpa", "hpa"),
}
_SIDES: Final = {
    Side.LEFT: re.compile(r"left|(^|[^a-z])l([^a-z]|$)|^l(w|a|wrist|ankle)"),
    Side.RIGHT: re.compile(r"right|(^|[^a-z])r([^a-z]|$)|^r(w|a|wrist|ankle)"),
}
_LIMBS: Final = (
    (Limb.UPPER_ARM, re.compile(r"upper[ _-]?arm|biceps|humer")),
    (Limb.WRIST, re.compile(r"wrist|hand|forearm|watch")),
    (Limb.ANKLE, re.compile(r"ankle|foot|shank|leg|shin")),
    (Limb.UPPER_BACK, re.compile(r"upper[ _-]?back|thora|scapul|t[0-9]\b")),
    (Limb.LOWER_BACK, re.compile(r"lower[ _-]?back|sacr|lumb|pelvis|hip|back|l5")),
    (Limb.HEAD, re.compile(r"head|cap|goggle")),
)
_WRIST_RMS_RAD_S, _WRIST_MOST_QUICK = 3.0, 0.6
_ANKLE_QUICK_SHARE: Final = 0.25
"""Set on synthetic swimmers of 28 to 55 cycles a minute with every kick."""


@dataclass(frozen=True, kw_only=True)
class LogGuess:
    """What a log seems to be.

    Parameters
    ----------
    header : tuple of str
        Its column names.
    columns : dict
        Contract name with its unit -> name in the file; empty where the names are the
        contract's own.
    missing : tuple of str
        Columns that no name was found for, like ``gyro_x``.
    unsure : tuple of str
        Quantities whose unit was guessed from the numbers.
    """

    header: tuple[str, ...]
    columns: dict[str, str] = field(default_factory=dict)
    missing: tuple[str, ...] = ()
    unsure: tuple[str, ...] = ()


def guess_log(path: Path) -> LogGuess:
    """Return what the columns of a .csv, .csv.gz or .parquet log mean.

    Raises
    ------
    LogError
        The file can't be read as a table at all.
    """
    table = _head(path)
    header = tuple(str(name).strip() for name in table.columns)
    table.columns = pd.Index(header)
    named = {p[0] for name in header if (p := parse_name(name)) is not None}
    wanted = ["time", *(f"{q}_{axis}" for q in ("accel", "gyro") for axis in "xyz")]
    if set(wanted) <= named:
        return LogGuess(header=header)
    found: dict[str, str] = {}
    for name in header:
        role = _role(name)
        if role is not None and role not in found:
            found[role] = name
    columns: dict[str, str] = {}
    unsure: list[str] = []
    for quantity in _FITS:
        own = {role: name for role, name in found.items() if role.split("_")[0] == quantity}
        if not own or (quantity == "magn" and len(own) < 3):
            continue
        unit, told = _unit(quantity, list(own.values()), table)
        unsure += [] if told else [quantity]
        columns |= {f"{role}_{unit}": name for role, name in own.items()}
    missing = tuple(role for role in wanted if role not in found)
    return LogGuess(header=header, columns=columns, missing=missing, unsure=tuple(unsure))


def complete_columns(
    path: Path, guess: LogGuess, chosen: Mapping[str, str | None]
) -> dict[str, str]:
    """Return the column map with what was chosen for the missing columns, by role.

    Raises
    ------
    LogError
        A missing column isn't chosen.
    """
    left = [role for role in guess.missing if not chosen.get(role)]
    if left:
        raise LogError(
            f"it isn't said which column is {left[0].replace('_', ' ')}", where=path.name,
            mend="choose one, or leave the log out",
        )  # fmt: skip
    columns = dict(guess.columns)
    table = _head(path)
    table.columns = pd.Index([str(name).strip() for name in table.columns])
    for quantity in _FITS:
        own = {r: str(chosen[r]) for r in guess.missing if r.split("_")[0] == quantity}
        if own:
            unit, _ = _unit(quantity, list(own.values()), table)
            columns |= {f"{role}_{unit}": name for role, name in own.items()}
    return columns


def guess_placement(name: str) -> Placement | None:
    """Return where a log of this name was worn, None where the name doesn't say."""
    plain = re.sub(r"\.(csv|gz|parquet)", "", name.lower())
    limb = next((limb for limb, pattern in _LIMBS if pattern.search(plain)), None)
    if limb is None:
        return None
    if limb in (Limb.LOWER_BACK, Limb.UPPER_BACK, Limb.HEAD):
        return Placement(limb.value)
    side = next((side for side, pattern in _SIDES.items() if pattern.search(plain)), None)
    return None if side is None else Placement.of(limb, side)


def guess_limb(stream: Stream) -> Limb:
    """Return the limb that moves like this one: wrist, ankle or lower back.

    Wrists turn most; of the rest, ankles turn quicker than the trunk. Left and right look alike
    here; the analysis tells them apart by the roll.
    """
    time_s, rate = stream.gyro.time_s, stream.gyro.values  # noqa: PD011
    step_s = float(np.median(np.diff(time_s)))
    size = np.linalg.norm(rate, axis=1)
    active = size > np.median(size)
    rms = float(np.sqrt(np.mean(size[active] ** 2)))
    quick = _quick_share(rate, step_s)
    if rms > _WRIST_RMS_RAD_S and quick < _WRIST_MOST_QUICK:
        return Limb.WRIST
    return Limb.ANKLE if quick > _ANKLE_QUICK_SHARE else Limb.LOWER_BACK


def _quick_share(rate: FloatArray, step_s: float) -> float:
    """Return the share of the turning between 0.2 and 8 Hz that is quicker than 1.3 Hz."""
    power = np.abs(np.fft.rfft(rate - rate.mean(axis=0), axis=0)) ** 2
    frequency = np.fft.rfftfreq(len(rate), step_s)
    total = power[(frequency > 0.2) & (frequency < 8.0)].sum()
    quick = power[(frequency > 1.3) & (frequency < 8.0)].sum()
    return float(quick / total) if total > 0 else 0.0


def _head(path: Path) -> pd.DataFrame:
    try:
        if path.name.lower().endswith(".parquet"):
            batch = next(pq.ParquetFile(path).iter_batches(batch_size=_ROWS))
            return pa.Table.from_batches([batch]).to_pandas()
        skip, separator = _first_row(path)
        return pd.read_csv(path, sep=separator, skiprows=skip, nrows=_ROWS, encoding="utf-8-sig")
    except (pa.ArrowException, OSError, EOFError, ValueError, StopIteration) as failure:
        raise LogError("can't be read as a table", where=path.name) from failure


def _first_row(path: Path) -> tuple[int, str]:
    """Return how many lines stand before the header, and what separates its names."""
    lines = pd.read_csv(
        path, sep="\x01", header=None, nrows=60, encoding="utf-8-sig", dtype=str,
        skip_blank_lines=False, quoting=3,
    )[0].fillna("")  # fmt: skip
    for number, line in enumerate(lines):
        for separator in (",", ";", "\t"):
            cells = line.split(separator)
            if len(cells) >= 4 and sum(bool(re.search("[A-Za-z]", c)) for c in cells) >= 4:
                return number, separator
    return 0, ","


def _role(name: str) -> str | None:
    plain = name.strip().lower()
    quantity = next((q for q, pattern in _QUANTITIES if pattern.search(plain)), None)
    if quantity in (None, "time", "pressure"):
        return quantity
    bare = re.sub(r"[\[(].*?[\])]", " ", plain)
    found = re.findall(r"(?:^|[^a-z])([xyz])(?:[^a-z]|$)", bare) or re.findall(
        r"(?:acc|accel|gyr|gyro|mag|magn|[agmw])_?([xyz])", bare
    ) or re.findall(r"([xyz])$", bare.strip())  # fmt: skip
    return f"{quantity}_{found[0]}" if found else None


def _unit(quantity: str, names: list[str], table: pd.DataFrame) -> tuple[str, bool]:
    """Return the unit, and whether the names tell it."""
    fits = _FITS[quantity]
    for name in names:
        rest = name.strip().lower()
        for unit, pattern in _UNITS:
            if unit in fits and pattern.search(rest):
                return unit, True
    numbers = table[names].apply(pd.to_numeric, errors="coerce").to_numpy(dtype=float)
    return _unit_of_numbers(quantity, numbers), False


def _unit_of_numbers(quantity: str, numbers: FloatArray) -> str:
    if quantity == "time":
        step = float(np.nanmedian(np.diff(numbers[:, 0])))
        return "s" if step < 0.5 else "ms" if step < 500 else "us"
    if quantity == "accel":
        size = float(np.nanmedian(np.linalg.norm(numbers, axis=1)))
        return "g" if size < 3 else "m_s2" if size < 100 else "mg"
    if quantity == "gyro":
        return "deg_s" if float(np.nanpercentile(np.abs(numbers), 99)) > 35 else "rad_s"
    return _FITS[quantity][0]
