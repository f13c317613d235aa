"""What is wrong with a file, as data; and the one place that turns it into text."""

import unicodedata
from collections.abc import Iterable
from dataclasses import dataclass
from difflib import get_close_matches
from typing import TYPE_CHECKING

from verifier.language.source import Span

if TYPE_CHECKING:
    from verifier.language.syntax.tree import Statement

# Of a line longer than twice this many characters only a part is shown.
MAX_SHOWN = 80
# What turns a word into its opposite.
_OPPOSITES = ("un", "non", "non-", "not-", "in", "de", "de-", "dis")


@dataclass(frozen=True, slots=True)
class Correction:
    """What was probably meant: ``text`` in place of ``span``."""

    span: Span
    text: str


@dataclass(frozen=True, slots=True)
class Diagnostic:
    """One thing wrong with the input.

    ``code`` is listed in :mod:`verifier.language.diagnostics.registry`; ``message`` says what is
    wrong, ``hint`` what to do about it, in the words of the trade; ``others`` are further places
    that belong to it, each with a few words of its own. ``fix``: what was probably meant, where
    that is known word for word.
    """

    code: str
    message: str
    span: Span
    hint: str = ""
    others: tuple[tuple[Span, str], ...] = ()
    fix: Correction | None = None


class InputError(Exception):
    """The input is wrong. Carries every :class:`Diagnostic` found, in file order. ``left``:
    statements that can be looked at all the same."""

    def __init__(self, diagnostics: Iterable[Diagnostic], left: Iterable["Statement"] = ()):
        self.left = tuple(left)
        self.diagnostics = tuple(
            sorted(diagnostics, key=lambda d: (d.span.source.name, d.span.start, d.code))
        )
        super().__init__("; ".join(d.message for d in self.diagnostics))


def nearest(name: str, known: Iterable[str]) -> str | None:
    """The known name most like ``name``, or None when none is close; never its opposite."""
    by_lower: dict[str, str] = {}
    for candidate in known:
        if name.lower() not in (f"{no}{candidate.lower()}" for no in _OPPOSITES):
            by_lower.setdefault(candidate.lower(), candidate)
    found = get_close_matches(name.lower(), sorted(by_lower), n=1, cutoff=0.7)
    if not found and name.isalpha():  # the same letters in another order
        found = [known for known in sorted(by_lower) if sorted(known) == sorted(name.lower())]
    if not found:  # the inside of a module, named without its use
        found = [known for known in sorted(by_lower) if known.endswith(f".{name.lower()}")]
    return by_lower[found[0]] if found else None


def did_you_mean(name: str, known: Iterable[str]) -> str:
    """A hint naming the nearest known name, or an empty string."""
    near = nearest(name, known)
    return f"Did you mean `{near}`?" if near else ""


def render(diagnostic: Diagnostic) -> str:
    """The diagnostic as a person reads it: place, message, the line with a mark, hint."""
    span = diagnostic.span
    said = _printable(f"{diagnostic.code}: {diagnostic.message}")
    if span.source.text:
        place = f"{span.source.name}:{span.line}:{span.column}"
        parts = [f"{place}: {said}", _marked_line(span)]
    else:
        parts = [f"{span.source.name}: {said}"]
    for used in span.uses:
        words = f"  {used.words} ({used.span.where}):"
        parts += [_printable(words), _marked_line(used.span)]
    for other, words in diagnostic.others:
        parts.append(_printable(f"  {words} ({other.where}):"))
        parts.append(_marked_line(other))
    if diagnostic.hint:
        parts.append(_printable(f"  = {diagnostic.hint}"))
    if diagnostic.fix and span.source.text and span.source.used is None:
        parts.append(_corrected_line(diagnostic.fix))
    return "\n".join(parts)


def _marked_line(span: Span) -> str:
    """The first line of a span with its place underlined; tabs keep their width.

    Of a very long line (a hostile or generated file) only what is around the place is shown.
    """
    number = str(span.line)
    _, end = span.source.line_bounds(span.line)
    first = min(span.start, end)
    last = max(min(span.end, end), first)
    cut = _cut(span)
    shown = span.source.text[cut : min(end, cut + 2 * MAX_SHOWN)]
    lead = "".join("\t" if c == "\t" else " " * _width(c) for c in shown[: first - cut])
    mark = "^" * max(1, sum(map(_width, shown[first - cut : last - cut])))
    gutter = " " * len(number)
    return f"  {number} | {_printable(shown)}\n  {gutter} | {lead}{mark}"


def _corrected_line(fix: Correction) -> str:
    """The line as it was probably meant; of a very long one the part that was shown."""
    span, text = fix.span, fix.span.source.text
    _, end = span.source.line_bounds(span.line)
    line = text[_cut(span) : span.start] + fix.text + text[span.end : max(end, span.end)]
    return f"  {span.line} + {_printable(line.rstrip()[: 2 * MAX_SHOWN])}"


def _cut(span: Span) -> int:
    """Where what is shown of the line of a span begins."""
    start, end = span.source.line_bounds(span.line)
    first = min(span.start, end)
    return start if first - start <= MAX_SHOWN else first - MAX_SHOWN // 2


def _printable(text: str) -> str:
    return "".join(c if c.isprintable() or c == "\t" else "·" for c in text)


def _width(character: str) -> int:
    """How many columns a character takes: none where it sits on the one before it, two
    where it is as wide as a Chinese character or a picture."""
    if unicodedata.category(character) in ("Mn", "Me"):
        return 0
    return 2 if unicodedata.east_asian_width(character) in "WF" else 1
