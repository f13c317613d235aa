"""HTML out of parts, everything escaped that is not markup already.

In: the names of elements, their attributes, and what they hold: text, or markup made here. Out:
:class:`Html`. Only :func:`trusted` takes markup as it is; no text of a user's ever goes there.
"""

from collections.abc import Iterable
from dataclasses import dataclass
from html import escape

_EMPTY = frozenset({"meta", "br", "hr", "input", "col"})


@dataclass(frozen=True, slots=True)
class Html:
    """Markup that is safe as it stands."""

    text: str

    def __str__(self) -> str:
        return self.text

    def __bool__(self) -> bool:
        return bool(self.text)


# What an element holds: text is escaped, None is nothing.
Child = Html | str | None
Attribute = str | int | bool | None

NOTHING = Html("")


def tag(name: str, /, *children: Child, **attributes: Attribute) -> Html:
    """One element. ``class_`` is ``class``, ``data_kind`` is ``data-kind``; an attribute that is
    None or False is left out, one that is True stands without a value."""
    begun = name + "".join(
        _attribute(key, value)
        for key, value in attributes.items()
        if value is not None and value is not False
    )
    if name in _EMPTY:
        return Html(f"<{begun}>")
    return Html(f"<{begun}>{joined(children)}</{name}>")


def joined(children: Iterable[Child]) -> Html:
    """Parts one after the other."""
    return Html("".join(_child(child) for child in children))


def trusted(markup: str) -> Html:
    """Markup of our own, taken as it is: drawings, style sheets, scripts."""
    return Html(markup)


def coded(text: str) -> Html:
    """A sentence of a report, with what stands between backticks as code."""
    parts = text.split("`")
    if len(parts) % 2 == 0:  # a backtick of the user's: nothing is certain
        return joined([text])
    return joined(tag("code", part) if i % 2 else part for i, part in enumerate(parts))


def _attribute(key: str, value: str | int | bool) -> str:
    name = key.rstrip("_").replace("_", "-")
    return f" {name}" if value is True else f' {name}="{escape(str(value))}"'


def _child(child: Child) -> str:
    if child is None:
        return ""
    return child.text if isinstance(child, Html) else escape(child, quote=False)
