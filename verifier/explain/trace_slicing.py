"""Trace slicing: the parts of a trace that its end depends on, and the trace without the rest.

In: a transition system, the bad state, and the states and inputs of each step. A backward pass
notes which states and inputs suffice for what follows; any trace that agrees with these ends the
same way. All other inputs are set to their usual value (or kept, where they stay as people leave
them), and the trace is simulated again.
"""

from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass

from verifier.engines.temporal.simulation import machine_of
from verifier.logic.expr import And, Atom, Const, Expr, fold, holds
from verifier.logic.transition_system import System
from verifier.plan.observables import Observable

Moment = Mapping[Observable, str]
_Facts = frozenset[Observable]

# The cost of keeping a fact: highest for what people or trains do, then for what is unusual, so
# that the shortest trace is kept.
_CHOSEN, _UNUSUAL, _USUAL = 12, 4, 1
# These stay as people left them: nobody puts a lever back unless the trace says so.
HELD = ("lever",)


@dataclass(frozen=True, slots=True)
class Tidied:
    """``moments``: the history without what does not matter; ``after``: the states that follow
    the last; ``matters``: for each moment, the states and inputs that suffice for its end."""

    moments: tuple[Moment, ...]
    after: Moment
    matters: tuple[_Facts, ...]


def tidied(system: System, bad: Expr, moments: Sequence[Moment]) -> Tidied:
    """The trace without what does not matter for ``bad`` at its end; unchanged where the
    assumptions rule out leaving that out."""
    full = tuple({w: m.get(w, w.usual) for w in (*system.states, *system.inputs)} for m in moments)
    matters = needed(system, bad, full)
    tried = _without_the_rest(system, full, matters)
    if tried is not None and holds(bad, tried[-1]):
        full, matters = tried, needed(system, bad, tried)
    return Tidied(full, following(system, full[-1]), matters)


def untidied(system: System, bad: Expr, moments: Sequence[Moment]) -> Tidied:
    """The trace as it is."""
    full = tuple({w: m.get(w, w.usual) for w in (*system.states, *system.inputs)} for m in moments)
    return Tidied(full, following(system, full[-1]), needed(system, bad, full))


def needed(system: System, bad: Expr, moments: Sequence[Moment]) -> tuple[_Facts, ...]:
    """For each moment, facts that suffice for what is needed of the next."""
    states = set(system.states)
    inputs = set(system.inputs)
    found: list[_Facts] = []
    asked: list[Expr] = [bad]
    for moment in reversed(moments):
        facts = sufficient(asked, moment, inputs)
        found.append(facts)
        asked = []
        # What each needed state comes from, one moment earlier.
        earlier = len(moments) - len(found) - 1
        if earlier >= 0:
            asked = [system.following[w][moment[w]] for w in facts if w in states]
    return tuple(reversed(found))


def sufficient(
    asked: Iterable[Expr], moment: Moment, inputs: Collection[Observable] = ()
) -> _Facts:
    """As few facts as show that all that is asked is true, preferably not of ``inputs``."""

    def price(what: Observable) -> int:
        if moment[what] == what.usual:
            return _USUAL
        return _CHOSEN if what in inputs else _UNUSUAL

    def step(node: Expr, parts: tuple[_Facts | None, ...]) -> _Facts | None:
        match node:
            case Const():
                return frozenset() if node.value else None
            case Atom():
                return frozenset((node.what,)) if moment[node.what] in node.values else None
            case And():
                if any(part is None for part in parts):
                    return None
                return frozenset().union(*(part for part in parts if part is not None))
            case _:
                true = [part for part in parts if part is not None]
                return min(true, key=lambda part: sum(map(price, part))) if true else None

    facts: _Facts = frozenset()
    known: dict[Expr, _Facts | None] = {}
    for expr in asked:
        found = fold(expr, step, known)
        assert found is not None, "the moments of a history follow from each other"
        facts |= found
    return facts


def _without_the_rest(
    system: System, moments: Sequence[Moment], matters: Sequence[_Facts]
) -> tuple[dict[Observable, str], ...] | None:
    """The history with every other input, and what may be so at the start, as usual, levers as
    they were left; None where that is not allowed."""
    states = {
        w: w.usual
        if w.usual in system.initial[w] and matters[0].isdisjoint(system.starts_with(w))
        else moments[0][w]
        for w in system.states
    }
    left = {w: w.usual for w in system.inputs}
    course = []
    for moment, facts in zip(moments, matters, strict=True):
        left = {
            w: moment[w] if w in facts else left[w] if w.kind in HELD else w.usual
            for w in system.inputs
        }
        now = states | left
        course.append(now)
        states, allowed = _step(system, now)
        if not allowed:
            return None
    return tuple(course)


def following(system: System, moment: Moment) -> dict[Observable, str]:
    """The states of the next moment."""
    return _step(system, moment)[0]


def _step(system: System, moment: Moment) -> tuple[dict[Observable, str], bool]:
    """The states that follow a moment, and whether the system's constraints allow it."""
    machine = machine_of(system)
    values = machine.blank(1)
    machine.set(values, {what: moment[what] for what in (*system.states, *system.inputs)})
    machine.evaluate(values)
    allowed = bool(machine.allowed(values))
    machine.advance(values)
    return machine.state(values), allowed
