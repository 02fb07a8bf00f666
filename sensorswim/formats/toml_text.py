"""TOML files in, and one line for whatever is wrong with them."""

from __future__ import annotations

import tomllib
from collections.abc import Mapping, Sequence
from importlib.resources.abc import Traversable
from pathlib import Path
from typing import Any, Final, NoReturn

import tomlkit
from pydantic import ValidationError

from sensorswim.errors import InputError
from sensorswim.model.tables import FORMAT

_MAX_BYTES: Final = 4_000_000
"""A session.toml of a thousand blocks has about 200 kB."""


def read_toml(path: Path | Traversable, error: type[InputError]) -> dict[str, Any]:
    """Read a TOML file; every way to fail ends as one line of the given error.

    Parameters
    ----------
    path : Path
        UTF-8 text, with or without a byte order mark.
    error : type
        The subclass of `InputError` to raise.
    """
    try:
        with path.open("rb") as file:
            raw = file.read(_MAX_BYTES + 1)
    except OSError as failure:
        reason = failure.strerror or "can't be read"
        raise error(f"can't be read ({reason})", where=path.name) from failure
    if len(raw) > _MAX_BYTES:
        raise error(f"is larger than {_MAX_BYTES // 1_000_000} MB", where=path.name)
    try:
        return tomllib.loads(raw.decode("utf-8-sig"))
    except UnicodeDecodeError as failure:
        line = raw.count(b"\n", 0, failure.start) + 1
        raise error(
            f"line {line} is not UTF-8 text", where=path.name, mend="save the file as UTF-8"
        ) from failure
    except ValueError as failure:
        raise error(f"is not valid TOML: {failure}", where=path.name) from failure
    except RecursionError as failure:
        raise error("is nested too deeply", where=path.name) from failure


def write_toml(path: Path, comment: str, data: Mapping[str, Any]) -> Path:
    """Write a TOML file with a comment above, swapped in whole, and return its path.

    Parameters
    ----------
    path : Path
    comment : str
        One line.
    data : mapping
        Tuples are written as lists, at any depth.
    """
    text = tomlkit.document()
    text.add(tomlkit.comment(comment))
    for key, value in data.items():
        text[key] = _listed(value)
    part = path.with_name(f"{path.name}.part")
    part.write_text(tomlkit.dumps(text), encoding="utf-8", newline="\n")
    return part.replace(path)


def _listed(value: Any) -> Any:
    if isinstance(value, Mapping):
        return {key: _listed(item) for key, item in value.items()}
    if isinstance(value, list | tuple):
        return [_listed(item) for item in value]
    return value


def check_format(
    data: Mapping[str, Any], file: str, error: type[InputError], *, need: bool
) -> None:
    """Refuse a file of a newer or unknown format.

    Parameters
    ----------
    need : bool
        Whether the key `format` may not be left out.
    """
    if "format" not in data and not need:
        return
    found = data.get("format")
    if found is None:
        raise error("the key format is missing", where=file, mend=f"add the line format = {FORMAT}")
    if isinstance(found, bool) or not isinstance(found, int) or found < 1:
        raise error(
            f"format must be a whole number, found {shown(found)}",
            where=file,
            mend=f"write format = {FORMAT}",
        )
    if found > FORMAT:
        raise error(
            f"format {found} is newer than this version of sensorswim reads ({FORMAT})",
            where=file,
            mend="update sensorswim",
        )


def shown(value: object) -> str:
    """Return a value as short printable text for an error line."""
    text = "".join(c if c.isprintable() else "?" for c in repr(value)[:200])
    return text if len(text) <= 60 else f"{text[:57]}..."


def place(path: Sequence[int | str]) -> str:
    """Return a key's path for people: ``[[sensor]] 2 file`` for ``("sensor", 1, "file")``."""
    parts: list[str] = []
    for step in path:
        if isinstance(step, int):
            parts[-1:] = [f"[[{parts[-1]}]] {step + 1}" if parts else str(step + 1)]
        else:
            parts.append(shown(step)[1:-1])
    return " ".join(parts)


def raise_first(failure: ValidationError, file: str, error: type[InputError]) -> NoReturn:
    """Raise the first problem that pydantic found as one line.

    Raises
    ------
    InputError
        Always: `error` with file, table and key, what was found and how to mend it.
    """
    problems = failure.errors(include_url=False, include_context=True)
    first = problems[0]
    where = f"{file} {place(first['loc'])}".strip()
    more = f" ({len(problems) - 1} more problems)" if len(problems) > 1 else ""
    if first["type"] == "missing":
        raise error(f"is missing{more}", where=where, mend="add it") from failure
    what, _, mend = first["msg"].removeprefix("Value error, ").partition("; ")
    found = "" if first["type"] == "value_error" else f", found {shown(first['input'])}"
    what = what[:1].lower() + what[1:]
    raise error(f"{what}{found}{more}", where=where, mend=mend) from failure
