"""The names of a text: what declares them, what refers to them, and what each must be.

In: a text. Out: every occurrence of a name, in order. The inside of a module has names of its own.
"""

from collections.abc import Iterator
from dataclasses import dataclass, replace
from functools import cached_property
from typing import Any
from weakref import WeakKeyDictionary

from verifier.assist.pieces import Piece, Text
from verifier.language.modules.module_checks import NAME
from verifier.language.modules.rename import declared_names
from verifier.language.syntax import tree as s
from verifier.plan.names import KIND_WORDS, kind_declared
from verifier.plan.vocabulary import STATES_OF

PIECES = ("block", "turnout", "crossing", "slip", "edge", "bumper")
MOVED = ("turnout", "slip", "crossover", "derail", "gate")
STATED = (*STATES_OF, "lever", "condition")
# What is named where it can be anything.
ANYTHING = (*KIND_WORDS, "head", "gap", "use")

# What the names in a field of a statement, or of a part of one, must be.
_IN_FIELD: dict[tuple[type[s.SyntaxNode], str], tuple[str, ...]] = {
    (s.Block, "districts"): ("district",),
    (s.Turnout, "block"): ("block",),
    (s.Crossing, "block"): ("block",),
    (s.Slip, "block"): ("block",),
    (s.Derail, "block"): ("block",),
    (s.Derail, "toward"): PIECES,
    (s.Gate, "block"): ("block",),
    (s.Crossover, "ends"): ("turnout",),
    (s.Limits, "signals"): ("signal",),
    (s.PathStep, "name"): PIECES,
    (s.Join, "gap"): ("gap",),
    (s.Head, "name"): ("head",),
    (s.Address, "of"): ("signal", "head"),
    (s.LeverState, "name"): ("lever",),
    (s.Route, "signal"): ("signal",),
    (s.Route, "to"): ("signal", "edge", "bumper"),
    (s.RoutePoints, "points"): ("turnout", "slip", "crossover"),
    (s.Traffic, "blocks"): ("block",),
    (s.Running, "blocks"): ("block",),
    (s.Crew, "about"): (*MOVED, "block"),
    (s.CommonReturn, "supplies"): ("supply",),
    (s.District, "supply"): ("supply",),
    (s.District, "blocks"): ("block",),
    (s.Feeders, "on"): ("block",),
    (s.SubBus, "feeders"): ("feeder",),
    (s.Driver, "heads"): ("head", "signal", "indicator", "bell"),
    (s.Rail, "blocks"): ("block",),
    (s.OverLeg, "name"): ("turnout", "crossing", "slip"),
    (s.Fact, "names"): STATED,
}
# The same of the names in a clause.
_IN_CLAUSE: dict[str, tuple[str, ...]] = {
    "thrown by": ("lever", "button"),
    "powered by": ("supply",),
    "fed by": ("supply",),
    "on": ("block", "driver"),
    "throws": MOVED,
    "unlocks": MOVED,
    **dict.fromkeys(s.LAMP_CLAUSES, ("head", "signal")),
    "through": ("feeder", "sub_bus"),
    "reads": ("detector", *MOVED, "lever", "button", "relay", "timer", "traffic", "signal"),
    "frog": ("turnout", "lever"),
    "pipe-connected": ("turnout",),
}


@dataclass(frozen=True, slots=True)
class Occurrence:
    """A name where it stands, from offset ``start`` to ``end``. ``scope``: the module it stands
    in, or empty. ``wanted``: the kinds of thing that it may be there; empty where it belongs to a
    statement alone. ``kind``: what it declares, or empty."""

    text: str
    start: int
    end: int
    scope: str
    wanted: tuple[str, ...] = ()
    kind: str = ""


@dataclass(frozen=True, slots=True)
class Declaration:
    """A declared name: its kind, where it stands, and its statement with the place of its piece.
    A head goes by the name of its signal, a dot and its own."""

    name: Occurrence
    node: s.Statement
    piece: int

    @property
    def start(self) -> int:
        """Where the statement begins in the text."""
        return self.piece + self.node.span.start

    @property
    def end(self) -> int:
        return self.piece + self.node.span.end


@dataclass(frozen=True)
class Names:
    """The names of a text, in order."""

    text: Text
    occurrences: tuple[Occurrence, ...]
    declarations: tuple[Declaration, ...]

    @cached_property
    def table(self) -> dict[tuple[str, str], Declaration]:
        """By scope and name; what is declared first counts."""
        found: dict[tuple[str, str], Declaration] = {}
        for declared in self.declarations:
            found.setdefault((declared.name.scope, declared.name.text), declared)
        return found

    def at(self, offset: int) -> Occurrence | None:
        """The name at a place, be it at its end."""
        here = (o for o in self.occurrences if o.start <= offset <= o.end)
        return max(here, key=lambda o: o.start, default=None)

    def scope_at(self, offset: int) -> str:
        """The module that a place is in; empty outside modules."""
        scope = ""
        for start, statement in self.text.statements():
            if start + statement.span.start > offset:
                break
            scope = _scope_after(statement, scope)
        return scope


