"""Which parts of the language occur in a text, so that it is seen what a generator never writes.

In: the text of a file. Out: the names of its kinds of statements, clauses and facts, as the syntax
tree has them; and all there are.
"""

from collections.abc import Iterable, Iterator
from typing import Any, get_args

from verifier.language.source import Source
from verifier.language.statements.nodes import Clause, ClauseKind, Fact, Name, parts_of
from verifier.language.syntax import tree
from verifier.language.syntax.parse import parse

# What says nothing of how a layout works.
_SAYS_NOTHING = {"Layout", "Include", "End", "Written", "Placing", "Address", "Number", "Expect"}
EVERY = frozenset(
    {kind.node.__name__ for kind in tree.KIND_OF.values()} - _SAYS_NOTHING
    | {f"clause {kind}" for kind in get_args(ClauseKind)}
)


def features(text: str) -> frozenset[str]:
    return frozenset(found for s in parse(Source("case", text)) for found in _of_statement(s))


def unseen(seen: Iterable[str]) -> list[str]:
    """What has never occurred."""
    return sorted(EVERY - set(seen))


def _of_statement(statement: tree.Statement) -> Iterator[str]:
    yield type(statement).__name__
    match statement:
        case tree.Signal() if len(statement.heads) > 1:
            yield f"{len(statement.heads)} heads"
        case tree.AtMost() | tree.Built() | tree.Running() | tree.Crew() | tree.Use():
            yield f"{type(statement).__name__} {' '.join(_words(statement))}".rstrip()
        case _:
            pass
    for node in _inside(statement):
        match node:
            case Clause():
                yield f"clause {node.kind}"
            case Fact(state=state):
                yield f"asks {state.kind}" if state else "asks a condition by its name"
            case _:
                pass


def _words(statement: tree.Statement) -> Iterator[str]:
    """The words that a statement is made with, names left out."""
    for part in parts_of(statement):
        for word in part if isinstance(part, tuple) else (part,):
            if isinstance(word, bool):
                yield str(word).lower()
            elif isinstance(word, str):
                yield word
            elif isinstance(word, tree.Word) and not isinstance(word, Name):
                yield word.text


def _inside(node: Any) -> Iterator[Any]:
    for part in parts_of(node):
        yield part
        yield from _inside(part)
