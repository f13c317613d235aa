"""What an operator can do to a layout, and how a step of the card is set up.

In: a bench. Out: settings of all controls; places where one locomotive can stand; the same as
expressions, for the solver; and the setup of a situation that the solver found. Points are never
left between their ends, and nothing is broken on purpose. (For layouts with memory, see
:mod:`verifier.testcard.stateful_steps`.)
"""

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import replace
from itertools import product

from verifier.diagnosis.bench import Bench, Setup
from verifier.logic.expr import Expr, atom, conjunction, disjunction
from verifier.plan import observables
from verifier.plan.observables import Observable
from verifier.plan.situation import Situation

# A control and its states: a turnout, slip, derail or gate that has a command by its name, a lever
# by the first of these that it throws, anything else by its observable.
Control = tuple[str | Observable, tuple[str, ...]]
Stands = tuple[tuple[str, tuple[str, ...]], ...]

_MEMORY = ("relay", "timer", "traffic")
_STOCK = ("stock", "standing")


def controls(bench: Bench) -> list[Control]:
    """All controls, each with its normal state first."""
    found: list[Control] = []
    levers: set[str] = set()
    for name in bench.thrown:
        lever = bench.lever_of(name)
        if lever is None or lever not in levers:
            found.append((name, bench.positions(name)))
        if lever is not None:
            levers.add(lever)
    for what in bench.plan.inputs:
        if what.kind in ("gate", "derail") and bench.throws(what.name):
            continue
        if what.kind in ("lever", "button", "gate", "derail") and not (
            what.kind == "lever" and what.name in levers
        ):
            # Gates may be left open; derails are not left between their ends.
            others = [v for v in what.values if v not in (what.usual, "open")]
            gate = ["open"] if what.kind == "gate" else []
            found.append((what, (what.usual, *others, *gate)))
        elif what.kind == "points" and not bench.throws(what.name):
            found.append((what, ("normal", "reverse")))
    return found


def settings(bench: Bench, given: Sequence[Control]) -> Iterator[Setup]:
    """Every setting of the controls, without stock."""
    for states in product(*(states for _, states in given)):
        pairs = zip((what for what, _ in given), states, strict=True)
        yield setting(bench, pairs)


def setting(bench: Bench, chosen: Iterable[tuple[str | Observable, str]]) -> Setup:
    """A setup without stock, with the command of all that has one."""
    told: dict[str, str] = {}
    lies: dict[str, str] = {}
    others: dict[Observable, str] = {}
    for what, state in chosen:
        if isinstance(what, str):
            told.update(bench.told_with(what, state))
        elif what.kind == "points":
            lies[what.name] = state
        else:
            others[what] = state
    return Setup((), tuple(told.items()), tuple(lies.items()), tuple(others.items()))


def places(bench: Bench) -> Iterator[tuple[str, str]]:
    """For each block, the places of a locomotive that the wiring distinguishes."""
    for block in bench.plan.blocks:
        for place in bench.places(block, draws=True):
            yield block, place


def operator_constraints(bench: Bench, *, stateful: bool) -> Iterator[Expr]:
    """Constraints on every step, over the inputs of the bench's plan. If it is ``stateful``, memory
    and points are unconstrained, which excludes no reachable state."""
    levers = {what.name: what for what in bench.plan.inputs if what.kind == "lever"}
    for what in bench.plan.inputs:
        if what.kind in ("points", "derail"):
            yield atom(what, *(v for v in what.values if v != "open"))
        elif (what.kind in _MEMORY and not stateful) or what.kind == "motion":
            yield atom(what, what.usual)
    if stateful:
        return
    for name in bench.thrown:
        lies, positions = bench.lies(name), bench.positions(name)
        lever = levers.get(bench.lever_of(name) or "")
        told = observables.thrown(name, positions)
        for command in (lever, told):
            if command is None or command not in bench.plan.inputs:
                continue
            states = positions if command is told else ("normal", "reverse")
            yield disjunction(
                *(
                    conjunction(atom(lies, position), atom(command, state))
                    for position, state in zip(positions, states, strict=True)
                )
            )


def setup_of(bench: Bench, situation: Situation) -> Setup:
    """The setup of a situation that meets the operator constraints."""
    chosen: list[tuple[str | Observable, str]] = []
    for what, _ in controls(bench):
        seen = bench.lies(what) if isinstance(what, str) else what
        chosen.append((what, situation.state(seen)))
    stands = tuple(
        (what.name, (situation.state(what),))
        for what in bench.plan.inputs
        if what.kind in _STOCK and what in situation.facts
    )
    return replace(setting(bench, chosen), stands=stands)
