"""The parts that statements are made of: names, amounts, clauses, conditions.

The type of a field says what a name there is: a :class:`Declared` one declares a thing, a
:class:`Name` refers to one, and a :class:`Word` belongs to its statement and names nothing
outside it. Reading, renaming and the checks of modules go by these types.
"""

from collections.abc import Callable, Hashable, Iterable, Iterator
from dataclasses import dataclass, field, fields
from functools import cache
from typing import Any, Literal, Self, TypeVar, cast, get_args

from verifier.language.source import Span

Leg = Literal["normal", "reverse", "along", "across"]
JoinKind = Literal["=", "|", "||"]


@dataclass(frozen=True, slots=True)
class SyntaxNode:
    """A part of the syntax tree. All nodes have a ``span``, the place they were written at."""


def _fields(node: Any) -> tuple[str, ...]:
    return _fields_of(cast(Hashable, type(node)))


@cache
def _fields_of(kind: Any) -> tuple[str, ...]:
    return tuple(field.name for field in fields(kind))


def parts_of(node: Any) -> tuple[Any, ...]:
    """The values of a node's fields, or the items of a tuple; nothing of anything else."""
    if isinstance(node, SyntaxNode):
        return tuple([getattr(node, name) for name in _fields(node)])
    return node if isinstance(node, tuple) else ()


def with_parts(node: Any, change: Callable[[Any], Any]) -> Any:
    """The node or tuple with ``change`` made to each of its parts; anything else as it is."""
    if isinstance(node, SyntaxNode):
        return type(node)(**{name: change(getattr(node, name)) for name in _fields(node)})
    return tuple(map(change, node)) if isinstance(node, tuple) else node


@dataclass(frozen=True, slots=True)
class Statement(SyntaxNode):
    """A whole statement, with the place it was written at."""

    span: Span = field(kw_only=True)

    def mirrored(self) -> Self:
        """The statement with left and right exchanged in it, its clauses and conditions apart."""
        return self


S = TypeVar("S", bound=Statement)


def of_kind(statements: Iterable[Statement], kind: type[S]) -> Iterator[S]:
    """The statements of one kind, in the order of the file."""
    return (s for s in statements if isinstance(s, kind))


@dataclass(frozen=True, slots=True)
class Word(SyntaxNode):
    """A word or a quoted text, without its quotes: a position, an aspect, a color, a title."""

    text: str
    span: Span


@dataclass(frozen=True, slots=True)
class Name(Word):
    """The name of a thing of the layout."""


@dataclass(frozen=True, slots=True)
class DeclaredName(Name):
    """A name where its thing is declared."""


W = TypeVar("W", bound=Word)


def repeated(words: Iterable[W]) -> Iterator[tuple[W, W]]:
    """Each word that an earlier one has said already, after that earlier one."""
    seen: dict[str, W] = {}
    for word in words:
        first = seen.setdefault(word.text, word)
        if first is not word:
            yield first, word


@dataclass(frozen=True, slots=True)
class Color(SyntaxNode):
    """One color of one head, ``flashing`` included in the text: ``flashing green``."""

    text: str
    span: Span


@dataclass(frozen=True, slots=True)
class Plate(SyntaxNode):
    """A plate on the mast of a signal, by its kind: ``number plate``."""

    text: str
    span: Span


@dataclass(frozen=True, slots=True)
class Combination(SyntaxNode):
    """The colors of the heads from the top down, and the plate they are shown with, if any."""

    colors: tuple[Color, ...]
    plate: Plate | None
    span: Span


@dataclass(frozen=True, slots=True)
class Amount(SyntaxNode):
    """A number as written, and the unit after it, empty where there is none."""

    number: str
    unit: str
    span: Span


# One amount, or two that are added: ``8 ft 6 in``.
Length = tuple[Amount, ...]


@dataclass(frozen=True, slots=True)
class OverLeg(SyntaxNode):
    """A turnout or crossing, and the leg or track of it; without one, whichever."""

    leg: Leg | None
    name: "Name"
    span: Span


@dataclass(frozen=True, slots=True)
class Place(SyntaxNode):
    """A place in a block, and the legs over which it is measured."""

    at: Length
    over: tuple[OverLeg, ...]
    span: Span


@dataclass(frozen=True, slots=True)
class Run(SyntaxNode):
    """``over 30 ft of 16 AWG``."""

    length: Length
    gauge: Length
    span: Span


