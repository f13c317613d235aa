"""Statements about memory, time, locking, and how trains run."""

from dataclasses import dataclass
from typing import Literal

from verifier.language.source import Span
from verifier.language.statements.kind import statement
from verifier.language.statements.nodes import (
    Amount,
    Clause,
    Condition,
    DeclaredName,
    Length,
    Name,
    Statement,
    SyntaxNode,
    Word,
)


@statement(
    "RELAY", "A relay", "relay 4L-route picks when Clear-4L pressed sticks while Switch clear"
)
class Relay(Statement):
    name: DeclaredName
    clauses: tuple[Clause, ...]


@statement(
    "TIMER",
    "A timer",
    "timer 4L-time 30 s runs while 4L at stop and Single occupied",
    tail=["RUNS"],
)
class Timer(Statement):
    name: DeclaredName
    length: Length
    runs: Condition
    clauses: tuple[Clause, ...]


@dataclass(frozen=True, slots=True)
class RoutePoints(SyntaxNode):
    """The position of some points in a route."""

    points: Name
    position: Word
    span: Span


@statement(
    "ROUTE",
    "A named route",
    "route 4L-to-Main from 4L to West-Main` or `route 4L-in from 4L to Yard via T1 reverse",
)
class Route(Statement):
    name: DeclaredName
    signal: Name
    to: Name
    via: tuple[RoutePoints, ...]


@statement(
    "TRAFFIC",
    "Direction of traffic",
    "traffic Single-way on Single rightward when East-button pressed leftward when West-button "
    "pressed",
)
class Traffic(Statement):
    name: DeclaredName
    blocks: tuple[Name, ...]
    clauses: tuple[Clause, ...]


BuildingKind = Literal["of relays", "as one program"]


@statement(
    "BUILT",
    "The way of building",
    "built of relays` or `built as one program",
    once="built",
    inline=["on", "powered_by"],
)
class Built(Statement):
    kind: BuildingKind
    clauses: tuple[Clause, ...]


@statement("WRITTEN", "The version", "written for version 0.4", once="written for")
class Written(Statement):
    """The version of the language that a file is written for."""

    version: Amount


RunningKind = Literal["obey signals", "need to stop", "never reverse", "reverse on", "start on"]


@statement("TRAINS")
class Running(Statement):
    """How trains run: `trains obey signals`, `trains need 20 s to stop` …"""

    kind: RunningKind
    blocks: tuple[Name, ...]
    length: Length


CrewRule = Literal[
    "under clear signals",
    "under a train",
    "ahead of a train",
    "before a train can stop",
    "one train at a time",
    "one direction at a time",
    "to reverse",
]


@statement("CREW", "A promise of the crew", "crew promises not to throw points under a train")
class Crew(Statement):
    """What people promise: `crew promises not to throw T1 under a train` … ``about``: the points
    or blocks named; empty for all."""

    rule: CrewRule
    about: tuple[Name, ...]
