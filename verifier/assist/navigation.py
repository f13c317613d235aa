"""Where a name is declared, where it is meant, and the same texts with another name for it.

In: the names of the texts that belong together (a file and what it includes), and a place in one
of them. A name may have several parts: of `East.4L`, `East` means a use of a module, `4L` a signal
inside it.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import NamedTuple

from verifier.assist.naming import Declaration, Names, Occurrence, names_of
from verifier.assist.pieces import text_of
from verifier.language.source import Source
from verifier.language.syntax import tree as s
from verifier.language.syntax.parse import MAX_NAME, is_name
from verifier.plan.names import KIND_WORDS


class Place(NamedTuple):
    """A stretch of the text with this number in its family."""

    file: int
    start: int
    end: int


class Meant(NamedTuple):
    """A part of a name, what it means, and in which text that is declared."""

    place: Place
    declared: Declaration
    file: int


class CannotRename(Exception):
    """A name cannot be changed; the text is for the user."""


@dataclass(frozen=True)
class Family:
    """The names of texts that belong together; those of one are known in all."""

    names: tuple[Names, ...]

    @cached_property
    def _table(self) -> dict[tuple[str, str], tuple[int, Declaration]]:
        found: dict[tuple[str, str], tuple[int, Declaration]] = {}
        for file, names in enumerate(self.names):
            for key, declared in names.table.items():
                found.setdefault(key, (file, declared))
        return found

    def known(self, scope: str, name: str) -> Declaration | None:
        found = self._table.get((scope, name))
        return found[1] if found else None

    def statements(self) -> Iterator[s.Statement]:
        """Every statement of the texts that can be read."""
        return (statement for names in self.names for _, statement in names.text.statements())

    def of_kind(self, scope: str, kinds: tuple[str, ...]) -> Iterator[tuple[str, Declaration]]:
        """The names that something of one of these kinds has in a scope."""
        for names in self.names:
            for declared in names.declarations:
                if declared.name.scope == scope and declared.name.kind in kinds:
                    yield declared.name.text, declared

    def parts(self, file: int, name: Occurrence) -> Iterator[Meant]:
        """The parts of a name that mean something."""
        if name.kind == "head":  # written without its signal
            found = self._table[name.scope, name.text]
            yield Meant(Place(file, name.start, name.end), found[1], found[0])
            return
        scope, base, at = name.scope, "", name.start
        for word in name.text.split("."):
            base = f"{base}.{word}" if base else word
            declared = self._table.get((scope, base))
            if declared:
                yield Meant(Place(file, at, at + len(word)), declared[1], declared[0])
                node = declared[1].node
                if declared[1].name.kind == "use" and isinstance(node, s.Use):
                    scope, base = node.module.text, ""
            at += len(word) + 1

    def meant_at(self, file: int, offset: int) -> Meant | None:
        """What the part of a name at a place means."""
        name = self.names[file].at(offset)
        parts = [] if name is None else list(self.parts(file, name))
        here = [m for m in parts if m.place.start <= offset <= m.place.end]
        return here[0] if here else None

    def meaning(self, declared: Declaration) -> Iterator[Meant]:
        """Every place that means what is declared, its declaration included."""
        for file, names in enumerate(self.names):
            for name in names.occurrences:
                for part in self.parts(file, name):
                    if part.declared is declared:
                        yield part


def renamed(family: Family, file: int, offset: int, new: str) -> list[Place]:
    """The places to write a ``new`` name at, for what is meant at a place.

    Raises :class:`CannotRename` where there is nothing with a name of its own, where ``new`` is no
    name or is taken, and where a text would no longer mean the same."""
    meant = family.meant_at(file, offset)
    if meant is None:
        raise CannotRename("Only things that the file itself declares can be renamed.")
    _check(family, meant.declared, new)
    found = list(dict.fromkeys(part.place for part in family.meaning(meant.declared)))
    changed = Family(tuple(_with(names, i, found, new) for i, names in enumerate(family.names)))
    if _shape(changed) != _shape(family):
        raise CannotRename(f"With `{new}` the file would mean something else.")
    return found


def _check(family: Family, declared: Declaration, new: str) -> None:
    """Raise :class:`CannotRename` unless a thing can have this name."""
    if len(new) > MAX_NAME:
        raise CannotRename(f"A name has at most {MAX_NAME} characters.")
    if not is_name(new) or "." in new:
        raise CannotRename(
            f"`{new}` is no name: names have letters, digits, `-` and `_`, and are no words of the "
            "language."
        )
    before, dot, _ = declared.name.text.rpartition(".")
    taken = family.known(declared.name.scope, f"{before}{dot}{new}")
    if taken is not None and taken is not declared:
        kind = KIND_WORDS.get(taken.name.kind, f"a {taken.name.kind}")
        raise CannotRename(f"`{new}` is already the name of {kind}.")


def _with(names: Names, file: int, places: Sequence[Place], new: str) -> Names:
    """The names of a text that has the new name at these places."""
    text = names.text.text
    for place in sorted((p for p in places if p.file == file), reverse=True):
        text = text[: place.start] + new + text[place.end :]
    return names_of(text_of(Source(names.text.source.name, text)))


def _shape(family: Family) -> list[list[tuple[int, int]]]:
    """What the names of the texts mean, whatever they are: for each part of each, the text and the
    number of what it means."""
    number = {
        (file, declared.name.start): i
        for file, names in enumerate(family.names)
        for i, declared in enumerate(names.declarations)
    }
    return [
        [
            (part.file, number[part.file, part.declared.name.start])
            for name in names.occurrences
            for part in family.parts(file, name)
        ]
        for file, names in enumerate(family.names)
    ]
