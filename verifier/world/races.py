"""Relays race: whom each relay, timer, direction of traffic and device sees move, and when that
makes a difference.

All that acts in a step acts once, each at a moment of its own. Of two that act in the same step,
one sees the other as it was before, or as it is after acting; which of them is a choice, a
*sight*, of every step. Each decides at one moment: what sees another after it acted sees all that
this one saw after acting. Nothing sees in a circle: of those that would see one another after
acting, all see each other as they were before.

In: how each acts, and what its conditions read. Out: the sights that can make a difference, and
when each holds. All others are left out: files in which nothing races have none.
"""

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import replace
from functools import cached_property
from typing import get_args

from verifier.logic.expr import (
    FALSE,
    TRUE,
    Atom,
    Expr,
    atom,
    conjunction,
    constant,
    disjunction,
    negation,
    nodes,
    substitute,
    support,
)
from verifier.logic.satisfiable import may_hold
from verifier.plan import observables
from verifier.plan.locking.locking_model import Sight, conditions_of, races
from verifier.plan.observables import Condition, Observable
from verifier.world.acting import Acting, Values

SHOWN = frozenset(get_args(observables.Shown))
# What is seen of the states of others, where that is not what they were.
View = Mapping[Observable, Values]


class Reading:
    """What conditions come to as one that acts sees the others. ``lower`` turns a condition of the
    file into an expression over observables, ``now`` that into one over states and choices."""

    def __init__(self, lower: Callable[[Condition], Expr], now: Callable[[Expr], Expr]):
        self._lower = lower
        self._now = now

    def holds(self, condition: Condition) -> Expr:
        """All others as they are now."""
        return self._now(self._lower(condition))

    def parts(self, condition: Condition) -> Iterator[tuple[Expr, bool]]:
        """What it reads, as it is now, and whether by signals."""
        for part in nodes(self._lower(condition)):
            if isinstance(part, Atom):
                yield self._now(part), part.what.kind in SHOWN

    def seen(self, condition: Condition, seen: Callable[[Atom, bool], Expr]) -> Expr:
        """``seen``: what an atom over states comes to, read directly or by signals."""

        def replaced(part: Atom) -> Expr:
            by_signals = part.what.kind in SHOWN
            return substitute(self._now(part), lambda inner: seen(inner, by_signals))

        return substitute(self._lower(condition), replaced)


