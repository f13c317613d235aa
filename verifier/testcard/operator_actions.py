"""What a person can do to a sound layout, and how a step of the card is set up.

In: a bench. Out: settings of everything that is thrown, turned or pressed; places where one
locomotive can stand; the same as an expression, for the solver; and the setup that a situation
found by the solver stands for. Points are never left between their ends, and nothing is broken:
what a person must do to the layout is never to harm it. (What remembers is in
:mod:`verifier.testcard.stateful_steps`.)
"""

from collections.abc import Iterable, Iterator, Sequence
from itertools import product

from verifier.diagnosis.bench import Bench, Setup
from verifier.logic.expr import Expr, atom, conjunction, disjunction
from verifier.plan import observables
from verifier.plan.observables import Observable
from verifier.plan.situation import Situation

# Something that is set by hand, and the states it is set to: a turnout that is told how to lie by
# its name, a lever that throws turnouts by the first of these, anything else by itself.
Knob = tuple[str | Observable, tuple[str, ...]]
Stands = tuple[tuple[str, tuple[str, ...]], ...]

_MEMORY = ("relay", "timer", "traffic")
_STOCK = ("stock", "standing")


def knobs(bench: Bench) -> list[Knob]:
    """All that is set by hand, with the state it rests in first."""
    found: list[Knob] = []
    levers: set[str] = set()
    for name in bench.thrown:
        lever = bench.lever_of(name)
        if lever is None or lever not in levers:
            found.append((name, ("normal", "reverse")))
        if lever is not None:
            levers.add(lever)
    for what in bench.plan.inputs:
        if what.kind in ("lever", "button", "gate", "derail") and not (
            what.kind == "lever" and what.name in levers
        ):
            others = tuple(v for v in what.values if v not in (what.usual, "open"))
            found.append((what, (what.usual, *others, *_open_gate(what))))
        elif what.kind == "points" and not bench.throws(what.name):
            found.append((what, ("normal", "reverse")))
    return found


def _open_gate(what: Observable) -> tuple[str, ...]:
    """A gate is opened by hand; points and derails are not left half way."""
    return ("open",) if what.kind == "gate" else ()


def settings(bench: Bench, given: Sequence[Knob]) -> Iterator[Setup]:
    """Every way in which these can be set, no stock anywhere."""
    for states in product(*(states for _, states in given)):
        pairs = zip((what for what, _ in given), states, strict=True)
        yield setting(bench, pairs)


def setting(bench: Bench, chosen: Iterable[tuple[str | Observable, str]]) -> Setup:
    """A setup without stock. Every turnout that is told how to lie is in it."""
    told: dict[str, str] = {}
    lies: dict[str, str] = {}
    others: dict[Observable, str] = {}
    for what, state in chosen:
        if isinstance(what, str):
            lever = bench.lever_of(what)
            same = bench.thrown_by(lever) if lever else (what,)
            told.update(dict.fromkeys(same, state))
        elif what.kind == "points":
            lies[what.name] = state
        else:
            others[what] = state
    return Setup((), tuple(told.items()), tuple(lies.items()), tuple(others.items()))


def with_stock(setup: Setup, stands: Stands) -> Setup:
    return Setup(stands, setup.told, setup.lies, setup.facts)


def places(bench: Bench) -> Iterator[tuple[str, str]]:
    """By block, each place where a locomotive can stand and be told apart."""
    for block in bench.plan.blocks:
        if block not in bench.plan.equipment.places:
            yield block, "occupied"
            continue
        electric = bool(bench.plan.wiring.feeders_of(block))
        for place in bench.places(block):
            if place.draws or not electric:
                yield block, place.name


def doable(bench: Bench, *, played: bool) -> Iterator[Expr]:
    """What every step keeps to, over the inputs of the bench's plan. Where it is ``played``,
    memory and points may be as they like: that leaves out none of what can be brought about."""
    levers = {what.name: what for what in bench.plan.inputs if what.kind == "lever"}
    for what in bench.plan.inputs:
        if what.kind in ("points", "derail"):
            yield atom(what, *(v for v in what.values if v != "open"))
        elif (what.kind in _MEMORY and not played) or what.kind == "motion":
            yield atom(what, what.usual)
    if played:
        return
    for name in bench.thrown:
        points = observables.points(name)
        lever = bench.lever_of(name)
        command = levers[lever] if lever else observables.thrown(name)
        if command.kind == "thrown" and command not in bench.plan.inputs:
            continue
        yield disjunction(
            *(
                conjunction(atom(points, state), atom(command, state))
                for state in ("normal", "reverse")
            )
        )


def setup_of(bench: Bench, situation: Situation) -> Setup:
    """How to set up a situation of the bench's plan that is doable."""
    chosen: list[tuple[str | Observable, str]] = []
    for what, _ in knobs(bench):
        seen = observables.points(what) if isinstance(what, str) else what
        chosen.append((what, situation.state(seen)))
    stands = tuple(
        (what.name, (situation.state(what),))
        for what in bench.plan.inputs
        if what.kind in _STOCK and what in situation.facts
    )
    return with_stock(setting(bench, chosen), stands)
