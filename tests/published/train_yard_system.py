"""The same train yard as a transition system, for the engines over time.

It departs from the book in these ways only. Each event of :mod:`tests.published.train_yard`
is chosen or not at each moment, and several may happen at once: that comes to the same as one
after the other, since they touch different blocks; where they would not (two routes reserved,
or set, at once), the first of the table goes first. There is no order in which a free route
goes first. Which route holds a block, and where the track leads from it, are one thing with
several values each, not relations.
"""

from collections.abc import Callable, Iterator
from functools import cached_property
from itertools import combinations, pairwise, takewhile

from tests.published.train_yard import BLOCKS, ROUTES, Yard
from verifier.logic.expr import TRUE, Expr, atom, conjunction, disjunction, negation
from verifier.logic.transition_system import System
from verifier.plan import observables
from verifier.plan.observables import Observable

OCCUPIED = {b: observables.train(b) for b in BLOCKS}
REAR = {b: Observable("across", f"rear {b}", ("no", "yes"), "no") for b in BLOCKS}


class YardSystem:
    """A yard's transition system, and what must never happen in it."""

    def __init__(self, yard: Yard):
        self.yard = yard
        self.routes = {name: ROUTES[name] for name in yard.routes}
        self.after = {name: dict(pairwise(path)) for name, path in self.routes.items()}
        self.hold = {
            name: [b for b in path if b not in yard.left_out.get(name, "")]
            for name, path in self.routes.items()
        }
        self.reserved = {r: observables.relay(f"{r} reserved") for r in self.routes}
        self.formed = {r: observables.relay(f"{r} formed") for r in self.routes}
        self.held = {b: self._held(b) for b in BLOCKS}
        self.track = {b: self._track(b) for b in BLOCKS}
        self._choices: dict[Observable, None] = {}
        self._reserves: dict[str, Expr] = {}
        self._sets: dict[str, Expr] = {}

    def _held(self, b: str) -> Observable:
        holding = (r for r, held in self.hold.items() if b in held)
        return Observable("relay", f"{b} held by", ("none", *holding), "none")

    def _track(self, b: str) -> Observable:
        leads = {after[b]: None for after in self.after.values() if b in after}
        return Observable("points", f"{b} leads to", ("nowhere", *leads), "nowhere")

    # -------------------------------------------------------------- events

    def _chosen(self, what: str, where: str) -> Expr:
        choice = observables.choice("entry", f"{what} {where}")
        self._choices[choice] = None
        return atom(choice, "yes")

    def _first(self, r: str, event: Callable[[str], Expr]) -> Expr:
        """No earlier route that shares a block has such an event at the same moment."""
        earlier = takewhile(lambda other: other != r, self.routes)
        shared = (o for o in earlier if set(self.routes[o]) & set(self.routes[r]))
        return conjunction(*(negation(event(o)) for o in shared))

    def reserves(self, r: str) -> Expr:
        if r not in self._reserves:
            free = (
                negation(occupied(b)) if self.yard.reserve else atom(self.held[b], "none")
                for b in self.hold[r]
            )
            down = atom(self.reserved[r], "down")
            first = self._first(r, self.reserves)
            self._reserves[r] = conjunction(self._chosen("reserve", r), down, first, *free)
        return self._reserves[r]

    def sets(self, r: str) -> Expr:
        if r not in self._sets:
            unformed = TRUE if self.yard.reset else atom(self.formed[r], "down")
            up = atom(self.reserved[r], "up")
            first = self._first(r, self.sets)
            self._sets[r] = conjunction(self._chosen("set", r), up, unformed, first)
        return self._sets[r]

    def forms(self, r: str) -> Expr:
        lie = TRUE if self.yard.form else self.lies(r)
        up, down = atom(self.reserved[r], "up"), atom(self.formed[r], "down")
        return conjunction(self._chosen("form", r), up, down, lie, negation(self.frees(r)))

    def enters(self, r: str) -> Expr:
        first = self.routes[r][0]
        let_in = self.reserved[r] if self.yard.enter else self.formed[r]
        mine = atom(self.held[first], r) if first in self.hold[r] else TRUE
        return conjunction(
            self._chosen("enter", r), atom(let_in, "up"), mine, negation(occupied(first))
        )

    def goes_on(self, a: str, b: str) -> Expr:
        """A front goes from a block to one that is free."""
        leads = conjunction(occupied(a), atom(self.track[a], b), negation(occupied(b)))
        return conjunction(self._chosen("front", a), leads)

    def follows(self, a: str, b: str) -> Expr:
        """A rear follows from one block to another."""
        return conjunction(self._chosen("rear", a), is_rear(a), atom(self.track[a], b), occupied(b))

    def leaves(self, a: str) -> Expr:
        """A rear leaves a block, for another or for good."""
        gone = conjunction(self._chosen("rear", a), is_rear(a), atom(self.track[a], "nowhere"))
        return disjunction(gone, *(self.follows(a, b) for b in self.track[a].values[1:]))

    def frees(self, r: str) -> Expr:
        rid = conjunction(*(negation(atom(self.held[b], r)) for b in self.hold[r]))
        return conjunction(self._chosen("free", r), atom(self.reserved[r], "up"), rid)

    def lies(self, r: str) -> Expr:
        """The track is the route's path on the blocks it still holds."""
        return conjunction(
            *(
                disjunction(
                    negation(atom(self.held[b], r)),
                    atom(self.track[b], self.after[r].get(b, "nowhere")),
                )
                for b in self.hold[r]
            )
        )

    # -------------------------------------------------------------- the system

    @cached_property
    def system(self) -> System:
        following: dict[Observable, dict[str, Expr]] = {}
        for r in self.routes:
            kept = negation(self.frees(r))
            reserved = disjunction(
                self.reserves(r), conjunction(atom(self.reserved[r], "up"), kept)
            )
            formed = disjunction(self.forms(r), conjunction(atom(self.formed[r], "up"), kept))
            following[self.reserved[r]] = {"up": reserved, "down": negation(reserved)}
            following[self.formed[r]] = {"up": formed, "down": negation(formed)}
        for b in BLOCKS:
            following[self.held[b]] = self._next_held(b)
            following[self.track[b]] = self._next_track(b)
            following[OCCUPIED[b]], following[REAR[b]] = self._next_train(b)
        states = tuple(following)
        initial = {what: (what.usual,) for what in states}
        return System(states, tuple(self._choices), initial, following)

    def _next_held(self, b: str) -> dict[str, Expr]:
        what = self.held[b]
        taken = {r: self.reserves(r) for r in what.values[1:]}
        kept = conjunction(negation(self.leaves(b)), *(negation(t) for t in taken.values()))
        values = {r: disjunction(t, conjunction(atom(what, r), kept)) for r, t in taken.items()}
        return {**values, "none": conjunction(*(negation(v) for v in values.values()))}

    def _next_track(self, b: str) -> dict[str, Expr]:
        what = self.track[b]
        values = {}
        for n in what.values[1:]:
            sets = [self.sets(r) for r, after in self.after.items() if after.get(b) == n]
            # Setting points takes away what leads elsewhere from a block, and into one.
            away = [
                self.sets(r)
                for r, after in self.after.items()
                if after.get(b) != n and (b in after or n in after.values())
            ]
            kept = conjunction(atom(what, n), *(negation(s) for s in away))
            values[n] = disjunction(*sets, kept)
        return {**values, "nowhere": conjunction(*(negation(v) for v in values.values()))}

    def _next_train(self, b: str) -> tuple[dict[str, Expr], dict[str, Expr]]:
        before = [a for a in BLOCKS if b in self.track[a].values]
        enters = [self.enters(r) for r, path in self.routes.items() if path[0] == b]
        stays = negation(self.leaves(b))
        there = disjunction(
            *enters, *(self.goes_on(a, b) for a in before), conjunction(occupied(b), stays)
        )
        rear = disjunction(
            *enters, *(self.follows(a, b) for a in before), conjunction(is_rear(b), stays)
        )
        return (
            {"occupied": there, "vacant": negation(there)},
            {"yes": rear, "no": negation(rear)},
        )

    # -------------------------------------------------------------- what must never happen

    def wrongs(self) -> Iterator[tuple[str, Expr]]:
        """Each by its name; together they are `Yard.wrong`."""
        for b in BLOCKS:
            yield (
                f"{b} is occupied and not reserved",
                conjunction(occupied(b), atom(self.held[b], "none")),
            )
        for r in self.routes:
            for b in self.hold[r]:
                here = conjunction(occupied(b), atom(self.held[b], r))
                yield (
                    f"{b} is occupied for {r}, which is not formed",
                    conjunction(here, atom(self.formed[r], "down")),
                )
                yield (
                    f"{b} is occupied for {r}, whose points do not lie",
                    conjunction(here, negation(self.lies(r))),
                )
                yield (
                    f"from {b} a train of {r} faces what {r} does not hold",
                    conjunction(here, self._strays(r, b)),
                )

    def invariants(self) -> Iterator[tuple[str, Expr]]:
        """The invariants of the benchmark [V], each by what would break it; but for those that
        go without saying here (a block has one reservation at most, for a route of its own)."""
        for b in BLOCKS:
            yield (
                f"{b} is occupied and not reserved",
                conjunction(occupied(b), atom(self.held[b], "none")),
            )
            yield (
                f"{b} has a rear and is not occupied",
                conjunction(is_rear(b), negation(occupied(b))),
            )
        for r in self.routes:
            unreserved = atom(self.reserved[r], "down")
            yield (
                f"{r} is formed and not reserved",
                conjunction(atom(self.formed[r], "up"), unreserved),
            )
            for b in self.hold[r]:
                yield from self._of_block(r, b)
        for b in BLOCKS:
            leading = [a for a in BLOCKS if b in self.track[a].values]
            for a, c in combinations(leading, 2):
                yield (
                    f"{a} and {c} both lead to {b}",
                    conjunction(atom(self.track[a], b), atom(self.track[c], b)),
                )

    def _of_block(self, r: str, b: str) -> Iterator[tuple[str, Expr]]:
        held, formed = atom(self.held[b], r), atom(self.formed[r], "up")
        yield (
            f"{b} is held by {r}, which is not reserved",
            conjunction(held, atom(self.reserved[r], "down")),
        )
        yield (
            f"{b} is not held by {r}, which is reserved and not formed",
            conjunction(negation(held), atom(self.reserved[r], "up"), negation(formed)),
        )
        yield (
            f"{b} is occupied for {r}, which is not formed",
            conjunction(occupied(b), held, negation(formed)),
        )
        then = self.after[r].get(b)
        yield (
            f"{b} is held by {r}, which is formed, and leads elsewhere",
            conjunction(held, formed, negation(atom(self.track[b], then or "nowhere"))),
        )
        if then:
            yield (
                f"{b} is held by {r}, and {then} after it is not",
                conjunction(held, negation(atom(self.held[then], r))),
            )
            yield f"{b} is held by {r}, and {then} has a rear", conjunction(held, is_rear(then))
            yield (
                f"{b} is let go by {r}, and {then} is held and vacant",
                conjunction(negation(held), atom(self.held[then], r), negation(occupied(then))),
            )
            yield (
                f"{b} is held by {r} and vacant, and {then} is occupied",
                conjunction(held, negation(occupied(b)), occupied(then)),
            )

    def _strays(self, r: str, b: str) -> Expr:
        return disjunction(
            *(
                conjunction(atom(self.track[b], n), negation(atom(self.held[n], r)))
                for n in self.track[b].values[1:]
            )
        )


def occupied(b: str) -> Expr:
    return atom(OCCUPIED[b], "occupied")


def is_rear(b: str) -> Expr:
    return atom(REAR[b], "yes")