@dataclass(frozen=True, slots=True)
class PieceNames:
    """The names of a piece, places counted from its beginning; ``scope`` is the one after it."""

    occurrences: tuple[Occurrence, ...]
    declarations: tuple[Declaration, ...]
    scope: str


_known: WeakKeyDictionary[Piece, dict[str, PieceNames]] = WeakKeyDictionary()


def names_in(piece: Piece, scope: str) -> PieceNames:
    """The names of a piece that begins in a scope."""
    by_scope = _known.setdefault(piece, {})
    if scope not in by_scope:
        by_scope[scope] = _read(piece, scope)
    return by_scope[scope]


def _read(piece: Piece, scope: str) -> PieceNames:
    occurrences: list[Occurrence] = []
    declarations: list[Declaration] = []
    for statement in piece.statements:
        before, scope = scope, _scope_after(statement, scope)
        inside = before if isinstance(statement, s.Module | s.End) else scope
        for name in _named(statement, inside):
            occurrences.append(name)
            if name.kind:
                declarations.append(Declaration(name, statement, 0))
        for name in _further(statement, scope):
            occurrences.append(name)
            declarations.append(Declaration(name, statement, 0))
    return PieceNames(tuple(occurrences), tuple(declarations), scope)


def names_of(text: Text) -> Names:
    """The names of a text."""
    occurrences: list[Occurrence] = []
    declarations: list[Declaration] = []
    scope = ""
    for start, piece in text.pieces:
        found = names_in(piece, scope)
        scope = found.scope
        occurrences += [_moved(name, start) for name in found.occurrences]
        declarations += [
            Declaration(_moved(declared.name, start), declared.node, start)
            for declared in found.declarations
        ]
    return Names(text, tuple(occurrences), tuple(declarations))


def _moved(name: Occurrence, by: int) -> Occurrence:
    start, end = name.start + by, name.end + by
    return Occurrence(name.text, start, end, name.scope, name.wanted, name.kind)


def _further(statement: s.Statement, scope: str) -> Iterator[Occurrence]:
    """What a statement declares by words of its own: parameters and heads."""
    match statement:
        case s.Module():
            for word in statement.parameters:
                yield _occurrence(word, scope, (), "parameter")
        case s.Signal():
            for word in statement.heads:
                head = _occurrence(word, scope, (), "head")
                yield replace(head, text=f"{statement.name.text}.{word.text}")


def _scope_after(statement: s.Statement, scope: str) -> str:
    match statement:
        case s.Module(name=name):
            return name.text
        case s.End():
            return ""
    return scope


def _occurrence(word: s.Word, scope: str, wanted: tuple[str, ...], kind: str = "") -> Occurrence:
    span = word.span
    return Occurrence(word.text, span.start, span.end, scope, wanted, kind)


def _named(statement: s.Statement, scope: str) -> Iterator[Occurrence]:
    """The names in a statement."""
    kind = kind_declared(statement)
    declares = {name.span.start: kind for name in declared_names(statement)}
    if isinstance(statement, s.Block):
        for group in statement.feeders:
            declares |= {feeder.name.span.start: "feeder" for feeder in group.feeders}
    for node in s.of_kind([statement], s.Track):
        declares |= {join.gap.span.start: "gap" for join in node.joins if join.gap}
    if isinstance(statement, s.Use):
        declares = {statement.name.span.start: "use"}
        yield _occurrence(statement.module, "", ("module",))
        for binding in statement.bindings:
            yield _occurrence(binding.parameter, statement.module.text, ("parameter",))
    elif isinstance(statement, s.Module):
        yield _occurrence(statement.name, "", (), "module")
    elif isinstance(statement, s.Waive | s.Expect):
        yield from _subjects(statement, scope)
    for name, wanted in wanted_in(statement):
        yield _occurrence(name, scope, wanted, declares.get(name.span.start, ""))


def _subjects(statement: s.Waive | s.Expect, scope: str) -> Iterator[Occurrence]:
    """The names in the subjects of a property, which may be texts: `"4L to West-Main"`."""
    for subject in statement.subjects:
        first = subject.span.start + (subject.span.text[:1] == '"')
        for found in NAME.finditer(subject.text):
            at = first + found.start()
            yield Occurrence(found[0], at, at + len(found[0]), scope)


def wanted_in(
    node: Any, wanted: tuple[str, ...] = ANYTHING
) -> Iterator[tuple[s.Name, tuple[str, ...]]]:
    """The names in a part of a statement, each with what it must be."""
    match node:
        case s.Name():
            yield node, wanted
        case s.Clause(kind=kind):
            for name in (*node.names, *node.contacts):
                yield name, _IN_CLAUSE.get(kind, ANYTHING)
            for part in (node.run, node.condition, node.then, node.places, node.fuse):
                yield from wanted_in(part)
        case tuple():
            for part in node:
                yield from wanted_in(part, wanted)
        case s.SyntaxNode():
            for field in node.__dataclass_fields__:
                kinds = _IN_FIELD.get((type(node), field), ANYTHING)
                yield from wanted_in(getattr(node, field), kinds)
