"""Names inside a syntax tree: which there are, which of them a statement declares, and the
same tree with other names in other places."""

from collections.abc import Callable, Iterator
from typing import Any

from verifier.language.source import Source, Span
from verifier.language.syntax import tree as s


def names_in(node: Any) -> Iterator[s.Name]:
    """The names of things in a statement or a part of one, declared there or not."""
    if isinstance(node, s.Name):
        yield node
    else:
        for part in s.parts_of(node):
            yield from names_in(part)


def declared_names(statement: s.Statement) -> Iterator[s.DeclaredName]:
    """The names a statement declares, feeders and the gaps of a `track` line among them. A
    signal refers to the gap it stands at."""
    named = (statement.name,) if isinstance(statement, s.Signal) else names_in(statement)
    return (name for name in named if isinstance(name, s.DeclaredName))


def renamed(node: Any, name: Callable[[s.Name], str], source: Source) -> Any:
    """The same statement with its things called what ``name`` makes of them, its places those
    of ``source``."""
    match node:
        case Span():
            return Span(source, node.start, node.end)
        case s.Name():
            return type(node)(name(node), Span(source, node.span.start, node.span.end))
    return s.with_parts(node, lambda part: renamed(part, name, source))
