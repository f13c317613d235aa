"""Many moments of a history at once: one bit for each. What the stepper makes of each of them,
and what expressions come to in all of them."""

from collections.abc import Iterable, Sequence, Set
from random import Random

from verifier.logic.expr import And, Atom, Const, Expr, Group
from verifier.plan.observables import Observable
from verifier.reference.step import Stepper
from verifier.reference.transition import Transition, Valuation


class Moments:
    """Some moments, and what the stepper makes of each."""

    def __init__(self, moments: Sequence[Valuation], steps: Sequence[Transition]):
        self.moments = moments
        self.steps = steps
        self.every = (1 << len(moments)) - 1
        self._of: dict[Expr, int] = {}

    def where(self, states: Iterable[str], values: Iterable[str]) -> int:
        """The moments at which a state is among some values."""
        wanted = set(values)
        return sum(1 << i for i, state in enumerate(states) if state in wanted)

    def of(self, expr: Expr) -> int:
        """The moments at which an expression over states and choices holds."""
        stack = [expr]
        while stack:
            node = stack[-1]
            waiting = (
                [p for p in node.parts if p not in self._of] if isinstance(node, Group) else []
            )
            if waiting:
                stack.extend(waiting)
                continue
            if node not in self._of:
                self._of[node] = self._work_out(node)
            stack.pop()
        return self._of[expr]

    def _work_out(self, node: Expr) -> int:
        match node:
            case Const():
                return self.every if node.value else 0
            case Atom():
                return self.where((m[node.what] for m in self.moments), node.values)
            case Group():
                found = self.every if isinstance(node, And) else 0
                for part in node.parts:
                    found = (
                        found & self._of[part] if isinstance(node, And) else found | self._of[part]
                    )
                return found
            case _:
                raise AssertionError(node)

    def first(self, bits: int) -> Valuation:
        """What is not as usual at the first of some moments."""
        moment = self.moments[(bits & -bits).bit_length() - 1]
        return {what: state for what, state in moment.items() if state != what.usual}


def any_moments(
    stepper: Stepper, number: int, r: Random, unread: Set[Observable] = frozenset()
) -> list[Valuation]:
    """Moments put together at random: most of them no history leads to. ``unread``: choices that
    are as usual."""
    found: list[Valuation] = []
    for _ in range(number):
        usual = r.choice([0.0, 0.3, 0.6])
        moment = {
            what: what.usual if r.random() < usual else r.choice(what.values)
            for what in (*stepper.states, *stepper.choices)
        }
        found.append({**moment, **{what: what.usual for what in unread}})
    return found


def any_start(stepper: Stepper, r: Random) -> dict[Observable, str]:
    """A state in which a history may start."""
    starts = stepper.variables.starts()
    while True:
        state = {what: r.choice(values) for what, values in starts.items()}
        if stepper.variables.is_start(state):
            return state


def walk(
    stepper: Stepper, length: int, r: Random, unread: Set[Observable] = frozenset()
) -> tuple[list[dict[Observable, str]], list[Transition]]:
    """One history, things being chosen at random."""
    state = any_start(stepper, r)
    eager = r.choice([0.2, 0.5, 0.9])
    moments: list[dict[Observable, str]] = []
    steps: list[Transition] = []
    for _ in range(length):
        chosen = {
            what: r.choice(what.values) if r.random() < eager else what.usual
            for what in stepper.choices
        }
        chosen |= {what: what.usual for what in unread}
        moments.append({**state, **chosen})
        steps.append(stepper.step(moments[-1]))
        state = dict(steps[-1].successor)
    return moments, steps


def gathered(
    stepper: Stepper, number: int, r: Random, unread: Set[Observable] = frozenset()
) -> Moments:
    """Some moments of either kind."""
    moments = any_moments(stepper, number // 2, r, unread)
    steps = [stepper.step(moment) for moment in moments]
    while len(moments) < number:
        more, then = walk(stepper, min(20, number - len(moments)), r, unread)
        moments += more
        steps += then
    return Moments(moments, steps)


def states_of(steps: Sequence[Transition], what: Observable) -> list[str]:
    return [step.observed[what] for step in steps]
