"""Whether a signal clears again behind a train while a button stays pressed, as expressions.

Twin of :mod:`verifier.reference.held_buttons`. In: a plan, and what signals show, as expressions
over the states and choices of a step. Out: states that tell what became of each signal since its
button was pressed, and the event that it clears again.
"""

from collections.abc import Callable, Iterator, Mapping

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
from verifier.plan import observables
from verifier.plan.locking.held_buttons import HeldButton, commands_of, held_buttons
from verifier.plan.model import Plan
from verifier.plan.observables import Condition, Observable


class HeldButtons:
    """The signals of a plan that a button clears. ``holds``: a condition as it is now; ``permits``
    and ``proceeds``: what a signal shows now."""

    def __init__(
        self,
        plan: Plan,
        holds: Callable[[Condition], Expr],
        permits: Callable[[str], Expr],
        proceeds: Callable[[str], Expr],
    ):
        self.plan = plan
        self.held = held_buttons(plan)
        self._of = {each.event: each for each in self.held}
        self._holds = holds
        self._permits = permits
        self._proceeds = proceeds

    def following(self) -> Iterator[tuple[Observable, Mapping[str, Expr]]]:
        """The states after a step."""
        for what in commands_of(self.held):
            values = {value: atom(what, value) for value in what.values}
            yield observables.before(what), values
        for each in self.held:
            yield each.state, self._after(each)

    def clears_again(self, event: Observable) -> Expr:
        """Nobody touched the panel since a train passed, and the signal proceeds: because of the
        button, as it is pressed now or by what it brought about since."""
        each = self._of[event]
        proceeds = self._proceeds(each.signal)
        because = disjunction(
            atom(each.state, "due"), negation(substitute(proceeds, _let_go(each.button)))
        )
        return conjunction(self._waits(each), proceeds, because)

    def _waits(self, each: HeldButton) -> Expr:
        """A train has passed, and nobody touched the panel since; the button is pressed."""
        behind = atom(each.state, "passed", "due")
        return conjunction(behind, atom(each.button, "pressed"), *map(_untouched, each.commands))

    def _after(self, each: HeldButton) -> Mapping[str, Expr]:
        pressed, state = atom(each.button, "pressed"), each.state
        cleared, waits = atom(state, "cleared"), self._waits(each)
        passes = conjunction(self._passed(each.signal), negation(self._permits(each.signal)))
        due = disjunction(atom(state, "due"), *(self._due(c, each) for c in each.memory))
        following = {
            "cleared": disjunction(
                conjunction(cleared, pressed, negation(passes)),
                conjunction(atom(state, "no"), pressed, self._proceeds(each.signal)),
            ),
            "passed": disjunction(
                conjunction(cleared, pressed, passes), conjunction(waits, negation(due))
            ),
            "due": conjunction(waits, due),
        }
        return {"no": negation(disjunction(*following.values())), **following}

    def _passed(self, signal: str) -> Expr:
        """A train is on the track behind the signal, and came in past it."""
        port = self.plan.signals[signal].enters
        heading = observables.heading(port.piece, self.plan.track.pieces[port.piece].ends)
        train = atom(observables.train(port.piece), "occupied")
        return conjunction(train, atom(heading, port.end))

    def _due(self, condition: Condition, each: HeldButton) -> Expr:
        """A condition holds, and would not if the button were let go."""
        now = self._holds(condition)
        return conjunction(now, negation(substitute(now, _let_go(each.button))))


def _untouched(command: Observable) -> Expr:
    was = observables.before(command)
    same = (conjunction(atom(command, v), atom(was, v)) for v in command.values)
    return disjunction(*same)


def _let_go(button: Observable) -> Callable[[Atom], Expr]:
    def let_go(part: Atom) -> Expr:
        return constant("released" in part.values) if part.what == button else part

    return let_go
