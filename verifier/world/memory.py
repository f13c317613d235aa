"""The transition relation of memory and points: relays, timers and direction of traffic, then the
commanded and the true position of points.

Built of relays, they act in any order (:mod:`verifier.world.races`); as one program, in the order
of the file, each on the new values of those before it.

Twin of :mod:`verifier.reference.step`, which does the same with no expressions.
"""

from collections.abc import Callable
from functools import cache

from verifier.logic.expr import Atom, Expr, atom, conjunction, disjunction, negation
from verifier.logic.transition_system import Delay, Window
from verifier.plan import observables
from verifier.plan.model import Plan
from verifier.plan.observables import Condition, Observable
from verifier.world.acting import LEGS, Acting, Acts, Stalls, Values
from verifier.world.races import Races, Reading, Sight, View, chosen


class Memory:
    """The state of memory and points after one time step. ``lower`` turns a condition of the file
    into an expression over observables, ``now`` an expression over observables into one over
    states and choices; ``timed``: durations matter; ``stalls``: what faults do to points."""

    def __init__(
        self,
        plan: Plan,
        lower: Callable[[Condition], Expr],
        now: Callable[[Expr], Expr],
        *,
        timed: bool,
        stalls: Stalls | None = None,
    ):
        self.plan = plan
        self._reading = Reading(lower, now)
        self._acting = Acting(plan, timed=timed, stalls=stalls)
        # Where durations matter: what takes a least time.
        self.delays: list[Delay] = []
        self.waits: list[Window] = []
        # The next value of every memory and clock, in the order of the file.
        self.following: dict[Observable, Values] = {}
        # Who may see whom after it has acted.
        self.sights: tuple[Sight, ...] = ()
        if plan.locking.building.of_relays:
            self._race()
        else:
            self._take_turns()

    def holds(self, condition: Condition) -> Expr:
        """A condition as it is now."""
        return self._reading.holds(condition)

    def _act(self, name: str, direct: View, by_signals: View) -> Acts:
        """How one acts that sees some others not as they were."""

        def seen(part: Atom, through_signals: bool) -> Expr:
            values = (by_signals if through_signals else direct).get(part.what)
            return part if values is None else chosen(values, part)

        return self._acting.act(name, lambda condition: self._reading.seen(condition, seen))

    def _note(self, acts: Acts) -> None:
        self.following.update(acts.following)
        self.delays += [acts.delay] if acts.delay else []
        self.waits += [acts.wait] if acts.wait else []

    def _take_turns(self) -> None:
        """Memory in the order of the file, on the new values of what acted before it; points as
        everything was."""
        for name in self.plan.locking.memory:
            self._note(self._act(name, dict(self.following), {}))
        for turnout in self._acting.turnouts:
            self._note(self._act(turnout, {}, {}))

    def _race(self) -> None:
        races = Races(self._acting, self._reading)
        self.sights = races.sights
        when = races.when()
        chains = {name: (g, races.longest_chain(g)) for g in races.groups for name in g}

        @cache
        def acts(name: str, chain: int) -> Acts:
            """How one acts, through so many others of its group that see each other."""
            views: tuple[dict[Observable, Values], dict[Observable, Values]] = ({}, {})
            group, _ = chains.get(name, ((), 0))
            for sight in self.sights:
                if sight.reader != name or (sight.read in group and not chain):
                    continue
                there = chain - 1 if sight.read in group else chains.get(sight.read, ((), 0))[1]
                following = acts(sight.read, there).following
                for what in self._acting.states_of(sight.read):
                    views[sight.by_signals][what] = _either(when[sight], following[what], what)
            return self._act(name, *views)

        for name in (*self.plan.locking.memory, *self._acting.turnouts):
            self._note(acts(name, chains.get(name, ((), 0))[1]))

    # -------------------------------------------------------------- what is asked of it

    def turns(self, traffic: str) -> Expr:
        """The direction changes."""
        what = observables.traffic(traffic)
        right, left = what.values
        new = self.following[what]
        return disjunction(
            conjunction(atom(what, right), new[left]), conjunction(atom(what, left), new[right])
        )

    def is_locked(self, turnout: str) -> Expr:
        return self._acting.is_locked(turnout, self.holds)

    def is_thrown(self, turnout: str) -> Expr:
        """The points are told to lie the other way than before."""
        thrown = observables.thrown(turnout)
        new = self.following[thrown]
        return disjunction(*(conjunction(atom(thrown, leg), new[LEGS[leg]]) for leg in LEGS))

    def points_move(self, turnout: str) -> Expr:
        points = observables.points(turnout)
        new = self.following[points]
        return disjunction(
            atom(points, "open"),
            *(conjunction(atom(points, leg), negation(new[leg])) for leg in LEGS),
        )


def _either(seen: Expr, after: Values, what: Observable) -> Values:
    """The values after acting where that is seen, else those before."""
    not_seen = negation(seen)
    return {
        value: disjunction(
            conjunction(seen, after[value]), conjunction(not_seen, atom(what, value))
        )
        for value in what.values
    }
