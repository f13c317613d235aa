"""Buttons by which a signal clears, through relays, timers and traffic too.

In: a plan. Out: for each signal that proceeds and each button that may make it do so while pressed,
what of memory that may be due to: the conditions by which relays pick or stay up, timers run and
traffic turns, as the lines of the signal need them. Points, blocks and other signals are left out,
and what is only kept from acting, such as the route of another signal: a button that releases it
clears nothing. (A relay that repeats a button by its back contact counts.)
"""

from collections.abc import Iterator
from dataclasses import dataclass

from verifier.plan import observables
from verifier.plan.locking.locking_model import Locking, Relay, conditions_of
from verifier.plan.model import Plan, Signal
from verifier.plan.observables import (
    All,
    AnyOne,
    Condition,
    Fact,
    Not,
    Observable,
    facts_unfolded,
)
from verifier.plan.signals.colors import steady

# Colors that let no train proceed by themselves.
AT_STOP = ("red", "dark")


@dataclass(frozen=True, slots=True)
class HeldButton:
    """A signal, and a button that may clear it while it is pressed. ``memory``: what may hold
    because the button is pressed, and clears the signal in the end; ``commands``: all levers and
    buttons that the signal depends on in this way."""

    signal: str
    button: Observable
    memory: tuple[Condition, ...]
    commands: tuple[Observable, ...]

    @property
    def state(self) -> Observable:
        """How far it has come, since the button was pressed."""
        return observables.again(self.signal, self.button.name)

    @property
    def event(self) -> Observable:
        return observables.event("clears again", f"{self.signal} / {self.button.name}")


def held_buttons(plan: Plan) -> tuple[HeldButton, ...]:
    """Every signal and button of a file with relays, timers or traffic."""
    return tuple(_held_buttons(plan)) if plan.locking.memory else ()


def commands_of(held: tuple[HeldButton, ...]) -> tuple[Observable, ...]:
    """The levers and buttons that they depend on, each once."""
    return tuple(dict.fromkeys(what for each in held for what in each.commands))


def _held_buttons(plan: Plan) -> Iterator[HeldButton]:
    for signal in plan.signals.values():
        wants = _Wants(plan)
        for condition, holds in _asked(signal, plan):
            wants.add(condition, holds)
        memory = tuple(wants.memory)
        commands = tuple(what for what in plan.inputs if what in wants.commands)
        for what in plan.inputs:
            if what in wants.pressed:
                yield HeldButton(signal.name, what, memory, commands)


def _asked(signal: Signal, plan: Plan) -> Iterator[tuple[Condition, bool]]:
    """What lines ask that let trains proceed, and what all others do, which should not hold."""
    proceeding = {aspect.name for aspect in plan.chart.aspects if aspect.proceeds}
    for line in signal.lines:
        if line.when is not None:
            yield line.when, line.shows in proceeding
    for head in signal.heads:
        for line in head.lines:
            if line.when is not None:
                yield line.when, steady(line.shows) not in AT_STOP


class _Wants:
    """What has to hold, or not to hold, for some conditions to hold, or not to."""

    def __init__(self, plan: Plan) -> None:
        self.plan = plan
        self.memory: dict[Condition, None] = {}
        self.commands: dict[Observable, None] = {}
        self.pressed: dict[Observable, None] = {}
        self._known: set[tuple[Observable, str]] = set()

    def add(self, condition: Condition, holds: bool) -> None:
        waiting = [(condition, holds)]
        while waiting:
            part, wanted = waiting.pop()
            match part:
                case Fact():
                    waiting += self._of_a_fact(part, wanted)
                case Not(part=inner):
                    waiting.append((inner, not wanted))
                case All(parts=parts) | AnyOne(parts=parts):
                    waiting += [(inner, wanted) for inner in parts]

    def _of_a_fact(self, fact: Fact, wanted: bool) -> Iterator[tuple[Condition, bool]]:
        what = fact.what
        states = [value for value in what.values if (value in fact.values) == wanted]
        if what.kind in ("lever", "button"):
            self.commands[what] = None
            if what.kind == "button" and "pressed" in states:
                self.pressed[what] = None
        elif what.kind == "condition":
            for state in self._new(what, states):
                yield self.plan.conditions[what.name].condition, state == "true"
        elif what.kind in ("relay", "timer", "traffic") and self._counts(what, states):
            for state in self._new(what, states):
                for condition in _brings(what, state, self.plan.locking, fact):
                    self.memory[condition] = None
                    yield condition, True

    def _counts(self, what: Observable, states: list[str]) -> bool:
        """Whether it has to act, or follows from buttons without other memory."""
        if what.kind == "traffic" or what.usual not in states:
            return True
        conditions = conditions_of(what.name, self.plan.locking)
        facts = facts_unfolded(conditions, lambda name: self.plan.conditions[name].condition)
        memory = ("relay", "timer", "traffic")
        return not any(fact.what.kind in memory and fact.what != what for fact in facts)

    def _new(self, what: Observable, states: list[str]) -> Iterator[str]:
        for state in states:
            if (what, state) not in self._known:
                self._known.add((what, state))
                yield state


def _brings(what: Observable, state: str, locking: Locking, at: Fact) -> Iterator[Condition]:
    """What brings a relay, a timer or a direction of traffic into a state, or keeps it there."""
    match what.kind:
        case "relay":
            up = _up(locking.relays[what.name], at)
            yield up if state == "up" else Not(up, at.span)
        case "timer":
            runs = locking.timers[what.name].runs
            yield Not(runs, at.span) if state == "idle" else runs
        case _:
            traffic = locking.traffic[what.name]
            yield traffic.rightward if state == "rightward" else traffic.leftward


def _up(relay: Relay, at: Fact) -> Condition:
    """That a relay picks, or stays up."""
    if relay.sticks is None:
        return relay.picks
    is_up = Fact(observables.relay(relay.name), ("up",), at.span, f"{relay.name} up")
    return AnyOne((relay.picks, All((is_up, relay.sticks), at.span)), at.span)
