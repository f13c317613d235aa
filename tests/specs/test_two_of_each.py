"""Every statement and every clause of the language stands twice in some spec.

What stops at the first of several, or mixes them up, is then seen. Modules count as often as they
are used.
"""

from collections import Counter
from collections.abc import Iterator
from dataclasses import fields, is_dataclass
from functools import cache
from typing import get_args

import pytest

from tests.junction_files import SPEC_FILES
from verifier.language.modules.expand import read
from verifier.language.source import Source
from verifier.language.statements.kind import KINDS
from verifier.language.syntax import tree
from verifier.language.syntax.parse import parse

# Of these a layout has one, or says one thing with each. (What is included is no spec by itself.)
ONCE = {
    "Layout",
    "AtMost",
    "Include",
    "Running",
    "Trains",
    "Scale",
    "StoppingDistance",
    "Built",
    "Written",
}


def _nodes(thing: object) -> Iterator[object]:
    if is_dataclass(thing):
        yield thing
        for field in fields(thing):
            yield from _nodes(getattr(thing, field.name))
    elif isinstance(thing, tuple):
        for part in thing:
            yield from _nodes(part)


@cache
def most_in_one_spec() -> Counter[str]:
    """By statement, and by clause: how often it stands in the spec that has it most often."""
    most: Counter[str] = Counter()
    for path in SPEC_FILES:
        source = Source(str(path), path.read_text("utf-8"))
        for statements in (parse(source), read(source, path)):
            here: Counter[str] = Counter()
            for statement in statements:
                names = getattr(statement, "names", ())
                here[type(statement).__name__] += len(names) or 1
                clauses = (n for n in _nodes(statement) if isinstance(n, tree.Clause))
                here.update(f"clause {clause.kind}" for clause in clauses)
            most |= here
    return most


@pytest.mark.parametrize("name", [k.node.__name__ for k in KINDS if k.node.__name__ not in ONCE])
def test_every_statement(name: str) -> None:
    assert most_in_one_spec()[name] > 1


# These belong to a statement that a layout has once, or to the one board that its program runs on.
OF_ONE = ("detectable", "wheelsets", "load", "unlocks")


@pytest.mark.parametrize("kind", [k for k in get_args(tree.ClauseKind) if k not in OF_ONE])
def test_every_clause(kind: str) -> None:
    assert most_in_one_spec()[f"clause {kind}"] > 1


@pytest.mark.parametrize("name", sorted(ONCE - {"Include"}))
def test_what_a_layout_has_once_is_in_a_spec(name: str) -> None:
    assert most_in_one_spec()[name]