# ------------------------------------------------------------------ conditions


@dataclass(frozen=True, slots=True)
class FactState(SyntaxNode):
    """The words after the names of a fact; ``kind`` is ``clear``, ``lies``, ``shows``,
    ``color``, ``name`` …, ``value`` what follows where something does."""

    kind: str
    value: str
    span: Span


@dataclass(frozen=True, slots=True)
class Fact(SyntaxNode):
    """``[any of | all of] A, B state``; without a state, the name of a condition."""

    quantity: Literal["", "any", "all"]
    names: tuple[Name, ...]
    state: FactState | None
    span: Span


@dataclass(frozen=True, slots=True)
class AllOf(SyntaxNode):
    parts: tuple["Condition", ...]
    span: Span


@dataclass(frozen=True, slots=True)
class AnyOf(SyntaxNode):
    parts: tuple["Condition", ...]
    span: Span


@dataclass(frozen=True, slots=True)
class Negation(SyntaxNode):
    part: "Condition"
    span: Span


Condition = Fact | AllOf | AnyOf | Negation

# ------------------------------------------------------------------ clauses

# What a board says of the lamps of its heads; each is followed by heads.
LampClause = Literal[
    "two-color", "three-color", "target", "position-light", "incandescent", "semaphore",
    "approach-lit", "tested-unlit", "common-anode", "common-cathode", "series",
]  # fmt: skip
LAMP_CLAUSES: tuple[LampClause, ...] = get_args(LampClause)
# The grammar has a rule of the same name for each, with `_` for spaces.
ClauseKind = Literal[
    LampClause,
    "thrown by", "motor", "powered by", "contacts", "fouling point", "gap", "frog",
    "points at", "bonded",
    "track power", "kind of current", "rating", "fuse", "fed by", "draws",
    "on", "at", "by", "through", "turns", "sensitivity", "hold", "output", "isolated output",
    "without track power",
    "throws", "unlocks", "inputs", "lever contacts", "button contact", "outputs", "reads",
    "when input missing", "when lamp out", "lamps", "needs",
    "detectable", "wheelsets", "load",
    "thrown when", "locked while", "electric lock", "pipe-connected", "pulse", "starts",
    "picks when", "sticks while", "releases after", "slow to pick", "slow to release",
    "rightward when", "leftward when",
]  # fmt: skip


@dataclass(frozen=True, slots=True)
class Clause(SyntaxNode):
    """A clause of a statement.

    ``names`` are the things named, ``words`` the choices made: a kind of motor, the positions
    that have contacts, a color. ``lengths`` are the amounts; of `gap` one for each leg.
    ``contacts`` are those of the ``names`` that `contacts` follows; ``condition`` follows `when`,
    `while` or `after`, and each of ``then`` the word `then`; ``places`` are those of a detector;
    ``fuse`` is that at the beginning of a wire."""

    kind: ClauseKind
    span: Span
    names: tuple[Name, ...] = ()
    words: tuple[Word, ...] = ()
    lengths: tuple[Length, ...] = ()
    run: Run | None = None
    contacts: tuple[Name, ...] = ()
    condition: Condition | None = None
    then: tuple[Condition, ...] = ()
    places: tuple[Place, ...] = ()
    fuse: "Clause | None" = None


@dataclass(frozen=True, slots=True)
class Rule(SyntaxNode):
    """One line of a signal or head: what it shows, and when; ``when`` None: otherwise."""

    flashing: bool
    shows: Word
    when: Condition | None
    span: Span


# ------------------------------------------------------------------ track


@dataclass(frozen=True, slots=True)
class PathStep(SyntaxNode):
    """One element of a path: a name, with a leg's word on the side where that leg is."""

    left: Leg | None
    name: Name
    right: Leg | None
    span: Span


@dataclass(frozen=True, slots=True)
class Join(SyntaxNode):
    """How two steps of a path meet, and the name of the gap between them if it has one."""

    kind: JoinKind
    gap: DeclaredName | None
    span: Span


# ------------------------------------------------------------------ situations


@dataclass(frozen=True, slots=True)
class SituationFact(SyntaxNode):
    """One fact of a situation given on the command line: who, and in what state."""

    kind: Literal["train", "thing"]
    names: tuple[Name, ...]
    state: str
    span: Span
