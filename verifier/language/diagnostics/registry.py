"""Every kind of diagnostic: what it means, why it matters on a layout, what to do, and the words
of its messages. All of it is data, in ``data/*.toml``, loaded when the first one is needed.

A code, once published, keeps its meaning. CP1xx: the text cannot be read; CP2xx: names and
states; CP3xx: track; CP4xx: signals and their rules; CP5xx: what is proved; CP6xx: wiring, and
observations of it; CP7xx: memory, time, locking, included files and modules; CP8xx: options of
sheets; CP9xx: what cannot be drafted. A table of a data file::

    [CP208]
    title, explanation        # for `clearproof explain CP208`
    bad, good                 # a file (or a `clearproof` command) with this wrong, and put right
    message, hint, other      # templates: what is wrong, what to do, a mark at a further place
    [CP208.variants.module]   # other words for the same code; what is left out is as above
    [CP204.hints]             # hints that go with any message of the code
    [CP204.fixes]             # by hint or variant: what to write in place of what is marked
    [hints]                   # hints that go with any message of the file

Templates are for :meth:`str.format`. In an example, a line ``$name`` stands for a snippet of the
file, and ``$$`` for a dollar sign.
"""

import tomllib
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from functools import cache
from importlib import resources
from string import Template
from typing import Any

from verifier.language.diagnostics.diagnostic import Correction, Diagnostic
from verifier.language.listing import listing
from verifier.language.source import Span


@dataclass(frozen=True, slots=True)
class Wording:
    """Templates of one diagnostic; ``other`` is said of each further place."""

    message: str
    hint: str = ""
    other: str = ""


@dataclass(frozen=True, slots=True)
class DiagnosticKind:
    """One thing that can be wrong with the input, explained.

    ``bad`` is a complete file (or, where it starts with ``clearproof``, a command) that has
    this wrong and nothing else; ``good`` is the same put right. ``wordings`` are by variant; the
    usual one is ``""``. ``hints`` are templates by name, and so are ``fixes``: what to write in
    place of what is wrong, where a hint says that word for word."""

    code: str
    title: str
    explanation: str
    bad: str
    good: str
    wordings: Mapping[str, Wording]
    hints: Mapping[str, str]
    fixes: Mapping[str, str]


@cache
def kinds() -> Mapping[str, DiagnosticKind]:
    """All kinds by code, in order."""
    found: dict[str, DiagnosticKind] = {}
    for path in (resources.files(__package__) / "data").iterdir():
        table = tomllib.loads(path.read_text("utf-8"))
        snippets = {
            name: text.removesuffix("\n") for name, text in table.pop("snippets", {}).items()
        }
        shared = table.pop("hints", {})
        found |= {code: _kind(code, entry, snippets, shared) for code, entry in table.items()}
    return dict(sorted(found.items()))


def _kind(
    code: str, entry: Mapping[str, Any], snippets: Mapping[str, str], shared: Mapping[str, str]
) -> DiagnosticKind:
    usual = {part: entry[part] for part in ("message", "hint", "other") if part in entry}
    wordings = {"": Wording(**usual)} if "message" in usual else {}
    for variant, words in entry.get("variants", {}).items():
        wordings[variant] = Wording(**{**usual, **words})
    bad, good = (Template(entry[part]).substitute(snippets) for part in ("bad", "good"))
    explanation, hints = entry["explanation"].strip(), {**shared, **entry.get("hints", {})}
    fixes = entry.get("fixes", {})
    return DiagnosticKind(code, entry["title"], explanation, bad, good, wordings, hints, fixes)


# ------------------------------------------------------------------ what a raiser says

# What a template may be filled with. A list is written `{names:or}` (`and`), or with the
# separator in place of the word: `{names:, }`; with "`" first, each name stands in backticks.
Field = str | int | Iterable[object]


class Hint:
    """A hint of the data files by name, with the fields of its template."""

    __slots__ = ("fields", "name")

    def __init__(self, name: str, /, **fields: Field):
        self.name, self.fields = name, fields


def diagnostic(
    code: str,
    span: Span,
    variant: str = "",
    /,
    *,
    near: str | None = None,
    instead_of: Span | None = None,
    hints: Iterable[str | Hint] = (),
    others: Iterable[Span | tuple[Span, str]] = (),
    **fields: Field,
) -> Diagnostic:
    """The diagnostic of a kind, its templates filled in.

    ``near``: the name that was probably meant; where there is one, the hint asks about it. It
    stands in place of the span, or of ``instead_of``.
    ``hints``: names of hints that follow, in place of the usual one. ``others``: further places,
    each with the text for ``{other}`` in what is said of it."""
    kind = kinds()[code]
    wording = kind.wordings[variant]
    words = _words(fields)
    named = [hint if isinstance(hint, Hint) else Hint(hint) for hint in hints]
    meant = near or next((str(h.fields["near"]) for h in named if "near" in h.fields), None)
    for one in named or [Hint(variant)]:
        if meant is None and one.name in kind.fixes:
            meant = kind.fixes[one.name].format_map(words | _words(one.fields))
    advice = [kind.hints[hint.name].format_map(words | _words(hint.fields)) for hint in named]
    if near:
        advice = [f"Did you mean `{near}`?", *advice]
    hint = " ".join(advice) or wording.hint.format_map(words)
    places = (place if isinstance(place, tuple) else (place, "") for place in others)
    marked = tuple((at, wording.other.format(other=text, **words)) for at, text in places)
    where = instead_of or span
    quoted = where.text.startswith('"')  # a text is told what it is like, not what it should be
    fix = None if meant is None or quoted else _spaced(where, meant)
    return Diagnostic(code, wording.message.format_map(words), span, hint, marked, fix)


def _spaced(where: Span, meant: str) -> Correction:
    """A correction with the spaces it needs: what is taken out takes those before it along, and
    a word that stands for a sign has them on both sides."""
    before, after = where.source.text[: where.start], where.source.text[where.end :][:1]
    if not meant and (not after or after.isspace() or after == ")"):
        return Correction(replace(where, start=len(before.rstrip(" \t"))), meant)
    if meant.isalpha() and not any(c.isalnum() for c in where.text):
        lead = " " if before[-1:].isalnum() or before.endswith(")") else ""
        meant = f"{lead}{meant}{' ' if after.isalnum() or after == '(' else ''}"
    return Correction(where, meant)


def _words(fields: Mapping[str, Field]) -> dict[str, object]:
    return {n: x if isinstance(x, str | int) else _Listed(x) for n, x in fields.items()}


class _Listed:
    """Several things in one field of a template."""

    def __init__(self, things: Any):
        self._words = [str(thing) for thing in things]

    def __format__(self, joined: str) -> str:
        words = [f"`{word}`" for word in self._words] if joined.startswith("`") else self._words
        join = joined.removeprefix("`")
        return listing(words, join) if join in ("and", "or") else join.join(words)
