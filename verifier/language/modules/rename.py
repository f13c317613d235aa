"""Names inside a syntax tree: which there are, which of them a statement declares, and the
same tree with other names in other places.

A name stands for a thing almost everywhere. The exceptions, such as the positions of a lever
and the aspects a signal shows, are listed here.
"""

from collections.abc import Callable, Iterator
from dataclasses import fields
from typing import Any

from verifier.language.source import Source, Span
from verifier.language.syntax import tree as s

# Fields whose names are words of that statement's own and name nothing outside it.
_OWN_WORDS: dict[type, frozenset[str]] = {
    s.Lever: frozenset(["positions"]),
    s.Rule: frozenset(["shows"]),
    s.Signal: frozenset(["heads"]),
    s.Clause: frozenset(["words"]),
    s.Aspect: frozenset(["name"]),
    s.Number: frozenset(["shows"]),
    s.Scale: frozenset(["name"]),
    s.Way: frozenset(["position"]),
    s.Waive: frozenset(["claim", "subjects"]),
    s.Expect: frozenset(["claim", "subjects"]),
    s.Module: frozenset(["name", "parameters"]),
    s.Use: frozenset(["module"]),
    s.Binding: frozenset(["parameter"]),
}
# What declares nothing, though it has a name or names.
_REFER = (s.Head, s.Aspect, s.Address, s.Number, s.CommonReturn, s.Scale, s.Module)


def declared(statement: s.Statement) -> Iterator[s.Name]:
    """The names a statement declares, gaps named on a `track` line and feeders among them."""
    if isinstance(statement, _REFER):
        return
    match statement:
        case s.Track(joins=joins):
            yield from (join.gap for join in joins if join.gap)
        case s.Block(names=names, feeders=feeders):
            yield from names
            yield from (name for group in feeders for name in group.names)
        case _:
            yield from getattr(statement, "names", ())
            if hasattr(statement, "name"):
                yield statement.name


def names_in(node: Any) -> Iterator[s.Name]:
    """The names of things in a statement, declared there or not."""
    if isinstance(node, s.Name):
        yield node
    elif isinstance(node, tuple):
        for part in node:
            yield from names_in(part)
    elif type(node).__module__ == s.__name__:
        for name, own in _fields(type(node)):
            if not own:
                yield from names_in(getattr(node, name))


def renamed(node: Any, name: Callable[[s.Name], str], source: Source) -> Any:
    """The same statement with its things called what ``name`` makes of them, its places those
    of ``source``."""
    kind = type(node)
    if kind is Span:
        return Span(source, node.start, node.end)
    if kind is s.Name:
        return s.Name(name(node), Span(source, node.span.start, node.span.end))
    if kind is tuple:
        return tuple(renamed(part, name, source) for part in node)
    if kind.__module__ != s.__name__:
        return node
    return kind(
        *(
            renamed(getattr(node, field), _as_it_is if own else name, source)
            for field, own in _fields(kind)
        )
    )


def _as_it_is(name: s.Name) -> str:
    return name.text


def _fields(kind: Any) -> tuple[tuple[str, bool], ...]:
    """The fields of a kind of node, and whether the names there are words of its own."""
    known = _FIELDS.get(kind)
    if known is None:
        own = _OWN_WORDS.get(kind, frozenset())
        known = tuple((field.name, field.name in own) for field in fields(kind))
        _FIELDS[kind] = known
    return known


_FIELDS: dict[type, tuple[tuple[str, bool], ...]] = {}
