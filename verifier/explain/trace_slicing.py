"""Trace slicing: the parts of a trace that its end depends on, and the trace without the rest.

In: a transition system, the bad state, and the states and inputs of each step. A backward pass
notes which states and inputs suffice for what follows; any trace that agrees with these ends the
same way. All other inputs are set to their usual value (or kept, where they stay as people leave
them), and the trace is simulated again.
"""

from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass

from verifier.engines.temporal.simulation import machine_of
from verifier.logic.expr import And, Atom, Const, Expr, Or, holds
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
    for kept in (matters, needed(system, bad, full, always=system.always)):
        tried = _without_the_rest(system, full, kept)
        if tried is not None and holds(bad, tried[-1]):
            return Tidied(tried, following(system, tried[-1]), needed(system, bad, tried))
        if not system.always:
            break
    return Tidied(full, following(system, full[-1]), matters)


def untidied(system: System, bad: Expr, moments: Sequence[Moment]) -> Tidied:
    """The trace as it is."""
    full = tuple({w: m.get(w, w.usual) for w in (*system.states, *system.inputs)} for m in moments)
    return Tidied(full, following(system, full[-1]), needed(system, bad, full))


def needed(
    system: System, bad: Expr, moments: Sequence[Moment], *, always: Sequence[Expr] = ()
) -> tuple[_Facts, ...]:
    """For each moment, facts that suffice for what is needed of the next, and for what ``always``
    holds."""
    states = set(system.states)
    inputs = set(system.inputs)
    found: list[_Facts] = []
    asked: list[Expr] = [bad, *always]
    for moment in reversed(moments):
        facts = sufficient(asked, moment, inputs)
        found.append(facts)
        asked = list(always)
        # What each needed state comes from, one moment earlier.
        earlier = len(moments) - len(found) - 1
        if earlier >= 0:
            asked += [system.following[w][moment[w]] for w in facts if w in states]
    return tuple(reversed(found))


def sufficient(
    asked: Iterable[Expr], moment: Moment, inputs: Collection[Observable] = ()
) -> _Facts:
    """As few facts as show that all that is asked is true, preferably not of ``inputs``."""

    def price(facts: _Facts) -> int:
        return sum(
            _USUAL if moment[w] == w.usual else _CHOSEN if w in inputs else _UNUSUAL for w in facts
        )

    truth: dict[Expr, bool] = {}
    # Of each node that is true, its true parts, and the facts that show it.
    true: dict[Expr, Sequence[Expr]] = {}
    known: dict[Expr, _Facts] = {}
    facts: _Facts = frozenset()
    for expr in asked:
        assert _is_true(expr, moment, truth), "the moments of a history follow from each other"
        stack = [expr]
        while stack:
            node = stack[-1]
            if node in known:
                stack.pop()
                continue
            parts = true.get(node)
            if parts is None:
                parts = node.parts
                if isinstance(node, Or):
                    parts = [part for part in parts if _is_true(part, moment, truth)]
                true[node] = parts
            waiting = [part for part in parts if part not in known]
            if waiting:
                stack += waiting
                continue
            stack.pop()
            if isinstance(node, Atom):
                known[node] = frozenset((node.what,))
            elif isinstance(node, Or):
                told = [known[part] for part in parts]
                known[node] = told[0] if len(told) == 1 else min(told, key=price)
            else:
                known[node] = frozenset().union(*(known[part] for part in parts))
        facts |= known[expr]
    return facts


def _is_true(expr: Expr, moment: Moment, known: dict[Expr, bool]) -> bool:
    """Whether an expression is true, no more of it looked at than that takes."""
    if (told_before := known.get(expr)) is not None:
        return told_before
    stack = [expr]
    while stack:
        node = stack[-1]
        if node not in known:
            match node:
                case Const():
                    known[node] = node.value
                case Atom():
                    known[node] = moment[node.what] in node.values
                case _:
                    settles = not isinstance(node, And)
                    told = [known.get(part) for part in node.parts]
                    if settles not in told and None in told:
                        stack.append(node.parts[told.index(None)])
                        continue
                    known[node] = settles if settles in told else not settles
        stack.pop()
    return known[expr]


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
