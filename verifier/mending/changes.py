"""Changes of a text, and proposals made of them.

In: places of a junction file. Out: stretches to replace. Nothing here is proved: whoever shows a
proposal has it proved (:mod:`verifier.mending.judge`).
"""

from collections.abc import Iterable
from dataclasses import dataclass
from typing import NamedTuple

from verifier.language.source import Span


class Change(NamedTuple):
    """``text`` in place of the characters from ``start`` to ``end``. Of several at one place those
    with a lower ``rank`` come first."""

    start: int
    end: int
    rank: int
    text: str


@dataclass(frozen=True, slots=True)
class Proposal:
    """Changes that may mend something, and in one sentence what they do. ``cost`` ranks it among
    others, the smallest and most usual being 1. ``trades``: the keys of what must be possible that
    it takes away on purpose, such as an aspect for which it gives another."""

    why: str
    cost: float
    changes: tuple[Change, ...]
    trades: frozenset[str] = frozenset()

    def also(self, other: "Proposal") -> "Proposal":
        """Both together."""
        return Proposal(
            f"{self.why}; {other.why}", self.cost + other.cost,
            tuple(dict.fromkeys((*self.changes, *other.changes))), self.trades | other.trades,
        )  # fmt: skip


def changed(text: str, changes: Iterable[Change]) -> str | None:
    """The text with changes made; None where two of them overlap, or nothing changes."""
    made, at = "", 0
    for one in sorted(set(changes)):
        if one.start < at:
            return None
        made += text[at : one.start] + one.text
        at = one.end
    made += text[at:]
    return None if made == text else made


def instead(span: Span, text: str) -> Change:
    """Something else in place of a stretch."""
    return Change(span.start, span.end, 0, text)


def line_end(text: str, offset: int) -> int:
    """Where the line ends that a statement or clause ends on, behind a comment of it; just behind
    the statement where more follows on its line."""
    end = text.find("\n", offset)
    end = len(text) if end < 0 else end
    rest = text[offset:end].strip()
    return offset if rest and not rest.startswith("#") else end - text[offset:end].endswith("\r")


def further_clause(text: str, span: Span, clause: str) -> Change:
    """One clause more of a statement."""
    end = line_end(text, span.end)
    return Change(end, end, 0, f"\n  {clause}")


def after(text: str, span: Span, statement: str) -> Change:
    """A statement of its own after another."""
    end = line_end(text, span.end)
    return Change(end, end, 1, f"\n{statement}")


def before(text: str, span: Span, statement: str) -> Change:
    """A statement of its own before another, and before the comments above that."""
    start = text.rfind("\n", 0, span.start) + 1
    while start > 0:
        above = text.rfind("\n", 0, start - 1) + 1
        if not text[above:start].lstrip().startswith("#"):
            break
        start = above
    return Change(start, start, 1, f"{statement}\n")


def without(text: str, span: Span) -> Change:
    """A statement taken out, with its whole lines where nothing else stands on them."""
    start = text.rfind("\n", 0, span.start) + 1
    end = line_end(text, span.end)
    if text[start : span.start].strip() or (
        end == span.end < len(text) and text[end] not in "\r\n"
    ):
        return Change(span.start, span.end, 0, "")
    following = text.find("\n", end)
    return Change(start, len(text) if following < 0 else following + 1, 0, "")
