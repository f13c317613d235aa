"""The transition relation of memory and of what moves: relays, timers and direction of traffic,
then the commanded and the true position of points, derails and gates.

Built of relays, they act in any order (:mod:`verifier.world.races`); as one program, in the order
of the file, each on the new values of those before it.

Twin of :mod:`verifier.reference.step`, which does the same with no expressions.
"""

from collections.abc import Callable, Collection, Mapping
from functools import cache, cached_property

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
from verifier.logic.transition_system import Delay, Window
from verifier.plan import observables
from verifier.plan.locking.locking_model import Sight
from verifier.plan.locking.settling import settling
from verifier.plan.model import Plan
from verifier.plan.observables import Condition, Observable
from verifier.world.acting import Acting, Acts, Fed, Stalls, Values
from verifier.world.races import Races, Reading, View, chosen


class Memory:
    """The state of memory, and of what moves, after one time step. ``lower`` turns a condition of
    the file into an expression over observables, ``now`` an expression over observables into one
    over states and choices; ``timed``: durations matter; ``stalls`` and ``fed``: what faults do to
    what moves, and to the power of the rest. ``prompt``: no time passes, and no delay comes to its
    end, while something that surely comes to rest has cause to move."""

    def __init__(
        self,
        plan: Plan,
        lower: Callable[[Condition], Expr],
        now: Callable[[Expr], Expr],
        *,
        timed: bool,
        stalls: Stalls | None = None,
        fed: Fed | None = None,
        prompt: bool = False,
    ):
        self.plan = plan
        self._reading = Reading(lower, now)
        self._acting = Acting(plan, timed=timed or prompt, stalls=stalls, fed=fed)
        # That no time passes.
        self.hurries: Expr = FALSE
        if prompt:
            self.hurries = self._have_cause(settling(plan))
            self._acting = Acting(plan, timed=True, stalls=stalls, fed=fed, hurries=self.hurries)
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

    def _have_cause(self, names: Collection[str]) -> Expr:
        """That one of these would move at once, seeing all as it is."""

        def waits(part: Atom) -> Expr:
            return constant("no" in part.values) if part.what.kind == "expiry" else part

        stay: list[Expr] = []
        for name in self.plan.locking.memory:
            following = self._acting.act(name, self.holds).following if name in names else {}
            for what in following.keys() & {*self._acting.states_of(name)}:
                stays = (conjunction(atom(what, v), substitute(e, waits))
                         for v, e in following[what].items())  # fmt: skip
                stay.append(disjunction(*stays))
        return negation(conjunction(*stay))

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
        if acts.delay and self.hurries is not FALSE:
            self.following.update(self._ripening(acts.delay.clock, acts.following))
        self.delays += [acts.delay] if acts.delay else []
        self.waits += [acts.wait] if acts.wait else []

    def _ripening(
        self, clock: Observable, acted: Mapping[Observable, Values]
    ) -> Mapping[Observable, Values]:
        """Whether a delay that runs could have been over when time last passed."""
        name = clock.name
        ripe, ripens = observables.ripe(name), atom(observables.choice("ripens", name), "yes")
        could = disjunction(
            conjunction(self.hurries, atom(ripe, "yes")),
            conjunction(negation(self.hurries), ripens),
        )
        yes = conjunction(atom(clock, "running"), acted[clock]["running"], could)
        return {ripe: {"no": negation(yes), "yes": yes}}

    def _take_turns(self) -> None:
        """Memory in the order of the file, on the new values of what acted before it; what moves as
        everything was."""
        for name in self.plan.locking.memory:
            self._note(self._act(name, dict(self.following), {}))
        for device in self._acting.moving:
            self._note(self._act(device, {}, {}))

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

        for name in (*self.plan.locking.memory, *self._acting.moving):
            self._note(acts(name, chains.get(name, ((), 0))[1]))

    @cached_property
    def in_turn(self) -> Mapping[Observable, str]:
        """The sights by which memory acts as one program does: in the order of the file, each on
        the new values of what acted before it, while signals and points are as they were."""
        turn = {name: k for k, name in enumerate(self.plan.locking.memory)}

        def made(sight: Sight) -> str:
            if sight.by_signals or sight.reader not in turn or sight.read not in turn:
                return "no"
            return "yes" if turn[sight.read] < turn[sight.reader] else "no"

        return {sight.choice: made(sight) for sight in self.sights}

    # -------------------------------------------------------------- what is asked of it

    def turns(self, traffic: str) -> Expr:
        """The direction changes."""
        what = observables.traffic(traffic)
        right, left = what.values
        new = self.following[what]
        return disjunction(
            conjunction(atom(what, right), new[left]), conjunction(atom(what, left), new[right])
        )

    def is_locked(self, device: str) -> Expr:
        return self._acting.is_locked(device, self.holds)

    def is_thrown(self, name: str) -> Expr:
        """Something is told to lie the other way than before."""
        device = self._acting.devices[name]
        new = self.following[device.told]
        return disjunction(
            *(conjunction(atom(device.told, to), new[device.other(to)]) for to in device.positions)
        )

    def moves(self, name: str) -> Expr:
        """Something moves in this step. A gate that was thrown open lies open and is at rest."""
        device = self._acting.devices[name]
        if device.pipe is not None:
            return self.moves(device.pipe.points)
        new = self.following[device.lies]
        lies_open = atom(device.lies, "open")
        if "open" in device.positions:
            lies_open = conjunction(lies_open, self.following[device.told]["seated"])
        return disjunction(
            lies_open,
            *(conjunction(atom(device.lies, to), negation(new[to])) for to in device.closed),
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
