"""Whether two groups of suspects are indistinguishable from outside: proved, not sampled.

In: a bench and two groups. Out: whether every lens shows the same color with either, in every
situation with at most one train on each block. Both plans are written as logic over the same
inputs; unless they come to the same expression, the solver looks for a situation in which some lens
differs.
"""

from collections.abc import Callable, Collection, Iterable

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
    support,
)
from verifier.plan.observables import Observable
from verifier.world.world import World


def indistinguishable(bench: Bench, a: Suspects, b: Suspects) -> bool:
    """True only where it is proved. False: some situation tells the two apart, or points lie
    differently with one than with the other, or the proof was not found."""
    if _of_points(bench, a) != _of_points(bench, b):
        return False
    faults = [{s.fault.what: s for s in group if s.fault is not None} for group in (a, b)]
    shared = {what for found in faults for what, s in found.items() if len(s.states) > 1}
    if not all(shared <= found.keys() for found in faults):
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
    watched: Iterable[Observable] | None = None,
    *,
    surely: bool = False,
) -> Expr:
    """That something watched (by default every lens) may differ between two groups, over the inputs
    of the bench's plan. Faults in ``shared`` are inputs as well, every other fault is in the first
    of its states. ``surely``: that it differs however current divides with their mistakes made.

    Raises :class:`InputError` where with something broken the rules go round in a circle."""
    if watched is None:
        heads = (head for signal in bench.plan.signals.values() for head in signal.heads)
        watched = [head.lens for head in heads]
    one, other = (_view(bench, group, shared) for group in (a, b))
    parts = [atom(what, state) for what in watched for state in what.values]
    pairs = [(one(part), other(part)) for part in parts]
    found = disjunction(*(
        disjunction(conjunction(x, negation(y)), conjunction(negation(x), y))
        for x, y in pairs if x is not y
    ))  # fmt: skip
    for what in support(found):
        if what.kind == "share" and what not in bench.plan.inputs:
            ways = (substitute(found, _given(what, state)) for state in what.values)
            found = conjunction(*ways) if surely else disjunction(*ways)
    return found


def _given(what: Observable, state: str) -> Callable[[Atom], Expr]:
    """A function that settles what is said of one observable, given its state."""
    return lambda part: constant(state in part.values) if part.what == what else part


def _of_points(bench: Bench, group: Suspects) -> set[object]:
    """The suspects of a group that affect how points lie: that is seen without any signal."""
    return {
        s.trouble or s.fault
        for s in group
        if s.trouble is not None or (s.takes_power and bench.moves(s, bench.thrown))
    }


def _view(bench: Bench, group: Suspects, shared: Collection[Observable]) -> Callable[[Expr], Expr]:
    """A function that expands expressions with a group of suspects present."""
    wired = bench.wired(group)
    faults = faults_in(wired, group).items()
    present = {what: state for what, state in faults if what not in shared}
    world = World(wired, None, (*present, *shared))

    def settled(part: Atom) -> Expr:
        state = present.get(part.what)
        return part if state is None else constant(state in part.values)

    return lambda expr: substitute(world.expand(expr), settled)
