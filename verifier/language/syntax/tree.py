"""The syntax tree: what the file says, names still text, every node with its span."""

from dataclasses import dataclass
from typing import Literal

from verifier.language.source import Span

Leg = Literal["normal", "reverse", "along", "across"]
JoinKind = Literal["=", "|", "||"]


@dataclass(frozen=True, slots=True)
class Name:
    text: str
    span: Span


@dataclass(frozen=True, slots=True)
class Color:
    """One color of one head, ``flashing`` included in the text: ``flashing green``."""

    text: str
    span: Span


@dataclass(frozen=True, slots=True)
class Amount:
    """A number as written, and the unit after it, empty where there is none."""

    number: str
    unit: str
    span: Span


# One amount, or two that are added: ``8 ft 6 in``.
Length = tuple[Amount, ...]


@dataclass(frozen=True, slots=True)
class Run:
    """``over 30 ft of 16 AWG``."""

    length: Length
    gauge: Length
    span: Span


@dataclass(frozen=True, slots=True)
class Feeders:
    names: tuple[Name, ...]
    run: Run | None
    span: Span


ClauseKind = Literal[
    "thrown by", "motor", "powered by", "contacts", "fouling point", "gap",
    "track power", "rating", "fuse", "fed by",
    "on", "at", "through", "turns", "sensitivity", "hold", "output", "isolated output",
    "without track power",
    "outputs", "reads", "when input missing", "when lamp out", "lamps", "needs",
    "detectable", "wheelsets",
    "thrown reverse when", "locked while", "electric lock",
    "picks when", "sticks while", "slow to pick", "slow to release",
    "rightward when", "leftward when",
]  # fmt: skip


@dataclass(frozen=True, slots=True)
class Clause:
    """A clause of a statement; ``kind`` are the words it goes by.

    ``names`` are things named, ``words`` what was chosen: a kind of motor, the legs that
    have contacts, a color. ``lengths`` are its amounts; of `gap` one for each leg.
    ``contacts`` are those of the ``names`` that `contacts` stands after; ``condition`` is
    when, or while."""

    kind: ClauseKind
    span: Span
    names: tuple[Name, ...] = ()
    words: tuple[Name, ...] = ()
    lengths: tuple[Length, ...] = ()
    run: Run | None = None
    contacts: tuple[Name, ...] = ()
    condition: "Condition | None" = None


# ------------------------------------------------------------------ conditions


@dataclass(frozen=True, slots=True)
class State:
    """The words after the names of a fact; ``kind`` is ``clear``, ``lies``, ``shows``,
    ``color``, ``name`` …, ``value`` what follows where something does."""

    kind: str
    value: str
    span: Span


@dataclass(frozen=True, slots=True)
class Fact:
    """``[any of | all of] A, B state``; without a state, the name of a condition."""

    quantity: Literal["", "any", "all"]
    names: tuple[Name, ...]
    state: State | None
    span: Span


@dataclass(frozen=True, slots=True)
class AllOf:
    parts: tuple["Condition", ...]
    span: Span


@dataclass(frozen=True, slots=True)
class AnyOf:
    parts: tuple["Condition", ...]
    span: Span


@dataclass(frozen=True, slots=True)
class Opposite:
    part: "Condition"
    span: Span


Condition = Fact | AllOf | AnyOf | Opposite

# ------------------------------------------------------------------ statements


@dataclass(frozen=True, slots=True)
class Include:
    """``where`` is the place of the path, quotes and all."""

    path: str
    where: Span
    span: Span


@dataclass(frozen=True, slots=True)
class Module:
    """The first line of a module; its statements follow, up to :class:`End`."""

    name: Name
    parameters: tuple[Name, ...]
    span: Span


@dataclass(frozen=True, slots=True)
class End:
    span: Span


@dataclass(frozen=True, slots=True)
class Binding:
    """``main = Main``: what a parameter stands for."""

    parameter: Name
    outside: Name
    span: Span


