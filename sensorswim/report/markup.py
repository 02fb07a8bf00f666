"""A few lines of HTML: everything is escaped unless it is `Html` already."""

from __future__ import annotations

import html
from collections.abc import Iterable


class Html(str):
    """Markup that is safe to put into a page as it is."""

    __slots__ = ()


def text(value: object) -> Html:
    """Return a value as text, with every character that HTML would read as markup escaped."""
    return value if isinstance(value, Html) else Html(html.escape(str(value), quote=True))


def tag(name: str, *children: object, **attributes: str) -> Html:
    """Return an element.

    Parameters
    ----------
    name : str
        The element's name.
    *children : object
        Its content in order; what isn't `Html` is escaped.
    **attributes : str
        Attribute values; an underscore stands for a dash, a trailing one is dropped
        (``class_``).
    """
    attrs = "".join(
        f' {key.rstrip("_").replace("_", "-")}="{text(value)}"' for key, value in attributes.items()
    )
    return Html(f"<{name}{attrs}>{join(children)}</{name}>")


def join(children: Iterable[object]) -> Html:
    """Return the children one after the other."""
    return Html("".join(text(child) for child in children))


def in_script(data: str) -> Html:
    """Return JSON that can stand in a script element without ending it."""
    return Html(data.replace("<", "\\u003c"))
