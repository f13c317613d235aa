"""Whether two suspects, or groups of them, look the same from outside: proved, not sampled.

In: a plan and two groups. Out: whether every lens shows the same color with either, in every
situation with at most one train on each block. Both plans are written as logic over the same
inputs; where the two come to the same expression nothing more need be asked, otherwise the
solver is asked for a situation in which some lens differs.
"""

from collections.abc import Collection, Iterable, Iterator

from verifier.diagnosis.bench import Bench, faults_in
from verifier.diagnosis.suspects import Suspects
from verifier.engines.results import Impossible
from verifier.language.diagnostics.diagnostic import InputError
from verifier.logic.expr import (
    FALSE,
    Atom,
    Expr,
    atom,
    conjunction,
    constant,
    disjunction,
    negation,
    substitute,
)
from verifier.plan.model import Plan
from verifier.plan.observables import Observable
from verifier.world.world import World


def observationally_equal(plan: Plan, a: Suspects, b: Suspects) -> bool:
    """True only where it is proved. False: some situation tells the two apart, or points lie
    otherwise with one than with the other, or the proof was not found."""
    return proved_alike(Bench(plan), a, b)


def proved_alike(bench: Bench, a: Suspects, b: Suspects) -> bool:
    """The same, of the plan on a bench."""
    if _of_points(bench, a) != _of_points(bench, b):
        return False
    several = [{s.fault.what for s in group if s.fault is not None and len(s.states) > 1}
               for group in (a, b)]  # fmt: skip
    shared = several[0] | several[1]
    if any({s.fault.what for s in group if s.fault}.isdisjoint({what})
           for group in (a, b) for what in shared):  # fmt: skip
        return False  # what changes from moment to moment would have to change in step
    try:
        differs = differing(bench, a, b, shared)
    except InputError:
        return False  # with something broken the rules may go round in a circle
    if differs is FALSE:
        return True
    from verifier.engines.smt.situations import SituationCheck

    check = SituationCheck.of(World(bench.plan, None, shared), assumed=False)
    return isinstance(check.find(differs), Impossible)


def differing(
    bench: Bench,
    a: Suspects,
    b: Suspects,
    shared: Collection[Observable] = (),
    watched: Collection[Observable] | None = None,
) -> Expr:
    """That something watched (every lens, where nothing is said) is otherwise with one group than
    with the other, over the inputs of the bench's plan. What is ``shared`` is an input as well,
    everything else that is broken is in the first of its states.

    Raises :class:`InputError` where with something broken the rules go round in a circle."""
    if watched is None:
        heads = (head for signal in bench.plan.signals.values() for head in signal.heads)
        watched = [head.lens for head in heads]
    return disjunction(*_differences(bench, a, b, shared, watched))


def _of_points(bench: Bench, group: Suspects) -> set[object]:
    """What of a group has to do with how points lie: that is seen without any signal."""
    return {
        s.trouble or s.fault
        for s in group
        if s.trouble is not None or (s.takes_power and bench.moves(s, bench.thrown))
    }


def _differences(
    bench: Bench,
    a: Suspects,
    b: Suspects,
    shared: Collection[Observable],
    watched: Iterable[Observable],
) -> Iterator[Expr]:
    one, other = (_Watched(bench, group, shared) for group in (a, b))
    for what in watched:
        for state in what.values:
            x, y = one.says(what, state), other.says(what, state)
            if x is not y:
                yield disjunction(conjunction(x, negation(y)), conjunction(negation(x), y))


class _Watched:
    """What there is to watch of one plan with a group of suspects at work."""

    def __init__(self, bench: Bench, group: Suspects, shared: Collection[Observable]):
        wired = bench.wired(group)
        faults = faults_in(wired, group).items()
        self._broken = {what: state for what, state in faults if what not in shared}
        self._world = World(wired, None, (*self._broken, *shared))

    def says(self, what: Observable, state: str) -> Expr:
        return substitute(self._world.expand(atom(what, state)), self._as_broken)

    def _as_broken(self, part: Atom) -> Expr:
        state = self._broken.get(part.what)
        return part if state is None else constant(state in part.values)
