"""Who may see whom, of all that acts in one step: who reads whom, and what comes of it.

Part of the reference, beside :mod:`verifier.reference.step`. All that acts in a step acts once,
each at a moment of its own. Of two that act in the same step, the one that reads the other sees it
as it was, or as it is after acting; never in a circle. It sees at one moment: if it sees one after
acting that saw a third after acting, it sees the third after acting too.
"""

from collections.abc import Callable, Iterator, Mapping, Sequence
from itertools import product
from typing import Protocol

from verifier.plan import observables
from verifier.plan.locking.locking_model import Sight, conditions_of, races
from verifier.plan.model import Plan
from verifier.plan.observables import Fact, Observable, facts_unfolded
from verifier.plan.signals.heads import signal_of

_MEMORY = ("relay", "timer", "traffic", "points report", "derail report", "gate report")
_SHOWN = ("aspect", "color")


def sights_of(plan: Plan, names: Sequence[str]) -> Iterator[Sight]:
    """Who reads whom, of those that act."""
    fast = {name for name in names if races(name, plan.locking)}
    for name in names:
        found: dict[Sight, None] = {}
        for fact in _asked(conditions_of(name, plan.locking), plan):
            if fact.what.kind in _MEMORY:
                found[Sight(name, _mover(fact.what, plan), False)] = None
            elif fact.what.kind in _SHOWN:
                for read in _behind(signal_of(fact.what.name, plan.signals), plan):
                    found[Sight(name, read, True)] = None
        yield from (s for s in found if s.read != name and fast.issuperset((name, s.read)))


def _mover(what: Observable, plan: Plan) -> str:
    """What acts when it changes: of a pipe-connected derail, the points that move it."""
    derail = plan.derails.get(what.name) if what.kind == "derail report" else None
    return derail.pipe.points if derail and derail.pipe else what.name


def _asked(conditions: Sequence[observables.Condition], plan: Plan) -> Iterator[Fact]:
    return facts_unfolded(conditions, lambda name: plan.conditions[name].condition)


def _behind(signal: str, plan: Plan) -> Iterator[str]:
    """What a signal asks for, directly or through other signals."""
    waiting, passed = [signal], set[str]()
    while waiting:
        name = waiting.pop()
        if name in passed:
            continue
        passed.add(name)
        for fact in plan.facts_read(plan.signals[name]):
            if fact.what.kind in _MEMORY:
                yield _mover(fact.what, plan)
            elif fact.what.kind in _SHOWN:
                waiting.append(signal_of(fact.what.name, plan.signals))


def in_some_order(
    chosen: Sequence[Sight], sights: Sequence[Sight], orders: Sequence[tuple[str, str]]
) -> frozenset[Sight]:
    """Of all sights, those that hold when some are chosen: these and, but by signals, which may be
    late, what follows from them and from the ``orders`` (who acts before whom), apart from those in
    a circle."""
    onward: dict[str, set[str]] = {}
    for earlier, later in orders:
        onward.setdefault(later, set()).add(earlier)
    for sight in chosen:
        onward.setdefault(sight.reader, set()).add(sight.read)
    sees = {name: _all_beyond(name, onward) for name in onward}

    def holds(sight: Sight) -> bool:
        there = sight in made if sight.by_signals else sight.read in sees.get(sight.reader, ())
        return there and sight.reader not in sees.get(sight.read, ())

    made = frozenset(chosen)
    return frozenset(sight for sight in sights if holds(sight))


def _all_beyond(start: str, onward: Mapping[str, set[str]]) -> set[str]:
    """All that one sees after acting, directly or through others; itself where in a circle."""
    waiting, found = [start], set[str]()
    while waiting:
        new = onward.get(waiting.pop(), set()) - found
        found |= new
        waiting += new
    return found


# The states of one that acts, by which others see it.
States = Mapping[Observable, str]


class Outcome(Protocol):
    """What one comes to: its next states, and all else that comes of it."""

    @property
    def states(self) -> States: ...


# How one acts that sees some states not as they were, directly and by signals.
Act = Callable[[str, States, States], Outcome]


def may_matter(
    names: Sequence[str], before: Mapping[str, States], sights: Sequence[Sight], act: Act
) -> tuple[Sight, ...]:
    """The sights that can make a difference now, and perhaps others: those of one that may not stay
    as it is, by one that acts in several ways, by what it sees."""
    ends: dict[str, list[States]] = {name: [before[name]] for name in names}
    outcomes: dict[str, list[Outcome]] = {name: [] for name in names}
    tried: dict[str, set[Way]] = {name: set() for name in names}
    own: dict[str, list[Sight]] = {name: [] for name in names}
    for sight in sights:
        own[sight.reader].append(sight)
    waiting = list(names)
    while waiting:
        name = waiting.pop(0)
        found = False
        for way in _ways([len(ends[sight.read]) for sight in own[name]]):
            if way in tried[name]:
                continue
            tried[name].add(way)
            views: tuple[dict[Observable, str], dict[Observable, str]] = ({}, {})
            for number, end in way:
                sight = own[name][number]
                views[sight.by_signals].update(ends[sight.read][end])
            outcome = act(name, *views)
            if outcome not in outcomes[name]:
                outcomes[name].append(outcome)
            if outcome.states not in ends[name]:
                ends[name].append(outcome.states)
                found = True
        if found:
            readers = {s.reader for s in sights if s.read == name}
            waiting += [n for n in names if n in readers and n not in waiting]
    return tuple(s for s in sights if len(ends[s.read]) > 1 and len(outcomes[s.reader]) > 1)


# Of sights, by number, those that see another not as it was, and which of its states they see.
Way = tuple[tuple[int, int], ...]


def _ways(ends: Sequence[int]) -> Iterator[Way]:
    """Every way of seeing others that may be in so many states, of which the first is as it was."""
    for chosen in product(*map(range, ends)):
        yield tuple((number, end) for number, end in enumerate(chosen) if end)
