"""Parts of a system at rest: conditions that last as long as certain inputs have their usual value.

In: a system. Out: :class:`Part`\\ s, each a condition over a few states, such as "no train on this
piece" or "this relay is down", that no step ends while the inputs named have their usual value,
whatever all other states and inputs do. The solver checks that; a condition that needs others
to hold is joined with them.

Trusts z3's "unsat".
"""

from collections.abc import Collection, Hashable, Mapping, Sequence
from dataclasses import dataclass, replace

import z3

from verifier.engines.temporal.simulation import Machine
from verifier.engines.temporal.symmetry import Shapes
from verifier.engines.temporal.unroller import Unrolling
from verifier.logic.expr import Expr, atom, conjunction, support
from verifier.logic.transition_system import System, cut
from verifier.plan.observables import Observable

# Steps in which a system that is left alone comes to rest, or does not.
STEPS_TO_REST = 64


@dataclass(frozen=True, slots=True)
class Part:
    """``rest`` lasts while each input in ``quiet`` has its usual value. Parts of an earlier
    ``stage`` are more important, and in one stage those of a higher ``rank``."""

    rest: Expr
    quiet: frozenset[Observable]
    stage: int = 0
    rank: int = 0


def parts_at_rest(
    system: System,
    shapes: Shapes,
    *,
    first: Sequence[Sequence[Expr]] = (),
    without: Collection[str] = (),
    deadline: float | None = None,
) -> list[Part]:
    """The parts of a system: the conditions of each stage of ``first``, ranked in their order, the
    first one lowest; and in the last stage, ranked lower still, that each state is at rest, except
    of those kinds that are ``without``.

    Raises :class:`~verifier.engines.results.Interrupted` on Ctrl-C."""
    resting = {w: v for w, v in settled(system).items() if w.kind not in without}
    steady = _Steady(system, shapes, resting, deadline)
    found: dict[Expr, Part] = {}
    single = [atom(w, value) for w, value in resting.items()]
    last = max(0, len(first) - 1)
    seeds = [(s, r, e) for s, exprs in enumerate(first) for r, e in enumerate(exprs, 1)]
    for stage, rank, seed in [*seeds, *((last, 0, seed) for seed in single)]:
        part = steady.part(seed)
        if part is not None:
            found.setdefault(part.rest, replace(part, stage=stage, rank=rank))
    return list(found.values())


def settled(system: System) -> Mapping[Observable, str]:
    """The values that states keep once the system is left alone, with inputs as usual."""
    machine = Machine(system)
    values = machine.blank(1)
    start = {
        w: w.usual if w.usual in system.initial[w] else system.initial[w][0] for w in system.states
    }
    machine.set(values, start)
    machine.set(values, {w: w.usual for w in system.inputs})
    kept: dict[Observable, str] = {}
    for step in range(2 * STEPS_TO_REST):
        now = {w: next(v for v in w.values if machine.get(values, w, v)) for w in system.states}
        if step == STEPS_TO_REST:
            kept = now
        kept = {w: v for w, v in kept.items() if now[w] == v}
        machine.evaluate(values)
        machine.advance(values)
    return kept


class _Steady:
    """Finds what makes conditions last."""

    def __init__(
        self,
        system: System,
        shapes: Shapes,
        resting: Mapping[Observable, str],
        deadline: float | None,
    ):
        self._system = system
        self._shapes = shapes
        self._resting = resting
        self._deadline = deadline
        self._states = frozenset(system.states)
        self._known: dict[Hashable, tuple[Observable, ...] | None] = {}

    def part(self, rest: Expr) -> Part | None:
        """The condition, joined with the rest of other states that it needs to last; None where
        it does not last."""
        while (needs := self._needs(rest)) is not None:
            others = [w for w in needs if w in self._states]
            if not others:
                return Part(rest, frozenset(needs))
            rest = conjunction(rest, *(atom(w, self._resting[w]) for w in others))
        return None

    def _needs(self, rest: Expr) -> Sequence[Observable] | None:
        """The other states at rest and the inputs as usual that make a condition last."""
        window = cut(self._system, (w for w in support(rest) if w in self._states))
        shape = self._shapes.of(window)
        resting = frozenset(
            (shape.there[w], self._resting[w]) for w in window.inputs if w in self._resting
        )
        free = frozenset(
            shape.there[w] for w in window.inputs if w in self._states and w not in self._resting
        )
        key = shape.key, shape.question(self._shapes.form(rest)), resting, free
        if key not in self._known:
            needs = self._core(window, rest)
            self._known[key] = None if needs is None else tuple(shape.there[w] for w in needs)
        known = self._known[key]
        return None if known is None else [shape.back[w] for w in known]

    def _core(self, window: System, rest: Expr) -> list[Observable] | None:
        """As few states as the solver can do without, then as few inputs."""
        solver = Unrolling(window, start=False)
        solver.add(solver.term(rest, 0), solver.no(solver.term(rest, 1)))
        states: dict[Observable, z3.BoolRef] = {}
        inputs: dict[Observable, z3.BoolRef] = {}
        for what in window.inputs:
            # What has one value is a variable, or its opposite, which can be assumed as it is.
            if what not in self._states:
                inputs[what] = solver.bit(what, what.usual, 0)
            elif what in self._resting:
                states[what] = solver.bit(what, self._resting[what], 0)
        # Trains are rather done without than relays.
        order = sorted(states, key=lambda w: w.kind != "train")
        needed = self._fewest(solver, {w: states[w] for w in order}, list(inputs.values()))
        if needed is None:
            return None
        fewest = self._fewest(solver, inputs, [states[w] for w in needed])
        return None if fewest is None else [*needed, *fewest]

    def _fewest(
        self, solver: Unrolling, open_: Mapping[Observable, z3.BoolRef], fixed: list[z3.BoolRef]
    ) -> list[Observable] | None:
        """The literals needed for unsatisfiability, in addition to those fixed; None where all of
        them do not suffice, or time ran out."""
        if solver.check([*fixed, *open_.values()], self._deadline) is not False:
            return None
        core = solver.core()
        needed = [w for w, literal in open_.items() if literal.get_id() in core]
        for what in tuple(needed):
            fewer = [w for w in needed if w != what]
            if solver.check([*fixed, *(open_[w] for w in fewer)], self._deadline) is False:
                needed = fewer
        return needed
