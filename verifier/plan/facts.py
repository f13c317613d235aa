"""What can be observed on a layout, and conditions about it.

An :class:`Observable` is one thing that has a state: a block of track, a turnout's
points, a lever, what a detector reports, the aspect a signal shows. Rules, properties,
assumptions and situations all speak of observables and of nothing else.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Literal

from verifier.language.source import Span

# Truth: where stock and points really are.
Truth = Literal["stock", "points", "derail", "gate"]
# Commands: what people do.
Command = Literal["lever", "button"]
# Reports: what the equipment says.
Reported = Literal["block report", "points report", "derail report", "gate report"]
# Logic: what the rules make of it, up to the colours shown and the aspect read.
Shown = Literal["condition", "line", "colour", "aspect"]

Kind = Truth | Command | Reported | Shown

INPUT_KINDS: tuple[Kind, ...] = ("stock", "points", "derail", "gate", "lever", "button")

UNLISTED = "an unlisted combination"


@dataclass(frozen=True, slots=True)
class Observable:
    """One thing with a state. ``usual`` is the state nobody needs to mention."""

    kind: Kind
    name: str
    values: tuple[str, ...]
    usual: str

    def __hash__(self) -> int:
        return hash((self.kind, self.name))

    @property
    def is_input(self) -> bool:
        """True for truth and commands: what a situation fixes and nothing computes."""
        return self.kind in INPUT_KINDS

    def __repr__(self) -> str:
        return f"<{self.kind} {self.name}>"


def stock(block: str) -> Observable:
    return Observable("stock", block, ("vacant", "occupied"), "vacant")


def points(name: str) -> Observable:
    return Observable("points", name, ("normal", "reverse", "open"), "normal")


def derail(name: str) -> Observable:
    return Observable("derail", name, ("derailing", "non-derailing", "open"), "derailing")


def gate(name: str) -> Observable:
    return Observable("gate", name, ("seated", "open"), "seated")


def lever(name: str, positions: tuple[str, ...]) -> Observable:
    usual = "normal" if "normal" in positions else positions[0]
    return Observable("lever", name, positions, usual)


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


def condition(name: str) -> Observable:
    return Observable("condition", name, ("false", "true"), "false")


def line(owner: str, index: int) -> Observable:
    """Whether the ``index``-th line (from 0) of a signal or head is the one that acts."""
    return Observable("line", f"{owner}/{index}", ("idle", "acts"), "idle")


# ------------------------------------------------------------------ resolved conditions


@dataclass(frozen=True, slots=True)
class Says:
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


Condition = Says | All | AnyOne | Not


def says_in(condition: Condition) -> Iterator[Says]:
    """Every fact of a condition, left to right."""
    match condition:
        case Says():
            yield condition
        case Not(part=part):
            yield from says_in(part)
        case All(parts=parts) | AnyOne(parts=parts):
            for part in parts:
                yield from says_in(part)


def conditions_in(condition: Condition) -> Iterator[str]:
    """The named conditions it uses."""
    return (says.what.name for says in says_in(condition) if says.what.kind == "condition")