class Races:
    """The sights of one plan, in the order in which it names those that act."""

    def __init__(self, acting: Acting, reading: Reading):
        self._acting = acting
        self._reading = reading
        locking = acting.plan.locking
        self._names = tuple(
            name for name in (*locking.memory, *acting.moving) if races(name, locking)
        )
        self._owner = {what: name for name in self._names for what in acting.states_of(name)}

    @cached_property
    def sights(self) -> tuple[Sight, ...]:
        return tuple(sight for sight in self._readings() if self._matters(sight))

    def _readings(self) -> Iterator[Sight]:
        for name in self._names:
            found: dict[Sight, None] = {}
            for condition in conditions_of(name, self._acting.plan.locking):
                for expr, by_signals in self._reading.parts(condition):
                    for what in support(expr):
                        read = self._owner.get(what, name)
                        if read != name:
                            found[Sight(name, read, by_signals)] = None
            yield from found

    def _matters(self, sight: Sight) -> bool:
        """Whether the reader can act in two ways, by whether it sees the other one as it was or
        after it has acted, that one having seen the reader as it was. How either sees all others
        is left open."""

        def other(part: Atom, seen_by: str, by_signals: bool) -> Expr:
            owner = self._owner.get(part.what, seen_by)
            if owner == seen_by:
                return part
            as_seen = f"{seen_by} / {by_signals}"
            return atom(replace(part.what, reader=as_seen), *part.values)

        def to_read(part: Atom, by_signals: bool) -> Expr:
            if self._owner.get(part.what) == sight.reader:
                return part
            return other(part, sight.read, by_signals)

        acted = self._acting.act(
            sight.read, lambda condition: self._reading.seen(condition, to_read)
        ).following

        def acts(after: bool) -> Mapping[Observable, Values]:
            def seen(part: Atom, by_signals: bool) -> Expr:
                owner = self._owner.get(part.what)
                if owner != sight.read or by_signals != sight.by_signals:
                    return other(part, sight.reader, by_signals)
                return chosen(acted[part.what], part) if after else part

            reader = self._acting.act(
                sight.reader, lambda condition: self._reading.seen(condition, seen)
            )
            return reader.following

        before, after = acts(False), acts(True)
        return any(
            may_hold(conjunction(before[what][value], negation(after[what][value])))
            for what in before
            for value in what.values
        )

    def when(self) -> Mapping[Sight, Expr]:
        """When each sight holds: it is chosen, or follows from others that are; and not in a
        circle. What is seen by signals does not follow: signals may be late."""
        sees = [(s.reader, s.read, self._chosen(s)) for s in self.sights]
        # Who acts later saw what acted earlier, whether it reads that or not.
        orders = self._acting.plan.locking.building.orders
        sees += [(later, earlier, TRUE) for earlier, later in orders]
        reach = _reach(self._names, sees)
        found: dict[Sight, Expr] = {}
        for sight in self.sights:
            seen = reach[sight.reader, sight.read]
            if sight.by_signals:
                seen = self._chosen(sight)
            back = reach.get((sight.read, sight.reader), FALSE)
            found[sight] = conjunction(seen, negation(back))
        return found

    def _chosen(self, sight: Sight) -> Expr:
        fixed = self._acting.plan.locking.building.fixed(sight.reader, sight.read)
        return atom(sight.choice, "yes") if fixed is None else constant(fixed)

    @cached_property
    def groups(self) -> tuple[tuple[str, ...], ...]:
        """Those that see one another, directly or through others, those alone left out."""
        reads: dict[str, set[str]] = {name: set() for name in self._names}
        for sight in self.sights:
            reads[sight.reader].add(sight.read)
        sees = {name: _closure(name, reads) for name in self._names}
        found: dict[tuple[str, ...], None] = {}
        for name in self._names:
            group = tuple(n for n in self._names if n in sees[name] and name in sees[n])
            if len(group) > 1:
                found[group] = None
        return tuple(found)

    def longest_chain(self, group: Sequence[str]) -> int:
        """How many of a group may each see the next one after it has acted, at most."""
        reads = {
            name: {s.read for s in self.sights if s.reader == name and s.read in group}
            for name in group
        }
        if len(group) > LARGEST_SEARCHED:
            return len(group) - 1

        def from_here(name: str, passed: frozenset[str]) -> int:
            onward = reads[name] - passed
            return max((1 + from_here(n, passed | {n}) for n in onward), default=0)

        return max(from_here(name, frozenset((name,))) for name in group)


# Of larger groups, the longest chain is not searched for.
LARGEST_SEARCHED = 7


def chosen(values: Values, part: Atom) -> Expr:
    """That what has such values has one of an atom's."""
    return disjunction(*(values[value] for value in part.values))


def _closure(name: str, reads: Mapping[str, set[str]]) -> set[str]:
    found: set[str] = set()
    waiting = list(reads[name])
    while waiting:
        read = waiting.pop()
        if read not in found:
            found.add(read)
            waiting += reads[read]
    return found


def _reach(
    names: Sequence[str], sees: Sequence[tuple[str, str, Expr]]
) -> Mapping[tuple[str, str], Expr]:
    """When one sees another after it has acted, directly or through others, given when it does so
    directly; pairs of which that is never so are left out."""
    reach: dict[tuple[str, str], Expr] = {}
    onward: dict[str, dict[str, None]] = {name: {} for name in names}
    inward: dict[str, dict[str, None]] = {name: {} for name in names}

    def add(a: str, b: str, when: Expr) -> None:
        reach[a, b] = disjunction(reach.get((a, b), FALSE), when)
        onward[a][b], inward[b][a] = None, None

    for reader, read, when in sees:
        add(reader, read, when)
    for via in names:
        for a in [name for name in inward[via] if name != via]:
            for b in [name for name in onward[via] if name not in (a, via)]:
                add(a, b, conjunction(reach[a, via], reach[via, b]))
    return reach
