"""What can be observed on a layout, and conditions about it.

An :class:`Observable` is one thing that has a state: a block of track, a turnout's
points, a lever, what a detector reports, the aspect a signal shows. Rules, properties,
assumptions and situations all speak of observables and of nothing else.
"""

from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass, replace
from typing import Literal, get_args

from verifier.language.source import Span

# Truth: where stock and points really are.
Truth = Literal["stock", "standing", "points", "motion", "current", "derail", "gate"]
# Commands: what people do.
Command = Literal["lever", "button", "thrown"]
# What is broken.
Broken = Literal["fault"]
# Memory: what earlier moments left behind.
Memory = Literal["relay", "timer", "traffic"]
# In a history: where trains are, piece by piece, and what else goes on from step to step.
Train = Literal["train", "heading", "across", "pace", "clock", "late", "put back", "lost"]
# In a history: what trains, people and time choose to do at one step.
Choice = Literal["advance", "reversal", "entry", "arrival", "throw", "expiry", "tick", "loss"]
# In a history: what happens at one step.
Event = Literal["points move", "trains meet", "train derails", "lock released", "traffic turns"]
# Reports: what the equipment says.
Reported = Literal["block report", "points report", "derail report", "gate report"]
# Logic: what the rules make of it, up to the colors shown and the aspect read.
Shown = Literal["condition", "line", "color", "aspect"]
# What an engineer sees: the color of a lens, and what the signal is taken for, at best, at
# worst, and were nothing broken.
Seen = Literal["lens", "reading", "worst reading", "sound reading"]

Kind = Truth | Command | Broken | Memory | Train | Choice | Event | Reported | Shown | Seen

UNLISTED = "an unlisted combination"


@dataclass(frozen=True, slots=True)
class Observable:
    """One thing with a state. ``usual`` is the state nobody needs to mention. ``reader`` is
    the driver at whose inputs a report is read; empty for the report as such."""

    kind: Kind
    name: str
    values: tuple[str, ...]
    usual: str
    reader: str = ""

    def __hash__(self) -> int:
        return hash((self.kind, self.name))

    @property
    def is_worked_out(self) -> bool:
        """True for what reports, rules and lenses make of truth, commands and faults."""
        return self.kind in _WORKED_OUT

    def __repr__(self) -> str:
        return f"<{self.kind} {self.name}>"


_WORKED_OUT = frozenset((*get_args(Reported), *get_args(Shown), *get_args(Seen), *get_args(Event)))
REPORTED = frozenset(get_args(Reported))


def stock(block: str) -> Observable:
    return Observable("stock", block, ("vacant", "occupied"), "vacant")


def standing(block: str, places: tuple[str, ...]) -> Observable:
    """Where and how stock stands on a block, as far as the wiring tells places apart."""
    return Observable("standing", block, ("vacant", *places), "vacant")


def points(name: str) -> Observable:
    return Observable("points", name, ("normal", "reverse", "open"), "normal")


def derail(name: str) -> Observable:
    return Observable("derail", name, ("derailing", "non-derailing", "open"), "derailing")


def gate(name: str) -> Observable:
    return Observable("gate", name, ("seated", "open"), "seated")


def lever(name: str, positions: tuple[str, ...]) -> Observable:
    usual = "normal" if "normal" in positions else positions[0]
    return Observable("lever", name, positions, usual)


def thrown(name: str) -> Observable:
    """The way a turnout was last told to lie, where no lever of the file tells it."""
    return Observable("thrown", name, ("normal", "reverse"), "normal")


# A machine without power has not moved since it was told otherwise.
AS_BEFORE = "as before"


def motion(name: str, *, slow: bool, may_lose_power: bool) -> Observable:
    """Whether a machine has come to the end of its travel. A slow one may be on its way; one
    that may lose its power may have done so before it was told to move. (While it has power,
    ``as before`` is no different from ``settled``.)"""
    states = ["settled", *["moving"] * slow, *[AS_BEFORE] * may_lose_power]
    return Observable("motion", name, tuple(states), "settled")


def current(name: str, states: tuple[str, ...]) -> Observable:
    """How current flows where two blocks have no gap between them."""
    return Observable("current", name, states, states[0])


def button(name: str) -> Observable:
    return Observable("button", name, ("released", "pressed"), "released")


def block_report(block: str) -> Observable:
    return Observable("block report", block, ("clear", "occupied"), "clear")


def points_report(name: str) -> Observable:
    return Observable("points report", name, ("normal", "reverse", "moving"), "normal")


def derail_report(name: str) -> Observable:
    return Observable("derail report", name, ("derailing", "non-derailing", "moving"), "derailing")


def gate_report(name: str) -> Observable:
    return Observable("gate report", name, ("seated", "open"), "seated")


def lens(head: str, colors: tuple[str, ...]) -> Observable:
    """The color that a head really shows."""
    return Observable("lens", head, tuple(dict.fromkeys((*colors, "dark"))), "dark")


