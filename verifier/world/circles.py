"""Signals that read one another round in a circle, yet settle in every situation.

A lever in the middle lets one signal clear, in either of its other positions the other
one; each asks whether the other is at stop. As rules that is a circle. In any one
situation it is none: the lever decides first, and then nothing waits for anything.

What a signal may show is at first everything; it shrinks by what the rules leave over,
however the signals they read may turn out, until nothing changes. That is how the
evaluator finds what is shown in one situation; here it is done for all situations at once.
"""

from collections.abc import Callable, Iterable

from verifier.logic.expr import (
    TRUE,
    Atom,
    Expr,
    atom,
    both,
    either,
    nodes,
    observables,
    opposite,
    substitute,
)
from verifier.logic.settle import given, is_always_true, same
from verifier.plan.facts import Observable

# Beyond this size of an expression nothing is concluded: the circle stays an error.
MAX_NODES = 3_000

# When an observable may be in each of its states.
May = dict[str, Expr]


def settle_together(
    start: Iterable[Observable],
    one_step: Callable[[Atom], Expr],
    known: Callable[[Atom], Expr | None],
) -> dict[Observable, May]:
    """What the aspects and colours of a circle come to, in terms of inputs.

    ``one_step`` says what an atom means in terms of others, ``known`` what it comes to
    where that is known. Those that some situation leaves open are not in the answer."""
    asks = _what_they_ask(start, one_step, known)
    may: dict[Observable, May] = {what: dict.fromkeys(what.values, TRUE) for what in asks}
    for _ in range(sum(len(what.values) for what in asks)):
        changed = False
        for what, meanings in asks.items():
            for value, meaning in meanings.items():
                left = _possible(meaning, may)
                if left is None:
                    return {}
                if not same(left, may[what][value]):
                    may[what][value] = left
                    changed = True
        if not changed:
            break
    return {what: states for what, states in may.items() if _one_at_a_time(states)}


def _what_they_ask(
    start: Iterable[Observable],
    one_step: Callable[[Atom], Expr],
    known: Callable[[Atom], Expr | None],
) -> dict[Observable, May]:
    """What each state means, for all that the circle depends on and is not known."""

    def replace(part: Atom) -> Expr:
        return known(part) or part

    asks: dict[Observable, May] = {}
    waiting = list(start)
    while waiting:
        what = waiting.pop()
        if what in asks:
            continue
        asks[what] = {}
        for value in what.values:
            state = atom(what, value)
            meaning = one_step(state) if isinstance(state, Atom) else state
            asks[what][value] = substitute(meaning, replace)
            waiting += (o for o in observables(asks[what][value]) if not o.is_input)
    return asks


def _possible(meaning: Expr, may: dict[Observable, May]) -> Expr | None:
    """That a meaning may come true, however what it asks for turns out; None when that
    grows too large."""
    for what in observables(meaning):
        if what.is_input:
            continue
        ways: dict[Expr, list[Expr]] = {}
        for value in what.values:
            ways.setdefault(given(meaning, what, value), []).append(may[what][value])
        meaning = either(*(both(either(*when), then) for then, when in ways.items()))
        if sum(1 for _ in nodes(meaning)) > MAX_NODES:
            return None
    return meaning


def _one_at_a_time(states: May) -> bool:
    """No situation allows two states."""
    left = list(states.values())
    return all(
        is_always_true(either(opposite(one), opposite(two)))
        for i, one in enumerate(left)
        for two in left[i + 1 :]
    )
