"""Small transition systems out of large ones, to be gone through: a few states of a generated
junction, what they depend on being free; or all of it, with only a few things ever chosen."""

from collections.abc import Iterator, Set
from random import Random
from typing import NamedTuple

from verifier.logic.expr import Atom, Const, Expr, atom, conjunction, constant, substitute, support
from verifier.logic.transition_system import System, cut
from verifier.plan.model import Plan
from verifier.plan.observables import Observable
from verifier.world.history import Histories

# Ways to choose at one moment, and states of a window, that can be gone through.
MAX_WAYS, MAX_STATES = 1 << 10, 9
# What is chosen in most histories worth looking at.
LIVELY = ("entry", "advance", "advance", "throw", "arrival", "button", "expiry", "stays late")


class Small(NamedTuple):
    """A system and something that may happen in it."""

    system: System
    bad: Expr


def small_systems(plan: Plan, r: Random, *, lossy: bool) -> Iterator[Small]:
    """A window around an event; a few things chosen, and an event, or some state of affairs."""
    histories = Histories(plan, lossy=lossy)
    system, events = histories.system, list(histories.events())
    bad = histories.expand(atom(r.choice(events), "yes"))
    window = None if isinstance(bad, Const) else _window(system, bad, r)
    if window is not None:
        yield Small(window, bad)
    for bad in (
        histories.expand(atom(r.choice(events), "yes")),
        *(_affairs(system, r) for _ in "12"),
    ):
        free = _lively(system, r)
        asked = _pinned(bad, free)
        if not isinstance(asked, Const):
            yield Small(_quiet(system, free), asked)


def _affairs(system: System, r: Random) -> Expr:
    """Two or three things that are not as usual."""
    kinds = ("train", "across", "relay", "timer", "points", "traffic")
    states = [what for what in system.states if what.kind in kinds]
    some = r.sample(states, min(len(states), r.randint(2, 3)))
    return conjunction(*(atom(w, r.choice([v for v in w.values if v != w.usual])) for w in some))


def _ways(inputs: tuple[Observable, ...]) -> int:
    number = 1
    for what in inputs:
        number *= len(what.values)
    return number


# ------------------------------------------------------------------ few states


def _window(system: System, bad: Expr, r: Random) -> System | None:
    """As many states around what is asked as can be gone through."""
    kept: list[Observable] = []
    best: System | None = None
    waiting = [w for w in support(bad) if w in system.following]
    r.shuffle(waiting)
    while waiting and len(kept) < MAX_STATES:
        kept.append(waiting.pop(0))
        window = cut(system, kept, [bad])
        if _ways(window.inputs) <= MAX_WAYS:
            best = window
        beyond = [w for w in system.support(kept[-1]) if w in system.following]
        beyond.sort(key=lambda w: (w.kind, w.name))
        r.shuffle(beyond)
        waiting += [w for w in beyond if w not in kept and w not in waiting]
    return best


# ------------------------------------------------------------------ few choices


def _lively(system: System, r: Random) -> frozenset[Observable]:
    """Some inputs, as many as can be gone through."""
    free: list[Observable] = []
    rest = list(system.inputs)
    while rest:
        kind = r.choice(LIVELY)
        some = [w for w in rest if w.kind == kind] if r.random() < 0.8 else rest
        what = r.choice(some or rest)
        rest.remove(what)
        if _ways((*free, what)) <= MAX_WAYS:
            free.append(what)
    return frozenset(free)


def _pinned(expr: Expr, free: Set[Observable]) -> Expr:
    """The expression with all other choices as usual."""

    def replaced(part: Atom) -> Expr:
        given = part.what in free or not _is_chosen(part.what)
        return part if given else constant(part.what.usual in part.values)

    return substitute(expr, replaced)


def _is_chosen(what: Observable) -> bool:
    return what.kind in (
        "advance", "reversal", "entry", "arrival", "throw", "expiry", "loss", "stays late",
        "stays put back", "stays lost", "sees", "sees by signals",
        "lever", "button", "derail", "gate", "then",
    )  # fmt: skip


def _quiet(system: System, free: Set[Observable]) -> System:
    return System(
        system.states,
        tuple(what for what in system.inputs if what in free),
        system.initial,
        {
            what: {value: _pinned(expr, free) for value, expr in values.items()}
            for what, values in system.following.items()
        },
        tuple(_pinned(expr, free) for expr in system.always),
        alike=system.alike,
    )