@dataclass(frozen=True, slots=True)
class Use:
    """``turned`` is the place of `turned round`, where that is said."""

    module: Name
    name: Name
    turned: Span | None
    bindings: tuple[Binding, ...]
    span: Span


@dataclass(frozen=True, slots=True)
class Layout:
    title: str
    span: Span


@dataclass(frozen=True, slots=True)
class Edge:
    names: tuple[Name, ...]
    direction: Literal["both", "entering", "leaving"]
    entering: Condition | None
    span: Span


@dataclass(frozen=True, slots=True)
class Bumper:
    names: tuple[Name, ...]
    span: Span


@dataclass(frozen=True, slots=True)
class Block:
    """``districts`` should be one at most. ``first`` is all but the feeders."""

    names: tuple[Name, ...]
    length: Length
    districts: tuple[Name, ...]
    undetected: bool
    switching: bool
    note: str
    feeders: tuple[Feeders, ...]
    first: Span
    span: Span


@dataclass(frozen=True, slots=True)
class Turnout:
    names: tuple[Name, ...]
    block: Name
    clauses: tuple[Clause, ...]
    span: Span


@dataclass(frozen=True, slots=True)
class Crossing:
    names: tuple[Name, ...]
    block: Name
    span: Span


@dataclass(frozen=True, slots=True)
class Slip:
    """``single`` is None for a double slip, else the two tracks it leads between. ``first`` is
    all but the clauses."""

    names: tuple[Name, ...]
    block: Name
    single: tuple[Leg, Leg] | None
    clauses: tuple[Clause, ...]
    first: Span
    span: Span


@dataclass(frozen=True, slots=True)
class Derail:
    name: Name
    block: Name
    toward: Name
    span: Span


@dataclass(frozen=True, slots=True)
class Gate:
    names: tuple[Name, ...]
    block: Name
    span: Span


@dataclass(frozen=True, slots=True)
class Crossover:
    name: Name
    ends: tuple[Name, ...]
    span: Span


@dataclass(frozen=True, slots=True)
class Limits:
    name: Name
    signals: tuple[Name, ...]
    span: Span


@dataclass(frozen=True, slots=True)
class Step:
    """One element of a path: a name, with a leg's word on the side where that leg is."""

    left: Leg | None
    name: Name
    right: Leg | None
    span: Span


@dataclass(frozen=True, slots=True)
class Join:
    kind: JoinKind
    gap: Name | None
    span: Span


@dataclass(frozen=True, slots=True)
class Track:
    steps: tuple[Step, ...]
    joins: tuple[Join, ...]
    span: Span


@dataclass(frozen=True, slots=True)
class Rule:
    """One line of a signal or head: what it shows, and when; ``when`` None: otherwise."""

    shows: Name
    flashing: bool
    when: Condition | None
    span: Span


@dataclass(frozen=True, slots=True)
class Signal:
    name: Name
    near: Step
    join: Join
    far: Step
    stands: Length
    heads: tuple[Name, ...]
    rules: tuple[Rule, ...]
    span: Span


@dataclass(frozen=True, slots=True)
class Head:
    name: Name
    rules: tuple[Rule, ...]
    span: Span


@dataclass(frozen=True, slots=True)
class Aspect:
    name: Name
    combinations: tuple[tuple[Color, ...], ...]
    indication: str
    span: Span


@dataclass(frozen=True, slots=True)
class Address:
    number: Amount
    of: Name
    span: Span


@dataclass(frozen=True, slots=True)
class Number:
    number: Amount
    shows: Name
    span: Span


@dataclass(frozen=True, slots=True)
class NamedCondition:
    name: Name
    condition: Condition
    span: Span


@dataclass(frozen=True, slots=True)
class Lever:
    names: tuple[Name, ...]
    positions: tuple[Name, ...]
    span: Span


