"""What the language knows of each kind of statement, as data beside its node."""

import re
from collections.abc import Callable, Iterable
from dataclasses import dataclass, field
from typing import Literal, TypeVar, dataclass_transform

from verifier.language.statements.nodes import Statement

Table = Literal["", "block", "supply", "aspect", "rule", "track"]
S = TypeVar("S", bound=Statement)


@dataclass(frozen=True, slots=True)
class StatementKind:
    """A kind of statement: its node, how messages show it, how it is printed.

    ``rule`` is its rule in the grammar, ``terminal`` the terminal it starts with. Messages
    call it ``title`` and show ``example``. ``once`` are its words where a layout has it once,
    so that no module may.

    The formatter pads statements of one ``table`` that follow each other to common columns. Its
    ``inline`` clauses stand in its first line as long as no other clause comes before them. At
    each of the words or rules ``tail`` a line starts that joins the one before if there is room.
    """

    node: type[Statement]
    rule: str
    terminal: str
    title: str
    example: str
    once: str
    table: Table
    inline: frozenset[str]
    tail: frozenset[str]


# All kinds of statements. Complete once verifier.language.syntax.tree is imported.
KINDS: list[StatementKind] = []


@dataclass_transform(frozen_default=True, field_specifiers=(field,))
def statement(
    terminal: str,
    title: str = "",
    example: str = "",
    *,
    once: str = "",
    table: Table = "",
    inline: Iterable[str] = (),
    tail: Iterable[str] = (),
) -> Callable[[type[S]], type[S]]:
    """Make a class the node of a kind of statement, and list the kind in :data:`KINDS`. Its
    fields are filled by their types, see :mod:`verifier.language.syntax.build`; its rule in the
    grammar has its name, `StoppingDistance` that of `stopping_distance`."""

    def register(cls: type[S]) -> type[S]:
        node = dataclass(frozen=True, slots=True)(cls)
        rule = re.sub(r"(?<=.)(?=[A-Z])", "_", cls.__name__).lower()
        layout = table, frozenset(inline), frozenset(tail)
        KINDS.append(StatementKind(node, rule, terminal, title, example, once, *layout))
        return node

    return register
