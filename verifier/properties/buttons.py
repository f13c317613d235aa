"""Buttons: what a signal does when the button that clears it stays pressed.

``clearproof explain NAME`` prints the docstring of each property."""

from collections.abc import Iterator, Sequence

from verifier.logic.expr import (
    Atom,
    Expr,
    atom,
    conjunction,
    constant,
    disjunction,
    negation,
    substitute,
)
from verifier.plan.locking.held_buttons import AT_STOP, held_buttons
from verifier.plan.model import Line, Plan, Signal
from verifier.plan.observables import Observable, facts_unfolded
from verifier.plan.signals.colors import steady
from verifier.properties.obligation import Obligation
from verifier.properties.phrases import proceeds
from verifier.world.rules import Reader
from verifier.world.world import lower_named


def clears_again(plan: Plan) -> Iterator[Obligation]:
    """No signal that a button clears does so again behind a train while the button stays pressed.

    This is a note only: the track behind the train is clear, so nothing is unsafe. But people
    expect one press to clear a signal for one train, as a stick signal does. Levers do not count:
    a lever stays where it is put. Nor does Restricting, which is often held.

    Without relays, timers and traffic nothing remembers that a train has passed: what a signal
    shows with the button pressed, it shows again once the train has gone. With them, a history is
    looked for: the button is pressed and the signal clears, a train passes it, nobody touches the
    panel, and the signal clears once more, because of the button: as it is pressed then, or by what
    a relay, a timer or traffic did since on account of it.
    """
    if plan.locking.memory:
        yield from (_note(plan.signals[each.signal], each.button, atom(each.event, "yes"), plan)
                    for each in held_buttons(plan))  # fmt: skip
        return
    for signal in plan.signals.values():
        clearing = list(_clearing_lines(signal, plan))
        for button in _buttons(clearing, plan):
            stays = disjunction(*(_without(button, head, line, plan) for head, line in clearing))
            again = conjunction(proceeds(signal, plan), atom(button, "pressed"), negation(stays))
            yield _note(signal, button, again, plan)


def _note(signal: Signal, button: Observable, again: Expr, plan: Plan) -> Obligation:
    return Obligation(
        "clears-again",
        (signal.name, button.name),
        again,
        f"as long as {button.name} stays pressed, {signal.name} clears again behind every train",
        (signal.span,),
        (signal.name,),
        pieces=(signal.enters.piece,),
        place=signal.name,
        advice=True,
        hint=_stick(signal, button.name, plan),
        over="held" if plan.locking.memory else "situations",
    )


def _stick(signal: Signal, button: str, plan: Plan) -> str:
    """How to make it a stick signal."""
    block = plan.track.pieces[signal.enters.piece].block or "…"
    free, stick = f"{button}-free", f"{signal.name}-stick"
    return (
        f"To clear {signal.name} for one train at each press, use two relays that a train drops: "
        f"`relay {free} picks when not {button} pressed and {block} clear sticks while {block} "
        f"clear`, and `relay {stick} picks when {button} pressed and {free} up and {block} clear "
        f"sticks while {block} clear`. Let {signal.name} ask for `{stick} up` instead of the "
        "button. To clear it for every train, use a lever."
    )


def _clearing_lines(signal: Signal, plan: Plan) -> Iterator[tuple[str, Line]]:
    """The lines of a signal and of its heads that may let a train proceed, and the head whose
    driver reads each."""
    clear = {aspect.name for aspect in plan.chart.aspects if aspect.proceeds}
    for line in signal.lines:
        if line.shows in clear:
            yield signal.heads[0].name, line
    for head in signal.heads:
        for line in head.lines:
            if steady(line.shows) not in AT_STOP:
                yield head.name, line


def _buttons(lines: Sequence[tuple[str, Line]], plan: Plan) -> tuple[Observable, ...]:
    """The buttons that lines read, in their order."""
    conditions = [line.when for _, line in lines if line.when is not None]
    facts = facts_unfolded(conditions, lambda name: plan.conditions[name].condition)
    found = {fact.what for fact in facts if fact.what.kind == "button"}
    return tuple(what for what in plan.inputs if what in found)


def _without(button: Observable, head: str, line: Line, plan: Plan) -> Expr:
    """The line would hold as well if the button were let go."""
    driver = plan.wiring.driver_of(head)
    reader = driver.name if driver else ""
    asks = Reader(reader, lower_named(plan, reader)).asks(line)

    def let_go(part: Atom) -> Expr:
        return constant("pressed" not in part.values) if part.what == button else part

    return substitute(asks, let_go)