@dataclass(frozen=True, slots=True)
class Button:
    names: tuple[Name, ...]
    span: Span


@dataclass(frozen=True, slots=True)
class Prove:
    title: str
    mode: Literal["never", "always", "possible"]
    condition: Condition
    span: Span


@dataclass(frozen=True, slots=True)
class Assume:
    title: str
    mode: Literal["never", "always"]
    condition: Condition
    span: Span


@dataclass(frozen=True, slots=True)
class Waive:
    claim: Name
    subjects: tuple[Name, ...]
    reason: str
    span: Span


@dataclass(frozen=True, slots=True)
class Expect:
    claim: Name
    subjects: tuple[Name, ...]
    span: Span


@dataclass(frozen=True, slots=True)
class Supply:
    """``booster``: a track-power supply that is fed by another."""

    name: Name
    booster: bool
    clauses: tuple[Clause, ...]
    span: Span


@dataclass(frozen=True, slots=True)
class District:
    name: Name
    supply: Name
    run: Run | None
    span: Span


@dataclass(frozen=True, slots=True)
class CommonReturn:
    supplies: tuple[Name, ...]
    span: Span


@dataclass(frozen=True, slots=True)
class Detector:
    """``first`` is all but the clauses."""

    name: Name
    kind: Literal["current-sensing", "spot"]
    clauses: tuple[Clause, ...]
    first: Span
    span: Span


@dataclass(frozen=True, slots=True)
class Driver:
    name: Name
    heads: tuple[Name, ...]
    clauses: tuple[Clause, ...]
    span: Span


@dataclass(frozen=True, slots=True)
class Trains:
    shortest: Length
    longest: Length
    clauses: tuple[Clause, ...]
    span: Span


@dataclass(frozen=True, slots=True)
class Scale:
    """By its ``name``, or as a ``ratio``: ``1:87.1``."""

    name: Name | None
    ratio: tuple[Amount, Amount] | None
    span: Span


@dataclass(frozen=True, slots=True)
class StoppingDistance:
    length: Length
    span: Span


@dataclass(frozen=True, slots=True)
class Relay:
    name: Name
    clauses: tuple[Clause, ...]
    span: Span


@dataclass(frozen=True, slots=True)
class Timer:
    name: Name
    length: Length
    runs: Condition
    span: Span


@dataclass(frozen=True, slots=True)
class Way:
    """How some points of a route lie."""

    points: Name
    position: Name
    span: Span


@dataclass(frozen=True, slots=True)
class Route:
    name: Name
    signal: Name
    to: Name
    via: tuple[Way, ...]
    span: Span


@dataclass(frozen=True, slots=True)
class Traffic:
    name: Name
    blocks: tuple[Name, ...]
    clauses: tuple[Clause, ...]
    span: Span


RunningKind = Literal[
    "obey signals", "need to stop", "reverse on", "never reverse", "start on"
]  # fmt: skip


@dataclass(frozen=True, slots=True)
class Running:
    """How trains run: `trains obey signals`, `trains need 20 s to stop` …"""

    kind: RunningKind
    blocks: tuple[Name, ...]
    length: Length
    span: Span


# Statements that stand for others: none is left in a layout.
Reuse = Include | Module | End | Use

Statement = (
    Reuse | Layout | Edge | Bumper | Block | Turnout | Crossing | Slip | Derail | Gate | Crossover
    | Limits | Track | Signal | Head | Aspect | NamedCondition | Lever | Button | Prove
    | Assume | Waive | Expect | Supply | District | CommonReturn | Detector | Driver
    | Trains | Scale | StoppingDistance | Relay | Timer | Route | Traffic | Running
    | Address | Number
)  # fmt: skip


@dataclass(frozen=True, slots=True)
class Happening:
    """One fact of a situation given on the command line: who, and in what state."""

    kind: Literal["train", "thing"]
    names: tuple[Name, ...]
    state: str
    span: Span