def reading(signal: str, aspects: tuple[str, ...]) -> Observable:
    """The aspect a signal is taken for. Where a dark head leaves the rest looking like
    another aspect, the less restrictive one."""
    return Observable("reading", signal, aspects, aspects[-1])


def worst_reading(signal: str, aspects: tuple[str, ...]) -> Observable:
    """The same, but a signal with a dark head is taken for the most restrictive."""
    return Observable("worst reading", signal, aspects, aspects[-1])


def sound_reading(signal: str, aspects: tuple[str, ...]) -> Observable:
    """What the signal would be taken for in the same situation with nothing broken."""
    return Observable("sound reading", signal, aspects, aspects[-1])


# ------------------------------------------------------------------ memory


def relay(name: str) -> Observable:
    return Observable("relay", name, ("down", "up"), "down")


def timer(name: str) -> Observable:
    return Observable("timer", name, ("idle", "running", "done"), "idle")


def traffic(name: str) -> Observable:
    """The direction of traffic, as the track is drawn."""
    return Observable("traffic", name, ("rightward", "leftward"), "rightward")


# ------------------------------------------------------------------ histories


def train(piece: str) -> Observable:
    """Whether a train stands on a piece of track."""
    return Observable("train", piece, ("vacant", "occupied"), "vacant")


def heading(piece: str, ends: tuple[str, ...]) -> Observable:
    """The end by which the train on a piece came in: it leaves by another."""
    return Observable("heading", piece, ends, ends[0])


def across(joint: str) -> Observable:
    """Whether a train stands across the joint between two pieces."""
    return Observable("across", joint, ("free", "spanned"), "free")


def pace(piece: str) -> Observable:
    """Whether the train on a piece runs at restricted speed, ready to stop short."""
    return Observable("pace", piece, ("full", "restricted"), "full")


def clock(name: str, most: int) -> Observable:
    """How many moments a timer, or a slow relay, has counted."""
    return Observable("clock", name, tuple(str(i) for i in range(most + 1)), "0")


def late(signal: str, most: int) -> Observable:
    """How many moments ago a train approaching a signal last saw it clear, while it may still
    pass it for that; ``no`` when none may."""
    return Observable("late", signal, ("no", *(str(i) for i in range(most))), "no")


def put_back(signal: str, most: int) -> Observable:
    """How many moments ago a signal last showed clear, while that is less than trains need to
    stop and none has passed it; ``no`` otherwise."""
    return Observable("put back", signal, ("no", *(str(i) for i in range(most))), "no")


def lost(block: str, most: int) -> Observable:
    """For how many moments the stock on a block has not been seen; ``no`` while it is."""
    return Observable("lost", block, ("no", *(str(i) for i in range(most))), "no")


def choice(kind: Choice, name: str) -> Observable:
    return Observable(kind, name, ("no", "yes"), "no")


def event(kind: Event, name: str) -> Observable:
    return Observable(kind, name, ("no", "yes"), "no")


def condition(name: str) -> Observable:
    return Observable("condition", name, ("false", "true"), "false")


def heard(what: Observable, reader: str) -> Observable:
    """A report as a driver's inputs give it; anything else as it is."""
    return replace(what, reader=reader) if reader and what.kind in REPORTED else what


def line(owner: str, index: int) -> Observable:
    """Whether the ``index``-th line (from 0) of a signal or head is the one that acts."""
    return Observable("line", f"{owner}/{index}", ("idle", "acts"), "idle")


# ------------------------------------------------------------------ resolved conditions


@dataclass(frozen=True, slots=True)
class Fact:
    """``what`` is in one of the states ``values``; ``text`` is how the file puts it."""

    what: Observable
    values: tuple[str, ...]
    span: Span
    text: str


@dataclass(frozen=True, slots=True)
class All:
    parts: tuple["Condition", ...]
    span: Span


@dataclass(frozen=True, slots=True)
class AnyOne:
    parts: tuple["Condition", ...]
    span: Span


@dataclass(frozen=True, slots=True)
class Not:
    part: "Condition"
    span: Span


Condition = Fact | All | AnyOne | Not


def facts_in(condition: Condition) -> Iterator[Fact]:
    """Every fact of a condition, left to right."""
    match condition:
        case Fact():
            yield condition
        case Not(part=part):
            yield from facts_in(part)
        case All(parts=parts) | AnyOne(parts=parts):
            for part in parts:
                yield from facts_in(part)


def facts_unfolded(
    conditions: Iterable[Condition], named: Callable[[str], Condition]
) -> Iterator[Fact]:
    """Every fact of some conditions, named conditions expanded (each once)."""
    waiting, opened = list(conditions), set()
    while waiting:
        for says in facts_in(waiting.pop()):
            name = says.what.name
            if says.what.kind != "condition":
                yield says
            elif name not in opened:
                opened.add(name)
                waiting.append(named(name))


def conditions_in(condition: Condition) -> Iterator[str]:
    """The named conditions it uses."""
    return (says.what.name for says in facts_in(condition) if says.what.kind == "condition")
