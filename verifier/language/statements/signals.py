"""Statements about signals: where they stand, what they show, and the panel that works them."""

from dataclasses import dataclass
from typing import ClassVar

from verifier.language.source import Span
from verifier.language.statements.kind import statement
from verifier.language.statements.nodes import (
    Amount,
    Clause,
    Combination,
    Condition,
    DeclaredName,
    Join,
    Length,
    Name,
    PathStep,
    Plate,
    Rule,
    Statement,
    SyntaxNode,
    Word,
)


@statement("SIGNAL", "A signal", "signal 4L at Single | T1")
class Signal(Statement):
    name: DeclaredName
    near: PathStep
    join: Join
    far: PathStep
    stands: Length
    plate: Plate | None
    heads: tuple[Word, ...]
    rules: tuple[Rule, ...]


@statement("HEAD", "A head's list", "head 4L.upper")
class Head(Statement):
    name: Name
    rules: tuple[Rule, ...]


@statement(
    "ASPECT",
    "An aspect",
    "aspect Clear green or green over red proceed",
    once="aspect",
    table="aspect",
)
class Aspect(Statement):
    name: Word
    combinations: tuple[Combination, ...]
    indication: str


@statement("ADDRESS", "The address of a signal", "address 12 is 4L")
class Address(Statement):
    number: Amount
    of: Name


@statement("NUMBERED", "The number of an aspect", "number 4 is Approach")
class Number(Statement):
    """``shows`` is an aspect, or a color where a head has the address."""

    number: Amount
    shows: Word


@statement("CONDITION", "A named condition", "condition Ready is T1 normal and Switch, Main clear")
class NamedCondition(Statement):
    name: DeclaredName
    condition: Condition


@statement("LEVER", "A lever", "lever 4 positions left, normal, right")
class Lever(Statement):
    names: tuple[DeclaredName, ...]
    positions: tuple[Word, ...]
    clauses: tuple[Clause, ...]


@dataclass(frozen=True, slots=True)
class LeverState(SyntaxNode):
    """A lever in one of its positions: ``3 reverse``."""

    name: Name
    position: Word
    span: Span


@statement("LEVER")
class LeverLock(Statement):
    """A lock of a mechanical frame: `lever 3 reverse locks 5 normal, 7 normal`."""

    by: LeverState
    locks: tuple[LeverState, ...]
    when: Condition | None


@statement("BUTTON", "A button", "button Clear-4L")
class Button(Statement):
    names: tuple[DeclaredName, ...]
    clauses: tuple[Clause, ...]


@statement("INDICATOR", "An indicator", "indicator Main-K lit when Main occupied")
class Indicator(Statement):
    """A lamp of the panel that repeats what happens on the track."""

    bell: ClassVar[bool] = False

    name: DeclaredName
    when: Condition


@statement("BELL", "A bell", "bell West-Bell rings when Main occupied")
class Bell(Indicator):
    bell: ClassVar[bool] = True
