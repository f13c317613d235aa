"""Statements about track: what there is, and how it is connected."""

from dataclasses import dataclass, replace
from typing import Literal

from verifier.language.source import Span
from verifier.language.statements.kind import statement
from verifier.language.statements.nodes import (
    Amount,
    Clause,
    Condition,
    DeclaredName,
    Join,
    Leg,
    Length,
    Name,
    OverLeg,
    PathStep,
    Run,
    Statement,
    SyntaxNode,
)


@statement("LAYOUT", "The title", 'layout "Heron Falls, east switch"', once="layout")
class Layout(Statement):
    title: str


@statement("EDGE", "An edge of the plan", "edge West-Main, Quarry", tail=["entering"])
class Edge(Statement):
    names: tuple[DeclaredName, ...]
    direction: Literal["both", "entering", "leaving"]
    entering: Condition | None


@statement("BUMPER", "A bumper", "bumper End-of-Spur")
class Bumper(Statement):
    names: tuple[DeclaredName, ...]


@dataclass(frozen=True, slots=True)
class Feeder(SyntaxNode):
    """A feeder, and where it is joined to the rail: from the left end of its block, or before the
    points of a turnout, or beyond them on a leg."""

    name: DeclaredName
    at: Length
    points: OverLeg | None
    span: Span


@dataclass(frozen=True, slots=True)
class Feeders(SyntaxNode):
    """Feeders with wire of the same length and size, each with a fuse of its own if any has.
    ``on``: of the blocks of the statement the one that they feed."""

    feeders: tuple[Feeder, ...]
    on: Name | None
    run: Run | None
    fuse: Clause | None
    span: Span


@statement("BLOCK", "A block", 'block Main "main track at the station"', table="block")
class Block(Statement):
    """A block has one of ``districts`` at most; the plan checks it."""

    names: tuple[DeclaredName, ...]
    length: Length
    districts: tuple[Name, ...]
    undetected: bool
    switching: bool
    note: str
    feeders: tuple[Feeders, ...]


@statement("TURNOUT", "A turnout", "turnout T1 in Switch")
class Turnout(Statement):
    names: tuple[DeclaredName, ...]
    block: Name
    clauses: tuple[Clause, ...]


@statement("CROSSING", "A crossing", "crossing X1 in Diamond")
class Crossing(Statement):
    names: tuple[DeclaredName, ...]
    block: Name


@statement("SLIP", "A slip", "slip P1 in Throat` or `slip P2 in Throat single along to across")
class Slip(Statement):
    """``single`` has the two tracks that a single slip leads between; a double slip has none."""

    names: tuple[DeclaredName, ...]
    block: Name
    single: tuple[Leg, ...]
    clauses: tuple[Clause, ...]

    def mirrored(self) -> "Slip":
        return replace(self, single=self.single[::-1])


@statement("DERAIL", "A derail", "derail D1 on Spur toward T1")
class Derail(Statement):
    name: DeclaredName
    block: Name
    toward: Name
    clauses: tuple[Clause, ...]

    @property
    def names(self) -> tuple[DeclaredName, ...]:
        return (self.name,)


@statement("GATE", "A gate", "gate G1 on Bridge")
class Gate(Statement):
    names: tuple[DeclaredName, ...]
    block: Name
    clauses: tuple[Clause, ...]


@statement("CROSSOVER", "A crossover", "crossover K1 is T1, T2")
class Crossover(Statement):
    name: DeclaredName
    ends: tuple[Name, ...]


@statement("INTERLOCKING", "A set of limits", "interlocking limits North-Plant is 4L, 4RA, 4RB")
class Limits(Statement):
    name: DeclaredName
    signals: tuple[Name, ...]


@statement("TRACK", "Track", "track West-Main = Main | normal T1 | Single = Quarry", table="track")
class Track(Statement):
    steps: tuple[PathStep, ...]
    joins: tuple[Join, ...]

    def mirrored(self) -> "Track":
        steps = tuple(replace(x, left=x.right, right=x.left) for x in reversed(self.steps))
        return replace(self, steps=steps, joins=self.joins[::-1])


@dataclass(frozen=True, slots=True)
class Spot(SyntaxNode):
    """A point of the graph paper: so many squares to the right, and so many down."""

    right: Amount
    down: Amount
    span: Span


@dataclass(frozen=True, slots=True)
class Laid(SyntaxNode):
    """Where one piece is drawn: at one spot, or from one to another."""

    spots: tuple[Spot, ...]
    span: Span


@statement("PLACE", "A place in the drawing", "place Main from 2, 4 to 9, 4")
class Placing(Statement):
    """Where the drawing on the page has a piece; of a block, one place for each of its stretches.
    It means nothing to what is proved."""

    name: Name
    laid: tuple[Laid, ...]
